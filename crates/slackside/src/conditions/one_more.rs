//! A second instance of the list, for tests only, with one entry more: whatever is made from the list is made for it too.

use super::list::list;
use super::{Must, Needs, Row, Rule, conditions};

list!(conditions Longer
    BearingHot = 200 "A bearing is hot." {
        name: "bearing_hot",
        unit: DeciCelsius,
        sense: Upper(Value::Hottest),
        gate: Always,
        needs: Temperatures,
        must: Alarm,
        bypass: true,
        boot_cleared: false,
        setpoint: (300, 1_200),
        longest_on_delay_ms: 30_000,
        starting: Starting {
            setpoint: 900, deadband: 100, on_ms: 2_000, off_ms: 5_000, latching: false, priority: High, action: DropFeed
        },
        reason: "Grease in good order stays below it.",
        title: "Bearing hot",
        meaning: "A bearing was hotter than its grease bears.",
    }
);

#[test]
fn one_entry_is_enough_for_enum_and_tables() {
    let last = Longer::BearingHot;
    assert_eq!(Longer::COUNT, super::Condition::COUNT + 1);
    assert_eq!((last.rank(), last.id(), last.name()), (super::Condition::COUNT, 200, "bearing_hot"));
    assert_eq!(Longer::from_name("bearing_hot"), Some(last));
    assert_eq!(Longer::from_id(200), Some(last));
    assert_eq!(Longer::of_rank(last.rank()), Some(last));
    // The shipped list is as it was: the entry stands behind it.
    assert_eq!(Longer::TABLE[..super::Condition::COUNT], super::Condition::TABLE);
    let (row, rule) = (Longer::ROWS[last.rank()], Longer::RULES[last.rank()]);
    assert_eq!(row, Row::of(&last.entry()));
    assert_eq!(row.needs, Needs::Temperatures);
    assert!(row.can_be_bypassed() && !row.needs_boot_cleared());
    assert_eq!(rule, Rule::of(&last.entry()));
    assert_eq!((rule.setpoint(), rule.longest_on_delay_ms(), rule.must), ((300, 1_200), 30_000, Must::Alarm));
}

#[cfg(feature = "desk")]
#[test]
fn one_entry_is_enough_for_limits_keys_units_and_ranges() {
    extern crate std;
    use crate::settings::schema::{LimitPart, Range, all_starting, limit_key};
    use crate::units::Span;
    use std::string::ToString;

    let entry = Longer::BearingHot.entry();
    let limits = all_starting(&Longer::TABLE);
    let limit = limits[Longer::BearingHot.rank()];
    assert_eq!((limit.setpoint, limit.on_delay), (900, Span::from_millis(2_000)));
    assert_eq!(LimitPart::Setpoint.starting(&entry), 900);
    assert_eq!(LimitPart::Setpoint.range(&entry), Range::Works(300, 1_200));
    assert_eq!(LimitPart::OnDelay.range(&entry), Range::Works(0, 30_000_000));
    let keys = LimitPart::ALL.iter().map(|part| limit_key(&entry, *part).to_string()).collect::<std::vec::Vec<_>>();
    assert_eq!(
        keys[..4],
        [
            "limits.bearing_hot.enabled",
            "limits.bearing_hot.setpoint_c",
            "limits.bearing_hot.deadband_c",
            "limits.bearing_hot.on_delay_s",
        ]
    );
}
