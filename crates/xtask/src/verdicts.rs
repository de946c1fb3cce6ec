//! Every verdict of random legs, of the plant's scenarios and of the demo as text, one a line: what a change of the core changes in them
//! is what `diff` tells of the files of two builds.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Result, anyhow};
use slackside::input::Input;
use slackside::retained::Retained;
use slackside::settings::{Checked, Settings};
use slackside::verdict::Verdict;
use slackside_desk::crew::Crew as _;
use slackside_desk::{demo, monitor};
use slackside_legs::{Frame, leg};
use slackside_simulator::cores::Cores;
use slackside_simulator::outputs;

use crate::parity::files;
use crate::root::root;
use crate::scenarios;

/// What is played.
enum Job {
    Leg(u64),
    Scenario(PathBuf),
    Demo,
}

impl Job {
    fn play(&self) -> Result<(String, Vec<Verdict>)> {
        match self {
            Self::Leg(seed) => Ok((format!("leg {seed}"), leg(*seed, Frame::ANY).verdicts())),
            Self::Scenario(path) => {
                let (settings, inputs) = scenarios::inputs(path)?;
                let name = path.file_stem().unwrap_or(path.as_os_str()).to_string_lossy();
                Ok((name.into_owned(), verdicts(&settings, &inputs)))
            }
            Self::Demo => {
                let refused = |violations| anyhow!("the example leg is refused: {violations:?}");
                let settings = Settings::example().check().map_err(refused)?;
                Ok(("demo".to_owned(), verdicts(&settings, &demo::inputs(&settings))))
            }
        }
    }

    /// Its verdicts as text.
    fn tell(&self) -> Result<String> {
        let (name, verdicts) = self.play()?;
        Ok(verdicts.iter().map(|Verdict { at, change }| format!("{name} {} µs {change:?}\n", at.get())).collect())
    }
}

fn verdicts(settings: &Checked, inputs: &[Input]) -> Vec<Verdict> {
    let mut monitor = monitor::monitor(settings, &Retained::default());
    let mut all = Vec::new();
    for input in inputs {
        monitor.observe(*input, &mut |verdict| all.push(*verdict));
    }
    all
}

/// Write the verdicts of so many random legs, of every scenario and of the demo.
pub fn run(file: &Path, legs: u64) -> Result<()> {
    let mut jobs: Vec<Job> = (0..legs).map(Job::Leg).collect();
    jobs.extend(files(&root().join("scenarios"), "toml")?.into_iter().map(Job::Scenario));
    jobs.push(Job::Demo);
    // It is made anew for each build.
    outputs::may_replace(true);
    let mut lines = 0;
    outputs::write_whole(file, |out| {
        for told in Cores.each(jobs, |job| job.tell()) {
            let told = told?;
            lines += told.lines().count();
            out.write_all(told.as_bytes())?;
        }
        Ok(())
    })?;
    println!("{lines} verdicts of {legs} random legs, the scenarios and the demo in {}", file.display());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each line is what the monitor says, in its words and at its time.
    #[test]
    fn the_lines_are_the_verdicts_of_the_monitor() {
        let mut told = 0;
        for seed in [1, 2, 3] {
            let text = Job::Leg(seed).tell().expect("a leg");
            let verdicts = leg(seed, Frame::ANY).verdicts();
            assert_eq!(text.lines().count(), verdicts.len(), "{text}");
            for (line, verdict) in text.lines().zip(&verdicts) {
                assert_eq!(line, format!("leg {seed} {} µs {:?}", verdict.at.get(), verdict.change));
            }
            told += verdicts.len();
        }
        assert!(told > 20, "{told}");
        let demo = Job::Demo.tell().expect("the demo");
        let first_out = demo.lines().find(|line| line.contains("FirstOut(Some("));
        assert!(first_out.is_some_and(|line| line.starts_with("demo ")), "{demo}");
    }

    /// A scenario is told by its name, and its monitor is the one in its loop: what it stopped is stopped here.
    #[test]
    fn a_scenario_is_told_by_its_name() {
        let path = root().join("scenarios/choked-boot.toml");
        let told = Job::Scenario(path).tell().expect("a scenario");
        assert!(told.lines().count() > 5 && told.lines().all(|line| line.starts_with("choked-boot ")), "{told}");
        assert!(told.contains("permit: Run, allowed: false, because: Some("), "{told}");
    }
}
