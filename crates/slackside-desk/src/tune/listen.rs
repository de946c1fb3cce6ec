//! Who listens to what judge says of stored motion.

use slackside::conditions::Condition;
use slackside::units::Micros;
use slackside::verdict::Verdict;

use super::moment::Moment;

/// An alarm that came and went while nothing followed from it: raised, cleared, raised, by turns.
#[derive(Clone, Copy, Debug)]
pub struct Turned<'a> {
    /// Whose alarm.
    pub condition: Condition,
    moments: &'a [Moment],
    /// The first of its turns raises it.
    raises: bool,
}

impl<'a> Turned<'a> {
    pub(super) const fn new(condition: Condition, moments: &'a [Moment], raises: bool) -> Self {
        Self { condition, moments, raises }
    }

    /// How many turns.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.moments.len()
    }

    /// When each came, and whether it raised the alarm, in the order of time.
    pub fn turns(&self) -> impl Iterator<Item = (Micros, bool)> + use<'a> {
        let raises = self.raises;
        let each = move |(number, moment): (usize, &Moment)| (moment.at(), number.is_multiple_of(2) == raises);
        self.moments.iter().enumerate().map(each)
    }

    /// When the last was cleared, if one was.
    pub(super) fn cleared(&self) -> Option<Moment> {
        // The last turn clears where their number is even and the first raises, or the other way round.
        let last_clears = self.count().is_multiple_of(2) == self.raises;
        self.moments.iter().rev().nth(usize::from(!last_clears)).copied()
    }
}

/// Whoever is told what comes of stored motion. Each says whether to go on.
pub trait Listen {
    /// A verdict.
    fn verdict(&mut self, verdict: Verdict) -> bool;

    /// Whether from here on an alarm that comes and goes with nothing following may be [told together](Self::turned), out of the order of time
    /// with the others until something follows.
    fn sums_up(&self) -> bool {
        false
    }

    /// All turns of an alarm until something else counts.
    fn turned(&mut self, turned: &Turned<'_>) -> bool {
        let _ = turned;
        true
    }
}

/// Told each by itself.
impl<F: FnMut(Verdict) -> bool> Listen for F {
    fn verdict(&mut self, verdict: Verdict) -> bool {
        self(verdict)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_raise_and_clear_by_turns_and_the_last_clearing_is_known() {
        let moments: Vec<Moment> = [10, 20, 30].map(Moment::due).to_vec();
        let of = |count: usize, raises: bool| Turned::new(Condition::Underspeed, &moments[..count], raises);
        let raised =
            |turned: Turned<'_>| turned.turns().filter(|(_, raises)| *raises).map(|(at, _)| at.get()).collect();
        let (one, other): (Vec<u64>, Vec<u64>) = (raised(of(3, true)), raised(of(3, false)));
        assert_eq!((one, other), (vec![10, 30], vec![20]));
        let cleared = |count, raises| of(count, raises).cleared().map(|moment| moment.at().get());
        assert_eq!([cleared(3, true), cleared(2, true), cleared(1, true)], [Some(20), Some(20), None]);
        assert_eq!([cleared(3, false), cleared(2, false), cleared(1, false)], [Some(30), Some(10), Some(10)]);
    }
}
