//! What a box says, for other programs: keys carry their units, `null` is "not known" or "not fitted". The words are in `say`.

use serde_json::{Value, json};
use slackside::conditions::{Condition, ConditionSet};
use slackside::input::Place;
use slackside::settings::plan::{Plan, act};
use slackside::settings::{Field, LimitPart, Quantity};
use slackside::signals::{Reading, ShaftSignals, rub};
use slackside::units::{Micros, Ppm};
use slackside::wire::{BoxStatus, Hello, LinkStatus, flags};
use slackside_box::fault::Faults;

use slackside_desk::replay::{phase_name, place_name};

use super::clock::Time;
use super::say::speed_at_most;

fn percent(ppm: Ppm) -> f64 {
    f64::from(ppm.get()) / 1e4
}

/// A moment of the box's running time, and of the day where that is known.
fn time(time: &Time) -> (u64, Option<String>) {
    (time.at.get(), time.of_day())
}

fn names(set: ConditionSet) -> Vec<&'static str> {
    set.iter().map(Condition::name).collect()
}

/// Who the box is.
#[must_use]
pub fn hello_object(hello: &Hello<'_>, at: &Time) -> Value {
    let leg = String::from_utf8_lossy(hello.leg);
    let (time_us, time) = time(at);
    json!({
        "leg": (!leg.is_empty()).then_some(leg),
        "serial": hello.serial,
        "firmware": hello.firmware,
        "core": format!("{}.{}.{}", hello.core.major, hello.core.minor, hello.core.patch),
        "settings": (hello.plan != 0).then(|| format!("{:08X}", hello.plan)),
        "session": hello.session,
        "time_us": time_us,
        "time": time,
    })
}

fn shaft(shaft: &ShaftSignals, now: Micros, supervised: bool) -> Value {
    json!({
        "rpm_at_most": speed_at_most(shaft, now).map(|speed| f64::from(speed.get()) * 60.0 / 1e6),
        "edges": shaft.edges,
        "rejected": shaft.rejected,
        "line": match shaft.line {
            _ if !supervised => "unsupervised",
            0 => "sound",
            1 => "open",
            _ => "shorted",
        },
        "trusted": shaft.distrust == 0,
    })
}

fn slip(reading: Reading) -> Value {
    match reading.is_known() {
        true => json!({"least_pct": percent(Ppm::new(reading.least)), "exact": reading.is_exact()}),
        false => Value::Null,
    }
}

/// The state of a box.
#[must_use]
pub fn status_object(status: &LinkStatus, own: &BoxStatus, at: &Time) -> Value {
    let (time_us, time) = time(at);
    let signals = &status.signals;
    let [head, boot] = own.supervised_shafts;
    let of = |fitted: u8, signals: &ShaftSignals, supervised: bool| {
        status.is(fitted).then(|| shaft(signals, status.at(), supervised))
    };
    // Every plan has targets on the boot; a box without one judges nothing.
    let judges = status.is(flags::BOOT_FITTED);
    let known = |set: ConditionSet| judges.then(|| names(set));
    let contacts: Vec<Value> = Place::ALL
        .into_iter()
        .zip(signals.contacts)
        .zip(own.supervised_contacts)
        .filter(|((place, _), _)| status.contacts >> place.index() & 1 == 1)
        .map(|((place, contact), supervised)| {
            let state = match contact.state {
                rub::CLEAR => "clear",
                rub::RUBBING => "rubbing",
                _ => "faulty",
            };
            let duty = percent(Ppm::new(contact.duty));
            json!({"place": place_name(place), "state": state, "duty_pct": duty, "supervised": supervised})
        })
        .collect();
    json!({
        "time_us": time_us,
        "time": time,
        "phase": phase_name(status.phase()),
        "run_permit": status.is(flags::RUN_PERMIT),
        "run_contacts_closed": own.run_given,
        "feed_permit": status.is(flags::FEED_PERMIT),
        "feed_contacts_closed": own.feed_given,
        "key_on": status.is(flags::KEY_ON),
        "waits_for_press": own.waits_for_press,
        "link_refused": own.refused.count,
        "link_refused_first_us": (own.refused.count > 0).then_some(own.refused.first.get()),
        "link_refused_last_us": (own.refused.count > 0).then_some(own.refused.last.get()),
        "first_out": status.first_out().map(Condition::name),
        "boot_cleared_needed": status.is(flags::BOOT_CLEARED_NEEDED),
        "head": of(flags::HEAD_FITTED, &signals.head, head),
        "boot": of(flags::BOOT_FITTED, &signals.boot, boot),
        "slip_short": slip(signals.short),
        "slip_long": slip(signals.long),
        "slip_heat_pct": judges.then(|| percent(Ppm::new(status.slip_heat))),
        "contacts": contacts,
        "wrong": known(status.wrong()),
        "latched": known(status.latched()),
        "unacknowledged": known(status.unacknowledged()),
        "shelved": names(status.shelved()),
        "faults": Faults::from_bits(own.faults).iter().map(|fault| fault.says()).collect::<Vec<_>>(),
    })
}

/// What a box runs on.
#[must_use]
pub fn plan_object(plan: &Plan) -> Value {
    let conditions: Vec<Value> = Condition::ALL
        .into_iter()
        .map(|condition| {
            let (row, acts) = (plan.row(condition.rank()), plan.acts(condition.rank()));
            let judged = acts & act::JUDGED != 0;
            let setpoint = Quantity::new(row.setpoint.into(), Field::Limit(condition, LimitPart::Setpoint).unit());
            let action = match acts {
                acts if acts & act::STOP != 0 => "stop",
                acts if acts & act::DROP_FEED != 0 => "drop_feed",
                _ => "alarm",
            };
            json!({
                "condition": condition.name(),
                "judged": judged,
                "setpoint": judged.then(|| setpoint.to_string()),
                "on_delay_s": judged.then(|| f64::from(row.on_delay) / 1e6),
                "action": judged.then_some(action),
                "latches": judged.then_some(acts & act::LATCHING != 0),
            })
        })
        .collect();
    json!({"leg": plan.leg_name(), "identity": format!("{:08X}", plan.identity()), "conditions": conditions})
}
