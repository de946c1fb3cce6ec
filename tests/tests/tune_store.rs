//! Judging stored motion with leaps gives the same verdicts as judging live, whatever happens on the leg and whatever the limits.

use proptest::prelude::*;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, Input, Origin, Place, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::{Checked, Settings};
use slackside::units::{Micros, MicroturnsPerSecond, Ppm, Span, Watts};
use slackside::verdict::{Change, Verdict};
use slackside_desk::monitor::monitor;
use slackside_desk::tune::heat::HeatTables;
use slackside_desk::tune::listen::{Listen, Turned};
use slackside_desk::tune::run::{Cost, judge, judge_plainly, without_value};
use slackside_desk::tune::store::Store;
use slackside_tests::wheels::Random;

/// What happens on the leg.
#[derive(Clone, Copy, Debug)]
struct Story {
    seed: u64,
    seconds: u64,
    /// Spread of slip from one stretch to the next, as a share.
    slip: f64,
    /// How much deeper slip now and then goes.
    deep: f64,
    /// Spread of drive speed.
    speed: f64,
    /// Rubs, power readings, commands, stops of the drive: how many in an hour.
    events: u64,
    power: bool,
    /// Pulses that no target made, and edges that got lost: how many in a thousand edges.
    noise: u64,
}

/// Edges of both shafts whose speed and slip wander from second to second.
fn inputs(story: Story, settings: &Checked) -> Vec<Input> {
    let mut chance = Random(story.seed);
    let machine = &settings.machine;
    let head_speed = f64::from(machine.normal_head.get()) / 1e6;
    let ratio = f64::from(machine.ratio_in_force().get()) / 1e6;
    let mut inputs = vec![
        Input::new(Micros::ZERO, Signal::DriveRunning(false)),
        Input::new(Micros::new(20_000_000), Signal::DriveRunning(true)),
    ];
    let mut angles = [chance.between(0.0, 0.2), chance.between(0.0, 0.2)];
    let mut next = [0.25, 0.25];
    let (mut speed, mut slip, mut deep) = (0.0, 0.005, 0.0_f64);
    let step = 0.001;
    let mut on = true;
    for step_number in 20_000..20_000 + story.seconds * 1_000 {
        let t = step_number as f64 * step;
        if step_number % 1_000 == 0 {
            slip = 0.005 + story.slip * chance.between(-1.0, 1.0);
            if chance.below(40) == 0 {
                deep = story.deep * chance.between(0.0, 1.0);
            } else if chance.below(4) == 0 {
                deep = 0.0;
            }
            if chance.below(200_000) < story.events {
                on = !on;
                inputs.push(Input::new(Micros::new((t * 1e6) as u64), Signal::DriveRunning(on)));
            }
        }
        let wanted = if on { 1.0 + story.speed * (t * 0.7).sin() } else { 0.0 };
        speed += (wanted - speed) * if on { 0.001 } else { 0.0003 };
        let speeds = [speed * head_speed, speed * head_speed * ratio * (1.0 - slip - deep)];
        for (index, shaft) in [Shaft::Head, Shaft::Boot].into_iter().enumerate() {
            if speed < 0.01 {
                continue;
            }
            angles[index] += speeds[index] * step;
            while angles[index] >= next[index] {
                let late = (angles[index] - next[index]) / speeds[index].max(1e-6);
                let at = ((t - late) * 1e6) as u64 + chance.below(6);
                let wide = (0.08 / speeds[index].max(0.05) * 1e6) as u64;
                next[index] += 0.25;
                let strike = if story.noise > 0 { chance.below(1_000) } else { 1_000 };
                if strike < story.noise {
                    // From a tenth of the width that counts to well above it.
                    let noisy = at + wide + chance.below(400_000);
                    inputs.push(Input::new(Micros::new(noisy), Signal::Edge(shaft, true)));
                    inputs.push(Input::new(Micros::new(noisy + 1 + chance.below(500)), Signal::Edge(shaft, false)));
                    if strike % 8 == 0 {
                        continue;
                    }
                }
                inputs.push(Input::new(Micros::new(at), Signal::Edge(shaft, true)));
                inputs.push(Input::new(Micros::new(at + wide), Signal::Edge(shaft, false)));
            }
        }
    }
    let end = (20 + story.seconds) * 1_000_000;
    for _ in 0..story.seconds * story.events / 3_600 {
        let at = 20_000_000 + chance.below(end - 20_000_000);
        let place = Place::ALL[chance.below(4) as usize];
        match chance.below(8) {
            0 | 6 | 7 => {
                let asked = [Command::Acknowledge, Command::Reset, Command::BootCleared][chance.below(3) as usize];
                inputs.push(Input::new(Micros::new(at), Signal::Command(Origin::Leg, asked)));
            }
            1 => inputs.push(Input::new(Micros::new(at), Signal::Tick)),
            2 => inputs.push(Input::new(Micros::new(at), Signal::EdgesLost(Shaft::Boot))),
            _ => {
                let length = 50_000 + chance.below(1_500_000);
                inputs.push(Input::new(Micros::new(at), Signal::Contact(place, ContactState::Rubbing)));
                inputs.push(Input::new(Micros::new(at + length), Signal::Contact(place, ContactState::Clear)));
            }
        }
    }
    if story.power {
        let mut at = 20_000_000;
        while at < end {
            at += 1_000_000 + chance.below(3_000_000) + if chance.below(60) == 0 { 70_000_000 } else { 0 };
            inputs
                .push(Input::new(Micros::new(at), Signal::DrivePower(Watts::new(5_000 + chance.below(14_000) as u32))));
        }
    }
    inputs.sort_by_key(|input| input.at);
    inputs
}

