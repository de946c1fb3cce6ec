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

use crate::judge::Condition;
use crate::settings::{Settings, Spacing, Targets, turn_time};
use crate::units::{MicroturnsPerSecond, Ppm, Span};

/// The code's bound: 20 % of normal operating speed, 29 CFR 1910.272(q)(5).
pub const CODE_LOSS: Ppm = Ppm::new(200_000);

/// The design ramp, as the time in which 1 ppm of normal speed is lost: 5 % a second is 1 ppm in 20 µs.
const MICROS_A_PPM: u64 = 20;

/// What is left of the spacing error of a single pitch once the spacing is learned.
const LEARNED_PITCH_ERROR: u64 = 2_000;

/// Error of slip over a window of whole turns, before spacing is learned.
const WINDOW_ERROR: u64 = 1_500;

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

const fn span(micros: u64) -> Span {
    Span::new(if micros > u32::MAX as u64 { u32::MAX } else { micros as u32 })
}

const fn ppm(parts: u64) -> Ppm {
    Ppm::new(if parts > i32::MAX as u64 { i32::MAX } else { parts as i32 })
}

/// `value × numerator / denominator`, at the end of the type where the denominator is 0.
const fn scaled(value: u64, numerator: u64, denominator: u64) -> u64 {
    match value.saturating_mul(numerator).checked_div(denominator) {
        Some(quotient) => quotient,
        None => u64::MAX,
    }
}

impl Promptness {
    fn new(setpoint: u64, error: u64, wait: u64, on_delay: u64) -> Self {
        let late = wait.saturating_add(on_delay);
        let lost = late.checked_div(MICROS_A_PPM).unwrap_or(u64::MAX);
        Self {
            setpoint: ppm(setpoint),
            error: ppm(error),
            wait: span(wait),
            on_delay: span(on_delay),
            loss: ppm(setpoint.saturating_add(error).saturating_add(lost)),
        }
    }

    /// Whether it keeps within the code.
    #[must_use]
    pub fn keeps_the_code(&self) -> bool {
        self.loss <= CODE_LOSS
    }
}

/// The time of one turn at the slowest speed the leg may be asked to run at. Held at 71 minutes; that too for no speed.
fn slowest_turn(settings: &Settings, speed: MicroturnsPerSecond) -> u64 {
    let turn = match turn_time(speed) {
        Span::ZERO => Span::MAX,
        turn => turn,
    };
    let minimum = settings.machine.speed_reference.map_or(1_000_000, |reference| reference.minimum.get().max(0));
    scaled(u64::from(turn.get()), 1_000_000, u64::from(minimum.unsigned_abs()))
}

fn share(of: u64, parts: Ppm) -> u64 {
    scaled(of, u64::from(parts.get().max(0).unsigned_abs()), 1_000_000)
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
        let setpoint = u64::from(setpoint.max(0).unsigned_abs());
        let left = 1_000_000_u64.saturating_sub(setpoint);
        let on_delay = u64::from(on_delay.get());
        let boot_turn = slowest_turn(self, self.machine.normal_boot);
        let boot_pitch = share(boot_turn, boot.widest_pitch());
        match condition {
            Condition::DeepUnderspeed => {
                // Half a pitch because a pitch's mean speed is that of its middle, and one more pitch until the next edge
                // comes or is overdue. Pitches take longer at the speed reached.
                let wait = scaled(boot_pitch.saturating_mul(3) >> 1, 1_000_000, left);
                let tolerance = match boot.spacing {
                    _ if learned || boot.marks() <= 1 => LEARNED_PITCH_ERROR,
                    Spacing::Even { tolerance } => u64::from(tolerance.get().max(0).unsigned_abs()),
                    // Nothing can be said of one uneven pitch before learning; whole turns are exact.
                    Spacing::Uneven { .. } => LEARNED_PITCH_ERROR,
                };
                Some(Promptness::new(setpoint, scaled(tolerance, left, 1_000_000), wait, on_delay))
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
