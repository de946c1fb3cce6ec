//! Elastic creep: a belt that drives with two tensions shortens as it passes the pulley.
//!
//! Belt conservation gives speeds in the ratio of `1 + strain`, so a driven pulley fed by the slack strand falls behind by
//! `(T1 - T2) / (EA + T1)`. Several textbooks print `E + sqrt(stress)` in this place, which has no consistent units; the
//! form used here is the one that follows from conservation. Sizes of half to one per cent are usual (glossaries of power
//! transmission).

/// How much faster the tight strand runs than the slack one, as a share of the slack one's speed.
#[must_use]
pub fn lead(tight_n: f64, slack_n: f64, stiffness_n: f64) -> f64 {
    (tight_n - slack_n) / (stiffness_n + slack_n)
}

/// The same as slip of the driven side: what the boot lacks against the head.
#[must_use]
pub fn slip(tight_n: f64, slack_n: f64, stiffness_n: f64) -> f64 {
    (tight_n - slack_n) / (stiffness_n + tight_n)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lead_and_slip_are_the_same_thing_seen_from_both_ends() {
        let (tight, slack, stiffness) = (9_000.0, 4_000.0, 500_000.0);
        assert!((1.0 - 1.0 / (1.0 + lead(tight, slack, stiffness)) - slip(tight, slack, stiffness)).abs() < 1e-15);
    }
}
