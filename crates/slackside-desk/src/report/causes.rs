//! Every cause in plain words: what to look at first, and what then. Lockout stands before whatever brings a hand into a leg.

use slackside::input::Place;

use crate::findings::cause::Cause;
use crate::findings::track::Track;

/// A cause for people.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Inspection {
    /// A few words.
    pub title: &'static str,
    /// What to do first, with its caution: two lines on a terminal.
    pub first: &'static str,
    /// What to inspect, in the order in which to do it.
    pub inspect: &'static str,
}

/// A place in words.
#[must_use]
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
pub const fn inspection(cause: Cause) -> Inspection {
    let (title, first, inspect) = match cause {
        Cause::BeltParted => (
            "The belt may have parted",
            "Lock out, then look at belt and splice through the inspection doors before anything else is moved.",
            "Lock out and tag out; prove it dead. Look for the belt at the head and at the boot through the inspection doors before \
             anything is moved: a parted belt may hang by a bucket and fall. Keep out from under it.",
        ),
        Cause::LaggingGone => (
            "The head pulley may have lost its lagging",
            "Lock out, then look at the head pulley through the inspection door: is the rubber still on it, all round?",
            "With the leg locked out, look at the head pulley through the inspection door: is the rubber still on it, all round? Look for \
             pieces of it in the boot.",
        ),
        Cause::LaggingSlick => (
            "The lagging may be worn smooth, wet or under a film",
            "Lock out, then feel the head pulley's lagging through the inspection door: smooth, wet or greasy?",
            "With the leg locked out, feel the lagging through the inspection door: worn smooth, wet, greasy, caked? Then what was fed: wet \
             grain, fat, molasses. Then the take-up, for a belt that grips badly is also a slack one.",
        ),
        Cause::TakeUp => (
            "The belt may be slack: take-up at its end, slackened or jammed",
            "Lock out, then look at the take-up: is the belt tight, is there travel left, does a weight hang free?",
            "With the leg locked out, look at the take-up: is the belt tight, is there travel left on both screws, does a weight hang free and \
             its frame move in the guides? A belt that grew may need a new splice.",
        ),
        Cause::HeadPulleyLoose => (
            "The head pulley may turn on its shaft",
            "Lock out, then chalk a line from hub to shaft at the head: after the next start it must still meet.",
            "With the leg locked out, look at the key, the bush and the hub's bolts of the head pulley. Chalk a line from hub to shaft with \
             the leg locked out; start once with all guards shut; lock out again and see whether the line still meets.",
        ),
        Cause::BootPulleyLoose => (
            "The boot pulley may turn on its shaft",
            "Lock out, then chalk a line from hub to shaft at the boot: after the next start it must still meet.",
            "With the leg locked out, look at the key, the bush and the hub's bolts of the boot pulley. Chalk a line from hub to shaft with the \
             leg locked out; start once with all guards shut; lock out again and see whether the line still meets.",
        ),
        Cause::Overload => (
            "The leg may carry more than it is made for",
            "Compare the feed with the leg's capacity; look for a feeder or gate that stands further open than it should.",
            "Compare the feed with the leg's capacity. Look for a feeder or gate that stands further open than it should, and for wet or \
             heavy product.",
        ),
        Cause::Choke => (
            "The boot may be choked",
            "Lock out and tag out; prove it dead. Only then open the boot and dig it out by hand. Never jog it free.",
            "Lock out and tag out the drive and prove it dead; only then open the boot and dig it out by hand. Then find out why it filled: \
             plugged outlet, grain falling back, feed too early.",
        ),
        Cause::BootHeld => (
            "The boot pulley may be held: its bearings, or what is packed round it",
            "Lock out and tag out; prove it dead. Only then open the boot and turn the boot pulley: does it run free?",
            "Lock out and tag out the drive and prove it dead; only then open the boot and turn the boot pulley: does it run free? Feel its \
             bearings for heat and play; clear what is packed or frozen round it.",
        ),
        Cause::BeltCaught => (
            "The belt may be caught: a bucket, a foreign body, a choke",
            "Lock out and tag out; prove it dead. Then look along the belt for what holds it. Never jog it free.",
            "Lock out and tag out the drive and prove it dead; then look along both legs through the doors for what holds the belt: a bucket \
             that hangs on the casing, a foreign body, a choked boot. The belt is under tension: ease the take-up before you free it.",
        ),
        Cause::FrozenStart => (
            "The belt may have been held fast when the motor was started",
            "Lock out and tag out; prove it dead. Then look for ice, settled grain or a caught bucket. Never jog it free.",
            "Lock out and tag out the drive and prove it dead; then look into boot and legs: buckets frozen in, grain settled in the boot, \
             a bucket caught. Empty the boot by hand before the next start.",
        ),
        Cause::HeadBuildup => (
            "Material may have built up on the head pulley",
            "Lock out, then look at the head pulley through the inspection door for caked material, and scrape it off.",
            "With the leg locked out, look at the head pulley through the inspection door for caked material; scrape it off, measure the \
             pulley. Then find what makes it cake: wet product, a scraper that is gone.",
        ),
        Cause::BootBuildup => (
            "Material may have built up on the boot pulley",
            "Lock out, then look at the boot pulley through the inspection door for caked material, and scrape it off.",
            "With the leg locked out, open the boot and look at its pulley for caked material; scrape it off, measure the pulley.",
        ),
        Cause::WrongDiameters => (
            "The pulleys may not be those of the settings",
            "Lock out, then measure both pulleys over lagging and build-up, and hold them against the settings.",
            "With the leg locked out, measure both pulleys over lagging and build-up, and hold them against the settings. If they are right, \
             learn the no-slip ratio on the empty leg and accept it.",
        ),
        Cause::Jogging => (
            "Somebody may be jogging the leg",
            "Ask who started it and why. A choked leg is locked out and dug out by hand, not jogged free.",
            "Ask who started it and why. A choked leg is locked out and dug out by hand, not jogged free: find what kept it from starting.",
        ),
        Cause::OutletPlugged => (
            "The way out at the head may be plugged",
            "Lock out, then check spout, distributor and bin. Expect a filled boot as well.",
            "With the leg locked out, check the spout, the distributor and the bin it leads to. Expect a filled boot as well.",
        ),
        Cause::DriveSlow => (
            "The drive may run slow or heavy",
            "Lock out, then look at the drive belts between motor and reducer; then the motor's current and supply.",
            "With the leg locked out, check the drive belts between motor and reducer, then the bearings of the head shaft for heat, then the \
             reducer; then the motor's current and supply, and what else it drives.",
        ),
        Cause::PowerDip => (
            "The mains may have dipped",
            "Ask what else was started at that time; look at the supply's record. Empty a loaded leg before the next start.",
            "Ask what else was started at that time and look at the supply's record: voltage, phases, fuses. Lock out and empty the boot by \
             hand if the leg stopped loaded.",
        ),
        Cause::Rollback => (
            "The backstop may not hold",
            "Keep away until the leg stands. Then lock out, and have the backstop inspected before it is loaded.",
            "Do not go near the leg until it stands. See first whether the motor runs: then it is the drive contact or its wire that lies. If \
             not, have the backstop inspected before the leg is loaded again.",
        ),
        Cause::OffCentre => (
            "The belt may run off centre",
            "Lock out, then check that the shaft is level and square, and that the take-up pulls evenly.",
            "With the leg locked out, check that the shaft at that end is level and square to the leg, that the take-up pulls evenly on both \
             sides, that the pulley has its crown and no build-up, and that the casing is plumb.",
        ),
        Cause::OnePlace => (
            "One place on the belt may be at fault",
            "Lock out, then look along the belt for a splice out of square, a torn edge or a bucket out of line.",
            "Lock out first. What can be seen standing, look at standing; turn the belt only under the inching key with all guards shut, \
             and look for the splice out of square, a torn edge, or a bucket out of line.",
        ),
        Cause::Runout => (
            "A shaft may be bent or a pulley out of true",
            "Lock out, then put a gauge to shaft and rim and turn them by hand.",
            "With the leg locked out, put a gauge to the shaft and the pulley rim and turn it by hand; look for lagging torn off on one side.",
        ),
        Cause::HeadSensorLost => (
            "The head sensor may be lost",
            "Lock out, then check the head sensor's wire and plug, its gap to the targets and its bracket.",
            "With the leg locked out, check the head sensor's wire and plug, its gap to the targets, and that its bracket did not move.",
        ),
        Cause::BootSensorLost => (
            "The boot sensor may be lost",
            "Lock out, then check the boot sensor's wire and plug, its gap to the targets and its bracket.",
            "With the leg locked out, check the boot sensor's wire and plug, its gap to the targets, and that its bracket did not move. A \
             sensor stays behind when a take-up moves its shaft.",
        ),
        Cause::HeadSensorUnsteady => (
            "The head sensor may see edges that are none, or miss some",
            "Check the head sensor's screen and plug, and that its wire runs apart from motor cables and no core hangs free.",
            "Check that the head sensor's screen is earthed at one end, that its wire does not run beside motor cables, that no core is cut \
             and hanging free. Then, with the leg locked out, plug, bracket and gap.",
        ),
        Cause::BootSensorUnsteady => (
            "The boot sensor may see edges that are none, or miss some",
            "Check the boot sensor's screen and plug, and that its wire runs apart from motor cables and no core hangs free.",
            "Check that the boot sensor's screen is earthed at one end, that its wire does not run beside motor cables, that no core is cut \
             and hanging free. Then, with the leg locked out, plug, bracket and gap.",
        ),
        Cause::HeadTargetLoose => (
            "A target on the head shaft may be loose",
            "Lock out, then take hold of each target on the head shaft by hand: is one loose or moved?",
            "With the leg locked out, take hold of each target on the head shaft by hand; check each one's gap and spacing against the settings.",
        ),
        Cause::BootTargetLoose => (
            "A target on the boot shaft may be loose",
            "Lock out, then take hold of each target on the boot shaft by hand: is one loose or moved?",
            "With the leg locked out, take hold of each target on the boot shaft by hand; check each one's gap and spacing against the settings.",
        ),
        Cause::HeadTargetMissing => (
            "A target on the head shaft may be missing or out of reach",
            "Lock out, then count the head shaft's targets by hand and check each one's gap to the sensor.",
            "With the leg locked out, count the head shaft's targets by hand; check each one's gap to the sensor and its place.",
        ),
        Cause::BootTargetMissing => (
            "A target on the boot shaft may be missing or out of reach",
            "Lock out, then count the boot shaft's targets by hand and check each one's gap to the sensor.",
            "With the leg locked out, count the boot shaft's targets by hand; check each one's gap to the sensor and its place.",
        ),
        Cause::BothSensors => (
            "What both sensors share may have failed",
            "Check what both sensors share: supply, fuse, junction box, cable.",
            "Check the sensors' supply, its fuse, the junction box and the cable both run in.",
        ),
        Cause::WiresBridged => (
            "The wires of the two sensors may be bridged",
            "Lock out and look into the boot: the belt may have stood. Then the terminals and cable of both sensors.",
            "With the leg locked out, unplug the boot sensor: no pulse may come on its input while the head's target passes. Then terminals, \
             junction box and cable, for water and for strands of wire.",
        ),
        Cause::SensorsSwapped => (
            "Head and boot sensor may be swapped",
            "Lock out, then see which sensor answers which input. Until then the belt may be slipping by as much as it seems to gain.",
            "With the leg locked out, pass a piece of steel before the head sensor, and see which of the two the box says has moved. Then the \
             wires in the junction box.",
        ),
        Cause::ContactStuck => (
            "A rub contact may be stuck",
            "Lock out, then see whether the belt leans on it. If not, press the contact by hand and see that it lets go.",
            "With the leg locked out, see whether the belt leans on the contact; if not, press it by hand and see that it closes and lets go. \
             Clean it of what is packed behind it.",
        ),
        Cause::ContactBouncing => (
            "A rub contact may bounce",
            "Lock out, then check the contact's bracket and spring; press it by hand and see that it closes once.",
            "With the leg locked out, check the contact's bracket, spring and wire for play; press it by hand and see that it closes once. \
             Something touches it: see what.",
        ),
        Cause::ContactCut => (
            "A rub contact's wire may be cut",
            "Lock out, then check the contact's wire and terminals; press it by hand and see that it is reported.",
            "With the leg locked out, check the wire and the terminals of the contact; press it by hand and see that it is reported.",
        ),
        Cause::DriveContact => (
            "The starter's auxiliary contact or its wire may be at fault",
            "Watch the starter's auxiliary contact while it pulls in and drops out; check its wire. If a shaft ran on: see whether its sensor trembles.",
            "Watch the contact while the starter pulls in and drops out; check its wire and terminals. If a shaft seemed to run on after the motor \
             was off, lock out and take hold of its sensor, bracket and targets: one that trembles counts though nothing turns, and the belt \
             may have stood behind it.",
        ),
        Cause::SpeedReference => (
            "The speed reference may be at fault",
            "Compare what the drive shows with what arrives; check the wire and the scaling.",
            "Compare what the drive shows with what arrives; check the wire and the scaling in the settings.",
        ),
        Cause::WrongSpeed => (
            "The normal speed may not be that of this leg",
            "Count turns over a minute from outside the guards, and hold them against the settings.",
            "Count the turns of both shafts over a minute with the leg running at its normal speed, from outside the guards, and hold them \
             against the settings; then the number of targets. If they are right, the clock of the box is not.",
        ),
        Cause::Nothing => (
            "It may have been a passing jerk",
            "Look at what was fed and started at that time; if nothing is found, watch whether it comes again.",
            "Look at what was fed and started at that time: a slug, a dip of the mains, a start under load. If nothing is found, watch whether \
             it comes again; an alarm that comes twice has a cause.",
        ),
        Cause::HotSpot => (
            "A rub point or a bearing near it may be hot",
            "Look for smoke and smouldering dust first; open nothing while it smoulders. Lock out, then find what rubs.",
            "Look for smoke and smouldering dust first. Then lock out, find what rubs, and check the bearing.",
        ),
        Cause::PermitWiring => (
            "The run permit may be bypassed in the starter's wiring",
            "Drop the permit and see whether the starter can still be pulled in from anywhere.",
            "Drop the permit and see whether the starter can still be pulled in, from every place it can be started. Take out bridges, hand \
             positions and start circuits that go round the permit's contacts.",
        ),
        Cause::SensorChatter => (
            "A sensor may chatter at rest",
            "Lock out, then see whether a target stands at the edge of the sensor's range.",
            "With the leg locked out, see whether a target stands just at the edge of the sensor's range; turn the shaft a little and see \
             whether it ends. Check the bracket for vibration.",
        ),
        Cause::TimeBase => (
            "The recording's times may be out of order",
            "Check how the logger merges its channels, and sort the rows by time.",
            "Check how the logger merges its channels, and sort the rows by time.",
        ),
    };
    Inspection { title, first, inspect }
}

