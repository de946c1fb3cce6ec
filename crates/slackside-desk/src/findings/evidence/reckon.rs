//! Small sums of the questions: how a figure rose, what it is a share of, what is missing.

const S: u64 = 1_000_000;
/// The least time of a rise that is asked for its middle, in s.
const BENT_S: usize = 4;

/// For how many of the seconds before the newest a figure lay above the least of all but for a tenth, and but for half, of what it has
/// risen by since; -1 if by less than `rise`. The newest comes first.
pub(super) fn since(figures: &[i32], rise: i32) -> [Option<i32>; 2] {
    let Some((newest, least)) = figures.first().copied().zip(figures.iter().copied().min()) else {
        return [None; 2];
    };
    [10, 2].map(|part| {
        let risen = newest.saturating_sub(least);
        let from = least.saturating_add(risen / part);
        let at = figures.iter().position(|figure| *figure <= from).filter(|_| risen >= rise);
        Some(at.map_or(-1, |seconds| seconds as i32))
    })
}

/// Of what a figure has risen by since it left its least, `seconds` ago, how much it had risen by in the middle of that time, in per cent. Too
/// short a rise has no middle. The newest comes first.
pub(super) fn bend(figures: &[i32], seconds: i32) -> Option<i32> {
    let seconds = usize::try_from(seconds).ok().filter(|seconds| *seconds >= BENT_S)?;
    let [newest, middle, least] = [0, seconds / 2, seconds].map(|at| figures.get(at).map(|figure| i64::from(*figure)));
    let least = least?;
    i32::try_from(((middle? - least) * 100).checked_div(newest? - least)?.clamp(-999, 999)).ok()
}

/// By how much a figure has risen since so many seconds before the newest, which comes first.
pub(super) fn grown<const N: usize>(figures: &[i32], seconds: [usize; N]) -> [Option<i32>; N] {
    seconds.map(|seconds| Some(figures.first()?.saturating_sub(*figures.get(seconds)?)))
}

/// Two windows before slip began to rise, in microseconds: the usual, and the last seconds.
pub(super) fn before_slip(foot: u64) -> [(u64, u64); 2] {
    [(25, 12), (3, 0)].map(|(from, to): (u64, u64)| (foot.saturating_sub(from * S), foot.saturating_sub(to * S)))
}

/// How many of so many targets a turn are not seen on a shaft that has this share of its normal speed, if it turns with another that has that
/// share of its own; in hundredths.
pub(super) fn gone(own: Option<i64>, other: Option<i64>, targets: u64) -> Option<i32> {
    let (own, other) = (own?, other?);
    let gone = (other - own).checked_mul(i64::try_from(targets * 100).ok()?)?.checked_div(other)?;
    i32::try_from(gone.clamp(-9_999, 9_999)).ok()
}

/// A speed in ppm of normal, whatever is asked for.
pub(super) fn of_normal(speed: i64, normal: i64) -> Option<i32> {
    i32::try_from((speed * 1_000_000).checked_div(normal)?).ok()
}

/// Slip in ppm of swapped sensors, by the ratio of boot to head turns in millionths.
pub(super) fn swap_shift(ratio: i64) -> Option<i32> {
    let twice = 1_000_000_000_000_000_000_i64.checked_div(ratio.checked_mul(ratio)?)?;
    i32::try_from(1_000_000 - twice).ok()
}

/// Whole seconds of microseconds.
pub(super) fn seconds(us: u64) -> i32 {
    i32::try_from(us / S).unwrap_or(i32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rise_is_dated_from_a_tenth_and_from_half_of_it() {
        // The newest first: 100 now, half of it four seconds ago, a tenth six.
        assert_eq!(since(&[100, 90, 80, 60, 50, 20, 10, 0, 0], 50), [Some(6), Some(4)]);
        assert_eq!(since(&[30, 20, 0], 50), [Some(-1), Some(-1)]);
        assert_eq!(since(&[], 50), [None, None]);
    }

    #[test]
    fn what_has_grown_is_told_from_each_second_that_is_known() {
        assert_eq!(grown(&[100, 90, 70, 0], [1, 3, 4]), [Some(10), Some(100), None]);
        assert_eq!(grown(&[], [0]), [None]);
    }

    #[test]
    fn a_target_that_is_gone_is_a_whole_one_and_a_belt_that_slips_is_not_as_a_rule() {
        // One of two: the head seems to turn half as fast as it should with the boot.
        assert_eq!(gone(Some(502_000), Some(1_004_000), 2), Some(100));
        assert_eq!(gone(Some(1_004_000), Some(502_000), 2), Some(-200));
        assert_eq!(gone(Some(1_000_000), Some(997_000), 4), Some(-1));
        assert_eq!(gone(None, Some(1_000_000), 4), None);
        assert_eq!(gone(Some(1_000_000), Some(0), 4), None);
    }

    #[test]
    fn a_drag_that_grows_evenly_bends_by_half_and_one_that_runs_away_by_less() {
        let even: Vec<i32> = (0..=10).rev().map(|second| second * 100).collect();
        assert_eq!(bend(&even, 10), Some(50));
        let ever_faster: Vec<i32> = (0..=10).rev().map(|second| second * second).collect();
        assert_eq!(bend(&ever_faster, 10), Some(25));
        assert_eq!(bend(&even, 3), None);
        assert_eq!(bend(&even, -1), None);
        assert_eq!(bend(&[7; 11], 10), None);
    }
}
