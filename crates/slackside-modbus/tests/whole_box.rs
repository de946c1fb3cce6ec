//! A whole box with a leg in memory, read over a serial line as a master does.
#![allow(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::arithmetic_side_effects,
    reason = "a test that panics has failed, as it should"
)]

#[path = "../../slackside-box/tests/rig/mod.rs"]
mod rig;

use rig::{Chip, Rig, plan, set_up, settings};
use slackside::conditions::Condition;
use slackside::input::{Command, Origin, Shaft};
use slackside::units::Micros;
use slackside_box::bench::{Line, Pin, RUBBING};
use slackside_modbus::line::RtuLine;
use slackside_modbus::registers::{ACKNOWLEDGE, ACKNOWLEDGE_WORD, LAST, TABLE};
use slackside_modbus::rtu::checksum;

const ADDRESS: u8 = 17;
const UNKNOWN: u16 = 0x8000;

/// A leg, its Modbus line, and the master's end of it.
struct Bus {
    rig: Rig,
    line: RtuLine<Line, Pin>,
    master: Line,
    driver: Pin,
    /// Bytes that came while the driver was off.
    undriven: usize,
}

impl Bus {
    fn new(chip: Chip) -> Self {
        let (slave, master) = Line::pair(4_096);
        let driver = Pin::new();
        let line = RtuLine::new(slave, driver.clone(), ADDRESS, 19_200);
        Self { rig: Rig::start(chip), line, master, driver, undriven: 0 }
    }

    fn running() -> Self {
        let mut bus = Self::new(set_up());
        bus.rig.make_ready();
        bus.rig.run_up();
        bus
    }

    /// A millisecond of the leg and of the line.
    fn round(&mut self) {
        self.rig.run(1);
        self.poll();
    }

    fn poll(&mut self) {
        self.line.poll(&mut self.rig.sensor_box, Micros::new(self.rig.now));
    }

    /// What comes back within 400 ms.
    fn ask_bytes(&mut self, address: u8, message: &[u8]) -> Vec<u8> {
        let mut frame = vec![address];
        frame.extend(message);
        frame.extend(checksum(&frame));
        self.master.put(&frame);
        self.answer()
    }

    fn answer(&mut self) -> Vec<u8> {
        let mut came = Vec::new();
        for _ in 0..400 {
            self.round();
            let bytes = self.master.take();
            if !bytes.is_empty() && !self.driver.get() {
                self.undriven += bytes.len();
            }
            came.extend(bytes);
        }
        assert!(!self.driver.get(), "the line is let go");
        came
    }

    fn ask(&mut self, message: &[u8]) -> Vec<u8> {
        let came = self.ask_bytes(ADDRESS, message);
        assert_eq!(checksum(&came), [0, 0], "{came:02X?}");
        assert_eq!(came[0], ADDRESS);
        came[1..came.len() - 2].to_vec()
    }

    fn read(&mut self, first: u16, count: u16) -> Result<Vec<u16>, u8> {
        let reply = self.ask(&[&[4][..], &first.to_be_bytes(), &count.to_be_bytes()].concat());
        if reply[0] == 0x84 {
            return Err(reply[1]);
        }
        assert_eq!((reply[0], usize::from(reply[1])), (4, reply.len() - 2));
        Ok(reply[2..].chunks(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]])).collect())
    }

    /// Every register there is.
    fn all(&mut self) -> Vec<u16> {
        let mut all = self.read(0, 100).expect("there");
        all.extend(self.read(100, LAST - 99).expect("there"));
        all
    }

    fn one(&mut self, name: &str) -> u16 {
        self.read(place(name), 1).expect("there")[0]
    }

    fn acknowledge(&mut self) -> Vec<u8> {
        self.ask(&[&[6][..], &ACKNOWLEDGE.to_be_bytes(), &ACKNOWLEDGE_WORD.to_be_bytes()].concat())
    }
}

fn place(name: &str) -> u16 {
    TABLE.iter().find(|row| row.name == name).unwrap_or_else(|| panic!("no register {name}")).first
}

