//! How far the no-slip ratio seen lies from the one in force.

use crate::units::Ratio;

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
        let whole = machine.ratio_in_force();
        machine.head_pulley.lagging = Micrometres::ZERO;
        let shift = shift(machine.ratio_in_force(), whole);
        assert!(shift.is_some_and(|shift| (shift + 37_975).abs() <= 1), "{shift:?}");
        assert_eq!(super::shift(whole, Ratio::ZERO), None);
    }
}
