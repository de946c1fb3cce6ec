//! How many inputs a second go through the core on a desk machine: decoded edges, rising and falling, of the example
//! leg running well, every condition on. The digest of the verdicts is printed, so that two runs can be told alike.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a benchmark runs on a desk and may stop"
)]

mod leg;

use std::sync::LazyLock;

use divan::Bencher;
use divan::counter::ItemsCount;
use slackside::Monitor;
use slackside::input::{Command, Input, Origin, Place};
use slackside::judge::Judge;
use slackside::measure::Measure;
use slackside::motion::Motion;
use slackside::settings::Checked;
use slackside::sight::{Seen, Sight};
use slackside::survivor::Survivor;
use slackside::units::{DeciCelsius, Micros, Ppm, Watts};
use slackside::verdict::Verdict;

/// Three hours: about a quarter of a million edges.
const SECONDS: u64 = 3 * 3_600;

static SETTINGS: LazyLock<Checked> = LazyLock::new(leg::settings);
static INPUTS: LazyLock<Vec<Input>> = LazyLock::new(|| leg::running(&SETTINGS, SECONDS));
static SEEN: LazyLock<Vec<Stored>> = LazyLock::new(stored);

/// CRC-32 over the encoded verdicts.
#[derive(Default)]
struct Digest {
    crc: u32,
    count: u32,
}

impl Digest {
    fn add(&mut self, verdict: Verdict) {
        const CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
        let mut bytes = [0; 64];
        let used = postcard::to_slice(&verdict, &mut bytes).expect("a verdict fits");
        let mut digest = CRC.digest_with_initial(self.crc);
        digest.update(used);
        self.crc = digest.finalize();
        self.count += 1;
    }
}

/// What judge was told, kept by value.
#[derive(Clone)]
#[allow(clippy::large_enum_variant, reason = "nearly all of them are motions")]
enum Stored {
    Motion(Micros, Motion),
    Drive(Micros, bool),
    Power(Micros, Watts),
    Reference(Micros, Ppm),
    Temperature(Micros, Place, DeciCelsius),
    Outlet(Micros, bool),
    Command(Micros, Origin, Command),
    Late(Micros),
    Wake(Micros),
}

impl Stored {
    fn new(seen: &Seen<'_>) -> Self {
        let at = seen.at;
        match seen.sight {
            Sight::Motion(motion) => Self::Motion(at, *motion),
            Sight::Drive(on) => Self::Drive(at, on),
            Sight::Power(power) => Self::Power(at, power),
            Sight::Reference(reference) => Self::Reference(at, reference),
            Sight::Temperature(place, celsius) => Self::Temperature(at, place, celsius),
            Sight::Outlet(plugged) => Self::Outlet(at, plugged),
            Sight::Command(origin, command) => Self::Command(at, origin, command),
            Sight::Late => Self::Late(at),
            Sight::Wake => Self::Wake(at),
        }
    }

    fn seen(&self) -> Seen<'_> {
        let (at, sight) = match self {
            Self::Motion(at, motion) => (*at, Sight::Motion(motion)),
            Self::Drive(at, on) => (*at, Sight::Drive(*on)),
            Self::Power(at, power) => (*at, Sight::Power(*power)),
            Self::Reference(at, reference) => (*at, Sight::Reference(*reference)),
            Self::Temperature(at, place, celsius) => (*at, Sight::Temperature(*place, *celsius)),
            Self::Outlet(at, plugged) => (*at, Sight::Outlet(*plugged)),
            Self::Command(at, origin, command) => (*at, Sight::Command(*origin, *command)),
            Self::Late(at) => (*at, Sight::Late),
            Self::Wake(at) => (*at, Sight::Wake),
        };
        Seen { at, sight }
    }
}

fn stored() -> Vec<Stored> {
    let mut measure = Measure::new();
    measure.configure(&SETTINGS);
    let mut seen = Vec::new();
    for input in INPUTS.iter() {
        measure.observe(*input, |sight| seen.push(Stored::new(&sight)));
    }
    seen
}

fn through_monitor() -> Digest {
    let mut monitor = Monitor::new();
    monitor.configure(&SETTINGS, &Survivor::default());
    let mut digest = Digest::default();
    for input in INPUTS.iter() {
        monitor.observe(*input, &mut |verdict| digest.add(verdict));
    }
    digest
}

fn through_judge() -> Digest {
    let mut judge = Judge::new();
    judge.configure(&SETTINGS, &Survivor::default());
    let mut digest = Digest::default();
    for stored in SEEN.iter() {
        judge.observe(stored.seen(), &mut |verdict| digest.add(verdict));
    }
    digest
}

#[divan::bench]
fn monitor(bencher: Bencher) {
    bencher.counter(ItemsCount::new(INPUTS.len())).bench(|| through_monitor().crc);
}

#[divan::bench]
fn measure_alone(bencher: Bencher) {
    bencher.counter(ItemsCount::new(INPUTS.len())).bench(|| {
        let mut measure = Measure::new();
        measure.configure(&SETTINGS);
        let mut told = 0_u64;
        for input in INPUTS.iter() {
            measure.observe(*input, |seen| told += seen.at.get() & 1);
        }
        told
    });
}

#[divan::bench]
fn judge_alone(bencher: Bencher) {
    bencher.counter(ItemsCount::new(SEEN.len())).bench(|| through_judge().crc);
}

fn main() {
    let (whole, judged) = (through_monitor(), through_judge());
    println!("{} inputs, {} sights, {} verdicts, digest {:08x}", INPUTS.len(), SEEN.len(), whole.count, whole.crc);
    assert_eq!(whole.crc, judged.crc, "measure and judge apart must give what they give together");
    divan::main();
}
