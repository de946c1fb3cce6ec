//! Faults at random: every kind on every leg, when and how badly by chance, so that timing gives nothing away.

use super::super::fault::{Contact, End, Fault, Kind, Side, Where};
use super::super::legs;
use super::super::settings::Commissioned;
use super::super::timeline::{Act, Button};
use super::super::{Label, Scenario};
use super::population::{Drawn, drawing_like, guides, told, until_taken, vary};
use crate::plant::chance::Chance;
use crate::plant::leg::Leg;

/// Of how many runs one has a second fault.
const SECOND: f64 = 0.25;

/// How a fault comes: at once, within seconds, minutes, or an hour.
fn ramp(chance: &mut Chance) -> f64 {
    match (chance.uniform() * 10.0) as u32 {
        0..=2 => 0.0,
        3..=4 => chance.between(1.0, 60.0),
        5..=7 => chance.between(60.0, 600.0),
        _ => 3_600.0,
    }
}

fn draw(kind: Kind, from_s: f64, chance: &mut Chance) -> Fault {
    let short = kind == Kind::PowerDip;
    Fault {
        ramp_s: if short { 0.0 } else { ramp(chance) },
        until_s: short.then(|| from_s + chance.between(0.05, 3.0)),
        severity: chance.between(0.05, 1.0),
        side: (kind.needs() == Where::Side).then(|| chance.pick(&Side::ALL)),
        shaft: (kind.needs() == Where::Shaft).then(|| chance.pick(&[End::Head, End::Boot])),
        place: (kind.needs() == Where::Place).then(|| chance.pick(&Contact::ALL)),
        ..Fault::plain(kind, from_s, 0.0)
    }
}

/// The kinds of fault drawn from: rocking is weather.
fn kinds() -> Vec<Kind> {
    Kind::ALL.into_iter().filter(|kind| *kind != Kind::Rocking).collect()
}

/// How many kinds of fault on how many legs there are.
#[must_use]
pub fn pairs() -> usize {
    kinds().len() * legs::NAMES.len()
}

/// Faulty run number `index` of a seed: kinds and legs in turn, all else by chance.
///
/// # Errors
/// The monitor refuses the settings of many legs one after another.
pub fn faulty(seed: u64, index: usize) -> crate::error::Result<(Kind, Drawn)> {
    let kinds = kinds();
    let kind = kinds[index % kinds.len()];
    let number = (index / kinds.len()) % legs::NAMES.len();
    let drawing = legs::leg(legs::NAMES[number]).unwrap_or_else(|| unreachable!("a built-in leg"));
    let drawn = until_taken(|refused, stream| run(seed, index, stream, (kind, number, &drawing), refused))?;
    Ok((kind, drawn))
}

/// One try at a faulty run.
fn run(
    seed: u64,
    index: usize,
    stream: u64,
    (kind, number, drawing): (Kind, usize, &Leg),
    refused: u64,
) -> crate::error::Result<Drawn> {
    let kinds = kinds();
    let mut chance = Chance::new(seed, 1_000_000 + index as u64 + stream);
    let mut leg = vary(drawing, &mut chance);
    guides(&mut leg, Chance::new(seed, 3_000_000 + index as u64 + stream));
    let start_s = chance.between(3.0, 20.0);
    let fed_s = start_s + chance.between(12.0, 40.0);
    let feed = chance.between(40.0, 100.0);
    let from_s = fed_s + chance.between(90.0, 900.0);
    let mut faults = vec![draw(kind, from_s, &mut chance)];
    if chance.happens(SECOND) {
        let other = chance.pick(&kinds);
        let later_s = from_s + chance.between(0.0, 1_200.0);
        if other != kind {
            faults.push(draw(other, later_s, &mut chance));
        }
    }
    let mut timeline = vec![Act::press(start_s, Button::Start), Act::feed(fed_s, feed)];
    if kind == Kind::BackstopFailed {
        // It shows only when a full leg stops.
        let at_s = from_s + faults[0].ramp_s + 20.0;
        timeline.push(Act::press(at_s, Button::Stop));
        timeline.push(Act::feed(at_s + 0.5, 0.0));
    }
    // Until it is steady: three time constants of heat after the last fault has grown.
    let steady = |fault: &Fault| fault.from_s + fault.ramp_s + 3.0 * leg.heat.time_constant_s;
    let duration_s = faults.iter().map(steady).fold(0.0, f64::max).ceil();
    let commissioned = Commissioned::measure(&leg);
    let settings = told(&drawing_like(drawing, &leg), &leg, &commissioned, 0.005, &mut chance)?;
    let scenario = Scenario {
        name: format!("random {index}"),
        description: String::new(),
        leg,
        duration_s,
        seed: seed.wrapping_add(index as u64),
        step_us: 2_000,
        obey_permits: Some(false),
        feeder_wired: true,
        timeline,
        routine: None,
        faults,
        label: Label { wrong: kind.name(), from_s: Some(from_s as u32), stop: false },
    };
    Ok(Drawn { scenario, commissioned, settings, leg: number, refused })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a page of one round holds: second faults, onsets of an hour, of minutes, of seconds and at once, times that tell
    /// nothing, and runs that last until all is steady.
    #[test]
    fn a_round_holds_two_faults_at_once_slow_onsets_and_runs_until_steady() {
        let drawn: Vec<Scenario> = (0..pairs()).map(|index| faulty(1, index).unwrap().1.scenario).collect();
        let two = drawn.iter().filter(|scenario| scenario.faults.len() == 2).count();
        assert!((45..75).contains(&two), "{two} of {} have a second fault", drawn.len());
        let count = |of: fn(f64) -> bool| drawn.iter().filter(|scenario| of(scenario.faults[0].ramp_s)).count();
        let ramps =
            [count(|s| s == 0.0), count(|s| s > 0.0 && s < 60.0), count(|s| s >= 60.0), count(|s| s == 3_600.0)];
        assert!(ramps.iter().all(|count| *count > 25), "{ramps:?}");
        let mut begins: Vec<u32> = drawn.iter().map(|scenario| scenario.faults[0].from_s as u32).collect();
        begins.sort_unstable();
        begins.dedup();
        assert!(begins.len() > 200, "{} times", begins.len());
        for scenario in &drawn {
            let fault_at_its_worst =
                scenario.faults.iter().map(|fault| fault.from_s + fault.ramp_s).fold(0.0, f64::max);
            let steady_s = fault_at_its_worst + 3.0 * scenario.leg.heat.time_constant_s;
            assert!(scenario.duration_s >= steady_s, "{}: {} s", scenario.name, scenario.duration_s);
        }
    }
}