/// Every register of a healthy leg: what is reckoned here comes from the settings and from how the rig turns the shafts.
#[test]
fn a_healthy_leg_reads_as_it_turns() {
    let mut bus = Bus::running();
    let all = bus.all();
    let value = |name| all[usize::from(place(name))];
    let long = |name| u32::from(value(name)) << 16 | u32::from(all[usize::from(place(name)) + 1]);
    let machine = settings().machine;
    assert_eq!(value("version"), 1);
    assert_eq!(value("leg"), 3, "runs");
    assert_eq!(value("permits") & 0b1111, 0b1111, "given and judged");
    assert_eq!(value("first_out") as i16, -1);
    assert_eq!(value("health"), 1);
    assert_eq!(long("box_faults"), 0);
    // Of one pitch, whose angle is known no better than the spacing learned while running up: within a hundredth.
    let rpm = |normal: u32| f64::from(normal) * 600.0 / 1e6;
    for (name, normal) in [("head_speed", machine.normal_head.get()), ("boot_speed", machine.normal_boot.get())] {
        assert!(
            (f64::from(value(name)) - rpm(normal)).abs() <= rpm(normal) * 0.01,
            "{name} {} against {}",
            value(name),
            rpm(normal)
        );
    }
    let belt = f64::from(machine.normal_boot.get()) * plan(&settings()).slip.boot_circumference as f64 / 1e9;
    assert!((f64::from(value("belt_speed")) - belt).abs() <= belt * 0.01, "{} against {belt}", value("belt_speed"));
    assert!((990..=1_010).contains(&value("boot_of_normal")) && (990..=1_010).contains(&value("head_of_normal")));
    // No slip but for the rounding of pitches.
    for name in ["slip_turn_least", "slip_turn_most", "slip_four_least", "slip_four_most", "slip_mean"] {
        assert!((value(name) as i16).abs() < 60, "{name} {}", value(name) as i16);
    }
    assert!(value("slip_heat") < 100);
    assert_eq!([value("head_distrust"), value("boot_distrust"), value("head_targets"), value("boot_targets")], [0; 4]);
    assert_eq!(long("settings"), plan(&settings()).identity());
    let name: Vec<u8> = all[64..80].iter().flat_map(|word| word.to_be_bytes()).collect();
    assert_eq!(name.iter().position(|byte| *byte == 0).map(|end| &name[..end]), Some(machine.leg.as_bytes()));
    for (number, state) in (0_u8..).zip(&all[100..144]) {
        match Condition::from_id(number) {
            Some(condition) => assert!([0, 7, 8].contains(state), "{} {state}", condition.name()),
            None => assert_eq!(*state, UNKNOWN, "{number}"),
        }
    }
    // Gaps between rows are unknown, and what is beyond the last row is not there.
    assert_eq!(all[13], UNKNOWN);
    assert_eq!(bus.read(LAST, 2), Err(2));
    assert_eq!(bus.read(ACKNOWLEDGE, 1), Err(2));
    assert_eq!(bus.undriven, 0, "nothing is sent but with the driver on");
}

#[test]
fn both_reading_functions_read_the_same() {
    let mut bus = Bus::running();
    let by_four = bus.ask(&[4, 0, 48, 0, 20]);
    let by_three = bus.ask(&[3, 0, 48, 0, 20]);
    assert_eq!(by_four[1..6], by_three[1..6], "identity of the settings");
    assert_eq!(by_four[34..], by_three[34..], "name");
}

/// A new box knows nothing: no number is 0 that could be taken for a measured one, and every alarm counts as wrong.
#[test]
fn a_box_without_settings_reads_unknown_and_never_zero() {
    let mut bus = Bus::new(Chip::new(128));
    bus.rig.run(3_000);
    let all = bus.all();
    let known = [
        "version",
        "heartbeat",
        "health",
        "permits",
        "box_faults",
        "supervised",
        "settings",
        "session",
        "newest_event",
        "core",
        "leg_number",
        "leg_name",
        "to_acknowledge",
        "wrong",
        "latched",
        "bypassed",
    ];
    for row in TABLE.iter().filter(|row| !known.contains(&row.name)) {
        for register in row.first..row.first + row.count {
            assert_eq!(all[usize::from(register)], UNKNOWN, "{}", row.name);
        }
    }
    assert_eq!(all[usize::from(place("health"))], 4);
    assert_eq!(all[usize::from(place("permits"))] & 0b1111, 0);
    assert_ne!(all[usize::from(place("box_faults")) + 1] & 1, 0, "no settings");
    assert!(all[80..92].iter().all(|word| *word == 0xFFFF));
}

