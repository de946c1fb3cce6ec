//! The reason for each limit, in a line, for settings files and sheets.

use slackside::judge::Condition;

/// Why this condition is watched and its starting value is what it is.
#[must_use]
pub const fn reason(condition: Condition) -> &'static str {
    match condition {
        Condition::BeltNotFollowing => "Two head turns without a boot edge: all slip heat enters one patch of belt.",
        Condition::SlipVeryHigh => "Fourteen times healthy creep; with its delay still within the code's 20 %.",
        Condition::SlipHigh => "Five times healthy creep. Feed drops so that the leg empties itself.",
        Condition::SlipHeat => "The whole slip-heat budget: light slip stops later, heavy slip sooner.",
        Condition::SlipImpossible => "A boot that outruns the belt by 10 % means that a signal is wrong.",
        Condition::SlipNegative => "More negative slip than wrong geometry explains: look at ratio and targets.",
        Condition::DeepUnderspeed => "29 CFR 1910.272(q)(5): stopped before belt speed has fallen by 20 %.",
        Condition::Underspeed => "Motor slip at full load is 2 to 4 %, so 10 % is no change of load.",
        Condition::NoMotion => "A belt at a fifth of its speed with the drive on stands.",
        Condition::HeadUnderspeed => "Head slow as well: the drive, not the belt.",
        Condition::StartFailed => "Legs started across the line are at speed in 2 to 5 s; twice that.",
        Condition::TooManyStarts => "One start more within the window is jogging, 29 CFR 1910.272(q)(1).",
        Condition::Rollback => "A loaded leg running backwards, or turning with the drive off.",
        Condition::EdgesAtRest => "More edges at rest than a settling bucket gives: a sensor chatters.",
        Condition::Mistracking => "Longer than a splice brushing past. 29 CFR 1910.272(q)(6) asks for the alarm.",
        Condition::MistrackingDuty => "Rubs on a tenth of the loop: an edge or splice fault, or the belt wanders.",
        Condition::MistrackingSustained => "A steady rub heats. Whether to stop for it is each leg's choice.",
        Condition::RubHot => "Well below the ignition of dust layers (soy flour 190 C, less 75 K).",
        Condition::RatioShifted => "Half of what 12 mm of lagging lost from a 600 mm pulley shows.",
        Condition::OutletPlugged => "A slug of grain passing the switch is no plug.",
        Condition::HeadSensorFault => "A signal that cannot be trusted is never read as healthy.",
        Condition::BootSensorFault => "A signal that cannot be trusted is never read as healthy.",
        Condition::HeadSilent => "The head sensor is silent while the boot turns: slip is unknown.",
        Condition::BothSilent => "Both silent sooner than the leg can stop: one common failure.",
        Condition::SlipUnknown => "Slip unknown for longer than a slow leg takes to fill its windows.",
        Condition::HeadTargets => "A target is missing, or there is one too many.",
        Condition::BootTargets => "A target is missing, or there is one too many.",
        Condition::ContactFault => "A faulty rub contact says nothing of where the belt runs.",
        Condition::DriveContactFault => "The drive contact chatters, toggles or contradicts the shafts.",
        Condition::ReferenceFault => "Without a sound speed reference nameplate speed is used.",
        Condition::TimeBaseFault => "Inputs out of order in time: nothing measured from them can be trusted.",
        Condition::SettingsFault => "Unreadable settings or stored state count as a latched trip.",
        Condition::ResetHeld => "A reset button held down resets nothing.",
        Condition::BypassActive => "A bypass is announced for as long as it lasts.",
        Condition::PermitBypassed => "Started with the run permit dropped: its contacts do not stop the drive.",
    }
}
