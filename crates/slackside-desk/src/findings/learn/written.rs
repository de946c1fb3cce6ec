//! The written scenarios: which causes it is right to name first in each.

use slackside::diagnose::Rubs;
use slackside::input::Place;

use super::super::answer::Answer;
use super::super::cause::Cause;
use super::super::model::Model;
use super::draw::{Drawn, Wires};
use super::row::Row;
use crate::error::Result;
use crate::scenario::Scenario;
use crate::scenario::score::checked;
use crate::scenario::settings::Commissioned;

/// Scenarios by the names of their files, and what is right to name first of all. In those that are not here nothing that the model knows
/// is wrong.
const RIGHT: [(&str, &[Cause]); 55] = [
    ("belt-edge-damaged", &[Cause::OnePlace]),
    ("belt-parted", &[Cause::BeltParted]),
    ("belt-parted-clear", &[Cause::BeltParted]),
    ("boot-end-loose", &[Cause::OffCentre]),
    ("boot-pulley-loose", &[Cause::BootPulleyLoose]),
    ("boot-pulley-packed", &[Cause::BootHeld]),
    ("boot-pulley-seized", &[Cause::BootHeld]),
    ("boot-sensor-bounce", &[Cause::BootSensorUnsteady]),
    ("boot-sensor-cut", &[Cause::BootSensorLost]),
    ("boot-sensor-dropout", &[Cause::BootSensorUnsteady]),
    ("boot-sensor-hum", &[Cause::BootSensorUnsteady]),
    ("boot-sensor-jitter", &[Cause::BootSensorUnsteady]),
    ("boot-sensor-left-behind", &[Cause::BootSensorLost, Cause::BootTargetMissing]),
    ("boot-sensor-noise", &[Cause::BootSensorUnsteady]),
    ("boot-sensor-stuck", &[Cause::BootSensorLost]),
    ("boot-target-missing", &[Cause::BootTargetMissing]),
    ("build-up-on-boot", &[Cause::BootBuildup]),
    ("build-up-on-head", &[Cause::HeadBuildup]),
    ("casing-out-of-plumb", &[Cause::OffCentre]),
    ("caught-belt", &[Cause::BeltCaught]),
    ("choke-then-jogging", &[Cause::Choke, Cause::Jogging]),
    ("choked-boot", &[Cause::Choke]),
    ("crown-missing", &[Cause::OffCentre]),
    ("drive-belt-slipping", &[Cause::DriveSlow]),
    ("drive-contact-chatter", &[Cause::DriveContact]),
    ("fat-and-molasses", &[Cause::LaggingSlick]),
    ("frozen-start", &[Cause::FrozenStart]),
    ("head-bearing-failing", &[Cause::DriveSlow, Cause::HotSpot]),
    ("head-pulley-loose", &[Cause::HeadPulleyLoose]),
    ("head-sensor-cut", &[Cause::HeadSensorLost]),
    ("head-sensor-noise", &[Cause::HeadSensorUnsteady]),
    ("head-sensor-stuck", &[Cause::HeadSensorLost]),
    ("head-shaft-out-of-level", &[Cause::OffCentre]),
    ("head-target-loose", &[Cause::HeadTargetLoose]),
    ("jogging-a-frozen-belt", &[Cause::FrozenStart, Cause::Jogging]),
    ("lagging-missing-after-belt-change", &[Cause::LaggingGone]),
    ("lagging-torn-on-one-side", &[Cause::Runout]),
    ("lagging-worn", &[Cause::LaggingSlick]),
    ("low-voltage", &[Cause::PowerDip]),
    ("motor-overloaded", &[Cause::DriveSlow]),
    ("new-belt-stretch", &[Cause::TakeUp]),
    ("overload", &[Cause::Overload]),
    ("plugged-outlet", &[Cause::OutletPlugged]),
    ("power-dip", &[Cause::PowerDip]),
    ("rollback", &[Cause::Rollback]),
    ("rub-contact-bouncing", &[Cause::ContactBouncing, Cause::OnePlace]),
    ("rub-contact-cut", &[Cause::ContactCut]),
    ("rub-contact-stuck", &[Cause::ContactStuck]),
    ("side-rub-getting-hot", &[Cause::OffCentre, Cause::HotSpot]),
    ("splice-letting-go", &[Cause::TakeUp, Cause::BeltParted]),
    ("splice-out-of-square", &[Cause::OnePlace]),
    ("take-up-jammed", &[Cause::TakeUp]),
    ("take-up-slack", &[Cause::TakeUp]),
    ("two-legs-on-one-drive", &[Cause::DriveSlow]),
    ("wet-grain-film", &[Cause::LaggingSlick]),
];

/// What is right to name first in a scenario of that name.
#[must_use]
pub fn right(name: &str) -> &'static [Cause] {
    RIGHT.iter().find(|(of, _)| *of == name).map_or(&[Cause::Nothing], |(_, right)| right)
}

/// A scenario, ready to be played.
///
/// # Errors
/// The monitor refuses the settings of its leg.
pub fn ready(name: &str, scenario: Scenario) -> Result<Drawn> {
    let commissioned = Commissioned::measure(&scenario.leg);
    let settings = checked(&scenario.leg, &commissioned)?;
    let right = right(name);
    Ok(Drawn {
        cause: right[0],
        means: "written",
        also: right.get(1).copied(),
        from_s: 0.0,
        scenario,
        commissioned,
        settings,
        wires: Wires::Sound,
        slugs: false,
        parts_s: None,
    })
}

/// The door that the report of a scenario opens first.
pub struct Opened {
    /// What it says first: one cause, or those that it cannot tell apart.
    pub says: Vec<Cause>,
    /// Whether what is wrong is among them.
    pub right: bool,
}

impl Opened {
    /// By a model.
    #[must_use]
    pub fn of(model: &Model, row: &Row) -> Self {
        let answer = Answer::with(model, &row.evidence, &[Rubs::default(); Place::COUNT]);
        let first = || answer.findings.first().map(|finding| finding.cause).into_iter().collect();
        let says: Vec<Cause> = answer.cannot_tell.map_or_else(first, |group| group.causes.to_vec());
        let right = says.iter().any(|cause| *cause == row.cause || Some(*cause) == row.also);
        Self { says, right }
    }

    /// In words.
    #[must_use]
    pub fn words(&self) -> String {
        self.says.iter().map(|cause| cause.name()).collect::<Vec<_>>().join(", or ")
    }
}
