//! The laws of the plant against published figures. Each check names its source.

use core::f64::consts::PI;

use slackside_desk::plant::creep;
use slackside_desk::plant::discharge::{balance_rpm, pole_height};
use slackside_desk::plant::heat::Lump;
use slackside_desk::plant::motor::{Motor, Nameplate, critical_over_rated, kloss};
use slackside_desk::plant::parting::{part, pass_resistance};
use slackside_desk::plant::rim_mass;
use slackside_desk::plant::surface::{Layer, Material, Slab, Surface};
use slackside_desk::plant::wrap::{largest_pull, tension_ratio, wrap_factor};

fn near(value: f64, expected: f64, relative: f64, what: &str) {
    assert!((value - expected).abs() <= relative * expected.abs(), "{what}: {value}, published {expected}");
}

/// Wrap factors as conveyor handbooks print them (two decimals; the printed table from memory), bare at 0.25 and lagged at
/// 0.35, beside the exact values of `1 / (e^(mu theta) - 1)`.
#[test]
fn wrap_factors() {
    for (degrees, bare, bare_printed, lagged, lagged_printed) in [
        (180.0, 0.8380, 0.84, 0.4993, 0.50),
        (190.0, 0.7745, 0.77, 0.4562, 0.45),
        (200.0, 0.7177, 0.72, 0.4179, 0.42),
        (210.0, 0.6667, 0.67, 0.3836, 0.38),
        (220.0, 0.6205, 0.62, 0.3529, 0.35),
        (230.0, 0.5787, 0.58, 0.3252, 0.32),
        (240.0, 0.5406, 0.54, 0.3001, 0.30),
        (380.0, 0.2353, 0.23, 0.1088, 0.11),
        (420.0, 0.1905, 0.18, 0.0833, 0.08),
    ] {
        let wrap = degrees / 180.0 * PI;
        for (friction, exact, printed) in [(0.25, bare, bare_printed), (0.35, lagged, lagged_printed)] {
            let factor = wrap_factor(friction, wrap);
            assert!((factor - exact).abs() < 1e-4, "{degrees} at {friction}: {factor}");
            assert!((factor - printed).abs() < 0.011, "{degrees} at {friction}: {factor}");
        }
    }
}

/// R. S. Khurmi and J. K. Gupta, *Theory of Machines*, ch. 11, examples 11.4, 11.5, 11.8 and 11.10; Jindal, *Machine Design*,
/// examples 20-1 and 20-7. Inputs from the books, answers worked again to full precision.
#[test]
fn belt_drive_examples() {
    // 11.4: 0.6 m, 200 rpm, 0.25, 160 degrees, tight side 2,500 N: slack 1,243.8 N, 7.89 kW.
    let ratio = tension_ratio(0.25, 160.0 / 180.0 * PI);
    let slack = 2_500.0 / ratio;
    near(slack, 1_243.785, 1e-6, "Khurmi 11.4 slack side");
    near((2_500.0 - slack) * PI * 0.6 * 200.0 / 60.0, 7_893.0, 1e-4, "Khurmi 11.4 power");
    near(largest_pull(slack, 0.0, ratio), 2_500.0 - slack, 1e-12, "the same as a largest pull");
    // 11.5: 9 kN, two and a half turns, 0.25.
    near(9_000.0 / tension_ratio(0.25, 2.5 * 2.0 * PI), 177.326, 1e-5, "Khurmi 11.5");
    // 11.8: 7.5 kW, 1.2 m, 250 rpm, 165 degrees, 0.3.
    let pull = 7_500.0 / (PI * 1.2 * 250.0 / 60.0);
    near(pull * wrap_factor(0.3, 165.0 / 180.0 * PI), 347.883, 1e-5, "Khurmi 11.8 slack side");
    near(pull * (1.0 + wrap_factor(0.3, 165.0 / 180.0 * PI)), 825.348, 1e-5, "Khurmi 11.8 tight side");
    // 20-1: 50 kW at 20 m/s, 0.4, 3.34886 rad, 1.95 kg/m: what the belt's own turning takes (780 N) presses on nothing.
    let centrifugal = 1.95 * 20.0 * 20.0;
    let slack = centrifugal + 2_500.0 * wrap_factor(0.4, 3.348_86);
    near(slack, 1_667.37, 1e-5, "Jindal 20-1 slack side");
    near(
        slack + largest_pull(slack, centrifugal, tension_ratio(0.4, 3.348_86)),
        4_167.37,
        1e-5,
        "Jindal 20-1 tight side",
    );
    // 11.10: most power from a belt that bears 1,200 N with 0.6 kg/m, 0.3, 120 degrees: at a third of that from turning, 400 N.
    let speed = (400.0_f64 / 0.6).sqrt();
    near(speed, 25.819_9, 1e-5, "Khurmi 11.10 speed");
    let slack = 400.0 + 800.0 / tension_ratio(0.3, 120.0 / 180.0 * PI);
    near(slack - 400.0, 426.790, 1e-5, "Khurmi 11.10 slack side, less what turning takes");
    let power = |speed: f64| {
        let turning = 0.6 * speed * speed;
        let slack = turning + (1_200.0 - turning) / tension_ratio(0.3, 120.0 / 180.0 * PI);
        largest_pull(slack, turning, tension_ratio(0.3, 120.0 / 180.0 * PI)) * speed
    };
    near(power(speed), 9_636.2, 1e-4, "Khurmi 11.10 power");
    assert!(power(0.97 * speed) < power(speed) && power(1.03 * speed) < power(speed), "Khurmi 11.10: the most");
    // 20-7: 3 kW, 160 and 480 mm, 2.4 m apart, 0.4, 12.0637 m/s: turning takes 186.093 N.
    let wrap = PI - 2.0 * (0.16_f64 / 2.4).asin();
    let pull = 3_000.0 / 12.063_7;
    let slack = 186.093 + pull * wrap_factor(0.4, wrap);
    near(slack, 292.778, 1e-5, "Jindal 20-7 slack side");
    near(slack + largest_pull(slack, 186.093, tension_ratio(0.4, wrap)), 541.457, 1e-5, "Jindal 20-7 tight side");
}

