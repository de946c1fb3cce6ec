//! A new leg's settings from answers that someone with a tape measure can give.

use std::fmt::Write as _;

use super::parse;
use crate::cautions;

/// What slip heats at the head, in kg for each square metre of its face: 12 mm of rubber and the outer 3 mm of steel (engineering
/// judgement). A budget that is too small stops a sound large leg for the creep of its belt; one too large lets a small one burn.
const HEATED_KG_PER_M2: f64 = 38.0;

/// What an answer is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Name,
    /// A length: millimetres if no unit is given, or inches.
    Short,
    /// A length: metres if no unit is given, or feet.
    Long,
    Power,
    Rpm,
    Count,
    YesNo,
}

/// One question.
#[derive(Clone, Copy, Debug)]
pub struct Question {
    /// What is asked.
    pub asks: &'static str,
    /// How to find the answer.
    pub hint: &'static str,
    /// What an empty answer stands for; empty if there must be one.
    pub otherwise: &'static str,
    kind: Kind,
    section: &'static str,
    key: &'static str,
}

const fn question(
    section: &'static str,
    key: &'static str,
    kind: Kind,
    asks: &'static str,
    hint: &'static str,
    otherwise: &'static str,
) -> Question {
    Question { asks, hint, otherwise, kind, section, key }
}

/// The questions, in the order they are asked and written.
pub const QUESTIONS: [Question; 17] = [
    question("leg", "name", Kind::Name, "What is the leg called?", "at most 32 letters; it tells boxes apart", ""),
    question(
        "head_pulley",
        "bare_diameter",
        Kind::Short,
        "Head pulley: diameter without its lagging?",
        "lock out first; tape round it and divide by 3.1416, less twice the lagging; 600 mm, 24 in",
        "",
    ),
    question("head_pulley", "lagging", Kind::Short, "Head pulley: thickness of its lagging?", "0 if bare", "0 mm"),
    question("head_pulley", "face", Kind::Short, "Head pulley: width of its face?", "350 mm, 14 in", ""),
    question(
        "head_pulley",
        "crown",
        Kind::Short,
        "Head pulley: crown?",
        "how much larger in the middle than at the edges, in diameter: twice the gap beside a straightedge; 0 if flat",
        "0 mm",
    ),
    question("boot_pulley", "bare_diameter", Kind::Short, "Boot pulley: diameter?", "as at the head", ""),
    question("boot_pulley", "face", Kind::Short, "Boot pulley: width of its face?", "as at the head", ""),
    question("boot_pulley", "crown", Kind::Short, "Boot pulley: crown?", "as at the head", "0 mm"),
    question(
        "belt",
        "thickness",
        Kind::Short,
        "Belt: thickness?",
        "of the belt alone, without buckets; 8 mm, 0.3 in",
        "",
    ),
    question("belt", "width", Kind::Short, "Belt: width?", "300 mm, 12 in", ""),
    question(
        "belt",
        "centres",
        Kind::Long,
        "How far is the head shaft above the boot shaft?",
        "between the middles of both shafts; 30 m, 98.5 ft",
        "",
    ),
    question(
        "speed",
        "head",
        Kind::Rpm,
        "How fast does the head shaft turn, running loaded?",
        "turns a minute: count for a minute, or motor speed over reduction",
        "",
    ),
    question(
        "head_targets",
        "count",
        Kind::Count,
        "How many targets pass the head sensor in a turn?",
        "0: no sensor",
        "0",
    ),
    question(
        "boot_targets",
        "count",
        Kind::Count,
        "How many targets pass the boot sensor in a turn?",
        "four or more",
        "4",
    ),
    question("drive", "rated", Kind::Power, "What is the motor's power?", "from its nameplate; 18.5 kW, 25 hp", ""),
    question("drive", "contact", Kind::YesNo, "Is the starter's auxiliary contact wired in?", "yes or no", "yes"),
    question("contacts", "", Kind::YesNo, "Are there rub contacts on both sides, at head and boot?", "yes or no", "no"),
];

