//! The fail-safe page of the book, printed from the table.

use std::fmt::Write as _;

use super::{BeltStop, Group, Must, Proof, Row, Word, rows};

/// The page.
///
/// # Panics
/// Never: text takes whatever is written to it.
#[must_use]
pub fn page() -> String {
    let rows = rows();
    let mut text = include_str!("before.txt").to_owned();
    for group in Group::ALL {
        let _ = writeln!(text, "## {}\n", group.heading());
        text.push_str(
            "| what fails | leg stopped | starting | running | then a belt that stands |\n|---|---|---|---|---|\n",
        );
        for row in rows.iter().filter(|row| row.group == group) {
            let _ = writeln!(text, "| {} |{} {} |", row.what, cells(row), belt(row.belt));
        }
        text.push('\n');
    }
    text.push_str(
        "## What a proof test finds\n\nWhat no program sees, or sees only later. Do them at commissioning, after every change, and so often \
         (common practice, no source). `what_no_program_sees_a_proof_test_finds` in `tests/tests/box_faults.rs` does each on a sound leg, which passes, and on one with \
         the fault, which does not.\n\n| proof test | what to do | every | what it finds |\n|---|---|---|---|\n",
    );
    for proof in Proof::ALL {
        let finds = |row: &&Row| row.must.into_iter().any(|must| must.proof() == Some(proof));
        let finds: Vec<&str> = rows.iter().filter(finds).map(|row| row.what).collect();
        let months = proof.every_months();
        let _ = writeln!(text, "| {} | {} | {months} months | {} |", proof.name(), proof.does(), finds.join("; "));
    }
    text.push('\n');
    text.push_str(include_str!("after.md"));
    text
}

/// The three cells; where the next is as the one before, it is not said again.
fn cells(row: &Row) -> String {
    let mut text = String::new();
    let mut before = None;
    for must in row.must {
        let _ = if before == Some(must) { write!(text, " same |") } else { write!(text, " {} |", cell(must)) };
        before = Some(must);
    }
    text
}

fn cell(must: Must) -> String {
    match must {
        Must::Stop { says: Word::Off, .. } => "stop: the coils have no power".to_owned(),
        Must::Stop { within_ms, says } => format!("stop within {}: {}", time(within_ms), word(says)),
        Must::StopOnceStarted { within_ms, says } => {
            format!("stop within {} of the start: {}", time(within_ms), word(says))
        }
        Must::Alarm { within_ms, says } => format!("alarm within {}: {}", time(within_ms), word(says)),
        Must::AlarmOnceStarted { within_ms, says } => {
            format!("alarm within {} of the start: {}", time(within_ms), word(says))
        }
        Must::AtNextStop { within_ms, says } => {
            format!("nothing yet; within {} of the permit's next drop: {}", time(within_ms), word(says))
        }
        Must::BeforeNextStart { says } => format!("nothing yet; before the next start: {}", word(says)),
        Must::AlarmWithADay { within_ms, says, .. } => {
            format!("alarm within {}, the leg having run for an hour of them: {}", time(within_ms), word(says))
        }
        Must::OnceOff { within_ms, says, sooner } => format!(
            "**nothing at a steady speed**; stop within {} of the motor's next stop: {}; sooner by a proof test of the {}",
            time(within_ms),
            word(says),
            sooner.name()
        ),
        Must::Nothing => "nothing: no protection is lost".to_owned(),
        Must::Unseen(proof) => format!("**not seen**: proof test of the {}", proof.name()),
    }
}

const fn belt(belt: BeltStop) -> &'static str {
    match belt {
        BeltStop::Stopped => "motor off",
        BeltStop::ToldOnly => "**told, but nothing of the box can stop the motor**: the starter's own stop",
        BeltStop::Missed => "**not seen at speed**",
    }
}

fn word(word: Word) -> String {
    match word {
        Word::Alarm(condition) => condition.entry().title.to_lowercase(),
        Word::Box(fault) => format!("the box's *{}*", spaced(&format!("{fault:?}"))),
        Word::Heart => "the heartbeat ends, the watchdog outside opens".to_owned(),
        Word::Off => String::new(),
        Word::Itself => "by itself".to_owned(),
    }
}

/// `RunAWelded` as words.
fn spaced(name: &str) -> String {
    let mut words = String::new();
    for letter in name.chars() {
        if letter.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.push(letter.to_ascii_lowercase());
    }
    words.replace(" a ", " A ").replace(" b ", " B ")
}

fn time(millis: u64) -> String {
    match millis {
        0..120_000 if millis.is_multiple_of(1_000) => format!("{} s", millis / 1_000),
        0..120_000 => format!("{} s", millis as f64 / 1_000.0),
        120_000..7_200_000 => format!("{} min", millis.div_ceil(60_000)),
        _ => format!("{} h", millis.div_ceil(3_600_000)),
    }
}
