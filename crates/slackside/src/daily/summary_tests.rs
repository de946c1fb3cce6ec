//! The bytes of a day: as they are written down, and what comes back from them.

extern crate std;

use proptest::prelude::*;

use super::*;
use crate::codec::crc::checksum;
use crate::units::{DeciCelsius, Ppm, Span};

fn full() -> Summary {
    Summary {
        day: 0x0203,
        kind: Kind::Day,
        settings_changed: true,
        load_by: LoadBy::Power,
        running: 43_200,
        slip: [Some(Ppm::new(-1_230)), None, Some(Ppm::new(12_340))],
        ratio_shift: Some(Ppm::new(-20)),
        duty: [Some(Ppm::ZERO), None, Some(Ppm::new(40)), Some(Ppm::new(1_000_000))],
        rejects: [Coarse::of(3), Coarse::of(1_024)],
        losses: Coarse::of(0),
        starts: 7,
        coast: Some(Span::new(5_200_000)),
        hottest: [None; 4],
        coolest: None,
        note: [0; Summary::NOTE],
    }
}

#[test]
fn a_day_comes_back_from_its_bytes() {
    for kind in [Kind::Day, Kind::PartOfDay] {
        let day = Summary { kind, ..full() };
        let back = Summary::of_bytes(&day.to_bytes()).expect("whole");
        // A whole turn is 250,000 steps, within 3.2 %.
        assert!(back.duty[3].expect("known").get() >= 968_000);
        assert_eq!(Summary { duty: day.duty, ..back }, day);
        assert_eq!(back.duty[..3], day.duty[..3]);
        let nothing = Summary::empty(9, kind);
        assert_eq!(Summary::of_bytes(&nothing.to_bytes()), Some(nothing));
    }
}

#[test]
fn work_comes_back_with_its_note_and_no_longer_one_is_taken() {
    for (work, note) in
        Work::ALL.into_iter().zip([&b""[..], b"ceramic", b"40 mm shorter", &[b'x'; 19]].into_iter().cycle())
    {
        let mark = Summary::mark(0x0203, work, note).expect("short enough");
        assert_eq!(Summary::of_bytes(&mark.to_bytes()), Some(mark));
        assert!(mark.note.starts_with(note) && mark.kind == Kind::Done(work));
    }
    assert_eq!(Summary::mark(1, Work::Other, &[b'x'; 20]), None);
    let bytes = Summary::mark(0x0203, Work::TakeUp, b"40 mm").expect("short").to_bytes();
    assert_eq!(bytes[..9], [0x03, 0x02, 0x50, b'4', b'0', b' ', b'm', b'm', 0]);
}

#[test]
fn the_bytes_are_those_that_are_written_down() {
    let bytes = full().to_bytes();
    assert_eq!(bytes[..5], [0x03, 0x02, 0x03, 0xC0, 0xA8]);
    assert_eq!(bytes[5..13], [0x85, 0xFF, 0x00, 0x80, 0xD2, 0x04, 0xFE, 0xFF]);
    assert_eq!(bytes[13..15], [0, 255]);
    assert_eq!(bytes[20..22], [7, 52]);
}

#[test]
fn no_bit_that_turned_over_is_read_as_a_day() {
    let bytes = full().to_bytes();
    for bit in 0..8 * Summary::LENGTH {
        let mut wrong = bytes;
        wrong[bit / 8] ^= 1 << (bit % 8);
        assert_eq!(Summary::of_bytes(&wrong), None, "bit {bit}");
    }
    assert_eq!(Summary::of_bytes(&[0xFF; Summary::LENGTH]), None, "erased flash is no day");
    assert_eq!(Summary::of_bytes(&[0; Summary::LENGTH]), None, "nor are zeros");
}

/// A day with the temperatures of three rub points, in degrees.
fn warm(hottest: [Option<i16>; 4], coolest: i16) -> Summary {
    let degrees = |degrees: i16| DeciCelsius::new(degrees * 10);
    Summary {
        duty: [Some(Ppm::ZERO), None, Some(Ppm::new(4_000)), Some(Ppm::new(1_000_000))],
        load_by: LoadBy::HeadSpeed,
        hottest: hottest.map(|hottest| hottest.map(degrees)),
        coolest: Some(degrees(coolest)),
        ..full()
    }
}

