//! The leg from the side: pulleys, belt, where the contacts sit, and where on the belt it rubbed on its last loop. And the shafts, each with
//! the angles at which it rubbed.

use slackside::diagnose::Resultant;
use slackside::input::Place;
use slackside::settings::Strand;

use crate::drawing::{Anchor, Look, Svg};
use crate::replay::{Columns, Outcome, Rub};

/// The picture, in pixels.
const SIZE: (f64, f64) = (340.0, 330.0);
/// The middle of the pulleys, and their largest radius.
const MIDDLE: f64 = 170.0;
const HEAD: f64 = 66.0;
const BOOT: f64 = 264.0;
const RADIUS: f64 = 42.0;
/// How far along its strand a contact is drawn from its pulley. Where it really sits, the settings do not say.
const NEAR: f64 = 0.12;

/// The belt loop in the picture, from the foot of the up side on, the way the belt runs.
struct Loop {
    /// The share of it that one strand is, and each half turn.
    strand: f64,
    head: f64,
    /// The radius of the belt about each pulley.
    radii: (f64, f64),
}

impl Loop {
    fn of(outcome: &Outcome) -> Self {
        let machine = &outcome.settings.machine;
        let length = machine.belt.loop_length.get() as f64;
        let (head, boot) = (machine.head_diameter().get() as f64, machine.boot_diameter().get() as f64);
        let half = |diameter: f64| core::f64::consts::PI * diameter / 2.0 / length;
        let largest = head.max(boot);
        let radius = |diameter: f64| (RADIUS * diameter / largest).max(RADIUS / 3.0);
        let strand = ((1.0 - half(head) - half(boot)) / 2.0).max(0.0);
        Self { strand, head: half(head), radii: (radius(head), radius(boot)) }
    }

    /// The place in the picture of a share of the loop, and the way out from the belt there.
    fn place(&self, share: f64) -> ((f64, f64), (f64, f64)) {
        let share = share.rem_euclid(1.0);
        let (head, boot) = self.radii;
        let along = |from: f64, to: f64, part: f64| from + (to - from) * part;
        let about = |radius: f64, middle: f64, turn: f64| {
            let (sin, cos) = (libm::sin(turn), libm::cos(turn));
            ((MIDDLE - radius * cos, middle - radius * sin), (-cos, -sin))
        };
        let (over, down) = (self.strand + self.head, 2.0 * self.strand + self.head);
        if share < self.strand {
            let part = share / self.strand;
            ((MIDDLE - along(boot, head, part), along(BOOT, HEAD, part)), (-1.0, 0.0))
        } else if share < over {
            about(head, HEAD, core::f64::consts::PI * (share - self.strand) / self.head)
        } else if share < down {
            let part = (share - over) / self.strand;
            ((MIDDLE + along(head, boot, part), along(HEAD, BOOT, part)), (1.0, 0.0))
        } else {
            about(boot, BOOT, core::f64::consts::PI * (1.0 + (share - down) / (1.0 - down)))
        }
    }

    /// Where on the loop a contact sits.
    fn contact(&self, place: Place, strand: Strand) -> f64 {
        let at_head = matches!(place, Place::HeadLeft | Place::HeadRight);
        let from_pulley = if at_head == (strand == Strand::Up) { 1.0 - NEAR } else { NEAR };
        let begin = if strand == Strand::Up { 0.0 } else { self.strand + self.head };
        begin + self.strand * from_pulley
    }
}

const fn is_left(place: Place) -> bool {
    matches!(place, Place::HeadLeft | Place::BootLeft)
}

/// The rubs of the last loop before the trip, each as the share of the loop at which that place of the belt lay at the trip.
fn last_loop(outcome: &Outcome, columns: &Columns, line: &Loop) -> Vec<(Place, f64)> {
    let machine = &outcome.settings.machine;
    let length = machine.belt.loop_length.get();
    let near = columns.rubs.iter().filter_map(|rub| {
        let gone = columns.travelled.get() - rub.travelled.get();
        let strand = machine.contacts[rub.place.index()]?;
        (0..=length).contains(&gone).then(|| (rub.place, line.contact(rub.place, strand) + gone as f64 / length as f64))
    });
    near.collect()
}