/// Lift of 100 t/h over 30 m at 3 m/s with 180 degrees of wrap: from first principles, 9.81 m/s^2.
#[test]
fn slack_tension_for_a_lift() {
    let pull = 100_000.0 / 3_600.0 * 9.81 * 30.0 / 3.0;
    near(pull, 2_725.0, 1e-9, "effective tension");
    for (friction, slack) in [(0.20, 3_116.2), (0.25, 2_283.6), (0.35, 1_360.6)] {
        near(pull * wrap_factor(friction, PI), slack, 5e-5, "slack tension");
    }
}

/// B. L. and A. K. Theraja, *A Textbook of Electrical Technology*, ch. 34, examples 34.14(c), 34.15, 34.28 and 34.45.
#[test]
fn motor_torque_curve() {
    near(kloss(0.01 / 0.06), 0.324_324, 1e-5, "34.14(c)");
    near(kloss(0.04 / 0.133_333_333), 0.550_459, 1e-5, "34.15");
    near(kloss(0.05 / 0.1), 0.8, 1e-12, "34.28 at 5 % slip");
    near(kloss(1.0 / 0.1), 0.198_020, 1e-5, "34.28 at standstill");
    near(0.1 / critical_over_rated(2.0), 0.026_794_9, 1e-5, "34.45");
    // Rated over critical slip for breakdown ratios, worked from the same formula.
    for (ratio, slip) in [(1.5, 0.381_966), (2.0, 0.267_949), (2.25, 0.234_436), (2.5, 0.208_712), (3.0, 0.171_573)] {
        near(1.0 / critical_over_rated(ratio), slip, 5e-6, "rated over critical slip");
    }
}

/// A motor built from a nameplate gives Theraja 34.28: 4 poles, 50 Hz, critical slip 0.1, 0.8 of breakdown torque at 1,425 rpm.
#[test]
fn motor_from_its_nameplate() {
    let plate = Nameplate {
        power_kw: 10.0,
        synchronous_rpm: 1_500.0,
        rated_rpm: 1_425.0,
        breakdown_ratio: 1.25,
        locked_ratio: None,
    };
    let motor = Motor::new(&plate);
    near(motor.torque(0.05), plate.rated_torque(), 1e-12, "rated torque at rated speed");
    near(motor.torque(1.0) / motor.torque(0.1), 0.198_020, 1e-5, "standstill over breakdown");
    assert!(
        motor.torque(0.1) > motor.torque(0.099) && motor.torque(0.1) > motor.torque(0.101),
        "breakdown at 1,350 rpm"
    );
}

/// B. L. and A. K. Theraja, ex. 10.19 of the 1994 edition (read in an open collection of textbook companions): 12 poles, 50
/// Hz, R2 0.15 and X2 0.25 ohm, E2 32 V: 103.537 N m at standstill, 15.5763 at full load, 117.342 at most, at 200 rpm.
#[test]
fn motor_of_the_twelve_pole_example() {
    let motor = Motor::new(&Nameplate {
        power_kw: 15.576_3 * 480.0 / 60.0 * 2.0 * PI / 1_000.0,
        synchronous_rpm: 500.0,
        rated_rpm: 480.0,
        breakdown_ratio: 117.342 / 15.576_3,
        locked_ratio: None,
    });
    near(motor.torque(1.0), 103.537, 1e-5, "at standstill");
    near(motor.torque(0.04), 15.576_3, 1e-9, "at full load");
    // Breakdown at 200 rpm, a slip of R2/X2.
    near(motor.torque(0.6), 117.342, 1e-5, "at most");
    assert!(motor.slope(0.6).abs() < 0.01, "{}", motor.slope(0.6));
}

