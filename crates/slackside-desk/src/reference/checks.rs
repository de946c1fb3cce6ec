//! What to check for each condition, before anything is known of its cause.

use slackside::conditions::Condition;

/// What to check first, with its caution.
#[must_use]
pub const fn first_check(condition: Condition) -> &'static str {
    match condition {
        Condition::BeltNotFollowing => {
            "Lock out and tag out. Then whether the belt is whole, whether the boot is choked, and only then the boot sensor. \
             Never start it again to see."
        }
        Condition::SlipVeryHigh | Condition::SlipHigh | Condition::SlipMean | Condition::SlipHeat => {
            "Lock out. Take-up travel and tension, then the lagging through the inspection door, then what the leg was fed, \
             then the boot. Feel for heat and smell for smoke before anything is opened."
        }
        Condition::SlipImpossible | Condition::SlipNegative => {
            "The settings first: are they those of this leg? Then lock out, and count the targets and measure both pulleys."
        }
        Condition::RatioOrWiring => {
            "Lock out and look into the boot: the belt may have slipped. Then build-up on the head pulley, both pulleys and the \
             targets against the settings, and which sensor is on which input."
        }
        Condition::FasterThanNormal => {
            "Count the turns of both shafts over a minute, from outside the guards, and hold them against the settings."
        }
        Condition::DeepUnderspeed | Condition::Underspeed => {
            "Did the head slow down too? Then the drive: its belts, its supply. If the head did not, as for slip. Lock out first."
        }
        Condition::NoMotion => {
            "Lock out. Does the belt stand, or only its sensor? Then the boot, then the drive belts."
        }
        Condition::HeadUnderspeed => {
            "Motor current and supply. Then lock out, and look at the drive belts and the reducer."
        }
        Condition::StartFailed => {
            "Was the leg started loaded? Lock out and empty the boot; then motor, starter and drive belts."
        }
        Condition::TooManyStarts => {
            "Ask who started it and why. A choked leg is locked out and dug out, never jogged free."
        }
        Condition::Rollback => {
            "Keep away until it stands. Whether the motor runs though its contact says off; then lock out, and the backstop."
        }
        Condition::EdgesAtRest => "Lock out. A target at the edge of the sensor's range, a loose bracket, vibration.",
        Condition::Mistracking | Condition::MistrackingDuty | Condition::MistrackingSustained => {
            "Look and smell for heat at that place first. Then lock out: shaft level and square, take-up even, crown there, no \
             build-up, splice square."
        }
        Condition::RubAtOnePlace => {
            "Look and smell for heat at that place first. Then lock out and turn the belt by hand once round: a torn edge, the \
             splice, a bucket bolt."
        }
        Condition::RubHot => {
            "Smoke and smouldering dust first; open nothing while it smoulders. Then lock out, and find what rubs; the bearing."
        }
        Condition::RatioShifted => {
            "Lock out. Is the lagging still on the head pulley, all round? Build-up on either pulley? Then measure both."
        }
        Condition::OutletPlugged => "Stop the feed. Lock out; spout, distributor, bin. Expect a filled boot as well.",
        Condition::HeadSensorFault | Condition::BootSensorFault | Condition::HeadSilent => {
            "Lock out. That sensor's wire and plug, its gap to the targets, its bracket, the screen's earth."
        }
        Condition::BothSilent => "What both sensors share: supply, fuse, junction box, cable.",
        Condition::SlipUnknown => "Why the sensors' signals are not trusted: see which other conditions came with it.",
        Condition::FeedHunting => "Which alarms dropped the feed each time: what they point to. Only then acknowledge.",
        Condition::HeadTargets | Condition::BootTargets => {
            "Lock out. Count the targets of that shaft; none loose, none doubled, each at its gap. Then plug and cable of its sensor."
        }
        Condition::ContactFault => {
            "Lock out. The contact's wire, then the contact: press it and see that it is reported."
        }
        Condition::DriveContactFault => {
            "The starter's auxiliary contact, its wire and terminals, while it pulls in and drops out. Where a shaft seemed to run on with the \
             motor off: lock out, and see whether its sensor or a target trembles, behind which the belt may have stood."
        }
        Condition::ReferenceFault => {
            "What the drive shows against what arrives; the wire; the scaling in the settings."
        }
        Condition::TimeBaseFault => "How the logger merges its channels; in a box, report it with the recording.",
        Condition::SettingsFault => {
            "Read the settings back from the box, or write them again with the key on and the leg at rest."
        }
        Condition::ResetHeld => "The reset button: stuck, or wedged by somebody.",
        Condition::BypassActive => "Who bypassed what, and whether the leg is attended.",
        Condition::PermitBypassed => {
            "The starter's wiring: bridges, hand positions, start circuits that go round the permit's contacts. The leg must \
             not run until it is mended."
        }
    }
}