impl Question {
    /// The line, or lines, of the settings file that say this answer, in the unit it was given in.
    ///
    /// # Errors
    /// It cannot be understood: what was expected.
    pub fn lines(&self, answer: &str) -> Result<String, String> {
        let answer = if answer.trim().is_empty() { self.otherwise } else { answer.trim() };
        if answer.is_empty() {
            return Err("there must be an answer".to_owned());
        }
        let key = self.key;
        Ok(match self.kind {
            Kind::Name if answer.len() > 32 => return Err("at most 32 letters fit the box".to_owned()),
            Kind::Name => format!("{key} = {}\n", toml::Value::String(answer.to_owned())),
            Kind::Short => with_unit(key, answer, &[("mm", "_mm"), ("cm", "cm"), ("in", "_in")])?,
            Kind::Long => with_unit(key, answer, &[("m", "_m"), ("ft", "_ft")])?,
            Kind::Power => with_unit(key, answer, &[("kw", "_kw"), ("hp", "_hp")])?,
            Kind::Rpm => with_unit(key, answer, &[("rpm", "_rpm")])?,
            Kind::Count => match answer.parse::<u8>() {
                Ok(0) => String::new(),
                Ok(count) if count <= 32 => format!("{key} = {count}\n"),
                _ => return Err("write a whole number, 0 to 32".to_owned()),
            },
            Kind::YesNo => {
                let yes = match answer.to_lowercase().as_str() {
                    "y" | "yes" => true,
                    "n" | "no" => false,
                    _ => return Err("write yes or no".to_owned()),
                };
                match (self.section, yes) {
                    ("contacts", true) => ["head_left", "head_right", "boot_left", "boot_right"]
                        .map(|place| format!("{place} = \"up\"\n"))
                        .concat(),
                    ("contacts", false) => String::new(),
                    _ => format!("{key} = {yes}\n"),
                }
            }
        })
    }
}

/// A number with its unit, or in the first unit if none is named. Feet and inches together become inches or feet.
fn with_unit(key: &str, answer: &str, units: &[(&str, &str)]) -> Result<String, String> {
    let mut plain = answer.to_lowercase();
    for (said, short) in [("feet", "ft"), ("foot", "ft"), ("inches", "in"), ("inch", "in"), ("'", "ft"), ("\"", "in")] {
        plain = plain.replace(said, short);
    }
    let names: Vec<&str> = units.iter().map(|(name, _)| *name).collect();
    let wrong = || format!("write a number, with {} behind it", names.join(" or "));
    if let Some((feet, inches)) = plain.split_once("ft")
        && !inches.trim().is_empty()
    {
        let inches = inches.trim().trim_end_matches("in").trim();
        let (feet, inches): (f64, f64) = (number(feet).ok_or_else(wrong)?, number(inches).ok_or_else(wrong)?);
        let in_inches = feet * 12.0 + inches;
        return match units.iter().find(|(_, ending)| *ending == "_in") {
            Some(_) => Ok(format!("{key}_in = {}\n", rounded(in_inches))),
            None => Ok(format!("{key}_ft = {}\n", rounded(in_inches / 12.0))),
        };
    }
    let split =
        plain.find(|letter: char| !(letter.is_ascii_digit() || ".,-/ ".contains(letter))).unwrap_or(plain.len());
    let (value, unit) = plain.split_at(split);
    let value = number(value).ok_or_else(wrong)?;
    let ending = match unit.trim() {
        "" => units.first().map(|(_, ending)| *ending),
        unit => units.iter().find(|(name, _)| *name == unit).map(|(_, ending)| *ending),
    };
    match ending {
        Some("cm") => Ok(format!("{key}_mm = {}\n", rounded(value * 10.0))),
        Some(ending) => Ok(format!("{key}{ending} = {}\n", rounded(value))),
        None => Err(wrong()),
    }
}

/// A number as a tape measure is read: `24`, `24.5`, `24,5`, `1/2`, `24 1/2` or `24-1/2`.
fn number(text: &str) -> Option<f64> {
    let plain = |text: &str| text.trim().replace(',', ".").parse::<f64>().ok().filter(|value| *value >= 0.0);
    let Some((before, under)) = text.split_once('/') else { return plain(text).filter(|value| value.is_finite()) };
    let (whole, over) = before.trim().rsplit_once([' ', '-']).unwrap_or(("0", before));
    let value = plain(whole.trim_end_matches('-'))? + plain(over)? / plain(under)?;
    value.is_finite().then_some(value)
}

