//! Power goes at every single byte that is written or erased, cleanly or in the middle of the byte, and the box starts again.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

use slackside::conditions::Condition;
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside_box::bench::Flash;
use slackside_box::fault::Faults;
use slackside_box::store::{About, Album, Found, Journal, Kept, Layout, Slots, StoreError};

type Chip = Flash<4, 1024>;

fn layout() -> Layout {
    Layout::fit::<Chip>(0, 16 * 1024, 2_000).expect("enough flash")
}

fn chip() -> Chip {
    Chip::new(16)
}

fn image(leg: &str) -> Vec<u8> {
    let mut settings = Settings::example();
    settings.machine.leg = leg.try_into().expect("a short name");
    settings.check().expect("sound").plan().bytes().to_vec()
}

fn load(flash: &mut Chip) -> Result<Vec<u8>, Found> {
    let mut buffer = [0; Plan::LENGTH];
    match Slots::new(&layout()).load(flash, &mut buffer).expect("power is there") {
        Found::Image { length, .. } => Ok(buffer[..length].to_vec()),
        other => Err(other),
    }
}

fn store(flash: &mut Chip, image: &[u8]) -> Result<(), StoreError> {
    Slots::new(&layout()).store(flash, image, Some(7), &mut [0; Plan::LENGTH])
}

/// Does `act` on copies of `before`, with power lost after each number of steps it takes; calls `check` after each.
/// The number of deaths.
fn die_everywhere(before: &Chip, act: impl Fn(&mut Chip) -> bool, check: impl Fn(&mut Chip, u64, bool)) -> u64 {
    let mut whole = before.clone();
    assert!(act(&mut whole), "it works while power is there");
    let steps = whole.steps() - before.steps();
    for dies in 0..steps {
        for torn in [false, true] {
            let mut flash = before.clone();
            flash.lose_power_after(dies, torn);
            assert!(!act(&mut flash), "without power nothing is reported as done (step {dies})");
            flash.restore_power();
            check(&mut flash, dies, torn);
        }
    }
    steps
}

#[test]
fn settings_are_the_old_or_the_new_wherever_power_goes() {
    let (first, old, new) = (image("Millbrook leg 1"), image("Millbrook leg 2"), image("Millbrook leg 3"));
    let mut flash = chip();
    // Both orders of the slots: the newer one in the first slot, and in the second.
    for stored in [vec![&old], vec![&first, &old]] {
        for image in stored {
            store(&mut flash, image).expect("stored");
        }
        let deaths = die_everywhere(
            &flash,
            |flash| store(flash, &new).is_ok(),
            |flash, dies, torn| {
                let found =
                    load(flash).unwrap_or_else(|found| panic!("neither at step {dies}, torn {torn}: {found:?}"));
                assert!(found == old || found == new, "step {dies}, torn {torn}");
                // And the next attempt goes through.
                store(flash, &new).expect("stored");
                assert_eq!(load(flash), Ok(new.clone()));
            },
        );
        assert!(deaths > 2_048, "{deaths} steps: erasing and writing a slot");
        flash = chip();
    }
}

#[test]
fn the_first_settings_are_there_or_the_box_is_blank() {
    let new = image("Millbrook leg 3");
    die_everywhere(
        &chip(),
        |flash| store(flash, &new).is_ok(),
        |flash, dies, torn| match load(flash) {
            Ok(found) => assert_eq!(found, new),
            Err(found) => assert_eq!(found, Found::Blank, "step {dies}, torn {torn}"),
        },
    );
}

#[test]
fn settings_damaged_by_age_are_not_replaced_by_older_ones() {
    let mut flash = chip();
    store(&mut flash, &image("Millbrook leg 1")).expect("stored");
    store(&mut flash, &image("Millbrook leg 2")).expect("stored");
    let newest = image("Millbrook leg 2");
    let at = flash.bytes().windows(15).position(|window| window == b"Millbrook leg 2").expect("it is in there");
    flash.flip(at, 3);
    assert_eq!(load(&mut flash), Err(Found::Damaged));
    // Writing them again mends it.
    store(&mut flash, &newest).expect("stored");
    assert_eq!(load(&mut flash), Ok(newest));
}

