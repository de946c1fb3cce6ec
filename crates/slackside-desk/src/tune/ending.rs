//! How far a recording tells what other limits would have done.
//!
//! Of a leg that obeyed its monitor the record shows what came of *those* limits. Once they dropped the feed the leg was emptying,
//! once they dropped the run it was coasting: whether a slower setting would have stopped it in time, late or never, no one can
//! tell from there.

use slackside::settings::Checked;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};

use super::heat::HeatTables;
use super::label::Label;
use super::run::judge;
use super::store::Store;

/// A drive that goes off within this after its run permit dropped did so for that, in microseconds: contactors and relays take
/// tenths of a second, a person longer.
const OBEYED_US: u64 = 5_000_000;

/// Until when a recording tells of other limits, in microseconds. `own`: the leg's settings when it was recorded.
#[must_use]
pub fn known_until_us(store: &Store, own: &Checked, label: &Label) -> Option<u64> {
    if label.known_until_us.is_some() {
        return label.known_until_us;
    }
    let from_us = label.stop?.from_us;
    let drive_us = drive_off_us(store, from_us);
    let (first_us, run_us) = dropped_us(store, own, from_us);
    let for_that = |run: u64| drive_us.is_some_and(|off| (run..=run + OBEYED_US).contains(&off));
    let obeyed = label.obeyed || run_us.is_some_and(for_that);
    [drive_us, first_us.filter(|_| obeyed)].into_iter().flatten().min()
}

/// When a drive that ran went off, first since `from_us`.
fn drive_off_us(store: &Store, from_us: u64) -> Option<u64> {
    let mut on = false;
    for (at, now) in store.drive_switched() {
        if on && !now && at >= Micros::new(from_us) {
            return Some(at.get());
        }
        on = now;
    }
    None
}

/// When the leg's own limits dropped a permit that was not given back before `from_us`, and when they dropped the run.
fn dropped_us(store: &Store, own: &Checked, from_us: u64) -> (Option<u64>, Option<u64>) {
    let mut given = [false; 2];
    let mut dropped = [None; 2];
    judge(store, own, &HeatTables::default(), &mut |verdict: Verdict| {
        if let Change::Permit { permit, allowed, because } = verdict.change {
            let which = usize::from(permit == Permit::Run);
            let at = verdict.at.get();
            if allowed && at < from_us {
                dropped[which] = None;
            } else if given[which] && !allowed && because.is_some() {
                dropped[which] = dropped[which].or(Some(at));
            }
            given[which] = allowed;
        }
        // Beyond the stop nothing is asked.
        dropped[1].is_none_or(|at| at < from_us)
    });
    (dropped.into_iter().flatten().min(), dropped[1])
}
