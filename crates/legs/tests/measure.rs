//! Measure by itself on random legs: its short way says what the thorough one says, its bytes are its state, and no bytes make it
//! panic or run on.

use slackside::input::Signal;
use slackside::measure::Measure;
use slackside::settings::plan::Plan;
use slackside::signals::{Signals, moved};
use slackside::time::{Now, SWEEP};
use slackside::units::Micros;
use slackside_legs::random::Random;
use slackside_legs::{Frame, Leg, leg};

/// A measure with as much of a monitor as it needs.
#[derive(Clone)]
struct Rig<const MARKS: usize> {
    plan: Plan,
    measure: Measure<MARKS>,
    now: u64,
    swept: u64,
    begun: bool,
    /// Take every pitch the thorough way.
    thorough: bool,
    /// Pitches that went the short way.
    plain: u64,
}

/// What measure told: when, which bits, and all its signals.
type Told = (u64, u8, Signals);

impl<const MARKS: usize> Rig<MARKS> {
    fn new(plan: Plan) -> Self {
        assert!(Measure::<MARKS>::has_room(&plan));
        Self { plan, measure: Measure::new(), now: 0, swept: 0, begun: false, thorough: false, plain: 0 }
    }

    /// Take one input at its time or the newest.
    fn observe(&mut self, at: u64, signal: &Signal, told: &mut Vec<Told>) {
        let at = at.max(self.now);
        if !std::mem::replace(&mut self.begun, true) {
            (self.now, self.swept) = (at, at);
            self.measure.begin(&self.plan, now(at));
        }
        loop {
            let wait = self.measure.wait(&self.plan, now(self.now).us());
            let due = if wait == u32::MAX { u64::MAX } else { self.now + u64::from(wait) };
            let sweep = self.swept + u64::from(SWEEP);
            if due.min(sweep) > at {
                break;
            }
            if self.thorough {
                self.measure.take_thoroughly();
            }
            self.now = due.min(sweep);
            if due <= sweep {
                self.plain += u64::from(self.measure.is_plain().0) + u64::from(self.measure.is_plain().1);
                let bits = self.measure.settle(&self.plan, now(self.now));
                self.tell(bits, told);
            } else {
                self.swept = sweep;
                self.measure.sweep(&self.plan, now(self.now).us());
            }
        }
        self.now = at;
        let bits = self.measure.take(&self.plan, now(at), signal);
        assert!(bits & !moved::OTHER == 0);
        self.tell(bits, told);
    }

    fn tell(&self, bits: u8, told: &mut Vec<Told>) {
        if bits != 0 {
            told.push((self.now, bits, *self.measure.signals()));
        }
    }
}

fn now(at: u64) -> Now {
    Now::new(Micros::new(at))
}

/// A leg whose shafts have no more marks than that, and what its sensors tell; in every third of them long silences lie between, up to
/// far beyond 2^32 µs.
fn sensed(seed: u64, most_marks: u8) -> Option<(Leg, Vec<(u64, Signal)>)> {
    let leg = leg(seed, Frame::ANY);
    let plan = leg.make.settings.plan();
    if plan.head.marks.max(plan.boot.marks) > most_marks {
        return None;
    }
    let random = &mut Random(seed);
    let mut later = 0;
    let told = leg
        .inputs
        .iter()
        .map(|input| {
            if seed.is_multiple_of(3) && random.chance(1e-3) {
                later += random.one_of(&[20_000_000, 1_500_000_000, 4_294_967_296, 20_000_000_000_u64]);
            }
            (input.at.get() + later, input.signal)
        })
        .collect();
    Some((leg, told))
}

/// Whether it is measure's.
const fn is_sensed(signal: &Signal) -> bool {
    matches!(signal, Signal::Edge(..) | Signal::Line(..) | Signal::EdgesLost(_) | Signal::Contact(..))
}

#[test]
fn the_short_way_says_what_the_thorough_one_says() {
    let mut plain = 0;
    for seed in 0..300 {
        let Some((leg, inputs)) = sensed(seed, 64) else { continue };
        let plan = leg.make.settings.plan();
        let (mut short, mut thorough) = (Rig::<64>::new(plan), Rig::<64>::new(plan));
        thorough.thorough = true;
        for (index, (at, signal)) in inputs.iter().enumerate().filter(|(_, (_, signal))| is_sensed(signal)) {
            let mut told = [Vec::new(), Vec::new()];
            for (rig, told) in [&mut short, &mut thorough].into_iter().zip(&mut told) {
                rig.observe(*at, signal, told);
            }
            assert_eq!(told[0], told[1], "seed {seed}, input {index}, {signal:?}");
        }
        plain += short.plain;
        assert_eq!(thorough.plain, 0);
    }
    println!("{plain} pitches the short way");
    assert!(plain > 10_000, "{plain}");
}

#[test]
fn it_is_small() {
    let (eight, all) = (size_of::<Measure<8>>(), size_of::<Measure<64>>());
    println!("{eight} bytes with 8 marks, {all} with 64, of which signals {}", size_of::<Signals>());
    assert!(eight <= 1_080 && all <= 2_430, "{eight}, {all}");
    // One mark is twelve bytes.
    assert_eq!(all - eight, 2 * 56 * 12);
}

#[test]
fn its_bytes_are_its_state() {
    let mut compared = 0;
    for seed in 0..60 {
        let Some((leg, inputs)) = sensed(seed, 8) else { continue };
        let (half, rest) = inputs.split_at(inputs.len() / 2);
        let mut first = Rig::<8>::new(leg.make.settings.plan());
        for (at, signal) in half.iter().filter(|(_, signal)| is_sensed(signal)) {
            first.observe(*at, signal, &mut Vec::new());
        }
        let mut bytes = Vec::new();
        first.measure.parts(&mut |part| bytes.extend_from_slice(part));
        assert_eq!(bytes.len(), size_of::<Measure<8>>());
        let mut second = first.clone();
        second.measure = Measure::new();
        let mut left = &bytes[..];
        second.measure.parts_mut(&mut |part| {
            let (head, tail) = left.split_at(part.len());
            part.copy_from_slice(head);
            left = tail;
        });
        let mut told = [Vec::new(), Vec::new()];
        for (at, signal) in rest.iter().filter(|(_, signal)| is_sensed(signal)) {
            for (rig, told) in [&mut first, &mut second].into_iter().zip(&mut told) {
                rig.observe(*at, signal, told);
            }
        }
        assert_eq!(told[0], told[1], "seed {seed}");
        compared += told[0].len();
    }
    assert!(compared > 1_000, "{compared}");
}

#[test]
fn any_bytes_do() {
    let random = &mut Random(5);
    for seed in 0..60 {
        let Some((leg, inputs)) = sensed(seed, 8) else { continue };
        let mut rig = Rig::<8>::new(leg.make.settings.plan());
        for (index, (at, signal)) in inputs.iter().filter(|(_, signal)| is_sensed(signal)).take(3_000).enumerate() {
            if index % 50 == 0 {
                rig.measure.parts_mut(&mut |part| part.iter_mut().for_each(|byte| *byte = random.next_u64() as u8));
            }
            rig.observe(*at, signal, &mut Vec::new());
        }
    }
}
