//! Crown by the common rule: 1/8 in difference in diameter for each 12 in of face (CEMA/RMA, from memory), 10.4 mm/m.

/// The crown, as difference in diameter, that the common rule gives a face of this width.
#[must_use]
pub fn by_rule_mm(face_mm: f64) -> f64 {
    face_mm * (0.125 / 12.0)
}

/// What a crown is, held against the rule.
#[must_use]
pub fn verdict(crown_mm: f64, face_mm: f64) -> &'static str {
    let share = crown_mm / by_rule_mm(face_mm);
    match share {
        share if crown_mm <= 0.0 || !share.is_finite() => "flat: it will not steer the belt",
        share if share < 0.5 => "less than half the rule: it steers little",
        share if share <= 1.5 => "as the rule has it",
        share if share <= 2.25 => "about twice the rule: possible, but hard on a single wide bucket",
        _ => "more than twice the rule: the belt bears on its middle only",
    }
}
