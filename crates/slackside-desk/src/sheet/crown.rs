//! Crown by two rules, both as difference in diameter: by the face, 1/8 in for each 12 in of it (CEMA/RMA, from memory), 10.4
//! mm/m; and by the diameter, the table that makers of flat belting print.

/// Crown heights of flat-belt pulleys, by diameter: up to so many mm, so many mm of height. Read in the catalogues of two
/// suppliers of belting, alike; the same figures as ISO 22 (that from memory).
const HEIGHTS_MM: [(f64, f64); 7] =
    [(112.0, 0.3), (140.0, 0.4), (180.0, 0.5), (224.0, 0.6), (355.0, 0.8), (500.0, 1.0), (1_000.0, 1.2)];

/// The crown, as difference in diameter, that the common rule gives a face of this width.
#[must_use]
pub fn by_rule_mm(face_mm: f64) -> f64 {
    face_mm * (0.125 / 12.0)
}

/// The crown, as difference in diameter, that the table for flat belts gives a pulley of this diameter: twice its height.
/// `None` beyond the table, which ends at a metre.
#[must_use]
pub fn by_table_mm(diameter_mm: f64) -> Option<f64> {
    HEIGHTS_MM.iter().find(|(up_to, _)| diameter_mm <= *up_to).map(|(_, height)| 2.0 * height)
}

/// What a crown is, held against the rule.
#[must_use]
pub fn verdict(crown_mm: f64, face_mm: f64) -> &'static str {
    let share = crown_mm / by_rule_mm(face_mm);
    match share {
        share if crown_mm <= 0.0 || !share.is_finite() => {
            "flat, or not measured: a flat pulley does not steer the belt"
        }
        share if share < 0.5 => "less than half the rule: it steers little",
        share if share <= 1.5 => "as the rule has it",
        share if share <= 2.25 => "about twice the rule: possible, but hard on a single wide bucket",
        _ => "more than twice the rule: the belt bears on its middle only",
    }
}
