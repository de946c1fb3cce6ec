//! Any settings at all, sensible or not, for property tests.

extern crate std;
use std::string::String as StdString;

use heapless::String;
use proptest::prelude::*;

use super::*;
use crate::conditions::Condition;
use crate::units::{Joules, Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

fn length() -> BoxedStrategy<Micrometres> {
    prop_oneof![any::<i64>(), -10..3_000_000_i64, Just(i64::MAX), Just(i64::MIN), Just(0)]
        .prop_map(Micrometres::new)
        .boxed()
}

fn ppm() -> BoxedStrategy<Ppm> {
    prop_oneof![any::<i32>(), 0..1_200_000_i32, Just(i32::MIN), Just(0)].prop_map(Ppm::new).boxed()
}

fn span() -> BoxedStrategy<Span> {
    prop_oneof![any::<u32>(), 0..5_000_000_u32, Just(0)].prop_map(Span::new).boxed()
}

fn speed() -> BoxedStrategy<MicroturnsPerSecond> {
    prop_oneof![any::<u32>(), 300_000..5_000_000_u32, Just(0), Just(1)].prop_map(MicroturnsPerSecond::new).boxed()
}

fn pulley() -> BoxedStrategy<Pulley> {
    (length(), length(), length(), length())
        .prop_map(|(bare_diameter, lagging, face, crown)| Pulley { bare_diameter, lagging, face, crown })
        .boxed()
}

fn targets() -> BoxedStrategy<Targets> {
    let edges = prop_oneof![Just(CountedEdges::Rising), Just(CountedEdges::Falling), Just(CountedEdges::Both)];
    let spacing = prop_oneof![
        ppm().prop_map(|tolerance| Spacing::Even { tolerance }),
        (ppm(), ppm()).prop_map(|(closest, widest)| Spacing::Uneven { closest, widest }),
    ];
    (prop_oneof![any::<u8>(), 0..40_u8], edges, spacing, any::<bool>())
        .prop_map(|(count, edges, spacing, supervised)| Targets { count, edges, spacing, supervised })
        .boxed()
}

fn machine() -> BoxedStrategy<Machine> {
    let leg = ".{0,12}".prop_map(|name: StdString| {
        let mut leg = String::new();
        for letter in name.chars() {
            let _ = leg.push(letter);
        }
        leg
    });
    let reference = proptest::option::of(
        (ppm(), ppm()).prop_map(|(minimum, ramp_per_second)| SpeedReference { minimum, ramp_per_second }),
    )
    .boxed();
    let accepted = proptest::option::of(
        (any::<u32>(), ppm()).prop_map(|(ratio, spread)| AcceptedRatio { ratio: Ratio::new(ratio), spread }),
    );
    let contact = proptest::option::of(prop_oneof![Just(Strand::Up), Just(Strand::Down)]);
    let conditioning =
        (span(), ppm(), any::<u8>(), span()).prop_map(|(minimum_width, top_speed, rejects_a_turn, contact_bridge)| {
            Conditioning { minimum_width, top_speed, rejects_a_turn, contact_bridge }
        });
    let belt = (length(), length(), length()).prop_map(|(thickness, width, loop_length)| Belt {
        thickness,
        width,
        loop_length,
    });
    (
        (leg, pulley(), pulley(), belt, proptest::option::of(targets()), proptest::option::of(targets())),
        (speed(), speed(), any::<[bool; 3]>(), reference, [contact.clone(), contact.clone(), contact.clone(), contact]),
        (any::<[bool; 4]>(), any::<u32>(), ppm(), accepted, conditioning, proptest::option::of(speed())),
    )
        .prop_map(|(build, run, rest)| {
            let (leg, head_pulley, boot_pulley, belt, head_targets, boot_targets) = build;
            let (normal_head, normal_boot, [drive_contact, power_meter, outlet_switch], speed_reference, contacts) =
                run;
            let (temperatures, power, service_factor, accepted_ratio, conditioning, unloaded_head) = rest;
            Machine {
                leg,
                head_pulley,
                boot_pulley,
                belt,
                head_targets,
                boot_targets,
                normal_head,
                normal_boot,
                unloaded_head,
                drive_contact,
                power_meter,
                speed_reference,
                outlet_switch,
                contacts,
                temperatures,
                rated_power: Watts::new(power),
                service_factor,
                accepted_ratio,
                conditioning,
            }
        })
        .boxed()
}

fn limit() -> BoxedStrategy<Limit> {
    let number = || prop_oneof![any::<i32>(), 0..300_000_i32, Just(0), Just(1)];
    let priority = prop_oneof![Just(Priority::Low), Just(Priority::Medium), Just(Priority::High)];
    let action = prop_oneof![Just(Action::Alarm), Just(Action::DropFeed), Just(Action::Stop)];
    (any::<bool>(), number(), number(), span(), span(), any::<bool>(), priority, action)
        .prop_map(|(enabled, setpoint, deadband, on_delay, off_delay, latching, priority, action)| Limit {
            enabled,
            setpoint,
            deadband,
            on_delay,
            off_delay,
            latching,
            priority,
            action,
        })
        .boxed()
}

/// Any settings: most of them nonsense.
pub fn settings() -> BoxedStrategy<Settings> {
    let limits = proptest::collection::vec(limit(), Condition::COUNT);
    let starts = (ppm(), span(), span(), span(), span());
    (machine(), limits, starts, (any::<u32>(), span()))
        .prop_map(|(machine, list, starts, (budget, time_constant))| {
            let mut limits = Limits::STARTING;
            for (condition, new) in Condition::ALL.into_iter().zip(list) {
                limits.change(condition, |limit| *limit = new);
            }
            let (standstill_below, shortest_coast_down, window, inching_time, bypass_time) = starts;
            limits.starts = Starts { standstill_below, shortest_coast_down, window, inching_time, bypass_time };
            limits.slip_heat = SlipHeat { budget: Joules::new(budget), time_constant };
            Settings { machine, limits }
        })
        .boxed()
}
