//! The one table of registers: what is served, what the book's page says, and what the tests hold it to.
//!
//! A number once given stays: what is added goes into a gap or to the end, and raises [`VERSION`].

use slackside::input::Shaft::{Boot, Head};

use crate::view::View;
use crate::words::UNKNOWN;

/// The version of this table, in register 0.
pub const VERSION: u16 = 1;
/// The last register there is. Those that no row names read as unknown up to here.
pub const LAST: u16 = 143;
/// The one register that can be written.
pub const ACKNOWLEDGE: u16 = 256;
/// The one word it takes.
pub const ACKNOWLEDGE_WORD: u16 = 0xAC4B;

/// One row: a quantity in one register or several.
#[derive(Clone, Copy)]
pub struct Row {
    /// Its first register, counted from 0 as it goes over the wire.
    pub first: u16,
    /// How many.
    pub count: u16,
    /// What it is called.
    #[cfg(feature = "desk")]
    pub name: &'static str,
    /// Its unit, or how its bits are read.
    #[cfg(feature = "desk")]
    pub unit: &'static str,
    /// What it means.
    #[cfg(feature = "desk")]
    pub meaning: &'static str,
}

macro_rules! registers {
    ($($first:literal x $count:literal, $name:literal, $unit:literal, $meaning:literal, $value:expr;)*) => {
        /// Every register, in order.
        pub const TABLE: [Row; [$($first),*].len()] = [$(Row {
            first: $first,
            count: $count,
            #[cfg(feature = "desk")]
            name: $name,
            #[cfg(feature = "desk")]
            unit: $unit,
            #[cfg(feature = "desk")]
            meaning: $meaning,
        }),*];

        /// What a register says; unknown where no row names it. One function for all of them: a table of functions takes more flash.
        fn value(view: &View<'_>, register: u16) -> u16 {
            $({
                let place = register.wrapping_sub($first);
                if place < $count {
                    let value: fn(&View<'_>, u16) -> u16 = $value;
                    return value(view, place);
                }
            })*
            UNKNOWN
        }
    };
}

registers! {
    0 x 1, "version", "number", "Of this table: 1.", |_, _| VERSION;
    1 x 1, "heartbeat", "count",
        "Goes up by one every 65.536 ms for as long as the leg is judged, and wraps at 65,536. If it has not moved for 2 s nothing is \
         being watched.", |view, _| view.heartbeat();
    2 x 1, "health", "number",
        "1 well; 2 look at it: an alarm, a bypass, a fault of the box, a sensor not trusted, or not known yet; 3 the run permit is not \
         given; 4 no settings.", |view, _| view.health();
    3 x 1, "leg", "number", "1 stands, 2 starts, 3 runs, 4 runs down, 5 is inched. Not known until motion or rest is proven.",
        |view, _| view.phase();
    4 x 1, "permits", "bits",
        "Bit 0: the run permit's contacts are seen closed. 1: the feed permit's contact is. 2, 3: run, feed as judged. 4: the key is on. \
         5: the boot must be reported clear.", |view, _| view.permits();
    5 x 1, "first_out", "number of a condition", "What tripped first; -1 if nothing did.", |view, _| view.first_out();
    6 x 1, "alarms_to_acknowledge", "count", "Alarms that nobody has acknowledged.", |view, _| view.count(view.status.unacknowledged());
    7 x 1, "alarms_wrong", "count", "Conditions wrong now.", |view, _| view.count(view.status.wrong());
    8 x 1, "alarms_latched", "count", "Conditions no longer wrong, latched until reset at the leg.",
        |view, _| view.count(view.status.latched());
    9 x 1, "alarms_bypassed", "count", "Conditions bypassed.", |view, _| view.count(view.status.shelved());
    10 x 2, "box_faults", "32 bits", "What is wrong with the box itself: the table below.", |view, word| view.faults(word);
    12 x 1, "supervised", "bits",
        "Lines that would show a cut wire. Bit 0 head sensor, 1 boot sensor, 2 to 5 rub contacts head left, head right, boot left, boot \
         right.", |view, _| view.supervised();
    16 x 1, "head_speed", "0.1 rpm",
        "Head shaft, over the last pitch, or the most it can be once the next target is overdue. 0 only where it is proven to stand.",
        |view, _| view.rpm(Head);
    17 x 1, "boot_speed", "0.1 rpm", "Boot shaft, likewise.", |view, _| view.rpm(Boot);
    18 x 1, "belt_speed", "mm/s", "Belt, by the boot's rim, likewise.", |view, _| view.belt();
    19 x 1, "head_of_normal", "0.1 %", "Head speed as a share of normal.", |view, _| view.of_normal(Head);
    20 x 1, "boot_of_normal", "0.1 %", "Boot speed as a share of normal: what underspeed is judged by.", |view, _| view.of_normal(Boot);
    24 x 1, "slip_turn_least", "0.01 %", "Slip over one boot turn is no less.",
        |view, _| view.slip_least(view.status.signals.short);
    25 x 1, "slip_turn_most", "0.01 %", "Slip over one boot turn is no more; 32,767 while the boot is overdue and there is no upper end.",
        |view, _| view.slip_most(view.status.signals.short);
    26 x 1, "slip_four_least", "0.01 %", "Slip over four boot turns is no less.",
        |view, _| view.slip_least(view.status.signals.long);
    27 x 1, "slip_four_most", "0.01 %", "Slip over four boot turns is no more; 32,767 for no upper end.",
        |view, _| view.slip_most(view.status.signals.long);
    28 x 1, "slip_mean", "0.01 %", "Mean slip since rest, the last 64 boot turns or so counting most.", |view, _| view.slip_mean();
    29 x 1, "slip_heat", "0.1 %", "Heat that slip has put into pulley and belt, of its budget.", |view, _| view.heat();
    30 x 1, "ratio", "0.0001", "Boot turns for each head turn over a long stretch.", |view, _| view.ratio();
    32 x 4, "rub", "number", "Rub contacts head left, head right, boot left, boot right: 1 clear, 2 the belt rubs, 3 line cut or shorted.",
        |view, place| view.rub(place);
    36 x 4, "rub_share", "0.1 %", "Share of the last belt loop on which it rubbed, in the same order.", |view, place| view.rub_share(place);
    40 x 1, "head_distrust", "bits",
        "Why the head sensor is not trusted; 0 if it is. Bit 0 rejects, 1 too fast, 2 hum, 3 line open, 4 line shorted, 5 edges lost, 6 \
         scatter, 7 wires bridged.", |view, _| view.distrust(Head);
    41 x 1, "boot_distrust", "bits", "The boot sensor, likewise.", |view, _| view.distrust(Boot);
    42 x 1, "head_targets", "number", "0 as many as the settings say, 1 one is missing, 2 one too many, 3 one has moved.",
        |view, _| view.pattern(Head);
    43 x 1, "boot_targets", "number", "The boot's, likewise.", |view, _| view.pattern(Boot);
    44 x 1, "head_rejected", "count", "Edges rejected on the head, wraps at 32,768.", |view, _| view.rejected(Head);
    45 x 1, "boot_rejected", "count", "Edges rejected on the boot, wraps at 32,768.", |view, _| view.rejected(Boot);
    48 x 2, "settings", "32 bits", "Identity of the settings in force: the desk shows it as eight hexadecimal digits. 0 without settings.",
        |view, word| view.identity(word);
    50 x 2, "session", "32-bit count", "How often the box was switched on.",
        |view, word| crate::words::word_of(view.session, word);
    52 x 2, "newest_event", "32-bit count", "Number of the newest verdict in this session: when it moves, ask the box what happened.",
        |view, word| crate::words::word_of(view.status.newest_event, word);
    54 x 2, "core", "four bytes", "Version of the core: major, minor, patch, layout of its state.", |_, word| View::core(word);
    56 x 2, "leg_number", "32-bit count", "Number of the leg at its plant; 0 if it has none.", |view, word| view.number(word);
    64 x 16, "leg_name", "UTF-8", "Name of the leg, two bytes a register, the first one above, filled with zeros.",
        |view, word| view.name(word);
    80 x 3, "to_acknowledge", "bits by number of the condition",
        "Alarms that nobody has acknowledged: number 0 is bit 0 of the first. All ones without settings.",
        |view, word| view.bits(view.status.unacknowledged(), word);
    83 x 3, "wrong", "bits by number", "Conditions wrong now, likewise.", |view, word| view.bits(view.status.wrong(), word);
    86 x 3, "latched", "bits by number", "Conditions latched, likewise.", |view, word| view.bits(view.status.latched(), word);
    89 x 3, "bypassed", "bits by number", "Conditions bypassed, likewise.", |view, word| view.bits(view.status.shelved(), word);
    100 x 44, "alarm", "number",
        "State of each condition's alarm, register 100 + number of the condition: 0 normal, 1 to be acknowledged, 2 acknowledged, 3 \
         returned and to be acknowledged, 4 latched and to be acknowledged, 5 latched and acknowledged, 6 bypassed, 7 suppressed by design, \
         8 out of service.", |view, number| view.alarm(number);
}

/// What a register says: unknown where no row names it, `None` beyond the last.
#[must_use]
pub fn read(view: &View<'_>, register: u16) -> Option<u16> {
    if register > LAST {
        return None;
    }
    Some(value(view, register))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use slackside::conditions::Condition;

    use super::*;

    #[test]
    fn rows_are_in_order_and_none_overlaps() {
        let mut free = 0;
        for row in TABLE {
            assert!(row.first >= free && row.count > 0, "{}", row.name);
            free = row.first + row.count;
        }
        assert_eq!(free, LAST + 1, "the last row ends the table");
        let names: BTreeSet<_> = TABLE.iter().map(|row| row.name).collect();
        assert_eq!(names.len(), TABLE.len());
        const { assert!(ACKNOWLEDGE > LAST, "nothing that is read can be written") };
    }

    #[test]
    fn there_is_room_for_every_condition() {
        let alarm = TABLE.last().unwrap();
        for condition in Condition::ALL {
            assert!(u16::from(condition.id()) < alarm.count && condition.id() < 48, "{}", condition.name());
        }
    }
}
