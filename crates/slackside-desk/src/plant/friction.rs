//! Friction between belt and head pulley: curves over sliding speed, for each state of the face, and with its temperature.
//!
//! Rubber is viscoelastic: its friction climbs with the first sliding and falls again at higher speed (K. A. Grosch 1963,
//! from memory; B. N. J. Persson, "Conveyor Belt Drive Physics", Tribology Letters 68:17, 2020, abstract: a drive is to be run
//! below the slip at which it pulls most). How far it climbs, and how fast it lets go, differs from belt to belt and was found
//! nowhere as figures for a leg, so the curves are data: a scenario names one of three sets or gives its own, and what holds on
//! one only is no limit to stand on. Levels at rest follow tables of conveyor drive friction: lagging dry 0.40 to 0.45, wet 0.35,
//! wet and dirty 0.25 to 0.30; bare steel dry 0.35 to 0.40, wet 0.10.

use serde::Deserialize;

/// Knots of a curve.
pub const KNOTS: usize = 9;

/// Curves of the face, each as shares of the leg's own figure for friction, and what warmth does to them.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Friction {
    /// Sliding speeds of the knots in m/s, from 0 upward.
    pub sliding_m_per_s: [f64; KNOTS],
    /// Dry lagging.
    pub dry: [f64; KNOTS],
    /// Wet lagging.
    pub wet: [f64; KNOTS],
    /// Lagging under a film of fat, molasses or meal paste.
    pub filmed: [f64; KNOTS],
    /// Lagging worn smooth.
    pub polished: [f64; KNOTS],
    /// Bare steel, dry.
    pub bare: [f64; KNOTS],
    /// Bare steel, wet.
    pub bare_wet: [f64; KNOTS],
    /// Temperatures of the contact in degrees Celsius, climbing.
    pub contact_c: [f64; KNOTS],
    /// Friction at those, as a share of what the curves say.
    pub warmth: [f64; KNOTS],
}

/// Names of the built-in sets.
pub const SETS: [&str; 3] = ["gentle", "middling", "sudden"];

const TEXTS: [&str; 3] = [
    include_str!("../scenario/friction/gentle.toml"),
    include_str!("../scenario/friction/middling.toml"),
    include_str!("../scenario/friction/sudden.toml"),
];

/// The set of that name.
#[must_use]
pub fn built_in(name: &str) -> Option<Friction> {
    SETS.iter().zip(TEXTS).find(|(known, _)| **known == name).and_then(|(_, text)| toml::from_str(text).ok())
}

impl Default for Friction {
    fn default() -> Self {
        built_in("middling").unwrap_or(Self {
            sliding_m_per_s: [0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2],
            dry: [1.0; KNOTS],
            wet: [1.0; KNOTS],
            filmed: [1.0; KNOTS],
            polished: [1.0; KNOTS],
            bare: [1.0; KNOTS],
            bare_wet: [1.0; KNOTS],
            contact_c: [-40.0, 0.0, 40.0, 80.0, 120.0, 160.0, 200.0, 240.0, 280.0],
            warmth: [1.0; KNOTS],
        })
    }
}

/// What the face is like, each from 0, not at all, to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Face {
    /// Bare steel in place of lagging.
    pub bare: bool,
    /// Wet.
    pub wet: f64,
    /// Under a film.
    pub filmed: f64,
    /// Worn smooth.
    pub polished: f64,
}

/// The curve of one face: friction at the knots.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Curve {
    sliding: [f64; KNOTS],
    friction: [f64; KNOTS],
}

impl Friction {
    /// What is wrong with the set: the field, and what was expected.
    #[must_use]
    pub fn faults(&self) -> Vec<(&'static str, &'static str)> {
        let climbs = |list: &[f64]| list.windows(2).all(|pair| pair[0] < pair[1]);
        let mut bad = Vec::new();
        if !climbs(&self.sliding_m_per_s) || self.sliding_m_per_s[0] != 0.0 {
            bad.push(("sliding_m_per_s", "nine speeds in m/s that climb from 0"));
        }
        if !climbs(&self.contact_c) {
            bad.push(("contact_c", "nine temperatures in degrees Celsius that climb"));
        }
        for (name, shares) in [
            ("dry", &self.dry),
            ("wet", &self.wet),
            ("filmed", &self.filmed),
            ("polished", &self.polished),
            ("bare", &self.bare),
            ("bare_wet", &self.bare_wet),
            ("warmth", &self.warmth),
        ] {
            if !shares.iter().all(|share| *share > 0.0 && *share <= 3.0) {
                bad.push((name, "nine shares above 0 and no more than 3"));
            }
        }
        bad
    }