/// The leg, and in words what it shows.
pub fn leg(outcome: &Outcome, columns: &Columns) -> String {
    let machine = &outcome.settings.machine;
    let line = Loop::of(outcome);
    let marks = last_loop(outcome, columns, &line);
    let when = if outcome.first_outs.is_empty() { "at the end" } else { "at the trip" };
    let label = format!(
        "The leg from the side, its up side at the left, as its belt lay {when}. Places on the belt that rubbed on the last loop: {} at a \
         left edge, {} at a right edge.",
        marks.iter().filter(|(place, _)| is_left(*place)).count(),
        marks.iter().filter(|(place, _)| !is_left(*place)).count()
    );
    let mut svg = Svg::part(SIZE.0, SIZE.1, &label);
    casing(&mut svg, &line);
    for (name, middle, radius) in [("head", HEAD, line.radii.0), ("boot", BOOT, line.radii.1)] {
        svg.circle(Look::Class("pulley"), (MIDDLE, middle), radius - 3.0);
        svg.text((MIDDLE, middle + 4.0), Anchor::Middle, name);
    }
    let (head, boot) = line.radii;
    let way = format!(
        "M{} {BOOT}L{} {HEAD}A{head} {head} 0 0 1 {} {HEAD}L{} {BOOT}A{boot} {boot} 0 0 1 {} {BOOT}Z",
        MIDDLE - boot,
        MIDDLE - head,
        MIDDLE + head,
        MIDDLE + boot,
        MIDDLE - boot
    );
    svg.path(Look::Class("belt"), &way);
    for (place, strand) in Place::ALL.into_iter().zip(machine.contacts) {
        if let Some(strand) = strand {
            contact(&mut svg, &line, columns, place, strand);
        }
    }
    for (place, share) in &marks {
        let ((x, y), (out_x, out_y)) = line.place(*share);
        let away = if is_left(*place) { 7.0 } else { -7.0 };
        mark(&mut svg, *place, (x + away * out_x, y + away * out_y));
    }
    svg.finish()
}

/// What does not move, and which way the belt runs.
fn casing(svg: &mut Svg, line: &Loop) {
    let (head, boot) = line.radii;
    let wide = head.max(boot) + 16.0;
    let (left, right) = (MIDDLE - wide, MIDDLE + wide);
    let (top, foot) = (HEAD - wide, BOOT + wide);
    svg.path(Look::Class("casing"), &format!("M{left} {foot}V{top}H{right}V{}l34 22v14l-34 -14V{foot}Z", HEAD + 4.0));
    svg.text((right + 8.0, HEAD - 8.0), Anchor::Start, "out");
    let middle = f64::midpoint(HEAD, BOOT);
    let (up, down) = (MIDDLE - f64::midpoint(head, boot) + 9.0, MIDDLE + f64::midpoint(head, boot) - 9.0);
    svg.path(Look::Class("arrow"), &format!("M{up} {}v-34m-4 8 4 -8 4 8", middle + 17.0));
    svg.path(Look::Class("arrow"), &format!("M{down} {}v34m-4 -8 4 8 4 -8", middle - 17.0));
    svg.text((left - 6.0, middle + 4.0), Anchor::End, "up side");
    svg.text((right + 6.0, middle + 4.0), Anchor::Start, "down side");
}

