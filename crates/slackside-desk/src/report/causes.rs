//! Every cause in plain language, with what to inspect.

use slackside::diagnose::{Cause, Confidence};
use slackside::input::{Place, Shaft};

/// A cause for people.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Inspection {
    /// A few words.
    pub title: String,
    /// What to do first, with its caution: two lines on a terminal.
    pub first: &'static str,
    /// What to inspect, in the order in which to do it.
    pub inspect: &'static str,
}

/// How sure a finding is, as words.
pub const fn sureness(confidence: Confidence) -> &'static str {
    match confidence {
        Confidence::Strong => "fits well",
        Confidence::Likely => "likely",
        Confidence::Possible => "possible",
    }
}

const fn shaft(shaft: Shaft) -> &'static str {
    match shaft {
        Shaft::Head => "head",
        Shaft::Boot => "boot",
    }
}

/// A place in words.
pub const fn place(place: Place) -> &'static str {
    match place {
        Place::HeadLeft => "head, left side",
        Place::HeadRight => "head, right side",
        Place::BootLeft => "boot, left side",
        Place::BootRight => "boot, right side",
    }
}

/// What to inspect for a cause.
#[must_use]
#[expect(clippy::too_many_lines, reason = "a table: the words of every cause")]
pub fn inspection(cause: Cause) -> Inspection {
    let (title, inspect) = match cause {
        Cause::LaggingLost => (
            "The head pulley may have lost its lagging".to_owned(),
            "With the leg locked out, look at the head pulley through the inspection door: is the rubber still on it, all round? Look for pieces of \
             it in the boot.",
        ),
        Cause::RatioWrong => (
            "The pulleys may not be of the size that the settings say: build-up, new lagging, or settings of another leg".to_owned(),
            "With the leg locked out, measure both pulleys over lagging and build-up, and hold them against the settings. Build-up is scraped \
             off, with the lockout in place. If both are right, learn the no-slip ratio on the empty leg and accept it.",
        ),
        Cause::SensorsSwapped => (
            "Head and boot sensor may be swapped".to_owned(),
            "With the leg locked out, pass a piece of steel before the head sensor, and see which of the two the box says has moved. Then the wires \
             in the junction box.",
        ),
        Cause::SpeedWrong => (
            "The normal speed may not be that of this leg".to_owned(),
            "Count the turns of both shafts over a minute with the leg running at its normal speed, from outside the guards, and hold them against \
             the settings; then the number of targets. If they are right, the clock of the box is not.",
        ),
        Cause::WiresBridged => (
            "The wires of the two sensors may be bridged".to_owned(),
            "With the leg locked out, unplug the boot sensor: no pulse may come on its input while the head's target passes. Then terminals, \
             junction box and cable, for water and for strands of wire.",
        ),
        Cause::GripLost => (
            "The head pulley may not grip the belt".to_owned(),
            "With the leg locked out, check the take-up: is the belt tight, is the take-up free and not at its end? Then the lagging: worn smooth, \
             wet, greasy? Then whether the load is more than usual.",
        ),
        Cause::Overloaded => (
            "The leg may carry more than it is made for".to_owned(),
            "Compare the feed with the leg's capacity. Look for a feeder or gate that stands further open than it should, \
             and for wet or heavy product.",
        ),
        Cause::BootChoked => (
            "The boot may be choked, or its pulley held".to_owned(),
            "Lock out and tag out the drive; only then open the boot and dig it out by hand. Turn the boot pulley: does it run free? Then find out why it filled: \
             plugged outlet, grain falling back, feed too early.",
        ),
        Cause::BeltParted => (
            "The belt may have parted".to_owned(),
            "With the leg locked out, look at the belt and its splice through the inspection doors before anything else is moved.",
        ),
        Cause::DriveSlow => (
            "The drive may run slow".to_owned(),
            "With the leg locked out, check the drive belts between motor and reducer, then the motor's current and supply, then the reducer.",
        ),
        Cause::HeavyStart => (
            "The start may have been too heavy".to_owned(),
            "Was the leg loaded when it was started? Lock out, then empty the boot. Then check the motor, its starter and the drive belts.",
        ),
        Cause::SensorLost(which) => (
            format!("The {} sensor may be lost", shaft(which)),
            "With the leg locked out, check the sensor's wire and plug, its gap to the targets, and that its bracket did not move. A sensor stays \
             behind when a take-up moves its shaft.",
        ),
        Cause::CommonSupply => (
            "What both sensors share may have failed".to_owned(),
            "Check the sensors' supply, its fuse, the junction box and the cable both run in.",
        ),
        Cause::SensorNoise(which) => (
            format!("There may be noise on the {} sensor's wire", shaft(which)),
            "Check that the screen is earthed at one end, that the wire does not run beside motor cables, and that no core \
             is cut and hanging free.",
        ),
        Cause::Target(which) => (
            format!("A target on the {} shaft may be missing, loose or doubled", shaft(which)),
            "With the leg locked out, count the targets by hand, see that none is loose, and check each one's gap and spacing \
             against the settings.",
        ),
        Cause::OffCentre(where_) => (
            format!("The belt may run off centre: {}", place(where_)),
            "With the leg locked out, check that the shaft is level and square to the leg, that the take-up pulls evenly on both sides, and that the \
             pulley still has its crown and no build-up.",
        ),
        Cause::OutOfLine => (
            "Head and boot may be out of line".to_owned(),
            "The belt rubs on opposite sides at head and boot. With the leg locked out, check both shafts for parallel, and the casing for plumb.",
        ),
        Cause::BeltFault(where_) => (
            format!("One place on the belt may be at fault; it rubs at the {}", place(where_)),
            "Lock out first. What can be seen standing, look at standing; turn the belt only under the inching key with all guards shut, and look for the splice out of square, a torn edge, or a bucket out of line.",
        ),
        Cause::ShaftFault(where_) => (
            format!("A shaft may be bent or a pulley out of true: {}", place(where_)),
            "With the leg locked out, put a gauge to the shaft and the pulley rim and turn it by hand.",
        ),
        Cause::ContactLost => (
            "A rub contact or its wire may be at fault".to_owned(),
            "With the leg locked out, check the wire and the contact; press it by hand and see that it is reported.",
        ),
        Cause::BackstopFailed => (
            "The backstop may not hold".to_owned(),
            "Do not go near the leg until it stands. See first whether the motor runs: then it is the drive contact or its wire \
             that lies. If not, have the backstop inspected before the leg is loaded again.",
        ),
        Cause::SensorChatter => (
            "A sensor may chatter at rest".to_owned(),
            "With the leg locked out, see whether a target stands just at the edge of the sensor's range; turn the shaft a little and see whether it \
             ends. Check the bracket for vibration.",
        ),
        Cause::OutletPlugged => (
            "The way out at the head may be plugged".to_owned(),
            "With the leg locked out, check the spout, the distributor and the bin it leads to. Expect a filled boot as well.",
        ),
        Cause::DriveContact => (
            "The starter's auxiliary contact or its wire may be at fault".to_owned(),
            "Watch the contact while the starter pulls in and drops out; check its wire and terminals.",
        ),
        Cause::PermitWiring => (
            "The run permit may be bypassed in the starter's wiring".to_owned(),
            "Drop the permit and see whether the starter can still be pulled in, from every place it can be started. Take out \
             bridges, hand positions and start circuits that go round the permit's contacts.",
        ),
        Cause::SpeedReference => (
            "The speed reference may be at fault".to_owned(),
            "Compare what the drive shows with what arrives; check the wire and the scaling in the settings.",
        ),
        Cause::Jogging => (
            "Somebody may be jogging the leg".to_owned(),
            "Ask who started it and why. A choked leg is locked out and dug out by hand, not jogged free.",
        ),
        Cause::HotSpot => (
            "A rub point or a bearing near it may be hot".to_owned(),
            "Look for smoke and smouldering dust first. Then lock out, find what rubs, and check the bearing.",
        ),
        Cause::TimeBase => (
            "The recording's times may be out of order".to_owned(),
            "Check how the logger merges its channels, and sort the rows by time.",
        ),
        _ => ("Something without a name here".to_owned(), "See the events file."),
    };
    Inspection { title, first: first(cause), inspect }
}

