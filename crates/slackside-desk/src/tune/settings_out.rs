//! The chosen settings as a file, with a comment for each tuned value.

use super::answer::Answer;
use super::choose::{Advice, Choice, cost, undecided};
use super::session::{Found, held_out, none_held_out, tuned};
use super::study::Study;

/// The settings file of the choice.
///
/// # Errors
/// The choice breaks a rule on the study's own leg: says which.
pub fn write(study: &Study, found: &Found, choice: &Choice) -> Result<String, String> {
    let settings = study.settings(&study.base, &choice.levels)?;
    let text = crate::settings::write_for(&settings, study.feet);
    let row = &choice.row;
    let (own, proof) = (tuned(row), held_out(row));
    let mut out = format!(
        "# Chosen by the tuning study \"{}\", of {} settings.\n",
        study.name.replace('\n', " "),
        found.rows.len(),
    );
    for line in Answer::of(study, &found.rows, choice).lines().flat_map(|line| textwrap::wrap(line, 116)) {
        out.push_str(&format!("# {line}\n"));
    }
    if none_held_out(row) {
        out.push_str("# No family was held out: nothing but the traces they were chosen on speaks for these.\n");
    } else {
        let (stops, nuisance) = (proof.failing_words(), proof.nuisance_words());
        out.push_str(&format!("# On held-out families: stops {stops};\n# nuisance stops {nuisance}.\n"));
    }
    if study.base_name == crate::settings::Loaded::example().source_name {
        out.push_str("# The study named no leg: the machine below is the built-in example leg's. Put in your own.\n");
    }
    if study.bench {
        out.push_str("# Held against the rules for a test bench only: no leg may run with these.\n");
    }
    for reason in &choice.reasons {
        for line in textwrap::wrap(reason, 116) {
            out.push_str(&format!("# {line}\n"));
        }
    }
    let mut section = String::new();
    for line in text.lines() {
        if let Some(name) = line.strip_prefix('[') {
            section = name.trim_end_matches(']').to_owned();
        }
        let tuned_here = study.knobs.iter().enumerate().find(|(_, knob)| {
            let (place, key) = knob.place();
            place == section && line.split(" = ").next() == Some(key)
        });
        if let Some((number, knob)) = tuned_here {
            let bare = line.split(" #").next().unwrap_or(line).trim_end();
            let side = |side: &Option<(u16, Result<_, String>)>| match side {
                None => "end of range".to_owned(),
                Some((_, Err(_))) => "not allowed".to_owned(),
                Some((_, Ok(summary))) => cost(&own, summary),
            };
            let beside =
                |advice: &Advice| format!("one step lower: {}; higher: {}", side(&advice.lower), side(&advice.higher));
            let beside = choice.advice.get(number).map_or_else(String::new, beside);
            let said = match (choice.moved.contains(&number), undecided(study, choice, number)) {
                (true, _) => format!("tuned; {beside}. Before: {} {}.", knob.present(&study.base), knob.unit()),
                (false, Some(open)) => format!("looked at, not decided by the data: {open}"),
                (false, None) => format!("looked at, stays; {beside}."),
            };
            for piece in textwrap::wrap(&said, 116) {
                out.push_str(&format!("# {piece}\n"));
            }
            out.push_str(&format!("{bare}\n"));
        } else {
            out.push_str(line);
            out.push('\n');
        }
    }
    Ok(out)
}