/// Limits that often lie where the values are.
fn settings(seed: u64, power: bool) -> Option<Checked> {
    let mut chance = Random(seed);
    let mut settings = Settings::example();
    settings.machine.power_meter = power;
    if chance.below(3) == 0 {
        settings.machine.normal_boot = MicroturnsPerSecond::new(1_330_000);
    }
    let mut change = |condition: Condition, low: u64, high: u64, longest_ms: u64| {
        let setpoint = low + chance.below(high - low);
        let deadband = chance.below(setpoint.min(30_000));
        let on = if chance.below(3) == 0 { 0 } else { chance.below(longest_ms) };
        let off = if chance.below(3) == 0 { 0 } else { chance.below(5_000) };
        settings.limits.change(condition, |limit| {
            limit.setpoint = setpoint as i32;
            limit.deadband = deadband as i32;
            limit.on_delay = Span::from_millis(on as u32);
            limit.off_delay = Span::from_millis(off as u32);
        });
    };
    change(Condition::SlipHigh, 10_000, 60_000, 4_000);
    change(Condition::SlipVeryHigh, 60_000, 150_000, 900);
    change(Condition::SlipNegative, 20_000, 40_000, 3_000);
    change(Condition::Underspeed, 20_000, 120_000, 4_000);
    change(Condition::DeepUnderspeed, 120_000, 160_000, 400);
    change(Condition::HeadUnderspeed, 20_000, 120_000, 4_000);
    change(Condition::MistrackingDuty, 20_000, 200_000, 1_000);
    change(Condition::RatioShifted, 5_000, 30_000, 100);
    if chance.below(2) == 0 {
        settings.limits.slip_heat.budget = slackside::units::Joules::new(20_000 + chance.below(400_000) as u32);
    }
    settings.limits.slip_heat.time_constant = Span::from_millis(60_000 * (1 + chance.below(30) as u32));
    let _ = Ppm::ZERO;
    settings.check().ok()
}

fn live(inputs: &[Input], settings: &Checked) -> Vec<Verdict> {
    let mut monitor = monitor(settings, &Retained::default());
    let mut verdicts = Vec::new();
    for input in inputs {
        monitor.observe(*input, &mut |verdict| verdicts.push(*verdict));
    }
    if let Some(last) = inputs.iter().map(|input| input.at).max() {
        monitor.observe(Input::new(last, Signal::Tick), &mut |verdict| verdicts.push(*verdict));
    }
    verdicts
}

/// Asks for turns together wherever it may, and so for all that is told in no more than the order of each condition.
struct Summed {
    /// Of each condition by rank: when its alarm changed, and whether that raised it.
    turns: [Vec<(Micros, bool)>; Condition::COUNT],
    /// All that is no alarm, as it was told.
    others: Vec<Verdict>,
    together: usize,
    /// When the last of what was told together came.
    last: Micros,
}

impl Summed {
    const NONE: Self =
        Self { turns: [const { Vec::new() }; Condition::COUNT], others: Vec::new(), together: 0, last: Micros::ZERO };