/// A contact beside the belt, and whether the belt came to it.
fn contact(svg: &mut Svg, line: &Loop, columns: &Columns, place: Place, strand: Strand) {
    let ((x, y), _) = line.place(line.contact(place, strand));
    let rubbed = columns.rubs.iter().any(|rub| rub.place == place);
    // The left contact stands above the right one, though they face each other across the belt.
    let y = if is_left(place) { y - 9.0 } else { y + 9.0 };
    let out = if strand == Strand::Up { -1.0 } else { 1.0 };
    svg.path(Look::Class("contact"), &format!("M{:.1} {y:.1}h{:.1}", x + 3.0 * out, 24.0 * out));
    let anchor = if strand == Strand::Up { Anchor::End } else { Anchor::Start };
    let side = if is_left(place) { "left" } else { "right" };
    if rubbed {
        mark(svg, place, (x + 33.0 * out, y));
    }
    svg.text((x + 41.0 * out, y + 4.0), anchor, &format!("{side}{}", if rubbed { ": rubbed" } else { "" }));
}

/// A round mark for the left edge of the belt, a square one for the right.
fn mark(svg: &mut Svg, place: Place, (x, y): (f64, f64)) {
    if is_left(place) {
        svg.circle(Look::Class("rub-left"), (x, y), 4.2);
    } else {
        svg.rect(Look::Class("rub-right"), (x - 3.8, y - 3.8), (7.6, 7.6), "");
    }
}

/// Fewer rubs always look like one angle.
const ENOUGH: usize = 6;

/// The shaft of a place, with a line at each angle at which it rubbed there, and the mean of them: the longer, the more at one angle.
/// Nothing where there are too few.
pub fn shaft(columns: &Columns, place: Place, label: &str) -> Option<String> {
    const MIDDLE: (f64, f64) = (60.0, 60.0);
    let rubs: Vec<&Rub> = columns.rubs.iter().filter(|rub| rub.place == place).collect();
    if rubs.len() < ENOUGH {
        return None;
    }
    let mut svg = Svg::part(120.0, 120.0, label);
    svg.circle(Look::Class("pulley"), MIDDLE, 46.0);
    let at = |degrees: f64, radius: f64| {
        let turn = degrees.to_radians();
        (MIDDLE.0 + radius * libm::sin(turn), MIDDLE.1 - radius * libm::cos(turn))
    };
    let mut sum = Resultant::NONE;
    for rub in &rubs {
        let degrees = f64::from(rub.angle.get()) / 4_294_967_296.0 * 360.0;
        sum.add(rub.angle);
        svg.line(Look::Class("angle"), [Some(at(degrees, 40.0)), Some(at(degrees, 54.0))]);
    }
    let mean = f64::from(sum.mean_degrees());
    svg.line(Look::Class("mean"), [Some(MIDDLE), Some(at(mean, 38.0 * f64::from(sum.length())))]);
    svg.circle(Look::Class("hub"), MIDDLE, 3.0);
    Some(svg.finish())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loop_in_the_picture_goes_up_over_the_head_and_down_again() {
        let line = Loop { strand: 0.4, head: 0.1, radii: (42.0, 30.0) };
        let near = |(x, y): (f64, f64), (wx, wy): (f64, f64)| (x - wx).abs() < 1e-6 && (y - wy).abs() < 1e-6;
        for (share, wanted) in [
            (0.0, (MIDDLE - 30.0, BOOT)),
            (0.4, (MIDDLE - 42.0, HEAD)),
            (0.45, (MIDDLE, HEAD - 42.0)),
            (0.5, (MIDDLE + 42.0, HEAD)),
            (0.9, (MIDDLE + 30.0, BOOT)),
            (0.95, (MIDDLE, BOOT + 30.0)),
            (1.0, (MIDDLE - 30.0, BOOT)),
        ] {
            assert!(near(line.place(share).0, wanted), "{share}: {:?}", line.place(share));
        }
        // A contact at the head on the up side is the last thing before the pulley; on the down side the first after it.
        let up = line.contact(Place::HeadLeft, Strand::Up);
        let down = line.contact(Place::HeadLeft, Strand::Down);
        assert!((0.3..0.4).contains(&up) && (0.5..0.6).contains(&down), "{up} {down}");
        assert!(line.contact(Place::BootLeft, Strand::Up) < 0.1 && line.contact(Place::BootRight, Strand::Down) > 0.8);
    }
}
