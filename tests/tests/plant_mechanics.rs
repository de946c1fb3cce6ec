//! The whole plant against mechanics: power, heat, energy, friction, convergence.

use slackside_desk::plant::leg::Leg;
use slackside_desk::plant::upset::Upset;
use slackside_desk::plant::{Controls, Plant, Truth};
use slackside_desk::scenario::legs;

fn leg(name: &str) -> Leg {
    let mut leg = legs::leg(name).expect("a built-in leg");
    leg.lateral.wander_mm_per_m = 0.0;
    leg
}

fn on(feed_kg_per_s: f64) -> Controls {
    Controls { closed: true, feed_kg_per_s, reference: 1.0 }
}

fn run(plant: &mut Plant, controls: &Controls, seconds: f64) {
    let steps = (seconds * 1e6) as u32 / plant.step_us();
    for _ in 0..steps {
        plant.step(controls);
    }
}

fn near(value: f64, expected: f64, relative: f64, what: &str) {
    assert!((value - expected).abs() <= relative * expected.abs(), "{what}: {value}, expected {expected}");
}

/// Power of the motor in the steady state is lift, plus every loss by its own formula.
#[test]
fn steady_power_is_lift_and_stated_losses() {
    for name in legs::NAMES {
        let leg = leg(name);
        let mut plant = Plant::new(&leg, 2_000, 1);
        let flow = leg.capacity_kg_per_s();
        run(&mut plant, &on(0.0), 15.0);
        run(&mut plant, &on(flow), 30.0 + 2.0 * leg.lift_m / leg.rated_belt_speed());
        let before = plant.ledger;
        let mut turned = [0.0; 2];
        let mut ran = 0.0;
        let seconds = 120.0;
        let dt = f64::from(plant.step_us()) * 1e-6;
        for _ in 0..(seconds / dt) as u32 {
            let turning = plant.step(&on(flow));
            turned[0] += dt * turning.head[1];
            turned[1] += dt * turning.boot[1];
            ran += dt * plant.belt_speed();
        }
        let speed = ran / seconds;
        // A share of what is taken up falls back and is lifted again.
        let back = slackside_desk::plant::discharge::backlegging_share(speed / (9.81 * leg.head_radius()).sqrt());
        let lifted = flow / (1.0 - back);
        let turn = 2.0 * core::f64::consts::PI / seconds;
        let net = lifted * 9.81 * (leg.lift_m + leg.pit.digging_height_m)
            + lifted * speed * speed
            + leg.belt.bending_n * speed
            + leg.head.bearing_n_m * turned[0] * turn
            + leg.boot.bearing_n_m * turned[1] * turn;
        let power = (plant.ledger.motor - before.motor) / seconds;
        // Creep takes up to one per cent on top; digging wobbles by chance.
        near(power * leg.drive.efficiency, net, 0.015, name);
        assert!(plant.truth().slip_pct.abs() < 0.01, "{name} slips: {}", plant.truth().slip_pct);
        near((plant.ledger.lift - before.lift) / seconds, lifted * 9.81 * leg.lift_m, 0.005, "lift");
    }
}

/// The head turns at nameplate speed over the reduction when the motor gives rated power.
#[test]
fn full_load_speed_is_the_nameplates() {
    let leg = leg("millbrook-leg-3");
    let (mut low, mut high) = (0.0, 4_000.0);
    let mut rpm = 0.0;
    for _ in 0..18 {
        let torque = 0.5 * (low + high);
        let mut plant = Plant::new(&leg, 4_000, 1);
        run(&mut plant, &on(0.0), 8.0);
        plant.upset = Upset { shared_n_m: torque, ..Upset::NONE };
        run(&mut plant, &on(0.0), 4.0);
        let before = plant.ledger.motor;
        run(&mut plant, &on(0.0), 2.0);
        let power = (plant.ledger.motor - before) / 2.0;
        rpm = plant.truth().head_rpm * leg.drive.reduction;
        if power < leg.drive.motor.power_kw * 1_000.0 { low = torque } else { high = torque }
    }
    near(rpm, leg.drive.motor.rated_rpm, 2e-4, "motor speed at rated power");
}