#[test]
fn a_day_with_temperatures_comes_back_in_its_steps() {
    for kind in [Kind::Day, Kind::PartOfDay] {
        let day = Summary { kind, ..warm([Some(41), Some(-3), None, Some(114)], -12) };
        let back = Summary::of_bytes(&day.to_bytes()).expect("whole");
        assert_eq!((back.hottest, back.coolest, back.kind), (day.hottest, day.coolest, kind));
        assert_eq!((back.day, back.running, back.starts, back.load_by), (day.day, 43_200, 7, LoadBy::HeadSpeed));
        assert!(back.settings_changed && back.duty[1].is_none() && back.slip[1].is_none());
        assert_eq!(back.coast, Some(Span::new(5_200_000)));
        let near = |one: Option<Ppm>, other: Option<Ppm>| one.unwrap().get().abs_diff(other.unwrap().get()) <= 25;
        assert!(near(back.slip[0], day.slip[0]) && near(back.slip[2], day.slip[2]), "{back:?}");
        assert!(near(back.ratio_shift, day.ratio_shift), "{back:?}");
        let within = |one: Option<u32>, other: Option<u32>, share: u32| {
            one.unwrap().abs_diff(other.unwrap()) * 100 <= other.unwrap() * share
        };
        for (one, other) in back.duty.into_iter().zip(day.duty).filter(|(_, other)| other.is_some()) {
            let count = |duty: Option<Ppm>| duty.map(|duty| duty.get() as u32);
            assert!(within(count(one), count(other), 6), "{one:?} {other:?}");
        }
        for (one, other) in back.rejects.into_iter().zip(day.rejects) {
            assert!(within(one.get(), other.get(), 13), "{one:?} {other:?}");
        }
        assert_eq!(back.losses.get(), Some(0));
    }
    // A leg in deep frost, or in a fire: held at what can be told.
    let far = Summary::of_bytes(&warm([Some(3_000), None, None, None], -60).to_bytes()).expect("whole");
    assert_eq!(far.coolest, Some(DeciCelsius::new(-400)));
    assert_eq!(far.hottest, [Some(DeciCelsius::new(860)), None, None, None]);
    // To the nearest whole degree.
    let tenths = Summary { hottest: [Some(DeciCelsius::new(214)), None, None, None], ..warm([None; 4], 20) };
    assert_eq!(Summary::of_bytes(&tenths.to_bytes()).expect("whole").hottest[0], Some(DeciCelsius::new(210)));
}

#[test]
fn the_bytes_of_a_day_with_temperatures_are_those_that_are_written_down() {
    let bytes = warm([Some(41), Some(-3), None, Some(114)], -12).to_bytes();
    assert_eq!(bytes[..3], [0x03, 0x02, 0x87]);
    let bit = |at: usize| u32::from(bytes[3 + at / 8] >> (at % 8) & 1);
    let bits = |from: usize, width: usize| (0..width).map(|at| bit(from + at) << at).sum::<u32>();
    assert_eq!(bits(0, 11), 1_440);
    // -1,230 ppm are 24.6 steps below zero.
    assert_eq!([11, 23, 35, 47].map(|at| bits(at, 12)), [4_096 - 25, 2_048, 247, 0]);
    assert_eq!([59, 66, 73, 80].map(|at| bits(at, 7)), [0, 127, 56, 119]);
    assert_eq!([87, 93].map(|at| bits(at, 6)), [3, 36]);
    assert_eq!((bits(99, 5), bits(104, 6), bits(110, 7)), (0, 7, 26));
    assert_eq!(bits(117, 7), 28);
    assert_eq!([124, 131, 138, 145].map(|at| bits(at, 7)), [53, 9, 127, 126]);
}

/// A day from a box of before there were temperatures, byte for byte.
#[test]
fn days_that_were_kept_before_are_read_as_they_were() {
    let bytes = [
        0x03, 0x02, 0x03, 0xC0, 0xA8, 0x85, 0xFF, 0x00, 0x80, 0xD2, 0x04, 0xFE, 0xFF, 0, 255, 10, 239, 3, 112, 0, 7, 52,
    ];
    let mut whole = [0; Summary::LENGTH];
    whole[..22].copy_from_slice(&bytes);
    whole[22..].copy_from_slice(&(checksum(&bytes) as u16).to_le_bytes());
    let day = Summary::of_bytes(&whole).expect("whole");
    assert_eq!(Summary { duty: full().duty, ..day }, full());
    assert_eq!(day.duty.map(|duty| duty.map(Ppm::get)), [Some(0), None, Some(40), Some(1_000_000)]);
    assert_eq!(full().to_bytes(), whole, "and without temperatures they are still written so");
}