/// The same for a belt off centre, where the contacts tell what to look at first.
#[must_use]
pub const fn out_of_true(track: Track) -> Inspection {
    let title = inspection(Cause::OffCentre).title;
    let (first, inspect) = match track {
        Track::BootShaft => (
            "Lock out, then check that the boot shaft is level and square, with no bearing or screw loose.",
            "With the leg locked out, check that the boot shaft is level and square to the leg, no bearing or take-up screw loose, and that \
             the take-up pulls evenly on both sides; then the crown of the boot pulley and what is caked on it; then the head shaft, and \
             whether the casing is plumb.",
        ),
        Track::HeadShaft => (
            "Lock out, then check that the head shaft is level and square.",
            "With the leg locked out, check that the head shaft is level and square to the leg: the belt leans on the contact and stays \
             there. Then whether the casing is plumb, then the crown of the head pulley and what is caked on it, then the boot shaft and the \
             take-up.",
        ),
        Track::Casing => (
            "Lock out, then hang a plumb line: is the casing plumb? Then check that the head shaft is level.",
            "With the leg locked out, hang a plumb line along the casing: the contact opens again and again, so that the belt seems to keep \
             its track. Then whether the contact sits where it should, whether the head shaft is level and square, and the crown of the head \
             pulley.",
        ),
    };
    Inspection { title, first, inspect }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever brings a hand into a leg stands with its lockout, in the short words and in the long ones.
    #[test]
    fn no_hand_goes_into_a_leg_without_lockout() {
        let hands = [
            "open the",
            "dig",
            "dug",
            "by hand",
            "inspection door",
            "gauge to",
            "measure both",
            "empty the boot",
            "chalk a",
            "scrape",
            "feel ",
            "turn the",
        ];
        let of_tracks = Track::ALL.map(|track| (Cause::OffCentre, out_of_true(track)));
        for (cause, found) in Cause::every().map(|cause| (cause, inspection(cause))).chain(of_tracks) {
            for said in [found.first, found.inspect] {
                let said = said.to_lowercase();
                assert!(!said.is_empty(), "{cause:?}");
                let locked = ["lock out", "locked out"].into_iter().filter_map(|words| said.find(words)).min();
                for (hand, at) in hands.iter().filter_map(|hand| Some((hand, said.find(hand)?))) {
                    assert!(locked.is_some_and(|locked| locked < at), "{cause:?}, {hand}: {said}");
                }
            }
            assert!(found.first.chars().count() <= 150, "{cause:?}: more than two lines");
        }
    }
}