    fn one(&mut self, verdict: Verdict) {
        match verdict.change {
            Change::Alarm { condition, to, .. } => {
                self.turns[condition.rank()].push((verdict.at, to == AlarmState::Unacknowledged));
            }
            _ => {
                assert!(self.last <= verdict.at, "alarms were told together beyond what follows: {verdict:?}");
                self.others.push(verdict);
            }
        }
    }

    /// What these verdicts tell.
    fn is(&self, live: &[Verdict]) {
        let mut told = Self::NONE;
        live.iter().for_each(|verdict| told.one(*verdict));
        assert_eq!(self.others, told.others, "what is no alarm came otherwise or in another order");
        for (rank, (summed, told)) in self.turns.iter().zip(&told.turns).enumerate() {
            assert_eq!(summed, told, "{:?}", Condition::ALL[rank]);
        }
    }
}

impl Listen for Summed {
    fn verdict(&mut self, verdict: Verdict) -> bool {
        self.one(verdict);
        true
    }

    fn sums_up(&self) -> bool {
        true
    }

    fn turned(&mut self, turned: &Turned<'_>) -> bool {
        self.together += turned.count();
        self.last = turned.turns().map(|(at, _)| at).fold(self.last, Micros::max);
        self.turns[turned.condition.rank()].extend(turned.turns());
        true
    }
}

fn all_three(story: Story, limits: &[Checked]) -> Cost {
    all_three_on(&inputs(story, &limits[0]), limits)
}

fn all_three_on(inputs: &[Input], limits: &[Checked]) -> Cost {
    let store = Store::measure(inputs.iter().map(|input| Ok::<_, ()>(*input)), &limits[0]).unwrap();
    let mut sum = Cost::default();
    for (number, settings) in limits.iter().enumerate() {
        // Some find their heat in a table, some that of another budget, some none.
        let other = other_budget(settings);
        let heat = HeatTables::build(&store, [Some(settings), other.as_ref(), None][number % 3]);
        let live = live(inputs, settings);
        let mut plain = Vec::new();
        judge_plainly(&store, settings, |verdict| {
            plain.push(verdict);
            true
        });
        assert_eq!(live.len(), plain.len(), "stored motion lost or invented verdicts");
        assert_eq!(live, plain, "stored motion is not what was measured");
        // What turns in a leap is told without its value.
        let live: Vec<Verdict> = live.into_iter().map(without_value).collect();
        // From the third time on crossings come from tables, by the fourth all of them.
        let mut cost = Cost::default();
        for time in 1..=4 {
            let mut leapt = Vec::new();
            cost = judge(&store, settings, &heat, &mut |verdict: Verdict| {
                leapt.push(verdict);
                true
            });
            if let Some(number) = live.iter().zip(&leapt).position(|(live, leapt)| live != leapt) {
                panic!("time {time}: verdict {number} is {:?} with leaps, {:?} without", leapt[number], live[number]);
            }
            assert_eq!(live.len(), leapt.len(), "time {time}: a leap lost or invented verdicts");
            assert_eq!(cost.shown + cost.leapt, store.len() as u64);
            let mut summed = Summed::NONE;
            assert_eq!(judge(&store, settings, &heat, &mut summed), cost);
            summed.is(&live);
        }
        sum.shown += cost.shown;
        sum.leapt += cost.leapt;
    }
    sum
}

/// The same with another budget of slip heat.
fn other_budget(settings: &Checked) -> Option<Checked> {
    let mut settings = Settings::clone(settings);
    settings.limits.slip_heat.budget = slackside::units::Joules::new(250_000);
    settings.check().ok()
}

/// So many cases; `PROPTEST_CASES` asks for other than that by its share of 60.
fn config(cases: u32) -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|text| text.parse::<u32>().ok());
    ProptestConfig { cases: (asked.unwrap_or(60) * cases).div_ceil(60), ..ProptestConfig::default() }
}

