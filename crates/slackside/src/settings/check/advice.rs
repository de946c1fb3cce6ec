//! What is allowed, but worth knowing.

use core::fmt;

use super::Checked;
use crate::conditions::Condition;
use crate::input::Shaft;
use crate::settings::cross::CODE_LOSS;
use crate::settings::{CountedEdges, FieldUnit, Quantity, Spacing, Targets};
use crate::units::Ppm;

/// A piece of advice. None of it refuses the settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Advice {
    /// The boot alone: slip cannot be known.
    BootAlone,
    /// Fewer than four boot edges a turn: silence proves little.
    FewTargets {
        /// Counted edges a turn.
        marks: u8,
    },
    /// So much head angle lies between two boot edges that belt not following acts later than it is set to.
    FollowsLate {
        /// Head turns after which it acts, in millionths.
        microturns: i32,
    },
    /// Boot edges come at a rate at which a target of a stalled belt may chatter.
    ChatterBand {
        /// Counted boot edges a second at normal speed, in hundredths.
        centihertz: u32,
    },
    /// Without a drive contact every ordinary stop is seen as a loss of speed.
    NoDriveContact,
    /// A cut wire is seen only as silence.
    Unsupervised(Shaft),
    /// Both edges count and are said to be even, which needs targets exactly as wide as the gaps.
    EvenBothEdges(Shaft),
    /// In the first turns after power-up, before spacing is learned, the stop may come later than the code has it.
    LateBeforeLearning {
        /// Which stop.
        condition: Condition,
        /// The loss of belt speed by then.
        loss: Ppm,
    },
    /// No rub contacts: the belt's place is not watched.
    NoContacts,
    /// The head's speed unloaded tells no load: power is measured, the speed is a drive's, or the head is not seen.
    UnloadedHeadNotUsed,
    /// The coast-down is not known, so a common failure of both sensors may pass for a stop.
    CoastDownUnknown,
}

impl Checked {
    /// Tell everything worth knowing about these settings, in a fixed order.
    pub fn advice(&self, tell: &mut dyn FnMut(Advice)) {
        let machine = &self.machine;
        if machine.head_targets.is_none() {
            tell(Advice::BootAlone);
        }
        if let Some(boot) = machine.boot_targets {
            let marks = boot.marks();
            if marks < 4 {
                tell(Advice::FewTargets { marks });
            }
            let follows = self.plan().row(Condition::BeltNotFollowing.rank()).limit;
            let microturns = u64::from(follows.unsigned_abs()).wrapping_mul(1_000_000) >> 24;
            let microturns = i32::try_from(microturns).unwrap_or(i32::MAX);
            if machine.head_targets.is_some() && microturns > self.limits.of(Condition::BeltNotFollowing).setpoint {
                tell(Advice::FollowsLate { microturns });
            }
            let centihertz = machine.normal_boot.get().saturating_mul(u32::from(marks)) / 10_000;
            // 5 to 30 Hz: what buckets and a loose bracket shake a target with.
            if (500..=3_000).contains(&centihertz) {
                tell(Advice::ChatterBand { centihertz });
            }
        }
        if !machine.drive_contact {
            tell(Advice::NoDriveContact);
        }
        for (shaft, targets) in [(Shaft::Head, machine.head_targets), (Shaft::Boot, machine.boot_targets)] {
            if let Some(targets) = targets {
                line(shaft, targets, tell);
            }
        }
        for condition in [Condition::SlipVeryHigh, Condition::DeepUnderspeed] {
            if let Some(found) = self.promptness_before_learning(condition)
                && found.loss > Ppm::new(CODE_LOSS)
            {
                tell(Advice::LateBeforeLearning { condition, loss: found.loss });
            }
        }
        if machine.contacts.iter().all(Option::is_none) {
            tell(Advice::NoContacts);
        }
        let is_metered = machine.power_meter || machine.speed_reference.is_some() || machine.head_targets.is_none();
        if machine.unloaded_head.is_some() && is_metered {
            tell(Advice::UnloadedHeadNotUsed);
        }
        if self.limits.starts.shortest_coast_down.get() == 0 {
            tell(Advice::CoastDownUnknown);
        }
    }
}

fn line(shaft: Shaft, targets: Targets, tell: &mut dyn FnMut(Advice)) {
    if !targets.supervised {
        tell(Advice::Unsupervised(shaft));
    }
    if targets.edges == CountedEdges::Both && matches!(targets.spacing, Spacing::Even { .. }) {
        tell(Advice::EvenBothEdges(shaft));
    }
}

const fn said(shaft: Shaft) -> &'static str {
    match shaft {
        Shaft::Head => "head",
        Shaft::Boot => "boot",
    }
}

impl fmt::Display for Advice {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::BootAlone => out.write_str(
                "Boot alone: slip cannot be known. Belt speed is watched, and a slow drive looks like a slipping belt.",
            ),
            Self::FewTargets { marks } => write!(
                out,
                "Only {marks} counted boot edges a turn: a belt that stops is known late. More targets make it sooner.",
            ),
            Self::FollowsLate { microturns } => write!(
                out,
                "Belt not following acts only after {}.{:02} head turns without a boot edge, later than it is set to: with so few \
                 boot targets a belt that follows gives none for {}.{:02} head turns. More boot targets mend it.",
                microturns / 1_000_000,
                microturns / 10_000 % 100,
                (microturns / 5).saturating_mul(4) / 1_000_000,
                (microturns / 5).saturating_mul(4) / 10_000 % 100,
            ),
            Self::ChatterBand { centihertz } => write!(
                out,
                "Boot edges come {}.{:02} times a second at normal speed. A target left at the sensor of a stalled belt can \
                 shake at 5 to 30 times a second and pass for motion for a while; more targets or a sensor away from bucket \
                 bolts help.",
                centihertz / 100,
                centihertz % 100,
            ),
            Self::NoDriveContact => out.write_str(
                "No drive contact: every ordinary stop is seen as a loss of speed and trips. Wire the starter's auxiliary \
                 contact.",
            ),
            Self::Unsupervised(shaft) => write!(
                out,
                "The {} sensor's line is not supervised: a cut or shorted wire is seen only as silence, not named.",
                said(shaft)
            ),
            Self::EvenBothEdges(shaft) => write!(
                out,
                "Both edges of the {} targets count and are given as even: true only if targets are as wide as the gaps \
                 between them. Give closest and widest pitch instead.",
                said(shaft)
            ),
            Self::LateBeforeLearning { condition, loss } => write!(
                out,
                "In the first turns after power-up, before target spacing is learned, {} may stop the leg as late as {}. A \
                 tighter spacing tolerance or a lower setpoint mends it.",
                condition.name(),
                // To the tenth of a per cent above.
                Quantity::new((i64::from(loss.get()).saturating_add(999) / 1_000).saturating_mul(1_000), FieldUnit::Ppm)
            ),
            Self::NoContacts => out.write_str(
                "No rub contacts: nothing watches where the belt runs. 29 CFR 1910.272(q)(6) asks for an alignment alarm or \
                 another means to keep the belt tracking.",
            ),
            Self::UnloadedHeadNotUsed => out.write_str(
                "The head's speed unloaded is not used: a power meter tells the load better, and with a speed reference or without \
                 head targets it tells none. Take it out.",
            ),
            Self::CoastDownUnknown => out.write_str(
                "The shortest coast-down is not known, so both sensors failing at once may pass for a stop. Time one and \
                 enter it.",
            ),
        }
    }
}