/// What is not fitted is unknown, though the rest of the leg is well.
#[test]
fn what_is_not_fitted_is_unknown() {
    let mut bus = Bus::running();
    let machine = settings().machine;
    let fitted = machine.contacts.iter().map(Option::is_some);
    let rub = bus.read(place("rub"), 4).unwrap();
    let share = bus.read(place("rub_share"), 4).unwrap();
    for ((fitted, rub), share) in fitted.zip(rub).zip(share) {
        assert_eq!((rub, share), if fitted { (1, 0) } else { (UNKNOWN, UNKNOWN) });
    }
}

#[test]
fn a_slip_trip_is_read_and_acknowledged_and_reset_by_nobody() {
    let mut bus = Bus::running();
    bus.rig.turn(Shaft::Boot, 700);
    bus.rig.run(6_000);
    bus.rig.turn_both(0);
    bus.rig.run(30_000);
    let first = i32::from(bus.one("first_out") as i16);
    let first = u8::try_from(first).ok().and_then(Condition::from_id).expect("a condition");
    assert!([Condition::SlipVeryHigh, Condition::DeepUnderspeed].contains(&first), "{first:?}");
    assert_eq!(bus.one("permits") & 0b1111, 0);
    assert_eq!(bus.one("health"), 3);
    assert_eq!(bus.one("leg"), 1, "stands");
    assert_eq!((bus.one("head_speed"), bus.one("belt_speed")), (0, 0), "proven to stand");
    assert_eq!(bus.one("slip_turn_least"), UNKNOWN, "no slip is known at rest");
    let waiting = bus.one("alarms_to_acknowledge");
    assert!(waiting > 0 && waiting != UNKNOWN);
    let state = 100 + u16::from(first.id());
    assert!([1, 4].contains(&bus.read(state, 1).unwrap()[0]));
    // A bit for each that is counted, and that of the first-out among them.
    let bits = bus.read(place("to_acknowledge"), 3).unwrap();
    assert_eq!(bits.iter().map(|word| word.count_ones()).sum::<u32>(), u32::from(waiting));
    assert_ne!(bits[usize::from(first.id() >> 4)] >> (first.id() & 15) & 1, 0);
    // Another word, another register, and more than one.
    assert_eq!(bus.ask(&[6, 1, 0, 0xAC, 0x4A]), [0x86, 3]);
    assert_eq!(bus.ask(&[6, 0, 4, 0xAC, 0x4B]), [0x86, 2]);
    assert_eq!(bus.ask(&[16, 1, 0, 0, 2, 4, 0xAC, 0x4B, 0xAC, 0x4B]), [0x90, 2]);
    assert_eq!(bus.one("alarms_to_acknowledge"), waiting);
    // Another command is before it in this round, and the round does not come.
    let mut frame = vec![ADDRESS, 6, 1, 0, 0xAC, 0x4B];
    frame.extend(checksum(&frame));
    bus.rig.sensor_box.command(Origin::Leg, Command::EndBypass);
    bus.master.put(&frame);
    let mut came = Vec::new();
    for _ in 0..30 {
        bus.rig.now += 1_000;
        bus.poll();
        came.extend(bus.master.take());
    }
    assert_eq!(came[1..3], [0x86, 6]);
    bus.rig.run(100);
    assert_eq!(bus.one("alarms_to_acknowledge"), waiting);
    assert_eq!(bus.acknowledge(), [6, 1, 0, 0xAC, 0x4B]);
    assert_eq!(bus.one("alarms_to_acknowledge"), 0);
    assert_ne!(bus.one("alarms_latched"), 0, "an acknowledgement resets nothing");
    assert_eq!(bus.one("permits") & 0b1111, 0);
    bus.rig.run(1_000);
    assert_eq!(bus.acknowledge(), [6, 1, 0, 0xAC, 0x4B], "what has nothing to do is no error");
}

#[test]
fn a_rub_and_a_cut_line_are_told_apart() {
    let mut bus = Bus::running();
    bus.rig.panel.contacts[0].set(Some(RUBBING));
    bus.rig.run(1_000);
    assert_eq!(bus.one("rub"), 2);
    bus.rig.panel.contacts[0].set(Some(u16::MAX));
    bus.rig.run(1_000);
    assert_eq!(bus.one("rub"), 3);
    assert_eq!(bus.one("rub_share"), UNKNOWN);
    assert_eq!(bus.one("health"), 2);
}