#[test]
fn no_flipped_bit_of_a_slot_is_taken_for_settings() {
    let stored = image("Millbrook leg 2");
    let mut flash = chip();
    store(&mut flash, &stored).expect("stored");
    for at in 0..(16 + stored.len()) {
        for bit in 0..8 {
            let mut aged = flash.clone();
            aged.flip(at, bit);
            assert_eq!(load(&mut aged), Err(Found::Damaged), "byte {at} bit {bit}");
        }
    }
}

fn kept(latched: &[Condition]) -> Kept {
    let mut retained = Retained::default();
    latched.iter().for_each(|condition| retained.put_alarm(*condition, true, false));
    retained.put_boot_cleared_needed(true);
    Kept { session: 1, faults: Faults::NONE, retained }
}

#[test]
fn latched_trips_survive_wherever_power_goes() {
    let quiet = kept(&[]);
    let tripped = kept(&[Condition::BeltNotFollowing]);
    // Every place in the page, so that the change of pages and its erasing are met too; 8 records fill a page.
    let mut deaths = 0;
    for records_before in [1, 7, 8, 9, 15, 16] {
        let mut flash = chip();
        let (mut journal, _) = Journal::open(&layout(), &mut flash).expect("power");
        for _ in 0..records_before {
            journal.append(&mut flash, &quiet).expect("stored");
        }
        let before = flash.clone();
        deaths += die_everywhere(
            &before,
            |flash| {
                let Ok((mut journal, restored)) = Journal::open(&layout(), flash) else { return false };
                assert_eq!((restored.kept.as_ref(), restored.sure), (Some(&quiet), true));
                journal.append(flash, &tripped).is_ok()
            },
            |flash, dies, torn| {
                let (mut journal, restored) = Journal::open(&layout(), flash).expect("power");
                match (&restored.kept, restored.sure) {
                    // Nothing of the trip was written yet, or all of it was, or the box knows that it does not know.
                    (Some(found), true) if *found == quiet => {
                        let untouched = dies == 0 || erased_or_same(&before, flash);
                        assert!(
                            untouched,
                            "a trip was half written and forgotten: {records_before} before, step {dies}, torn {torn}"
                        );
                    }
                    (Some(found), true) => assert_eq!(*found, tripped),
                    (_, false) => {}
                    (None, true) => panic!("nothing is never sure"),
                }
                // And it can be written now.
                journal.append(flash, &tripped).expect("stored");
                let (_, restored) = Journal::open(&layout(), flash).expect("power");
                assert_eq!((restored.kept, restored.sure), (Some(tripped.clone()), true));
            },
        );
    }
    assert!(deaths >= 6 * 128 + 1024, "{deaths} steps: records and the erasing of a page");
}

/// Whether nothing was programmed: bytes are as before or erased, but for one that was being erased.
fn erased_or_same(before: &Chip, after: &Chip) -> bool {
    before.bytes().iter().zip(after.bytes()).all(|(old, new)| old == new || old & new == *old)
}

#[test]
fn an_empty_or_garbled_journal_is_never_sure() {
    let (_, restored) = Journal::open(&layout(), &mut chip()).expect("power");
    assert_eq!((restored.kept, restored.sure), (None, false));
    let mut flash = chip();
    let (mut journal, _) = Journal::open(&layout(), &mut flash).expect("power");
    journal.append(&mut flash, &kept(&[Condition::SlipHeat])).expect("stored");
    let written: Vec<usize> = (0..flash.bytes().len()).filter(|at| flash.bytes()[*at] != 0xFF).collect();
    assert!(written.len() > 20);
    for at in written {
        let mut aged = flash.clone();
        aged.flip(at, 0);
        let (_, restored) = Journal::open(&layout(), &mut aged).expect("power");
        assert!(!restored.sure, "byte {at}");
    }
}

