//! The program as it is called.

use std::path::Path;
use std::process::{Command, Output};

/// Run it in a directory.
pub fn slackside(directory: &Path, arguments: &[&str]) -> Output {
    let binary = env!("CARGO_BIN_EXE_slackside");
    Command::new(binary).current_dir(directory).args(arguments).output().expect("the command runs")
}

/// What it printed.
pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Run it, and hold that all went well; what it printed.
pub fn done(directory: &Path, arguments: &[&str]) -> String {
    let output = slackside(directory, arguments);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", text(&output.stderr));
    text(&output.stdout)
}
