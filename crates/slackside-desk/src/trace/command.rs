//! Commands as words.

use slackside::conditions::Condition;
use slackside::input::{Command, Origin};
use slackside::units::Span;

use super::channel::nearest;
use super::error::Wrong;
use super::number::{parse_decimal, write_decimal};

/// What is put before a command that came by the link.
const BY_LINK: &str = "link:";

/// The commands that are one plain word.
const PLAIN: [(&str, Command); 12] = [
    ("acknowledge", Command::Acknowledge),
    ("reset", Command::Reset),
    ("reset_press", Command::ResetButton(true)),
    ("reset_release", Command::ResetButton(false)),
    ("boot_cleared", Command::BootCleared),
    ("key_on", Command::Key(true)),
    ("key_off", Command::Key(false)),
    ("end_bypass", Command::EndBypass),
    ("inch_on", Command::Inch(true)),
    ("inch_off", Command::Inch(false)),
    ("proof_test_begin", Command::ProofTest(true)),
    ("proof_test_end", Command::ProofTest(false)),
];

/// The words of a command.
pub fn write_command(origin: Origin, command: Command, out: &mut Vec<u8>) {
    if origin == Origin::Link {
        out.extend_from_slice(BY_LINK.as_bytes());
    }
    match command {
        Command::Armed { old, new } => out.extend_from_slice(format!("armed:{old:08X}:{new:08X}").as_bytes()),
        Command::Bypass(condition, span) => {
            out.extend_from_slice(b"bypass:");
            out.extend_from_slice(condition.name().as_bytes());
            out.push(b':');
            write_decimal(i64::from(span.get()), 6, out);
        }
        other => {
            let word = PLAIN.iter().find(|(_, command)| *command == other).map_or("", |(word, _)| word);
            out.extend_from_slice(word.as_bytes());
        }
    }
}

/// The command that the words stand for.
pub fn parse_command(text: &str) -> Result<(Origin, Command), Wrong> {
    let (origin, words) = match text.strip_prefix(BY_LINK) {
        Some(rest) => (Origin::Link, rest),
        None => (Origin::Leg, text),
    };
    if let Some((_, command)) = PLAIN.iter().find(|(word, _)| *word == words) {
        return Ok((origin, *command));
    }
    if let Some(rest) = words.strip_prefix("bypass:") {
        return parse_bypass(rest).map(|command| (origin, command));
    }
    if let Some(rest) = words.strip_prefix("armed:") {
        return parse_armed(rest).map(|command| (origin, command));
    }
    let mend = match nearest(words, PLAIN.iter().map(|(word, _)| *word).chain(["bypass"])) {
        Some("bypass") => "write `bypass:<condition>:<seconds>`, for example `bypass:mistracking:600`".to_owned(),
        Some(near) => format!("did you mean `{near}`?"),
        None => format!(
            "write one of {} or `bypass:<condition>:<seconds>`; put `link:` before what came by the link",
            PLAIN.iter().map(|(word, _)| format!("`{word}`")).collect::<Vec<_>>().join(", ")
        ),
    };
    Err(Wrong { problem: format!("`{text}` is no command"), mend })
}

fn parse_armed(text: &str) -> Result<Command, Wrong> {
    let identity = |text: &str| u32::from_str_radix(text, 16).ok().filter(|_| text.len() == 8);
    let both = text.split_once(':').and_then(|(old, new)| Some((identity(old)?, identity(new)?)));
    let (old, new) = both.ok_or_else(|| Wrong {
        problem: format!("`armed:{text}` does not name two identities"),
        mend: "write both as 8 digits from 0 to 9 and A to F, for example `armed:00000000:9F0C11A2`".to_owned(),
    })?;
    Ok(Command::Armed { old, new })
}

fn parse_bypass(text: &str) -> Result<Command, Wrong> {
    let Some((name, seconds)) = text.split_once(':') else {
        return Err(Wrong {
            problem: format!("the bypass of `{text}` does not say how long"),
            mend: format!("write `bypass:{text}:600` for ten minutes"),
        });
    };
    let condition = Condition::from_name(name).ok_or_else(|| Wrong {
        problem: format!("`{name}` is no condition"),
        mend: match nearest(name, Condition::ALL.into_iter().map(Condition::name)) {
            Some(near) => format!("did you mean `{near}`?"),
            None => "write a condition as the events file names it, for example `mistracking`".to_owned(),
        },
    })?;
    let micros = parse_decimal(seconds, 6).and_then(|micros| u32::try_from(micros).ok()).ok_or_else(|| Wrong {
        problem: format!("`{seconds}` is no length of a bypass"),
        mend: "write seconds from 0 to 4294, for example 600".to_owned(),
    })?;
    Ok(Command::Bypass(condition, Span::new(micros)))
}