#[test]
fn the_newest_of_many_records_counts_and_both_pages_wear_alike() {
    let mut flash = chip();
    let (mut journal, _) = Journal::open(&layout(), &mut flash).expect("power");
    for round in 0..200_usize {
        let condition = Condition::ALL[round % Condition::COUNT];
        journal.append(&mut flash, &kept(&[condition])).expect("stored");
        let (_, restored) = Journal::open(&layout(), &mut flash).expect("power");
        assert_eq!((restored.kept, restored.sure), (Some(kept(&[condition])), true), "round {round}");
        if journal.wants_tidying() {
            journal.tidy(&mut flash).expect("erased");
        }
        assert!(!journal.must_erase(), "tidied in time, round {round}");
    }
}

fn record(flash: &mut Chip, album: &mut Album, bytes: &[u8]) -> Result<u32, StoreError> {
    album.begin(flash, About { settings: 0xABCD, session: 3, ..About::default() })?;
    while !album.erase_on(flash)? {}
    for part in bytes.chunks(37) {
        album.add(flash, part)?;
    }
    Ok(album.finish(flash)?.number)
}

fn read_back(flash: &mut Chip, album: &Album, number: u32) -> Option<Vec<u8>> {
    let entry = album.find(flash, number).ok()?;
    let mut bytes = Vec::new();
    let mut part = [0; 50];
    loop {
        let count = album.read(flash, &entry, u32::try_from(bytes.len()).ok()?, &mut part).ok()?;
        if count == 0 {
            return Some(bytes);
        }
        bytes.extend_from_slice(&part[..count]);
    }
}

fn recording(seed: u8) -> Vec<u8> {
    (0..1_500_u32).map(|at| (at as u8).wrapping_mul(31).wrapping_add(seed)).collect()
}

#[test]
fn a_full_album_gives_up_the_oldest_only() {
    let mut flash = chip();
    let mut album = Album::open(&layout(), &mut flash).expect("power");
    let places = album.places();
    assert!(places >= 3);
    for number in 0..20 {
        assert_eq!(record(&mut flash, &mut album, &recording(number)), Ok(u32::from(number)));
        // Opened anew each time: nothing rests on memory.
        album = Album::open(&layout(), &mut flash).expect("power");
        for old in 0..=number {
            let expected = (u32::from(number - old) < places).then(|| recording(old));
            assert_eq!(read_back(&mut flash, &album, old.into()), expected, "after {number}: {old}");
        }
    }
    assert_eq!(record(&mut flash, &mut album, &[0; 5_000]), Err(StoreError::TooLong));
}

#[test]
fn a_recording_is_whole_or_not_there_and_the_others_stay() {
    let mut flash = chip();
    let mut album = Album::open(&layout(), &mut flash).expect("power");
    let places = album.places();
    for number in 0..places {
        record(&mut flash, &mut album, &recording(number as u8)).expect("stored");
    }
    die_everywhere(
        &flash,
        |flash| {
            let Ok(mut album) = Album::open(&layout(), flash) else { return false };
            record(flash, &mut album, &recording(99)).is_ok()
        },
        |flash, dies, torn| {
            let album = Album::open(&layout(), flash).expect("power");
            if let Some(new) = read_back(flash, &album, places) {
                assert_eq!(new, recording(99), "step {dies}, torn {torn}");
            }
            for number in 1..places {
                assert_eq!(read_back(flash, &album, number), Some(recording(number as u8)), "step {dies}, torn {torn}");
            }
        },
    );
}

#[test]
fn too_little_flash_is_refused_with_what_would_do() {
    let needed = Layout::fit::<Chip>(0, 4 * 1024, 2_000).expect_err("too small").needed;
    assert!(Layout::fit::<Chip>(0, needed, 2_000).is_ok());
    assert!(Layout::fit::<Chip>(0, needed - 1, 2_000).is_err());
    assert!(Layout::fit::<Chip>(512, 16 * 1024, 2_000).is_err(), "not on an erase block");
}
