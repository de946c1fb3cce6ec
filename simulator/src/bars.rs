//! Progress bars: on standard error, where somebody looks.

use std::io::{IsTerminal as _, stderr};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};
use slackside_desk::trace::Progress;

/// Work that takes less long shows no bar.
const PATIENCE: Duration = Duration::from_secs(1);

fn styled(bar: ProgressBar, template: &str) -> ProgressBar {
    match ProgressStyle::with_template(template) {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}

/// A bar for so many steps of something; hidden where nobody looks.
#[must_use]
pub fn steps(what: &str, length: u64) -> ProgressBar {
    if !stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    styled(ProgressBar::new(length), "{msg} {wide_bar} {pos}/{len}, {eta} left").with_message(what.to_owned())
}

/// A bar for bytes; hidden where nobody looks.
#[must_use]
pub fn bytes(length: u64) -> ProgressBar {
    if !stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    styled(ProgressBar::new(length), "{bar:40} {bytes}/{total_bytes} {eta}")
}

/// A bar for one piece of work after the other.
#[derive(Default)]
pub struct Stages(Mutex<Option<(String, ProgressBar)>>);

impl Stages {
    /// Show how far `what` has come.
    pub fn show(&self, what: &str, done: u64, of: u64) {
        let Ok(mut shown) = self.0.lock() else { return };
        if shown.as_ref().is_none_or(|(name, _)| name != what) {
            if let Some((_, bar)) = shown.take() {
                bar.finish_and_clear();
            }
            *shown = Some((what.to_owned(), steps(what, of)));
        }
        if let Some((_, bar)) = &*shown {
            bar.set_position(done);
        }
    }

    /// Take the bar away.
    pub fn clear(&self) {
        if let Ok(mut shown) = self.0.lock()
            && let Some((_, bar)) = shown.take()
        {
            bar.finish_and_clear();
        }
    }
}

/// How far the reading of a trace has come: shows itself only where it takes long.
pub struct Reading {
    began: Instant,
    bar: Option<ProgressBar>,
}

impl Default for Reading {
    fn default() -> Self {
        Self { began: Instant::now(), bar: None }
    }
}

impl Reading {
    /// Show it.
    pub fn show(&mut self, progress: &Progress) {
        if self.bar.is_none() {
            if self.began.elapsed() < PATIENCE || !stderr().is_terminal() {
                return;
            }
            let bar = match progress.length() {
                Some(length) => {
                    styled(ProgressBar::new(length), "{spinner} {bytes} of {total_bytes} {wide_bar} {eta} left")
                }
                None => ProgressBar::new_spinner(),
            };
            self.bar = Some(bar);
        }
        if let Some(bar) = &self.bar {
            bar.set_position(progress.read());
        }
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