/// G. K. Dubey, *Fundamentals of Electrical Drives*, ex. 2.1 (read in the same collection): rotor 0.2 kg m^2 at 1,420 rpm, a
/// load of 10 kg m^2 at a tenth of its speed, and 1,000 kg hoisted at 1.5 m/s are 0.4 kg m^2 (exactly 0.401 75) at the motor.
#[test]
fn inertia_seen_through_gears() {
    let motor = 1_420.0 / 60.0 * 2.0 * PI;
    // A drum of any size whose rim moves at 1.5 m/s: all of it counted there, then carried back to the motor.
    for radius in [0.1, 0.316] {
        let drum = 1.5 / radius;
        let at_rim = rim_mass(0.2, motor / drum, radius) + rim_mass(10.0, 0.1 * motor / drum, radius) + 1_000.0;
        near(at_rim * (1.5 / motor) * (1.5 / motor), 0.401_75, 1e-5, "inertia at the motor");
    }
}

/// Creep in per cent for 5 kN of pull and three stiffnesses; and Khurmi's ex. 11.2 (stresses 1.4 and 0.5, modulus 100, all in
/// MPa) worked with the formula that has consistent units: 0.888 % or 0.789 rpm of 88.889.
#[test]
fn creep_sizes() {
    for (stiffness, percent) in [(250_000.0, 2.0), (500_000.0, 1.0), (1_000_000.0, 0.5)] {
        // To first order: the exact form differs by the strain itself.
        near(100.0 * creep::slip(5_000.0, 0.0, stiffness), percent, 0.021, "creep");
    }
    near(100.0 * creep::slip(1.4, 0.5, 100.0), 0.888, 1e-3, "Khurmi 11.2");
    near(88.889 * creep::slip(1.4, 0.5, 100.0), 0.789, 1e-3, "Khurmi 11.2, rpm lost");
}

/// J. P. Holman, *Heat Transfer*, example 4.1: a steel ball of 5 cm from 450 to 150 degrees in air of 100: 5,818 s.
#[test]
fn a_cooling_ball() {
    let (radius, density, specific, film) = (0.025_f64, 7_800.0, 460.0, 10.0);
    let mass = density * 4.0 / 3.0 * PI * radius.powi(3);
    let mut ball = Lump::new(mass * specific, film * 4.0 * PI * radius.powi(2));
    near(ball.time_constant(), 2_990.0, 1e-3, "time constant");
    ball.rise = 350.0;
    let share = ball.share(0.1);
    let mut time = 0.0;
    while ball.rise > 50.0 {
        ball.step(0.0, share);
        time += 0.1;
    }
    near(time, 5_818.27, 1e-4, "Holman 4.1");
}

/// 60 kg at 490 J/(kg K) that lose 8 W/K, heated with 3 kW: 125 K at 1,490.1 s (closed form of the same equation).
#[test]
fn a_heated_rim() {
    let mut rim = Lump::new(60.0 * 490.0, 8.0);
    rim.step(3_000.0, rim.share(1_490.1));
    near(rim.rise, 125.0, 1e-4, "rise");
}

/// `n = 42.29 / sqrt(D)`: weight against centrifugal force at the top of the head pulley, from first principles; pole
/// height `894.26 / n^2` m (definition: R. Pimblett, "Define pole height", *World Grain*).
#[test]
fn centrifugal_discharge() {
    for (diameter, rpm) in
        [(0.3, 77.21), (0.4, 66.87), (0.5, 59.81), (0.6, 54.60), (0.8, 47.28), (1.0, 42.29), (1.2, 38.61)]
    {
        near(balance_rpm(diameter), rpm, 2e-4, "balance speed");
    }
    near(pole_height(60.0), 894.26 / 3_600.0, 1e-4, "pole height");
}

const fn insulated(area_m2: f64) -> Slab {
    Slab { area_m2, face_loss: 0.0, back_loss: 0.0, behind: 0.0 }
}

