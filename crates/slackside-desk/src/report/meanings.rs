//! Every condition in plain language.

use slackside::judge::Condition;

/// A condition for people.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meaning {
    /// A few words.
    pub title: &'static str,
    /// What it means, for someone new to the trade.
    pub sentence: &'static str,
}

/// What a condition means.
#[must_use]
pub const fn meaning(condition: Condition) -> Meaning {
    let (title, sentence) = match condition {
        Condition::BeltNotFollowing => (
            "Belt not following",
            "The head pulley went on turning while the boot pulley gave no sign of motion. Either the belt stood still under \
             a turning pulley, which burns through it in minutes, or the boot sensor fell silent.",
        ),
        Condition::SlipVeryHigh => (
            "Slip very high",
            "The head pulley ran much faster than the belt: it was sliding under the belt instead of carrying it. Sliding \
             makes heat, and heat in a dusty leg can start a fire or an explosion.",
        ),
        Condition::SlipHigh => (
            "Slip high",
            "The head pulley ran clearly faster than the belt. A sound belt creeps about one per cent; this was more. The \
             feed is to be stopped so that the leg can empty itself.",
        ),
        Condition::SlipHeat => (
            "Slip heat over budget",
            "Each slip puts heat into the head pulley and the belt. Added up, and less what went away again, it was more \
             than this leg's settings allow.",
        ),
        Condition::SlipImpossible => (
            "Slip impossible",
            "The boot seemed to run much faster than the belt can drive it. That cannot be, so one of the two signals is \
             wrong, and the leg was not being watched.",
        ),
        Condition::SlipNegative => (
            "Slip below zero",
            "The boot seemed to run faster than the belt. Most often the pulley diameters in the settings are not those of \
             the leg, or a sensor gives an edge too many.",
        ),
        Condition::DeepUnderspeed => (
            "Belt far too slow",
            "The belt ran so much slower than normal that the leg has to stop: 29 CFR 1910.272(q) allows a loss of no more \
             than 20 per cent.",
        ),
        Condition::Underspeed => ("Belt slow", "The belt ran slower than normal."),
        Condition::NoMotion => ("No motion", "The drive was on and the belt stood, or nearly."),
        Condition::HeadUnderspeed => {
            ("Head slow", "The head shaft itself ran slower than normal. That points to the drive, not to the belt.")
        }
        Condition::StartFailed => {
            ("Start failed", "The leg was started and did not come up to speed in the time it is given.")
        }
        Condition::TooManyStarts => (
            "Too many starts",
            "The leg was started more often than its settings allow. Jogging a choked leg is how belts are burnt.",
        ),
        Condition::Rollback => (
            "Rolled back",
            "The shafts turned while the drive contact said off, after standing or faster and faster: a loaded leg running \
             backwards, or a motor that runs though its contact or wire says off. The sensors cannot tell which way a shaft \
             turns: the leg may still be turning.",
        ),
        Condition::EdgesAtRest => {
            ("Edges at rest", "One sensor gave signals while the leg stood. Such a sensor could hide a standing belt.")
        }
        Condition::Mistracking => (
            "Belt off centre",
            "The belt rubbed at its side longer than a splice takes to brush past: it runs off centre.",
        ),
        Condition::MistrackingDuty => {
            ("Belt off centre for much of its loop", "The belt rubbed at its side over a large share of its loop.")
        }
        Condition::MistrackingSustained => {
            ("Belt keeps rubbing", "The belt went on rubbing at its side. A steady rub gets hot.")
        }
        Condition::RubHot => {
            ("Rub point hot", "A place where the belt can rub was hotter than is safe near grain dust.")
        }
        Condition::RatioShifted => (
            "No-slip ratio shifted",
            "Over many turns the boot kept a different ratio to the head than the settings say, at any load. Lagging that \
             came off, build-up on a pulley or wrong diameters do that.",
        ),
        Condition::OutletPlugged => {
            ("Outlet plugged", "Grain could not get out at the head. It falls back down the leg and chokes the boot.")
        }
        Condition::HeadSensorFault => {
            ("Head sensor fault", "What the head sensor said could not be believed, so slip was not known.")
        }
        Condition::BootSensorFault => {
            ("Boot sensor fault", "What the boot sensor said could not be believed, so the belt was not being watched.")
        }
        Condition::HeadSilent => (
            "Head sensor silent",
            "The head sensor fell silent while the boot went on turning: the sensor, its wire or its target.",
        ),
        Condition::BothSilent => (
            "Both sensors silent at once",
            "Head and boot fell silent together, faster than a leg can stop: something both sensors share has failed.",
        ),
        Condition::SlipUnknown => (
            "Slip not known",
            "The leg ran too long without slip being known. What is not known is not taken to be in order.",
        ),
        Condition::HeadTargets => (
            "Head targets",
            "The pattern of the head's signal says that a target is missing, that there is one too many, or that one has moved.",
        ),
        Condition::BootTargets => (
            "Boot targets",
            "The pattern of the boot's signal says that a target is missing, that there is one too many, or that one has moved.",
        ),
        Condition::ContactFault => {
            ("Rub contact fault", "A rub contact's wire is cut or shorted: where the belt runs there is not known.")
        }
        Condition::DriveContactFault => (
            "Drive contact fault",
            "The drive contact chattered or toggled, or said the opposite of what the shafts did.",
        ),
        Condition::ReferenceFault => (
            "Speed reference fault",
            "The speed asked of the drive did not come, or could not be believed; the belt was held against its nameplate speed.",
        ),
        Condition::TimeBaseFault => (
            "Time base fault",
            "Too many inputs came out of order in time for anything measured from them to be believed.",
        ),
        Condition::SettingsFault => (
            "Settings fault",
            "Settings or the stored state could not be read. Without them nothing is allowed to run.",
        ),
        Condition::ResetHeld => ("Reset button held", "The reset button was held down: stuck, or wedged."),
        Condition::BypassActive => (
            "Bypass running",
            "Somebody bypassed a condition for a time. That protection was off, and the leg had to be attended.",
        ),
        Condition::PermitBypassed => (
            "Run permit bypassed in the wiring",
            "The leg was started while the run permit was dropped. So the permit's contacts do not keep the starter off: they are \
             bridged, or were never wired into it, and no trip can stop this leg.",
        ),
    };
    Meaning { title, sentence }
}
