//! What a crown does: a belt climbs to the high point.
//!
//! A belt that meets a cone is bent in its own plane, because the larger side runs faster by `gamma / R` of each metre of
//! width, and is led to the larger diameter (narrative: D. Simanek, "Crowned pulleys"). Off centre by `y` on a parabolic
//! crown, the cone half-angle is `gamma = 4 h y / B^2` (`h` crown as difference in diameter, `B` face). The belt takes up
//! that curvature over about its own width before it reaches the pulley, so it moves back by `C y` for each metre run, with
//! `C = 4 h w / (B^2 R)`. The form follows from geometry; the length over which it acts is engineering judgement.

/// Return towards the middle for each metre run and each metre off centre, in 1/m.
#[must_use]
pub fn steering_per_metre(crown_m: f64, face_m: f64, radius_m: f64, belt_width_m: f64) -> f64 {
    4.0 * crown_m * belt_width_m / (face_m * face_m * radius_m)
}

/// Crown height in mm usual for a pulley of that diameter in mm, as two belting suppliers print it alike (from memory also
/// ISO 22 and DIN 111). `None` beyond the table.
#[must_use]
pub fn usual_height_mm(diameter_mm: f64) -> Option<f64> {
    const TABLE: [(f64, f64); 7] =
        [(112.0, 0.3), (140.0, 0.4), (180.0, 0.5), (224.0, 0.6), (355.0, 0.8), (500.0, 1.0), (1_000.0, 1.2)];
    TABLE.into_iter().find(|(largest, _)| diameter_mm <= *largest).map(|(_, height)| height)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_and_its_edges() {
        // R. Jindal's worked example 20-2 has the same figures for 200 and 500 mm.
        assert_eq!(usual_height_mm(200.0), Some(0.6));
        assert_eq!(usual_height_mm(500.0), Some(1.0));
        assert_eq!(usual_height_mm(112.0), Some(0.3));
        assert_eq!(usual_height_mm(112.1), Some(0.4));
        assert_eq!(usual_height_mm(1_000.1), None);
    }

    #[test]
    fn no_crown_no_steering() {
        assert_eq!(steering_per_metre(0.0, 0.35, 0.3, 0.3), 0.0);
        assert!(steering_per_metre(0.0036, 0.35, 0.3, 0.3) > 0.0);
    }
}