/// A latched stop is told and slip goes to and fro beyond it: nothing follows from most alarms.
#[test]
fn alarms_that_come_and_go_behind_a_latched_stop_are_told_together() {
    let story = Story { seed: 7, seconds: 1_800, slip: 0.05, deep: 0.1, speed: 0.1, events: 0, power: false, noise: 0 };
    let limits = limits_from(&(0..24).collect::<Vec<_>>(), false);
    let store = Store::measure(inputs(story, &limits[0]).into_iter().map(Ok::<_, ()>), &limits[0]).unwrap();
    let (mut together, mut all) = (0, 0);
    for settings in &limits {
        // By the third time crossings and turns come from tables.
        for _ in 1..=3 {
            let mut summed = Summed::NONE;
            judge(&store, settings, &HeatTables::default(), &mut summed);
            together += summed.together;
            all += summed.turns.iter().map(Vec::len).sum::<usize>();
        }
    }
    assert!(together > 1_000 && together < all, "{together} of {all}");
}

/// While the feed hunts nothing follows from alarms that do not stop, until one does.
#[test]
fn alarms_are_told_together_no_further_than_to_the_next_that_stops() {
    let story = Story { seed: 18, seconds: 900, slip: 0.03, deep: 0.1, speed: 0.11, events: 0, power: false, noise: 0 };
    let mut settings = Settings::example();
    let mut change = |condition, setpoint, deadband, on_ms, off_ms| {
        settings.limits.change(condition, |limit| {
            (limit.setpoint, limit.deadband) = (setpoint, deadband);
            (limit.on_delay, limit.off_delay) = (Span::from_millis(on_ms), Span::from_millis(off_ms));
        });
    };
    change(Condition::SlipHigh, 20_000, 2_000, 0, 0);
    change(Condition::Underspeed, 60_000, 5_000, 0, 0);
    change(Condition::DeepUnderspeed, 125_000, 5_000, 100, 0);
    let settings = settings.check().expect("sound settings");
    let store = Store::measure(inputs(story, &settings).into_iter().map(Ok::<_, ()>), &settings).unwrap();
    let mut plain = Vec::new();
    judge_plainly(&store, &settings, |verdict| {
        plain.push(without_value(verdict));
        true
    });
    let mut together = 0;
    for _ in 1..=3 {
        let mut summed = Summed::NONE;
        judge(&store, &settings, &HeatTables::default(), &mut summed);
        summed.is(&plain);
        together += summed.together;
        let raised = |condition: Condition| summed.turns[condition.rank()].iter().find(|(_, raises)| *raises);
        let first = |condition: Condition| raised(condition).map(|(at, _)| *at);
        assert!(first(Condition::FeedHunting) < first(Condition::DeepUnderspeed), "no stop came while the feed hunted");
    }
    assert!(together > 30, "{together}");
}

/// Slip heat taken for more than it is had judge look at a guess of slip later, and an alarm came out of its turn.
#[test]
fn a_guess_of_slip_is_made_when_it_would_be_live() {
    let story = Story {
        seed: 18_021_684_550_892_783_126,
        seconds: 240,
        slip: 0.008_143_195_126_337_346,
        deep: 0.032_176_172_338_557_435,
        speed: 0.036_991_542_490_055_55,
        events: 0,
        power: true,
        noise: 41,
    };
    let numbers = [
        2_098_275_732_748_177_684,
        0,
        1_347_475_182_897_317_211,
        7_655_521_487_944_590_046,
        6_110_522_409_912_639_689,
        14_947_103_209_370_614_728,
        10_204_897_336_899_456_345,
        256_661_822_457_416_869,
    ];
    all_three(story, &limits_from(&numbers, true));
}

/// As [`limits_from`], on a leg without a drive contact: there an ordinary stop looks like a loss of speed.
fn without_contact(numbers: &[u64]) -> Vec<Checked> {
    let limits = limits_from(numbers, false).into_iter();
    let without = |settings: Checked| {
        let mut settings = Settings::clone(&settings);
        settings.machine.drive_contact = false;
        settings.check().ok()
    };
    limits.filter_map(without).collect()
}

/// Limits from numbers; those that another machine measures are left out.
fn limits_from(numbers: &[u64], power: bool) -> Vec<Checked> {
    let same = |settings: &Checked| settings.machine.normal_boot == Settings::example().machine.normal_boot;
    numbers.iter().filter_map(|seed| settings(*seed, power).filter(same)).collect()
}