/// The core stopped, the line still served: in two seconds nothing is told any more, and nothing acknowledged.
#[test]
fn what_nobody_judges_any_more_is_not_told() {
    let mut bus = Bus::running();
    let before = bus.one("heartbeat");
    let later = bus.one("heartbeat");
    // Each asking takes 400 ms.
    assert!((5..=7).contains(&later.wrapping_sub(before)), "{before} {later}");
    let ask = |bus: &mut Bus, message: &[u8]| {
        let mut frame = vec![ADDRESS];
        frame.extend(message);
        frame.extend(checksum(&frame));
        bus.master.put(&frame);
        let mut came = Vec::new();
        for _ in 0..100 {
            // The main loop does not come round.
            bus.rig.now += 1_000;
            bus.poll();
            came.extend(bus.master.take());
        }
        came[1..came.len() - 2].to_vec()
    };
    let heartbeat = [4, 0, 1, 0, 1];
    let mut waited = 0;
    let mut beats = Vec::new();
    while waited < 1_900 {
        let reply = ask(&mut bus, &heartbeat);
        assert_eq!(reply[0], 4, "after {waited} ms");
        beats.push(u16::from_be_bytes([reply[2], reply[3]]));
        waited += 100;
    }
    assert!(beats.iter().all(|beat| *beat == beats[0]), "a stopped core beats no more");
    bus.rig.now += 200_000;
    assert_eq!(ask(&mut bus, &heartbeat), [0x84, 4]);
    assert_eq!(ask(&mut bus, &[6, 1, 0, 0xAC, 0x4B]), [0x86, 4]);
    // It comes round again: told again.
    bus.rig.run(5);
    assert_eq!(bus.one("heartbeat") & 0x8000, bus.one("heartbeat") & 0x8000);
    assert!(bus.read(1, 1).is_ok());
}

#[test]
fn others_and_everybody_are_not_answered() {
    let mut bus = Bus::running();
    bus.rig.turn_both(0);
    bus.rig.run(30_000);
    let waiting = bus.one("alarms_to_acknowledge");
    assert_ne!(waiting, 0);
    for address in (0..=247).filter(|address| *address != ADDRESS).step_by(13) {
        assert!(bus.ask_bytes(address, &[4, 0, 0, 0, 10]).is_empty(), "{address}");
        assert!(bus.ask_bytes(address, &[6, 1, 0, 0xAC, 0x4B]).is_empty(), "{address}");
    }
    assert_eq!(bus.one("alarms_to_acknowledge"), waiting, "a broadcast acknowledges nothing");
}

/// Noise, half frames and our own echo: the next whole request is answered, and no permit moves.
#[test]
fn noise_and_echo_do_no_harm() {
    let mut bus = Bus::running();
    let mut chance = 7_u32;
    for length in [1_usize, 3, 7, 255, 256, 257, 600, 2_000] {
        let noise: Vec<u8> = (0..length)
            .map(|_| {
                chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (chance >> 24) as u8
            })
            .collect();
        bus.master.put(&noise);
        bus.rig.run(20);
        assert!(bus.answer().is_empty(), "{length}");
        assert_eq!(bus.read(0, 1), Ok(vec![1]), "after {length} bytes of noise");
    }
    // Half duplex: what is sent comes back on the same two wires.
    let mut frame = vec![ADDRESS, 4, 0, 0, 0, 100];
    frame.extend(checksum(&frame));
    bus.master.put(&frame);
    let mut came = Vec::new();
    for _ in 0..400 {
        bus.round();
        let bytes = bus.master.take();
        bus.master.put(&bytes);
        came.extend(bytes);
    }
    assert_eq!((came.len(), checksum(&came)), (205, [0, 0]), "one answer, not an answer to its echo");
    assert!(bus.rig.panel.may_run() && bus.rig.panel.may_feed());
}

/// The driver holds the line until the last character is out: 9 characters at 19,200 bits a second take 5.2 ms.
#[test]
fn the_driver_is_on_for_as_long_as_the_answer_takes() {
    let mut bus = Bus::running();
    let mut frame = vec![ADDRESS, 4, 0, 0, 0, 2];
    frame.extend(checksum(&frame));
    bus.master.put(&frame);
    let mut on = Vec::new();
    for _ in 0..200 {
        bus.round();
        if bus.driver.get() {
            on.push(bus.rig.now);
        }
    }
    let held = on.last().unwrap() - on.first().unwrap();
    assert!((5_200..=8_000).contains(&held), "{held} µs");
    assert_eq!(on.len() as u64, held / 1_000 + 1, "without a gap");
}
