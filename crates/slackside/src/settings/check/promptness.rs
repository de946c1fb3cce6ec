//! How far the belt speed can have fallen by the time a stop is given.
//!
//! 29 CFR 1910.272(q)(5) wants the leg shut down before belt speed has fallen by more than 20 % of normal operating
//! speed. A monitor set to 15 % is not there yet: its measure errs, it waits for the next edge, and it holds its
//! on-delay, while the belt goes on losing speed. The rule is
//!
//! `setpoint + measuring error + (wait + on-delay) × design ramp ≤ 20 %`
//!
//! with a design ramp of 5 % of normal speed a second: engineering judgement for a belt whose grip fails under load. A belt
//! that stops faster than that is not caught by any setpoint but by silence and by *belt not following*.

use crate::conditions::Condition;
use crate::settings::cross::{
    self, CODE_LOSS, LEARNED_PITCH_ERROR, WINDOW_ERROR, slowest_pitch, speed_error, wait_for_edges,
};
use crate::settings::derive::pitches;
use crate::settings::{Settings, Spacing, Targets, turn_time};
use crate::units::{Ppm, Span};

/// Where the loss of belt speed at a stop comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Promptness {
    /// What the limit is set to.
    pub setpoint: Ppm,
    /// By how much the measure may read too high.
    pub error: Ppm,
    /// How late a slow fall is seen, for want of edges and because windows average.
    pub wait: Span,
    /// How long the limit holds back.
    pub on_delay: Span,
    /// All of it together, as loss of belt speed when the stop is given.
    pub loss: Ppm,
}

fn ppm(parts: u32) -> Ppm {
    Ppm::new(i32::try_from(parts).unwrap_or(i32::MAX))
}

impl Promptness {
    fn new(setpoint: i32, error: u32, wait: u32, on_delay: Span) -> Self {
        Self {
            setpoint: Ppm::new(setpoint),
            error: ppm(error),
            wait: Span::new(wait),
            on_delay,
            loss: ppm(cross::loss(setpoint, error, wait, on_delay.get())),
        }
    }

    /// Whether it keeps within the code.
    #[must_use]
    pub fn keeps_the_code(&self) -> bool {
        self.loss.get() <= CODE_LOSS
    }
}

impl Settings {
    /// The loss of belt speed by which `condition` stops the leg while speed falls by the design ramp, with the limits
    /// as set: for [`Condition::DeepUnderspeed`] and [`Condition::SlipVeryHigh`], `None` for others and where the
    /// sensors are not fitted.
    #[must_use]
    pub fn promptness(&self, condition: Condition) -> Option<Promptness> {
        let limit = self.limits.of(condition);
        let boot = self.machine.boot_targets?;
        self.promptness_with(condition, limit.setpoint, limit.on_delay, boot, true)
    }

    /// As [`promptness`](Self::promptness), in the first steady turns after power-up, before target spacing is learned.
    #[must_use]
    pub fn promptness_before_learning(&self, condition: Condition) -> Option<Promptness> {
        let limit = self.limits.of(condition);
        let boot = self.machine.boot_targets?;
        self.promptness_with(condition, limit.setpoint, limit.on_delay, boot, false)
    }

    /// As [`promptness`](Self::promptness), with so many evenly spaced boot targets (2 % tolerance).
    #[must_use]
    pub fn promptness_with_targets(&self, condition: Condition, count: u8) -> Option<Promptness> {
        let limit = self.limits.of(condition);
        let boot = self.machine.boot_targets?;
        self.promptness_with(condition, limit.setpoint, limit.on_delay, even(count, boot), true)
    }

    /// With everything given.
    pub(super) fn promptness_with(
        &self,
        condition: Condition,
        setpoint: i32,
        on_delay: Span,
        boot: Targets,
        learned: bool,
    ) -> Option<Promptness> {
        let setpoint = setpoint.max(0);
        match condition {
            Condition::DeepUnderspeed => {
                let (_, largest) = pitches(&boot);
                let minimum = self.machine.speed_reference.map_or(1_000_000, |reference| reference.minimum.get());
                let turn = turn_time(self.machine.normal_boot).get();
                let pitch = slowest_pitch(largest, turn, minimum.max(0).unsigned_abs());
                let error = match boot.spacing {
                    _ if learned || boot.marks() <= 1 => LEARNED_PITCH_ERROR,
                    Spacing::Even { tolerance } => tolerance.get().max(0).unsigned_abs(),
                    // Nothing can be said of one uneven pitch before learning; whole turns are exact.
                    Spacing::Uneven { .. } => LEARNED_PITCH_ERROR,
                };
                let (error, wait) = (speed_error(error, setpoint), wait_for_edges(pitch, setpoint));
                Some(Promptness::new(setpoint, error, wait, on_delay))
            }
            Condition::SlipVeryHigh => {
                self.machine.head_targets?;
                // The wait for the window is not charged: belt speed has its own stop, which holds the code by itself, and no
                // setpoint would mend the length of a slow leg's turn.
                Some(Promptness::new(setpoint, WINDOW_ERROR, 0, on_delay))
            }
            _ => None,
        }
    }
}

/// `count` targets, evenly spaced within 2 %, otherwise as `like`.
pub(super) fn even(count: u8, like: Targets) -> Targets {
    Targets { count, spacing: Spacing::Even { tolerance: Ppm::new(20_000) }, ..like }
}
