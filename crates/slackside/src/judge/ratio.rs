//! The no-slip ratio in force.

use crate::settings::{Machine, Pulley};
use crate::units::Ratio;

/// The accepted ratio, or that of the geometry: effective diameter is bare plus twice the lagging plus the belt's
/// thickness (its neutral line lies at mid-belt). Zero where the geometry is impossible.
pub(super) fn in_force(machine: &Machine) -> Ratio {
    if let Some(accepted) = machine.accepted_ratio {
        return accepted.ratio;
    }
    let effective = |pulley: &Pulley| {
        let lagging = pulley.lagging.saturating_add(pulley.lagging);
        pulley.bare_diameter.saturating_add(lagging).saturating_add(machine.belt.thickness).get()
    };
    let ratio = i128::from(effective(&machine.head_pulley))
        .saturating_mul(1_000_000)
        .checked_div(i128::from(effective(&machine.boot_pulley)))
        .unwrap_or(0);
    Ratio::new(u32::try_from(ratio).unwrap_or(0))
}

/// How far `seen` lies from `expected`, in ppm of it, with its sign. `None` where nothing is expected.
pub(super) fn shift(seen: Ratio, expected: Ratio) -> Option<i32> {
    let gap = i64::from(seen.get()).saturating_sub(i64::from(expected.get()));
    let ppm = gap.saturating_mul(1_000_000).checked_div(i64::from(expected.get()))?;
    Some(i32::try_from(ppm).unwrap_or(i32::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Settings;
    use crate::units::Micrometres;

    /// Losing lagging of thickness t lowers the ratio by 2t over the effective diameter: 24/632 = 3.8 %.
    #[test]
    fn lost_lagging_shows() {
        let mut machine = Settings::example().machine;
        let whole = in_force(&machine);
        assert_eq!(whole, Ratio::new(632_000 * 1_000 / 608));
        machine.head_pulley.lagging = Micrometres::ZERO;
        assert_eq!(shift(in_force(&machine), whole), Some(-37_974));
    }
}
