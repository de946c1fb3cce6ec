//! The whole plant against mechanics: power, heat, energy, friction, convergence.

use slackside_desk::plant::friction::Face;
use slackside_desk::plant::leg::Leg;
use slackside_desk::plant::ripple::{At, Beat, Ripple};
use slackside_desk::plant::surface::Material;
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
        // The reducer loses its share of the load, and what it loses at rated torque without one.
        let (share, lost) = (leg.drive.idle_share, 1.0 - leg.drive.efficiency);
        let rated = leg.drive.motor.rated_torque() * leg.drive.reduction * turned[0] * turn;
        // Creep takes up to one per cent on top; digging wobbles by chance.
        near(power * (1.0 - lost * (1.0 - share)) - lost * share * rated, net, 0.017, name);
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
    // The face warms and lets the pull fall: step by step.
    let mut product = 0.0;
    for _ in 0..5_000 {
        plant.step(&on(0.0));
        product += 0.002 * plant.truth().pull_n * plant.rim_speed();
    }
    near(plant.ledger.head_slip - before.head_slip, product, 1e-3, "standing belt");

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
    let truth = plant.truth();
    let Truth { tight_n, slack_n, pull_n, limit_n, .. } = truth;
    // The curve says what friction is left at that sliding speed, the contact's temperature takes its share.
    let curve = leg.grip.curve(&Face::default(), leg.head.friction);
    let ratio = (curve.at(plant.rim_speed()) * leg.grip.warmth_at(truth.head_face_c) * core::f64::consts::PI).exp();
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
        // What rubbed and slid is warmth now: in faces, in bodies or in the air, to rounding.
        let (heat, ledger) = (plant.heat_missing(), plant.ledger);
        assert!(heat.abs() < 1e-9 * plant.warmth.taken, "{name}: {heat} J of {} J", plant.warmth.taken);
        let made =
            ledger.head_slip + ledger.creep + ledger.boot_slip + ledger.rub + ledger.bearings.iter().sum::<f64>();
        near(plant.warmth.taken, made, 1e-3, "all of it was handed on");
        assert!(plant.warmth.lost() > 0.0 && plant.warmth.held() > 0.2 * made, "{name}");
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

/// An out-of-round head makes the belt swing once a turn, by its runout over its radius; over whole turns it takes nothing.
#[test]
fn runout_swings_the_belt_once_a_turn_and_costs_nothing() {
    let mut leg = leg("millbrook-leg-3");
    leg.head.runout_mm = 3.0;
    // So stiff that the belt at the boot follows the one at the head; a common belt swings more, near its own beat.
    leg.belt.stiffness_kn *= 20.0;
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(0.0), 20.0);
    let before = plant.ledger;
    let (mut low, mut high) = (f64::INFINITY, 0.0_f64);
    for _ in 0..15_000 {
        let turning = plant.step(&on(0.0));
        let ratio = plant.belt_speed() / turning.head[1];
        (low, high) = (low.min(ratio), high.max(ratio));
    }
    let expected = 2.0 * 0.003 / leg.head_radius();
    near((high - low) / (0.5 * (high + low)), expected, 0.05, "swing");
    let took = plant.ledger.runout - before.runout;
    assert!(took.abs() < 2e-3 * (plant.ledger.motor - before.motor), "{took} J");
    let missing = plant.energy_missing();
    assert!(missing.abs() < 5e-4 * plant.ledger.motor, "{missing} J");
}

/// A drag that comes and goes shows in the speed at its own beat, and its mean in the motor's work.
#[test]
fn a_periodic_drag_shows_at_its_own_beat() {
    let mut leg = leg("millbrook-leg-3");
    let work = |leg: &Leg| {
        let mut plant = Plant::new(leg, 2_000, 1);
        run(&mut plant, &on(0.0), 10.0);
        let before = plant.ledger;
        let mut speeds = Vec::new();
        let mut ran = 0.0;
        for _ in 0..20_000 {
            plant.step(&on(0.0));
            ran += 0.002 * plant.belt_speed();
            speeds.push(plant.belt_speed());
        }
        let missing = plant.energy_missing();
        assert!(missing.abs() < 5e-4 * plant.ledger.motor, "{missing} J");
        (plant.ledger.digging - before.digging, ran, speeds)
    };
    let (still, _, _) = work(&leg);
    leg.ripple = vec![Ripple { beat: Beat::Second, period: 2.0, drag_n: 800.0, at: At::Boot }];
    let (rippled, ran, speeds) = work(&leg);
    near(rippled - still, 400.0 * ran, 0.02, "half of the drag, over the way");
    let mean = speeds.iter().sum::<f64>() / speeds.len() as f64;
    let at = |period: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, speed) in speeds.iter().enumerate() {
            let angle = core::f64::consts::TAU * i as f64 * 0.002 / period;
            re += (speed - mean) * angle.cos();
            im += (speed - mean) * angle.sin();
        }
        re.hypot(im)
    };
    assert!(at(2.0) > 5.0 * at(1.37) && at(2.0) > 5.0 * at(3.1), "{} {} {}", at(2.0), at(1.37), at(3.1));
}

