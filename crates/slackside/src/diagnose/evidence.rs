//! The few facts that tell causes apart.

use crate::conditions::{Condition, ConditionSet};
use crate::input::Place;
use crate::units::{Micrometres, Micros, Ppm, Span};
use crate::verdict::Phase;

/// How slip came to its value at the moment that matters.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SlipShape {
    /// Slip was not known, or not for long enough.
    #[default]
    Unknown,
    /// No more than one per cent above what it was before.
    Steady,
    /// It rose over more than a second and a half: grip lost little by little, as load grows or friction falls.
    Growing {
        /// Over how long it rose from a tenth of its rise.
        over: Span,
    },
    /// It rose within a second and a half: something held the belt, or let go of it.
    Sudden,
}

/// How a shaft's edges ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Silence {
    /// They did not end.
    #[default]
    Turning,
    /// The last pitches grew longer: the shaft itself slowed.
    Stretching,
    /// They ended in full speed: a wire or a sensor, since no leg stops so fast.
    Abrupt,
}

/// To what the rubs at one place are bound.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Lock {
    /// To nothing that can be told.
    #[default]
    None,
    /// To one place on the belt: a splice, a torn edge, one bucket.
    Belt {
        /// The chance that this is chance.
        chance: f32,
        /// The loop length at which it shows best.
        loop_length: Micrometres,
    },
    /// To one angle of the shaft at that station: a bent shaft or a pulley out of true.
    Shaft {
        /// The chance that this is chance.
        chance: f32,
    },
}

/// What was seen at one rub contact.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rubs {
    /// How often the belt rubbed.
    pub count: u32,
    /// The longest single rub.
    pub longest: Span,
    /// The largest share of a loop.
    pub duty: Ppm,
    /// What the rubs are bound to.
    pub lock: Lock,
}

/// What diagnose goes by. `None` is "not known".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// The first condition that tripped, and when.
    pub first_out: Option<(Micros, Condition)>,
    /// What the leg was doing at the first-out, or at the newest moment if nothing tripped.
    pub phase: Phase,
    /// Every condition whose alarm came before or within a second after that moment.
    pub raised: ConditionSet,
    /// Slip over one boot turn at that moment, known or at least.
    pub slip: Option<Ppm>,
    /// How slip came there.
    pub shape: SlipShape,
    /// The least slip over four boot turns seen in a running leg: what never goes away.
    pub least_slip: Option<Ppm>,
    /// How much slower than normal the head shaft was at that moment.
    pub head_loss: Option<Ppm>,
    /// How much slower than normal the belt was at that moment.
    pub belt_loss: Option<Ppm>,
    /// The share by which the no-slip ratio would fall if the head pulley lost its lagging; zero if it has none.
    pub lagging_shift: Ppm,
    /// How the boot's edges ended.
    pub boot: Silence,
    /// How the head's edges ended.
    pub head: Silence,
    /// The most power at the head shaft, of rated.
    pub power: Option<Ppm>,
    /// Whether the boot's edges were the head's.
    pub bridged: bool,
    /// The rub contacts, in the order of [`Place::ALL`].
    pub rubs: [Rubs; Place::COUNT],
}