/// Heat of slip is power times slip: with a standing belt, and while it slips and still runs.
#[test]
fn slip_heat_is_power_times_slip() {
    let leg = leg("millbrook-leg-3");
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(0.0), 8.0);
    plant.upset = Upset { belt_held_n: 60_000.0, ..Upset::NONE };
    run(&mut plant, &on(0.0), 5.0);
    let (before, truth) = (plant.ledger, plant.truth());
    near(truth.slip_pct, 100.0, 1e-3, "slip of a standing belt");
    run(&mut plant, &on(0.0), 10.0);
    near(plant.ledger.head_slip - before.head_slip, 10.0 * truth.pull_n * plant.rim_speed(), 1e-3, "standing belt");

    // Friction just short of the load: slips by a few per cent and holds.
    let mut plant = Plant::new(&leg, 2_000, 1);
    let flow = leg.capacity_kg_per_s();
    run(&mut plant, &on(0.0), 8.0);
    run(&mut plant, &on(flow), 30.0);
    let mut friction = 1.0;
    while plant.truth().slip_pct < 2.0 && friction > 0.1 {
        friction -= 0.001;
        plant.upset = Upset { head_friction: friction, ..Upset::NONE };
        run(&mut plant, &on(flow), 1.0);
    }
    let before = plant.ledger;
    let (mut product, mut slips) = (0.0, 0.0);
    let dt = f64::from(plant.step_us()) * 1e-6;
    for _ in 0..2_500 {
        plant.step(&on(flow));
        let truth = plant.truth();
        product += dt * truth.pull_n * plant.rim_speed() * truth.slip_pct / 100.0;
        slips += truth.slip_pct / 2_500.0;
    }
    assert!((0.5..15.0).contains(&slips), "a belt that slips and holds: {slips} %");
    near(plant.ledger.head_slip - before.head_slip, product, 0.01, "slipping belt");
}

/// Tight and slack side of a sliding belt stand in Euler and Eytelwein's ratio.
#[test]
fn a_sliding_belt_has_the_tension_ratio() {
    let mut leg = leg("millbrook-leg-3");
    // What bends a standing belt would hold a part of the difference.
    leg.belt.bending_n = 0.0;
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(0.0), 8.0);
    plant.upset = Upset { belt_held_n: 60_000.0, ..Upset::NONE };
    run(&mut plant, &on(0.0), 10.0);
    let Truth { tight_n, slack_n, pull_n, limit_n, .. } = plant.truth();
    // At more than 1.5 m/s of sliding, rubber keeps nine tenths of its friction.
    let ratio = (leg.head.friction * 0.9 * core::f64::consts::PI).exp();
    near(tight_n / slack_n, ratio, 1e-3, "tension ratio");
    near(tight_n - slack_n, pull_n, 1e-3, "pull is the difference");
    near(pull_n, limit_n, 1e-3, "pull is at its limit");
}

/// Every joule of the motor is found again: start, load, slip, choke, stop. Tolerance: 0.05 % of the motor's work.
#[test]
fn energy_balance_closes() {
    for name in legs::NAMES {
        let leg = leg(name);
        let mut plant = Plant::new(&leg, 2_000, 3);
        let flow = leg.capacity_kg_per_s();
        run(&mut plant, &on(0.0), 12.0);
        run(&mut plant, &on(flow), 50.0);
        plant.upset = Upset { head_friction: 0.4, head_tilt_mm_per_m: 12.0, ..Upset::NONE };
        run(&mut plant, &on(flow), 20.0);
        plant.upset = Upset { inflow_kg_per_s: 3.0 * flow, head_friction: 0.4, ..Upset::NONE };
        run(&mut plant, &on(flow), 20.0);
        run(&mut plant, &Controls { closed: false, ..on(0.0) }, 20.0);
        let (missing, work) = (plant.energy_missing(), plant.ledger.motor);
        assert!(missing.abs() < 5e-4 * work, "{name}: {missing} J of {work} J");
        assert_eq!(plant.truth().head_rpm, 0.0, "{name} has come to rest");
    }
}

/// The belt's speed while it starts, by steps of 5 ms down to 0.25 ms: each halving brings it nearer.
#[test]
fn converges_with_the_step() {
    let leg = leg("harbour-leg-2");
    let after = |step_us: u32| {
        let mut plant = Plant::new(&leg, step_us, 1);
        run(&mut plant, &on(0.0), 0.7);
        [plant.belt_speed(), plant.ledger.motor / 1e4, plant.ledger.head_slip / 1e4]
    };
    let best = after(125);
    let errors = [4_000, 2_000, 1_000, 500]
        .map(|step| after(step).iter().zip(best).map(|(value, best)| (value - best).powi(2)).sum::<f64>().sqrt());
    for pair in errors.windows(2) {
        assert!(pair[1] < 0.75 * pair[0], "{errors:?}");
    }
    assert!(errors[1] < 0.05, "2 ms, the default, is within 0.05 m/s and 500 J: {errors:?}");
}