/// Constant flux into a half-space, `2 q / k sqrt(alpha t / pi)`: H. S. Carslaw and J. C. Jaeger, *Conduction of Heat in
/// Solids*, 2.9. Rubber, for as long as a slab of 80 mm passes for a half-space, at the plant's own step of 0.1 s.
#[test]
fn constant_flux_into_rubber() {
    let rubber = Material::RUBBER;
    let layers = [Layer { thickness_m: 0.08, material: rubber }];
    let mut surface = Surface::new(&layers, insulated(0.3), 0.1);
    let flux = 1_500.0;
    let mut time = 0.0;
    for (until, within) in [(1.0, 0.05), (5.0, 0.01), (56.0, 0.005), (600.0, 0.005)] {
        while time < until - 1e-9 {
            surface.coast();
            surface.heat(flux * 0.3);
            time += 0.1;
        }
        let exact = 2.0 * flux / rubber.conductivity * (rubber.diffusivity() * time / PI).sqrt();
        near(surface.face(), exact, within, "rise of the face");
    }
}

/// J. P. Holman, *Heat Transfer*, example 4.2: a thick block of steel at 35 degrees (45 W/(m K), 1.4e-5 m^2/s) takes 3.2e5
/// W/m^2 for 30 s: 79.3 degrees 2.5 cm deep. The face by the same formula: 199.4.
#[test]
fn constant_flux_into_a_steel_block() {
    let steel = Material { conductivity: 45.0, heat_per_m3: 45.0 / 1.4e-5 };
    let mut block = Surface::new(&[Layer { thickness_m: 0.4, material: steel }], insulated(1.0), 0.02);
    for _ in 0..1_500 {
        block.coast();
        block.heat(3.2e5);
    }
    assert!((35.0 + block.face() - 199.444).abs() < 0.5, "{}", 35.0 + block.face());
    assert!((35.0 + block.at_depth(0.025) - 79.314).abs() < 0.5, "{}", 35.0 + block.at_depth(0.025));
}

/// A belt of 9 mm that stands for 56 s under a turning head and takes half of 14.1 kW on 0.515 m^2 (0.8 m of pulley, half a
/// turn, 0.4 m of belt): by `2 q / k sqrt(alpha t / pi)` its face rises by 196 K, where one lump of the same belt says 39.
/// H. S. Carslaw and J. C. Jaeger, *Conduction of Heat in Solids*, 2.9.
#[test]
fn a_standing_belt_is_hotter_than_a_lump() {
    let (rubber, area, power, seconds) = (Material::RUBBER, 0.515, 7_070.0, 56.0);
    let mut patch = Surface::new(&[Layer { thickness_m: 0.009, material: rubber }], insulated(area), 0.1);
    for _ in 0..560 {
        patch.coast();
        patch.heat(power);
    }
    let half_space = 2.0 * power / area / rubber.conductivity * (rubber.diffusivity() * seconds / PI).sqrt();
    near(half_space, 196.0, 0.002, "closed form");
    near(patch.face(), half_space, 0.01, "the plant's face");
    let lump = power * seconds / (area * 0.009 * rubber.heat_per_m3);
    near(lump, 39.1, 0.002, "one lump");
    near(patch.stored() / patch.capacity(), lump, 1e-9, "and on the mean the slab is as warm as the lump");
}

/// Two half-spaces that rub share in the ratio of their effusivities (H. S. Carslaw and J. C. Jaeger, 2.9 and 2.8), whatever
/// the time: found by two slabs whose faces are held at one temperature.
#[test]
fn slabs_in_contact_share_by_effusivity() {
    let (rubber, steel) = (Material::RUBBER, Material::STEEL);
    let slab = |material| Surface::new(&[Layer { thickness_m: 0.3, material }], insulated(0.5), 0.1);
    let mut bodies = [slab(rubber), slab(steel)];
    let expected = rubber.effusivity() / (rubber.effusivity() + steel.effusivity());
    for step in 1..=600 {
        for body in &mut bodies {
            body.coast();
        }
        let rise = [bodies[0].face(), bodies[1].face()];
        let parted = part(2_000.0, rise, [bodies[0].response(), bodies[1].response()]);
        bodies[0].heat(parted.into[0]);
        bodies[1].heat(parted.into[1]);
        assert!((bodies[0].face() - bodies[1].face()).abs() < 1e-9, "one temperature where they touch");
        if step > 100 {
            near(parted.into[0] / 2_000.0, expected, 0.02, "share of the rubber");
        }
    }
    // The warmth of a single pass: the mean of `2 q / e sqrt(t / pi)` over it is two thirds of its end.
    let pass = pass_resistance(rubber.effusivity(), 0.5, 0.4, 0.0);
    near(pass, 2.0 / 3.0 * 2.0 / (0.5 * rubber.effusivity()) * (0.4 / PI).sqrt(), 1e-12, "one pass");
}