/// A parted belt that falls clear leaves the boot pulley to its bearings: it coasts by `J w / T`. One that heaps up on it
/// stops it within seconds.
#[test]
fn a_parted_belt_leaves_the_boot_coasting() {
    let mut leg = leg("harbour-leg-2");
    leg.boot.bearing_n_m = 60.0;
    let stops_after = |heap: f64| {
        let mut plant = Plant::new(&leg, 2_000, 1);
        run(&mut plant, &on(0.0), 20.0);
        let turning = plant.step(&on(0.0));
        plant.upset = Upset { belt_parted: true, heap, ..Upset::NONE };
        let mut time = 0.0;
        while plant.step(&on(0.0)).boot[1] > 0.01 && time < 200.0 {
            time += 0.002;
        }
        (time, turning.boot[1])
    };
    let (clear, speed) = stops_after(0.0);
    let spin = leg.boot.inertia_kg_m2 * core::f64::consts::TAU * speed / leg.boot.bearing_n_m;
    near(clear, spin, 0.02, "coasts on its bearings");
    let (heaped, _) = stops_after(1.0);
    assert!(heaped < 0.4 * clear && heaped > 0.3, "{heaped} s against {clear} s");
}

/// The relay takes a stalled motor off within its class, and a supply that fails lets the contactor go.
#[test]
fn overload_relay_and_coil_take_the_motor_off() {
    let mut leg = leg("millbrook-leg-3");
    let mut plant = Plant::new(&leg, 2_000, 1);
    plant.upset = Upset { shared_n_m: 50_000.0, ..Upset::NONE };
    run(&mut plant, &on(0.0), 2.0);
    assert!(plant.contactor());
    run(&mut plant, &on(0.0), 20.0);
    assert!(!plant.contactor(), "a stalled motor of class 10");
    leg.drive.motor.power_kw = 30.0;
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(leg.capacity_kg_per_s()), 60.0);
    assert!(plant.contactor(), "a loaded leg within its rating");
    plant.upset = Upset { supply: 0.4, ..Upset::NONE };
    run(&mut plant, &on(leg.capacity_kg_per_s()), 0.1);
    plant.upset = Upset::NONE;
    run(&mut plant, &on(leg.capacity_kg_per_s()), 1.0);
    assert!(!plant.contactor(), "it does not come back by itself");
}

/// A motor off turns against the reducer too: the head of an empty leg comes to rest sooner by what it loses without load.
#[test]
fn a_reducer_brakes_with_the_motor_off() {
    let coast = |idle_share: f64| {
        let mut leg = leg("millbrook-leg-3");
        leg.drive.idle_share = idle_share;
        let mut plant = Plant::new(&leg, 2_000, 1);
        run(&mut plant, &on(0.0), 20.0);
        let kinetic = plant.ledger.losses;
        let off = Controls { closed: false, ..on(0.0) };
        let mut time = 0.0;
        while plant.step(&off).head[1] > 1e-3 && time < 100.0 {
            time += 0.002;
        }
        (time, plant.ledger.losses - kinetic)
    };
    let ((without, _), (with, _)) = (coast(0.0), coast(0.5));
    assert!(with < 0.95 * without && with > 0.2 * without, "{with} s against {without} s");
}

/// With the belt standing the heat of sliding parts between lagging and belt, and both shares are all of it.
#[test]
fn heat_parts_between_the_faces_and_sums_to_one() {
    let leg = leg("millbrook-leg-3");
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(0.0), 8.0);
    plant.upset = Upset { belt_held_n: 60_000.0, ..Upset::NONE };
    run(&mut plant, &on(0.0), 20.0);
    let before = plant.ledger;
    run(&mut plant, &on(0.0), 0.1);
    let power = (plant.ledger.head_slip + plant.ledger.creep - before.head_slip - before.creep) / 0.1;
    let [head, belt] = plant.warmth.head_parted();
    // The bodies move on every tenth of a second, which need not be the one looked at.
    near(head + belt, power, 1e-3, "all of it");
    // The standing piece takes less than the lagging, of which twice as much comes round to it.
    assert!(belt > 0.2 * power && belt < 0.5 * power, "{belt} W of {power} W");
}