/// When the belt slips away at the head, it does so at the same moment whatever the step.
#[test]
fn slips_away_at_the_same_time_whatever_the_step() {
    let leg = leg("millbrook-leg-1");
    let lost = |step_us: u32| {
        let mut plant = Plant::new(&leg, step_us, 1);
        let flow = leg.capacity_kg_per_s();
        run(&mut plant, &on(0.0), 8.0);
        run(&mut plant, &on(flow), 20.0);
        plant.upset = Upset { inflow_kg_per_s: 2.0 * flow, ..Upset::NONE };
        let mut time = 0.0;
        while plant.belt_speed() > 0.8 * leg.rated_belt_speed() && time < 60.0 {
            plant.step(&on(flow));
            time += f64::from(plant.step_us()) * 1e-6;
        }
        time
    };
    let times = [4_000, 2_000, 500].map(lost);
    assert!(times[0] < 59.0, "it does slip away: {times:?}");
    assert!((times[1] - times[2]).abs() < 0.02, "{times:?}");
    assert!((times[0] - times[2]).abs() < 0.06, "{times:?}");
}

/// Creep grows in proportion to the load and is of the usual size.
#[test]
fn creep_is_linear_in_the_load() {
    for name in legs::NAMES {
        let leg = leg(name);
        let creep = |share: f64| {
            let mut plant = Plant::new(&leg, 4_000, 1);
            let flow = share * leg.capacity_kg_per_s();
            run(&mut plant, &on(0.0), 12.0);
            run(&mut plant, &on(flow), 20.0 + 2.0 * leg.lift_m / leg.rated_belt_speed());
            let mut sum = 0.0;
            for _ in 0..200 {
                run(&mut plant, &on(flow), 0.1);
                sum += plant.truth().creep_pct / 200.0;
            }
            sum
        };
        let [none, half, full] = [0.0, 0.5, 1.0].map(creep);
        assert!((0.1..2.0).contains(&full), "{name}: {full} % at full load");
        near(full - half, half - none, 0.06, name);
    }
}

/// A belt off centre comes back over crowned pulleys, and stays where it is over flat ones.
#[test]
fn only_a_crown_brings_the_belt_back() {
    let leg = leg("millbrook-leg-3");
    for (crown, expected) in [(1.0, 0.0), (0.0, 10.0)] {
        let mut plant = Plant::new(&leg, 2_000, 1);
        plant.upset = Upset { crown, ..Upset::NONE };
        plant.tracking.head = 0.010;
        plant.tracking.boot = 0.010;
        run(&mut plant, &on(0.0), 120.0);
        let truth = plant.truth();
        assert!((truth.head_offset_mm - expected).abs() < 0.01, "crown {crown}: {}", truth.head_offset_mm);
    }
}

/// What the motor cannot lift stalls it; the belt stands and nothing breaks.
#[test]
fn a_load_the_motor_cannot_lift_stalls() {
    let mut leg = leg("millbrook-leg-3");
    leg.drive.motor.power_kw = 1.5;
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(leg.capacity_kg_per_s()), 120.0);
    let truth = plant.truth();
    assert!(truth.head_rpm.abs() < 0.2 * 80.0 && truth.head_rpm.is_finite(), "{}", truth.head_rpm);
}

/// Stopped full: held by a backstop, run back without one, and the boot fills with what was on the belt.
#[test]
fn a_full_leg_rolls_back_only_without_a_backstop() {
    let leg = leg("millbrook-leg-3");
    for failed in [false, true] {
        let mut plant = Plant::new(&leg, 2_000, 1);
        run(&mut plant, &on(0.0), 8.0);
        run(&mut plant, &on(leg.capacity_kg_per_s()), 40.0);
        plant.upset = Upset { backstop_failed: failed, ..Upset::NONE };
        let off = Controls { closed: false, ..on(0.0) };
        let mut slowest = 0.0_f64;
        for _ in 0..10_000 {
            plant.step(&off);
            slowest = slowest.min(plant.belt_speed());
        }
        let truth = plant.truth();
        if failed {
            assert!(slowest < -1.0 && truth.pile_kg > 50.0, "{slowest} m/s, {} kg", truth.pile_kg);
        } else {
            // The strands swing a little.
            assert!(slowest > -0.3 && truth.load_kg > 150.0, "{slowest} m/s, {} kg", truth.load_kg);
        }
        assert_eq!(truth.head_rpm, 0.0);
    }
}
