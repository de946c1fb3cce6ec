//! What the monitor itself reckons of a stop in a recording, which has no truth beside it: slip heat, slid length, belt speed.

use core::f64::consts::PI;

use slackside::settings::Checked;
use slackside::units::Micros;

use super::columns::{BLOCK, Cursor, unpack};
use super::corpus::Case;
use super::course::Point;
use super::store::Store;
use super::walk;

/// Turns of the head for each unit of its angle.
const TURN: f64 = 1.0 / (1_u64 << 24) as f64;

/// How far the rim had slid past the belt, as of rest, at a moment, in m. Where the boot never moved all the way of the rim counts:
/// a belt that is frozen in slides from the first turn.
fn slid_m(store: &Store, settings: &Checked, at: Micros) -> f64 {
    let machine = &settings.machine;
    let pulley = &machine.head_pulley;
    let across = pulley.bare_diameter.get() + 2 * pulley.lagging.get() + machine.belt.thickness.get();
    let rim_m = PI * across as f64 * 1e-6;
    let row = store.row_at(Micros::new(at.get().saturating_add(1)));
    let Some(last) = row.checked_sub(1) else { return 0.0 };
    // What was slid when the block began, and from there on what each row says of its piece of the rim's way.
    let first = last / BLOCK * BLOCK;
    let mut cursor = Cursor::new(store);
    cursor.go_past(first);
    let mut slid = store.slipped_at(store.at(first));
    let mut head = cursor.signals().head.angle;
    for row in first + 1..=last {
        if cursor.next_row().is_none() {
            break;
        }
        let now = cursor.signals().head.angle;
        let turned = f64::from(now.wrapping_sub(head)) * TURN;
        head = now;
        let slip = unpack(store.short[row]);
        // A larger step is a start from rest, at which the angle begins anew.
        if slip.is_known() && turned < 1.0 {
            slid += rim_m * turned * f64::from(slip.least.max(0)) * 1e-6;
        }
    }
    let silent = f64::from(cursor.signals().since_boot) * TURN * rim_m;
    slid.max(if cursor.signals().short.is_exact() { 0.0 } else { silent })
}

/// What is reckoned of a stop at `at_us`: heat and speed there, and what was slid since `from_us`.
#[must_use]
pub fn at_stop(case: &Case, settings: &Checked, from_us: u64, at_us: u64) -> Option<Point> {
    let (store, at) = (&case.store, Micros::new(at_us));
    let row = store.row_at(Micros::new(at_us.saturating_add(1))).checked_sub(1)?;
    let mut cursor = Cursor::new(store);
    cursor.go_past(row);
    let boot = walk::Shaft::at(at, &cursor.signals().boot);
    // A boot that never gave an edge stands.
    let speed = boot.map_or(0, |boot| boot.speed_at_most(at).get());
    let slid = slid_m(store, settings, at) - slid_m(store, settings, Micros::new(from_us));
    Some(Point {
        heat_j: case.heat.like(settings).map_or(-1.0, |heat| heat.heat_at(store, at) as f64 / 1e3),
        slid_m: slid.max(0.0),
        belt_pct: 100.0 * f64::from(speed) / f64::from(settings.machine.normal_boot.get().max(1)),
    })
}
