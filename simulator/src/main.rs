//! The `slackside` command.

fn main() {}