proptest! {
    #![proptest_config(config(60))]

    #[test]
    fn leaps_change_no_verdict(
        seed in any::<u64>(),
        slip in 0.0..0.06_f64,
        speed in 0.0..0.12_f64,
        deep in prop_oneof![Just(0.0), 0.02..0.3_f64],
        events in prop_oneof![Just(0_u64), 0..400_u64, 1_000..4_000_u64],
        power in any::<bool>(),
        noise in prop_oneof![Just(0_u64), 1..60_u64],
        limits in prop::collection::vec(any::<u64>(), 8),
    ) {
        let limits = limits_from(&limits, power);
        prop_assume!(!limits.is_empty());
        all_three(Story { seed, seconds: 240, slip, deep, speed, events, power, noise }, &limits);
    }
}

proptest! {
    #![proptest_config(config(6))]

    /// Old stamps are held every nine minutes, starts and feed returns leave their windows: over the longer.
    #[test]
    fn leaps_change_no_verdict_of_a_longer_run(
        seed in any::<u64>(),
        slip in 0.0..0.04_f64,
        speed in 0.0..0.12_f64,
        deep in prop_oneof![Just(0.0), 0.02..0.1_f64],
        events in prop_oneof![Just(0_u64), 0..40_u64],
        power in any::<bool>(),
        limits in prop::collection::vec(any::<u64>(), 4),
    ) {
        let limits = limits_from(&limits, power);
        prop_assume!(!limits.is_empty());
        all_three(Story { seed, seconds: 1_800, slip, deep, speed, events, power, noise: 0 }, &limits);
    }
}

proptest! {
    #![proptest_config(config(15))]

    #[test]
    fn leaps_change_no_verdict_without_a_drive_contact(
        seed in any::<u64>(),
        slip in 0.0..0.06_f64,
        speed in 0.0..0.12_f64,
        deep in prop_oneof![Just(0.0), 0.02..0.3_f64],
        events in 0..400_u64,
        limits in prop::collection::vec(any::<u64>(), 6),
    ) {
        let limits = without_contact(&limits);
        prop_assume!(!limits.is_empty());
        all_three(Story { seed, seconds: 240, slip, deep, speed, events, power: false, noise: 0 }, &limits);
    }
}

/// A leap began while it was not known whether the boot only lost an edge, and raised an alarm that judge lets wait for the next.
#[test]
fn no_leap_begins_while_the_boot_is_in_doubt() {
    let story = Story {
        seed: 15_759_048_486_813_152_021,
        seconds: 240,
        slip: 0.033_482_474_051_194_186,
        deep: 0.0,
        speed: 0.052_332_239_827_572_83,
        events: 0,
        power: false,
        noise: 22,
    };
    all_three(story, &limits_from(&[0, 0, 0, 0, 10_084_034_743_242_489_760, 0, 0, 0], false));
}

/// The last row is the last of its block, and a leap goes to it.
#[test]
fn a_leap_may_end_with_the_last_block() {
    let story = Story {
        seed: 12_948_346_930_293_398_422,
        seconds: 240,
        slip: 0.032_971_459_004_283_61,
        deep: 0.286_976_216_376_156_17,
        speed: 0.073_660_516_467_149_56,
        events: 330,
        power: false,
        noise: 57,
    };
    all_three(story, &limits_from(&[0, 0, 0, 0, 0, 0, 3_390_335_590_982_017_703, 0], false));
}

/// A leap that ended between two rows, after a turn by silence, took the value for what it was at the first of them.
#[test]
fn silence_counts_up_to_the_last_turn_of_a_leap() {
    let story = Story {
        seed: 8_932_688_710_418_799_427,
        seconds: 240,
        slip: 0.030_220_969_327_949_845,
        deep: 0.136_225_187_837_998_3,
        speed: 0.045_038_693_627_045_11,
        events: 107,
        power: false,
        noise: 0,
    };
    let numbers = [
        471_869_595_239_252_437,
        12_034_154_622_444_716_159,
        4_658_747_101_167_824_053,
        12_839_584_076_592_408_230,
        1_290_737_373_835_729_338,
        3_351_757_313_846_328_745,
    ];
    all_three(story, &without_contact(&numbers));
}