/// The belt of Harbour leg 2 held fast under its turning head: the face of the standing piece, after 56 s, is that of a
/// half-space under the flux the plant gave it, `sum of dq 2/k sqrt(alpha (t - t_i) / pi)` (H. S. Carslaw and J. C. Jaeger,
/// *Conduction of Heat in Solids*, 2.9, and Duhamel's sum), and several times what one lump of the belt says.
#[test]
fn the_face_of_a_standing_belt_is_that_of_a_half_space() {
    let leg = leg("harbour-leg-2");
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(0.0), 10.0);
    plant.upset = Upset { belt_held_n: 60_000.0, ..Upset::NONE };
    while plant.warmth.patch() == 0.0 {
        run(&mut plant, &on(0.0), 0.1);
    }
    let mut fluxes = vec![plant.warmth.head_parted()[1]];
    while fluxes.len() < 560 {
        run(&mut plant, &on(0.0), 0.1);
        fluxes.push(plant.warmth.head_parted()[1]);
    }
    let width = leg.belt.width_mm / 1_000.0;
    let area = width * leg.head_radius() * leg.wrap_deg.to_radians();
    let rubber = Material::RUBBER;
    let rise = |flux: f64, seconds: f64| {
        2.0 * flux / area / rubber.conductivity * (rubber.diffusivity() * seconds / core::f64::consts::PI).sqrt()
    };
    let mut half_space = rise(fluxes[0], 56.0);
    for (i, pair) in fluxes.windows(2).enumerate() {
        half_space += rise(pair[1] - pair[0], 56.0 - 0.1 * (i + 1) as f64);
    }
    // The plant takes the step in which the belt came to rest for a whole one, and loses a little at the back.
    near(plant.warmth.patch(), half_space, 0.03, "face of the standing belt");
    let heat = fluxes.iter().sum::<f64>() * 0.1;
    let lump = heat / (area * leg.belt.thickness_mm / 1_000.0 * rubber.heat_per_m3);
    assert!(plant.warmth.patch() > 4.0 * lump, "{} K, a lump {lump} K", plant.warmth.patch());
}

/// A gravity take-up holds the strands' mean tension at its weight, but for what its guides hold back; and a jammed one does not.
#[test]
fn a_hanging_boot_keeps_the_tension_within_its_guides_friction() {
    for guide_friction in [0.0, 0.06, 0.15] {
        let mut leg = leg("harbour-leg-2");
        leg.takeup.guide_friction = guide_friction;
        let mut plant = Plant::new(&leg, 2_000, 1);
        let flow = leg.capacity_kg_per_s();
        run(&mut plant, &on(0.0), 20.0);
        run(&mut plant, &on(flow), 60.0);
        run(&mut plant, &on(0.0), 60.0);
        plant.upset = Upset { belt_longer: 0.002, ..Upset::NONE };
        run(&mut plant, &on(0.0), 60.0);
        let Truth { tight_n, slack_n, .. } = plant.truth();
        let off = 0.5 * (tight_n + slack_n) - leg.takeup.tension_n - leg.strand_weight();
        // On the mean of both strands; what the belt's bends and its own acceleration do is some 50 N.
        let within = guide_friction * leg.takeup.tension_n + 50.0;
        assert!(off.abs() < within, "guides {guide_friction}: {off} N of {within} N");
        let missing = plant.energy_missing();
        assert!(missing.abs() < 5e-4 * plant.ledger.motor, "{missing} J");
    }
    let leg = leg("harbour-leg-2");
    let mut plant = Plant::new(&leg, 2_000, 1);
    run(&mut plant, &on(0.0), 20.0);
    plant.upset = Upset { belt_longer: 0.002, takeup_jammed: true, ..Upset::NONE };
    run(&mut plant, &on(0.0), 60.0);
    let Truth { tight_n, slack_n, .. } = plant.truth();
    let lost = leg.takeup.tension_n + leg.strand_weight() - 0.5 * (tight_n + slack_n);
    near(lost, 0.002 * leg.belt.stiffness_kn * 1_000.0, 0.05, "stretch times stiffness");
}