    /// How wet a face is whose friction at rest is that share of dry: 0 to 1.
    #[must_use]
    pub fn wetness(&self, of_dry: f64) -> f64 {
        ((1.0 - of_dry) / (1.0 - self.wet[0] / self.dry[0]).max(1e-6)).clamp(0.0, 1.0)
    }

    /// Share of the friction that is left at a contact of that temperature in degrees Celsius.
    #[must_use]
    pub fn warmth_at(&self, contact_c: f64) -> f64 {
        between(&self.contact_c, &self.warmth, contact_c)
    }

    /// The curve of a face whose dry friction at rest is `friction`.
    #[must_use]
    pub fn curve(&self, face: &Face, friction: f64) -> Curve {
        let mut curve = Curve { sliding: self.sliding_m_per_s, friction: [0.0; KNOTS] };
        let (polished, wet, filmed) =
            (face.polished.clamp(0.0, 1.0), face.wet.clamp(0.0, 1.0), face.filmed.clamp(0.0, 1.0));
        for i in 0..KNOTS {
            // What wets or covers the face takes a share of what it had before.
            let (base, wets) = if face.bare {
                (self.bare[i], self.bare_wet[i] / self.bare[i])
            } else {
                (self.dry[i] + polished * (self.polished[i] - self.dry[i]), self.wet[i] / self.dry[i])
            };
            let films = self.filmed[i] / self.dry[i];
            curve.friction[i] = friction * base * (1.0 + wet * (wets - 1.0)) * (1.0 + filmed * (films - 1.0));
        }
        curve
    }
}

impl Curve {
    /// Friction at rest.
    #[must_use]
    pub fn at_rest(&self) -> f64 {
        self.friction[0]
    }

    /// Friction at a sliding speed in m/s, either way.
    #[must_use]
    pub fn at(&self, sliding: f64) -> f64 {
        between(&self.sliding, &self.friction, sliding.abs())
    }
}

/// A straight line between knots, level beyond them.
fn between(knots: &[f64; KNOTS], values: &[f64; KNOTS], at: f64) -> f64 {
    let Some(above) = knots.iter().position(|knot| *knot >= at) else { return values[KNOTS - 1] };
    let Some(below) = above.checked_sub(1) else { return values[0] };
    let part = (at - knots[below]) / (knots[above] - knots[below]);
    values[below] + part * (values[above] - values[below])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_three_sets_are_sound_and_say_what_their_names_say() {
        for name in SETS {
            let set = built_in(name).unwrap_or_else(|| panic!("{name} does not parse"));
            assert_eq!(set.faults(), [], "{name}");
            let at_rest = |face: Face| set.curve(&face, 0.42).at_rest();
            let (dry, wet) = (at_rest(Face::default()), at_rest(Face { wet: 1.0, ..Face::default() }));
            let filmed = at_rest(Face { filmed: 1.0, ..Face::default() });
            // Tables of conveyor drive friction: wet 0.35 where dry is 0.40 to 0.45; a film holds less than wet dirt, 0.25.
            assert!((dry - 0.42).abs() < 1e-12 && (0.28..=0.36).contains(&wet) && filmed < 0.25, "{name}");
            let bare = |wet| set.curve(&Face { bare: true, wet, ..Face::default() }, 0.35).at_rest();
            assert!((bare(0.0) - 0.35).abs() < 1e-12 && (0.05..=0.20).contains(&bare(1.0)), "{name}");
        }
        let peak = |name: &str| {
            let curve = built_in(name).unwrap().curve(&Face { filmed: 1.0, ..Face::default() }, 0.35);
            (0..300).map(|i| f64::from(i) * 0.01).max_by(|a, b| curve.at(*a).total_cmp(&curve.at(*b))).unwrap()
        };
        assert!(peak("gentle") > peak("middling") && peak("middling") > peak("sudden"));
    }

    #[test]
    fn straight_between_knots_and_level_beyond() {
        let set = Friction::default();
        let curve = set.curve(&Face::default(), 0.35);
        assert_eq!(curve.at(0.0), 0.35);
        assert_eq!(curve.at(-0.3), curve.at(0.3));
        assert_eq!(curve.at(9.0), 0.35 * set.dry[KNOTS - 1]);
        let half = 0.5 * (curve.at(0.4) + curve.at(0.8));
        assert!((curve.at(0.6) - half).abs() < 1e-12);
        assert_eq!(set.warmth_at(-300.0), set.warmth[0]);
    }
}
