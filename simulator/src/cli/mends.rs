//! What someone who has just begun leaves out, or takes for a command: said beside what the command line has to say, with an example.

use clap::error::{ContextKind, ContextValue, ErrorKind};

/// A slip: on which command's line, what clap finds wrong with it, and how to mend it.
struct Slip {
    /// As the line that says how to use the command begins.
    usage: &'static str,
    kind: ErrorKind,
    /// What is missing, or not understood; the beginning or the end of it is enough.
    what: &'static str,
    mend: &'static str,
}

const SLIPS: [Slip; 9] = [
    Slip {
        usage: "slackside replay",
        kind: ErrorKind::MissingRequiredArgument,
        what: "<TRACE>",
        mend: "name the trace to be replayed on that leg: `slackside replay --settings LEG.toml TRACE.csv`; settings alone are \
               checked by `slackside sheet --settings LEG.toml`",
    },
    Slip {
        usage: "slackside replay",
        kind: ErrorKind::MissingRequiredArgument,
        what: "--settings",
        mend: "a test bench has settings of its own: `slackside replay --bench --settings BENCH.toml TRACE.csv`",
    },
    Slip {
        usage: "slackside compare",
        kind: ErrorKind::MissingRequiredArgument,
        what: "",
        mend: "one leg's settings, the other's, and what to judge under both: `slackside compare A.toml B.toml TRACE.csv`",
    },
    Slip {
        usage: "slackside sheet",
        kind: ErrorKind::UnknownArgument,
        what: ".toml",
        mend: "settings stand behind `--settings`: `slackside sheet --settings LEG.toml`",
    },
    Slip {
        usage: "slackside simulate",
        kind: ErrorKind::MissingRequiredArgument,
        what: "<SCENARIO.toml>",
        mend: "name a scenario: `slackside simulate SCENARIO.toml --out TRACE.csv`; `slackside simulate --healthy 1 --out TRACE.csv` needs none",
    },
    Slip {
        usage: "slackside box settings write",
        kind: ErrorKind::MissingRequiredArgument,
        what: "--key-file",
        mend: "`slackside box PORT settings write LEG.toml --key-file BOX.key`: the key is that which was set in the box; \
               `slackside new-key BOX.key` makes one",
    },
    Slip {
        usage: "slackside box",
        kind: ErrorKind::MissingRequiredArgument,
        what: "--out",
        mend: "say where it goes: `slackside box PORT fetch --out TRIP.slk` fetches the newest recording",
    },
    Slip {
        usage: "slackside box",
        kind: ErrorKind::MissingSubcommand,
        what: "",
        mend: "say what to ask of the box: `slackside box PORT status`",
    },
    Slip {
        usage: "slackside [OPTIONS]",
        kind: ErrorKind::InvalidSubcommand,
        what: "check",
        mend: "`slackside sheet --settings LEG.toml` checks settings and prints what follows from them; `slackside replay --settings LEG.toml \
               TRACE.csv` plays a trace",
    },
];

/// How to mend what clap found wrong, where that is a slip we know.
pub(super) fn mend(error: &clap::Error) -> Option<&'static str> {
    let usage = error.get(ContextKind::Usage)?.to_string();
    let usage = usage.trim_start_matches("Usage: ");
    let wrong: Vec<&str> = [ContextKind::InvalidArg, ContextKind::InvalidSubcommand]
        .into_iter()
        .filter_map(|kind| error.get(kind))
        .flat_map(|value| match value {
            ContextValue::String(text) => std::slice::from_ref(text),
            ContextValue::Strings(texts) => texts,
            _ => &[],
        })
        .map(String::as_str)
        .collect();
    let is_it = |slip: &&Slip| {
        let named = |text: &&str| text.starts_with(slip.what) || text.ends_with(slip.what);
        slip.kind == error.kind() && usage.starts_with(slip.usage) && (slip.what.is_empty() || wrong.iter().any(named))
    };
    SLIPS.iter().find(is_it).map(|slip| slip.mend)
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory as _;

    use super::super::Cli;
    use super::*;

    fn mend_of(line: &str) -> Option<&'static str> {
        let error = Cli::command().try_get_matches_from(line.split(' ')).expect_err("not understood");
        mend(&error)
    }

    #[test]
    fn what_beginners_leave_out_is_told_with_an_example() {
        for (line, example) in [
            ("slackside replay --settings LEG.toml", "replay --settings LEG.toml TRACE.csv"),
            ("slackside replay --bench TRACE.csv", "replay --bench --settings BENCH.toml TRACE.csv"),
            ("slackside sheet LEG.toml", "sheet --settings LEG.toml"),
            ("slackside compare A.toml", "compare A.toml B.toml TRACE.csv"),
            ("slackside simulate", "simulate SCENARIO.toml"),
            ("slackside box /dev/ttyUSB0 settings write LEG.toml", "--key-file BOX.key"),
            ("slackside box /dev/ttyUSB0 fetch 3", "fetch --out"),
            ("slackside box /dev/ttyUSB0", "box PORT status"),
            ("slackside check LEG.toml", "sheet --settings LEG.toml"),
        ] {
            assert!(mend_of(line).is_some_and(|mend| mend.contains(example)), "{line}: {:?}", mend_of(line));
        }
    }

    #[test]
    fn nothing_is_said_where_nothing_is_known() {
        for line in ["slackside --help", "slackside replay --nonsense", "slackside box /dev/ttyUSB0 mark", "slackside"]
        {
            assert_eq!(mend_of(line), None, "{line}");
        }
    }

    /// Each example can be typed as it stands.
    #[test]
    fn every_example_is_understood() {
        for slip in SLIPS {
            for example in slip.mend.split('`').skip(1).step_by(2).filter(|example| example.contains(' ')) {
                let understood = Cli::command().try_get_matches_from(example.split_whitespace());
                assert!(understood.is_ok(), "{example}: {}", understood.expect_err("it is not"));
            }
        }
    }
}