fn rounded(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The settings file of these answers, one for each of [`QUESTIONS`], commented.
///
/// # Errors
/// An answer cannot be understood: its number, and what was expected.
pub fn new_leg<S: AsRef<str>>(answers: &[S]) -> Result<String, (usize, String)> {
    let mut text = String::from(
        "# Settings of one leg, begun with `slackside new-leg`. Units are in the names of the keys. What is left out is the starting\n\
         # value: `slackside sheet --settings` prints all of them with what they amount to, and\n\
         # `slackside sheet --settings THIS --write-settings FULL.toml` writes every one with its reason.\n\
         # Measure before you trust: run the leg loaded and enter the speed you find; every loss is counted from it.\n#\n",
    );
    for line in cautions::as_text(114).lines() {
        let _ = writeln!(text, "# {line}");
    }
    let mut section = "";
    for (number, question) in QUESTIONS.iter().enumerate() {
        let answer = answers.get(number).map_or("", AsRef::as_ref);
        let lines = question.lines(answer).map_err(|wrong| (number, wrong))?;
        if lines.is_empty() {
            continue;
        }
        if section != question.section {
            section = question.section;
            let _ = writeln!(text, "\n[{section}]");
        }
        let _ = write!(text, "# {}\n{lines}", question.asks);
    }
    // What breaks a rule is refused when it is read: no heat is to be reckoned from it.
    if let Ok(loaded) = parse(&text, "the answers") {
        let head = &loaded.checked.machine.head_pulley;
        let metres = |length: slackside::units::Micrometres| length.get() as f64 / 1e6;
        let face_m2 = core::f64::consts::PI * metres(head.bare_diameter) * metres(head.face);
        let _ = write!(
            text,
            "\n[slip_heat]\n# What slip heats, guessed from the head pulley: {HEATED_KG_PER_M2} kg of rim and lagging for each m2 of its face.\n\
             mass_kg = {:.1}\nheat_capacity_j_kgk = 900\nrise_k = 40\n",
            HEATED_KG_PER_M2 * face_m2
        );
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::parse;

    const METRIC: [&str; 17] = [
        "North leg",
        "600",
        "12",
        "350 mm",
        "3.6",
        "60 cm",
        "350",
        "",
        "8",
        "300",
        "30",
        "78.6",
        "4",
        "4",
        "18.5 kW",
        "yes",
        "yes",
    ];
    const FEET: [&str; 17] = [
        "South leg",
        "24 in",
        "0.5 in",
        "14\"",
        "1/8 in",
        "24 in",
        "14 in",
        "1/8\"",
        "5/16",
        "12 in",
        "98 ft 6 in",
        "78.6 rpm",
        "4",
        "4",
        "25 hp",
        "y",
        "n",
    ];

    #[test]
    fn answers_become_sound_settings_in_the_units_they_were_given_in() {
        let text = new_leg(&METRIC).expect("understood");
        let settings = parse(&text, "new").unwrap_or_else(|refused| panic!("{refused}\n{text}")).checked;
        assert_eq!(settings.machine.leg.as_str(), "North leg");
        // 2 × 30 m and half of each circumference, π (632 + 608) / 2 mm, by hand: 61.948 m.
        assert!((settings.machine.belt.loop_length.get() - 61_948_000).abs() < 1_000);
        // 38 kg/m2 × π × 0.6 m × 0.35 m, by hand: 25.07 kg; × 0.9 kJ/(kg K) × 40 K.
        assert!(text.contains("mass_kg = 25.1\n"), "{text}");
        assert_eq!(settings.limits.slip_heat.budget.get(), 903_600);
        let mut feet = FEET;
        feet[8] = "5/16 in";
        let text = new_leg(&feet).expect("understood");
        assert!(text.contains("thickness_in = 0.3125\n"), "{text}");
        for line in [
            "bare_diameter_in = 24",
            "lagging_in = 0.5",
            "face_in = 14",
            "crown_in = 0.125",
            "centres_ft = 98.5",
            "rated_hp = 25",
        ] {
            assert!(text.contains(line), "{line}:\n{text}");
        }
        assert!(!text.contains("_mm") && !text.contains("[contacts]"), "{text}");
        assert!(parse(&text, "new").is_ok(), "{text}");
    }

    /// As a tape measure in inches is read.
    #[test]
    fn fractions_feet_and_their_marks_are_understood() {
        for (number, answer, line) in [
            (1, "24 1/2 in", "bare_diameter_in = 24.5\n"),
            (1, "24-1/2\"", "bare_diameter_in = 24.5\n"),
            (1, "2' 1/4\"", "bare_diameter_in = 24.25\n"),
            (2, "1/2 inch", "lagging_in = 0.5\n"),
            (8, "5/16in", "thickness_in = 0.3125\n"),
            (10, "98' 6\"", "centres_ft = 98.5\n"),
            (10, "98 ft 6 1/2 in", "centres_ft = 98.5417\n"),
            (10, "29,5 m", "centres_m = 29.5\n"),
        ] {
            assert_eq!(QUESTIONS[number].lines(answer).as_deref(), Ok(line), "{answer}");
        }
        for answer in ["1/0 in", "1/ in", "/2 in", "24 - 1/2/3 in", "1 2 in", "-1/2 in"] {
            assert!(QUESTIONS[1].lines(answer).is_err(), "{answer}");
        }
    }

    #[test]
    fn what_cannot_be_understood_is_told() {
        for (number, answer) in
            [(0, ""), (1, "wide"), (1, "24 kg"), (12, "many"), (14, "18 V"), (15, "perhaps"), (11, "-4")]
        {
            let mut answers = METRIC;
            answers[number] = answer;
            assert_eq!(new_leg(&answers).expect_err(answer).0, number, "{answer}");
        }
    }
}