proptest! {
    /// Any bytes, with a sum that is right or not: no panic, and what is read is read again from what it is written as.
    #[test]
    fn whatever_is_read_is_read_again_from_what_it_is_written_as(mut bytes: [u8; Summary::LENGTH], kind in 0..16_u8, sound: bool) {
        bytes[2] = bytes[2] & 15 | kind << 4;
        if sound {
            let crc = checksum(&bytes[..22]) as u16;
            bytes[22..].copy_from_slice(&crc.to_le_bytes());
        }
        if let Some(day) = Summary::of_bytes(&bytes) {
            prop_assert!(kind < 10);
            let again = day.to_bytes();
            let back = Summary::of_bytes(&again).expect("whole");
            // A day of that kind that knows no temperature has room for finer steps, and codes of more than the whole are the whole.
            let whole = |duty: Option<Ppm>| duty.map(|duty| if duty.get() == 1_000_000 { Ppm::new(983_040) } else { duty });
            let day = if kind < 8 || day.hottest.iter().any(Option::is_some) { day } else { Summary { coolest: None, ..day } };
            let is_warm = day.hottest.iter().any(Option::is_some);
            let day = if is_warm { Summary { duty: day.duty.map(whole), ..day } } else { day };
            // Starts beyond their most are held.
            let day = Summary { starts: day.starts.min(254), ..day };
            if is_warm || kind < 8 {
                prop_assert_eq!(day, back);
            }
            prop_assert_eq!(back.to_bytes(), again);
        } else {
            prop_assert!(!sound || kind >= 10);
        }
    }

    /// Whatever a day says, it comes back within its steps.
    #[test]
    fn any_day_with_temperatures_comes_back_within_its_steps(
        slip in proptest::array::uniform4(proptest::option::of(-150_000..150_000_i32)),
        counts in proptest::array::uniform3(0..600_000_u32),
        hottest in proptest::array::uniform4(proptest::option::of(-900..2_000_i16)),
        coolest in -900..1_300_i16,
        (running, starts, coast) in (0..=LOOKS_A_DAY, 0..=255_u8, proptest::option::of(0..40_000_000_u32)),
    ) {
        prop_assume!(hottest.iter().any(Option::is_some));
        let figures = slip.map(|slip| slip.map(Ppm::new));
        let [a, b, c, ratio_shift] = figures;
        let day = Summary {
            running,
            slip: [a, b, c],
            ratio_shift,
            rejects: [counts[0], counts[1]].map(Coarse::of),
            losses: Coarse::of(counts[2]),
            starts,
            coast: coast.map(Span::new),
            hottest: hottest.map(|hottest| hottest.map(DeciCelsius::new)),
            coolest: Some(DeciCelsius::new(coolest)),
            ..Summary::empty(7, Kind::Day)
        };
        let back = Summary::of_bytes(&day.to_bytes()).expect("whole");
        prop_assert_eq!(back.running, running / 30 * 30);
        for (one, other) in [back.slip[0], back.slip[1], back.slip[2], back.ratio_shift].into_iter().zip(figures) {
            prop_assert_eq!(one.is_some(), other.is_some());
            if let (Some(one), Some(other)) = (one, other) {
                // Ten of rounding before, and half of a step.
                prop_assert!(one.get().abs_diff(other.get().clamp(-102_350, 102_350)) <= 30, "{:?} {:?}", one, other);
            }
        }
        prop_assert_eq!(back.starts, starts.min(63));
        for (one, other) in back.coast.into_iter().zip(day.coast) {
            prop_assert!(other.get().min(25_200_000) - one.get() < 200_000);
        }
        let held = back.coolest.expect("known").get();
        prop_assert!(held.abs_diff(coolest.clamp(-400, 870)) <= 5, "{} {}", held, coolest);
        for (one, other) in back.hottest.into_iter().zip(hottest) {
            prop_assert_eq!(one.is_some(), other.is_some());
            if let (Some(one), Some(other)) = (one, other) {
                prop_assert!(one.get().abs_diff(other.clamp(held, held + 1_260)) <= 5, "{:?} {}", one, other);
            }
        }
    }
}