/// What to do first, with its caution.
const fn first(cause: Cause) -> &'static str {
    match cause {
        Cause::LaggingLost => {
            "Lock out, then look at the head pulley through the inspection door: is the rubber still on it, all round?"
        }
        Cause::RatioWrong => {
            "Lock out, then measure both pulleys over lagging and build-up, and hold them against the settings."
        }
        Cause::SensorsSwapped => {
            "Lock out, then see which sensor answers which input. Until then the belt may be slipping by as much as it seems to gain."
        }
        Cause::SpeedWrong => "Count turns over a minute from outside the guards, and hold them against the settings.",
        Cause::WiresBridged => {
            "Lock out and look into the boot: the belt may have stood. Then the terminals and cable of both sensors."
        }
        Cause::GripLost => {
            "Lock out, then look at the take-up: is the belt tight, is there travel left? Then at the lagging."
        }
        Cause::Overloaded => {
            "Compare the feed with the leg's capacity; look for a feeder or gate that stands further open than it should."
        }
        Cause::BootChoked => "Lock out and tag out; only then open the boot and dig it out by hand. Never jog it free.",
        Cause::BeltParted => {
            "Lock out, then look at belt and splice through the inspection doors before anything else is moved."
        }
        Cause::DriveSlow => {
            "Lock out, then look at the drive belts between motor and reducer; then the motor's current and supply."
        }
        Cause::HeavyStart => "Was the leg loaded when it was started? Lock out, then empty the boot by hand.",
        Cause::SensorLost(_) => {
            "Lock out, then check the sensor's wire and plug, its gap to the targets and its bracket."
        }
        Cause::CommonSupply => "Check what both sensors share: supply, fuse, junction box, cable.",
        Cause::SensorNoise(_) => {
            "Check the screen's earth, and that the wire runs apart from motor cables and no core hangs free."
        }
        Cause::Target(_) => {
            "Lock out, then count the targets by hand; see that none is loose and check each one's gap."
        }
        Cause::OffCentre(_) => {
            "Lock out, then check that the shaft is level and square, and that the take-up pulls evenly."
        }
        Cause::OutOfLine => "Lock out, then check both shafts for parallel and the casing for plumb.",
        Cause::BeltFault(_) => {
            "Lock out, then look along the belt for a splice out of square, a torn edge or a bucket out of line."
        }
        Cause::ShaftFault(_) => "Lock out, then put a gauge to shaft and rim and turn them by hand.",
        Cause::ContactLost => {
            "Lock out, then check the contact and its wire; press it by hand and see that it is reported."
        }
        Cause::BackstopFailed => {
            "Keep away until the leg stands. Then lock out, and have the backstop inspected before it is loaded."
        }
        Cause::SensorChatter => "Lock out, then see whether a target stands at the edge of the sensor's range.",
        Cause::OutletPlugged => "Lock out, then check spout, distributor and bin. Expect a filled boot as well.",
        Cause::DriveContact => "Watch the starter's auxiliary contact while it pulls in and drops out; check its wire.",
        Cause::PermitWiring => "Drop the permit and see whether the starter can still be pulled in from anywhere.",
        Cause::SpeedReference => "Compare what the drive shows with what arrives; check the wire and the scaling.",
        Cause::Jogging => {
            "Ask who started it and why. A choked leg is locked out and dug out by hand, not jogged free."
        }
        Cause::HotSpot => {
            "Look for smoke and smouldering dust first; open nothing while it smoulders. Lock out, then find what rubs."
        }
        Cause::TimeBase => "Check how the logger merges its channels, and sort the rows by time.",
        _ => "See the events file.",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLACES: [Place; 2] = [Place::HeadLeft, Place::BootRight];

    fn all() -> Vec<Cause> {
        let mut all = vec![
            Cause::LaggingLost,
            Cause::RatioWrong,
            Cause::SensorsSwapped,
            Cause::SpeedWrong,
            Cause::WiresBridged,
            Cause::GripLost,
            Cause::Overloaded,
            Cause::BootChoked,
            Cause::BeltParted,
            Cause::DriveSlow,
            Cause::HeavyStart,
            Cause::CommonSupply,
            Cause::OutOfLine,
            Cause::ContactLost,
            Cause::BackstopFailed,
            Cause::SensorChatter,
            Cause::OutletPlugged,
            Cause::DriveContact,
            Cause::PermitWiring,
            Cause::SpeedReference,
            Cause::Jogging,
            Cause::HotSpot,
            Cause::TimeBase,
        ];
        for shaft in [Shaft::Head, Shaft::Boot] {
            all.extend([Cause::SensorLost(shaft), Cause::SensorNoise(shaft), Cause::Target(shaft)]);
        }
        for place in PLACES {
            all.extend([Cause::OffCentre(place), Cause::BeltFault(place), Cause::ShaftFault(place)]);
        }
        all
    }

    /// Whatever brings a hand into a leg stands with its lockout, in the short words and in the long ones.
    #[test]
    fn no_hand_goes_into_a_leg_without_lockout() {
        let hands =
            ["open the", "dig", "dug", "by hand", "inspection door", "gauge to", "measure both", "empty the boot"];
        for cause in all() {
            let found = inspection(cause);
            for said in [found.first, found.inspect] {
                let said = said.to_lowercase();
                assert!(!said.is_empty() && said != "see the events file.", "{cause:?}");
                if let Some(hand) = hands.iter().find(|hand| said.contains(**hand)) {
                    let before = said.find("lock out").or_else(|| said.find("locked out"));
                    let at = said.find(*hand).unwrap_or(0);
                    assert!(before.is_some_and(|before| before < at), "{cause:?}: {said}");
                }
            }
            assert!(found.first.chars().count() <= 150, "{cause:?}: more than two lines");
        }
    }
}