/// What chance found, kept (with no deep slip).
#[test]
fn what_once_went_wrong() {
    let once = Story {
        seed: 5_418_090_289_316_493_919,
        seconds: 240,
        slip: 0.028_388_001_771_991_307,
        deep: 0.0,
        speed: 0.074_473_120_588_364_64,
        events: 150,
        power: false,
        noise: 0,
    };
    let numbers = [
        11_352_102_698_268_058_046,
        18_144_072_120_925_651_328,
        10_670_232_899_777_998_873,
        16_871_240_587_250_317_216,
        10_311_292_028_487_601_255,
        10_883_676_227_323_406_758,
        1_992_144_654_816_990_365,
        8_285_046_619_564_161_639,
    ];
    all_three(once, &limits_from(&numbers, false));
    let again = Story {
        seed: 7_626_603_450_139_446_583,
        slip: 0.035_093_413_567_949_72,
        speed: 0.106_012_291_374_031_69,
        events: 22,
        power: true,
        ..once
    };
    let numbers = [
        14_604_654_168_860_795_367,
        788_805_813_966_411_192,
        14_192_906_240_064_793_169,
        6_079_380_128_130_317_092,
        17_719_535_256_096_243_659,
        15_407_991_837_499_633_161,
        8_558_539_216_469_233_873,
        4_244_367_893_839_521_141,
    ];
    all_three(again, &limits_from(&numbers, true));
    // A power reading right after a slip of which only a bound was known.
    let bound = Story {
        seed: 5_768_059_751_802_496_916,
        slip: 0.042_646_408_456_695_01,
        deep: 0.291_488_948_766_226_1,
        speed: 0.077_865_929_072_765_21,
        events: 0,
        ..again
    };
    all_three(bound, &limits_from(&[0, 347_762_771_260_662_534], true));
    // On unlike pulleys, slip that reads what it would with the sensors swapped: every row may find them so.
    let like_swapped = Story {
        seed: 14_251_570_157_340_413_280,
        slip: 0.039_354_481_045_399_854,
        speed: 0.080_924_891_308_115_05,
        deep: 0.203_074_128_119_865_67,
        power: false,
        ..bound
    };
    let numbers = [
        18_014_357_810_285_347_424,
        11_319_636_756_692_886_647,
        14_824_372_803_461_116_477,
        17_168_737_622_744_470_873,
        17_367_800_649_786_356_300,
    ];
    all_three(like_swapped, &limits_from(&numbers, false));
    // Heat that comes to its limit within a stretch of which no table is known.
    let hot = Story {
        seed: 6_258_502_444_737_292_944,
        seconds: 1_800,
        slip: 0.029_681_977_786_574_824,
        speed: 0.039_081_045_267_639_33,
        deep: 0.062_785_056_126_851_63,
        power: true,
        ..bound
    };
    all_three(hot, &limits_from(&[0, 0, 6_425_613_233_881_159_002, 0], true));
}

/// On a leg without a drive contact nothing but the first tick says that the box has seen the shafts stand before they turn.
#[test]
fn how_long_the_box_has_been_on_is_kept() {
    let mut settings = Settings::example();
    settings.machine.drive_contact = false;
    let settings = settings.check().unwrap();
    let story = Story { seed: 9, seconds: 60, slip: 0.0, deep: 0.0, speed: 0.0, events: 0, power: false, noise: 0 };
    let mut inputs = inputs(story, &settings);
    inputs.retain(|input| !matches!(input.signal, Signal::DriveRunning(_)));
    inputs.insert(0, Input::new(Micros::ZERO, Signal::Tick));
    assert!(inputs[1].at > Micros::new(20_000_000));
    all_three_on(&inputs, std::slice::from_ref(&settings));
}

#[test]
fn a_quiet_hour_is_nearly_all_leapt_over() {
    let story = Story { seed: 7, seconds: 900, slip: 0.0, deep: 0.0, speed: 0.0, events: 0, power: false, noise: 0 };
    let settings = Settings::example().check().unwrap();
    let cost = all_three(story, std::slice::from_ref(&settings));
    println!("{cost:?}");
    assert!(cost.leapt > 2 * cost.shown, "{cost:?}");
}

#[test]
fn ordinary_rows_take_24_bytes() {
    let story = Story { seed: 7, seconds: 900, slip: 0.0, deep: 0.0, speed: 0.0, events: 0, power: false, noise: 0 };
    let settings = Settings::example().check().unwrap();
    let store = Store::measure(inputs(story, &settings).into_iter().map(Ok::<_, ()>), &settings).unwrap();
    assert!(store.whole_rows() * 50 < store.len(), "{} of {} rows are whole", store.whole_rows(), store.len());
    let a_row = store.bytes() as f64 / store.len() as f64;
    println!("{a_row:.1} bytes a row with keys, index and whole rows");
    assert!(a_row < 48.0, "{a_row}");
}
