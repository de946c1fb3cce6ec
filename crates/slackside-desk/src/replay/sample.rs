//! What is known at one moment, in the units of the core.

use slackside::input::{ContactState, Place};
use slackside::motion::{Motion, ShaftMotion, SlipReading};
use slackside::settings::Checked;
use slackside::units::{MicrometresPerSecond, Micros, MicroturnsPerSecond, Ppm, Span};

/// What is known of one rub contact.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ContactSample {
    /// How long the belt has rubbed; zero while it does not, `None` where that is not known.
    pub dwell: Option<Span>,
    /// The share of the last belt loop; `None` where not known.
    pub duty: Option<Ppm>,
}

/// What is known at one moment. `None` is "not known", which is never the same as zero.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sample {
    /// The moment.
    pub at: Micros,
    /// Speed of the head shaft at most.
    pub head: Option<MicroturnsPerSecond>,
    /// Speed of the boot shaft at most.
    pub boot: Option<MicroturnsPerSecond>,
    /// Belt speed at most, from the boot shaft.
    pub belt: Option<MicrometresPerSecond>,
    /// Slip over one boot turn.
    pub slip_short: SlipReading,
    /// Slip over four boot turns.
    pub slip_long: SlipReading,
    /// How much slower the belt is than normal (times the speed reference, where one is wired); negative if faster.
    pub underspeed: Option<Ppm>,
    /// Slip heat as a share of its budget.
    pub slip_heat: Ppm,
    /// The rub contacts, in the order of [`Place::ALL`].
    pub contacts: [ContactSample; Place::COUNT],
}

impl Sample {
    /// What is known at `at`, when `motion` is the newest. `judged` is slip heat and [whether slip is known](slackside::Monitor::knows_slip);
    /// `reference` is the speed asked for, 100 % where none is wired.
    #[must_use]
    pub fn take(
        at: Micros,
        motion: &Motion,
        (heat, knows_slip): (Ppm, bool),
        settings: &Checked,
        reference: Ppm,
    ) -> Self {
        let slip = |reading| if knows_slip { reading } else { SlipReading::Unknown };
        let boot = shaft_speed(&motion.boot, at);
        let mut contacts = [ContactSample::default(); Place::COUNT];
        for (sample, contact) in contacts.iter_mut().zip(&motion.contacts) {
            if contact.fitted && contact.state != ContactState::Faulty {
                sample.dwell = Some(contact.rubbing_since.map_or(Span::ZERO, |since| at.since(since)));
                sample.duty = Some(contact.duty);
            }
        }
        Self {
            at,
            head: shaft_speed(&motion.head, at),
            boot,
            belt: boot.map(|boot| settings.machine.belt_speed(boot)),
            slip_short: slip(motion.slip_short),
            slip_long: slip(motion.slip_long),
            underspeed: boot.and_then(|boot| underspeed(boot, settings.machine.normal_boot, reference)),
            slip_heat: if motion.head.fitted { heat } else { Ppm::ZERO },
            contacts,
        }
    }
}

/// The most a shaft can turn at `at`; `None` while its sensor is not to be trusted.
pub(super) fn shaft_speed(shaft: &ShaftMotion, at: Micros) -> Option<MicroturnsPerSecond> {
    if !shaft.fitted || !shaft.distrust.is_empty() {
        return None;
    }
    shaft.speed_at_most(at)
}

/// The loss against `reference` of normal speed; `None` where that is no speed.
fn underspeed(boot: MicroturnsPerSecond, normal: MicroturnsPerSecond, reference: Ppm) -> Option<Ppm> {
    let wanted = i64::from(normal.get()) * i64::from(reference.get()) / 1_000_000;
    let kept = i64::from(boot.get()).checked_mul(1_000_000)?.checked_div(wanted)?;
    Some(Ppm::new(i32::try_from(1_000_000 - kept).unwrap_or(i32::MIN)))
}
