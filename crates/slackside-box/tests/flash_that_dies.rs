//! Power goes at every single byte that is written or erased, cleanly or in the middle of the byte, and the box starts again.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

use embedded_storage::nor_flash::NorFlash as _;
use slackside::conditions::Condition;
use slackside::daily::{Kind, Summary};
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside_box::bench::Flash;
use slackside_box::fault::Faults;
use slackside_box::store::{About, Album, Days, Found, Journal, Kept, Layout, Marks, Newest, Slots, StoreError};

type Chip = Flash<4, 1024>;

fn layout() -> Layout {
    Layout::fit::<Chip>(0, 25 * 1024, 2_000).expect("enough flash")
}

fn chip() -> Chip {
    Chip::new(25)
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

/// Between the mark of the new settings and the successor's word of the old ones power goes; then the new ones rot.
#[test]
fn settings_cut_off_behind_their_mark_and_then_damaged_are_not_replaced_by_older_ones() {
    let (old, new) = (image("Millbrook leg 1"), image("Millbrook leg 2"));
    let mut before = chip();
    store(&mut before, &old).expect("stored");
    let mut cut = 0;
    die_everywhere(
        &before,
        |flash| store(flash, &new).is_ok(),
        |flash, dies, torn| {
            if load(flash) == Ok(new.clone()) {
                let at =
                    flash.bytes().windows(15).position(|window| window == b"Millbrook leg 2").expect("it is in there");
                flash.flip(at, 3);
                assert_eq!(load(flash), Err(Found::Damaged), "step {dies}, torn {torn}");
            }
        },
    );
    // And there are such moments: those of the successor's word.
    let mut flash = before.clone();
    store(&mut flash, &new).expect("stored");
    for back in 1..=4 {
        let mut flash = before.clone();
        flash.lose_power_after(steps_of_a_store(&before, &new) - back, false);
        assert!(store(&mut flash, &new).is_err());
        flash.restore_power();
        cut += u32::from(load(&mut flash) == Ok(new.clone()));
    }
    assert_eq!(cut, 4, "the new ones count already");
}

fn steps_of_a_store(before: &Chip, image: &[u8]) -> u64 {
    let mut flash = before.clone();
    store(&mut flash, image).expect("stored");
    flash.steps() - before.steps()
}

#[test]
fn settings_that_may_count_though_they_were_not_stored_to_the_end_are_told() {
    let (old, new) = (image("Millbrook leg 1"), image("Millbrook leg 2"));
    let mut before = chip();
    store(&mut before, &old).expect("stored");
    let mut in_doubt = 0;
    for dies in 0..steps_of_a_store(&before, &new) {
        for torn in [false, true] {
            let mut flash = before.clone();
            flash.lose_power_after(dies, torn);
            let told = store(&mut flash, &new).expect_err("without power nothing is stored");
            flash.restore_power();
            let counts = load(&mut flash) == Ok(new.clone());
            assert!(!counts || told == StoreError::InDoubt, "step {dies}, torn {torn}: {told:?}");
            in_doubt += u32::from(told == StoreError::InDoubt);
        }
    }
    assert!((2..=20).contains(&in_doubt), "{in_doubt}: the mark and what follows it");
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
    // Every place in the page, so that the change of pages and its erasing are met too; 9 records fill a page.
    let mut deaths = 0;
    for records_before in [1, 8, 9, 10, 17, 18] {
        let mut flash = chip();
        let (mut journal, _) = Journal::open(&layout(), &mut flash).expect("power");
        for _ in 0..records_before {
            journal.append(&mut flash, &quiet).expect("stored");
        }
        let before = flash.clone();
        let unsure = std::cell::Cell::new(0);
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
                    // Nothing at all was written or erased yet, or the trip was, or the box knows that it does not know.
                    (Some(found), true) if *found == quiet => {
                        assert!(
                            before.bytes() == flash.bytes(),
                            "a trip was half written and forgotten: {records_before} before, step {dies}, torn {torn}"
                        );
                    }
                    (Some(found), true) => assert_eq!(*found, tripped),
                    (_, false) => unsure.set(unsure.get() + 1),
                    (None, true) => panic!("nothing is never sure"),
                }
                // And it can be written now.
                journal.append(flash, &tripped).expect("stored");
                let (_, restored) = Journal::open(&layout(), flash).expect("power");
                assert_eq!((restored.kept, restored.sure), (Some(tripped.clone()), true));
            },
        );
        println!("{records_before} records before: {} of the cuts leave it unsure", unsure.get());
    }
    assert!(deaths >= 6 * 108 + 1024, "{deaths} steps: records and the erasing of a page");
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
        assert!(journal.left() > 0, "tidied in time, round {round}");
    }
}

fn open_marks(flash: &mut Chip) -> (Marks, Newest) {
    let layout = layout();
    Marks::open(layout.heat, layout.page_length, flash).expect("power")
}

#[test]
fn a_mark_is_the_old_or_the_new_wherever_power_goes() {
    let mut flash = chip();
    let (mut marks, found) = open_marks(&mut flash);
    assert_eq!(found, Newest::Blank);
    let in_a_page = marks.left();
    assert_eq!(in_a_page, 127);
    for value in 0..2 * in_a_page + 3 {
        // At the ends of pages, and one in between.
        if value % in_a_page < 2 || value % in_a_page == in_a_page - 1 {
            let before = flash.clone();
            let (old, new) = (if value == 0 { Newest::Blank } else { Newest::Value(value - 1) }, Newest::Value(value));
            die_everywhere(
                &before,
                |flash| {
                    let layout = layout();
                    let opened = Marks::open(layout.heat, layout.page_length, flash);
                    opened.is_ok_and(|(mut marks, _)| marks.append(flash, value).is_ok())
                },
                |flash, dies, torn| {
                    let (mut marks, found) = open_marks(flash);
                    // Behind a full page nothing is sure while the next one is erased or begun.
                    let known = found == old || found == new || matches!(found, Newest::Unknown(_));
                    assert!(known, "{value}, step {dies}, torn {torn}: {found:?}");
                    marks.append(flash, 1_000).expect("stored");
                    assert_eq!(open_marks(flash).1, Newest::Value(1_000), "{value}, step {dies}, torn {torn}");
                },
            );
        }
        marks.append(&mut flash, value).expect("stored");
        assert_eq!(open_marks(&mut flash).1, Newest::Value(value));
    }
    // Tidied in time, no mark ever waits for an erasing.
    for value in 0..1_000 {
        if marks.wants_tidying() {
            marks.tidy(&mut flash).expect("erased");
        }
        assert!(marks.left() > 0);
        marks.append(&mut flash, value).expect("stored");
    }
}

/// Pages of the ring of days in these tests, and where they lie.
const DAYS: (u32, usize, u32) = (13 * 1024, 4, 1024);

fn open_days(flash: &mut Chip) -> Result<(Days, Vec<u16>), StoreError> {
    let (start, count, length) = DAYS;
    let mut seen = Vec::new();
    Days::open(start, count, length, flash, &mut |day| seen.push(day.day)).map(|days| (days, seen))
}

/// The numbers of the days that the window shows.
fn shown(flash: &mut Chip, days: &Days) -> Vec<u16> {
    let (mut window, mut part) = (Vec::new(), [0; 50]);
    loop {
        let count = days.read(flash, window.len() as u32, &mut part).expect("power");
        if count == 0 {
            break;
        }
        window.extend_from_slice(&part[..count]);
    }
    let (places, rest) = window.as_chunks::<24>();
    assert!(rest.is_empty());
    let mut shown: Vec<u16> = places.iter().filter_map(Summary::of_bytes).map(|day| day.day).collect();
    shown.sort_unstable();
    shown
}

fn day(number: u16) -> [u8; 24] {
    Summary { running: number.wrapping_mul(7), ..Summary::empty(number, Kind::Day) }.to_bytes()
}

#[test]
fn days_stay_wherever_power_goes_and_only_that_being_written_may_miss() {
    let mut flash = chip();
    let (mut days, seen) = open_days(&mut flash).expect("power");
    assert!(seen.is_empty());
    let mut deaths = 0;
    // At the ends of all pages, twice round, and in between.
    for number in 1..=8 * 42_u16 {
        let before = flash.clone();
        if matches!(number % 42, 0 | 1 | 2 | 20 | 21 | 22) {
            let (_, old) = open_days(&mut flash.clone()).expect("power");
            deaths += die_everywhere(
                &before,
                |flash| {
                    let Ok((mut days, _)) = open_days(flash) else { return false };
                    (!days.wants_tidying() || days.tidy(flash).is_ok()) && days.append(flash, &day(number)).is_ok()
                },
                |flash, dies, torn| {
                    let (mut days, found) = open_days(flash).expect("power");
                    let missed: Vec<u16> = old.iter().copied().filter(|day| !found.contains(day)).collect();
                    // The page that is erased ahead is the oldest, and nothing else.
                    assert!(
                        missed.len() <= 42 && old.starts_with(&missed),
                        "{number}, step {dies}, torn {torn}: {missed:?}"
                    );
                    let new: Vec<u16> = found.iter().copied().filter(|day| !old.contains(day)).collect();
                    assert!(new.is_empty() || new == [number], "{number}, step {dies}, torn {torn}: {new:?}");
                    // And it goes on from here.
                    for _ in 0..2 {
                        if days.left() == 0 || days.wants_tidying() {
                            days.tidy(flash).expect("erased");
                        }
                        days.append(flash, &day(number)).expect("stored");
                    }
                    assert!(open_days(flash).expect("power").1.ends_with(&[number, number]));
                },
            );
        }
        if days.wants_tidying() {
            days.tidy(&mut flash).expect("erased");
        }
        days.append(&mut flash, &day(number)).expect("stored");
        let (_, found) = open_days(&mut flash).expect("power");
        let first = found[0];
        assert!(found.iter().copied().eq(first..=number), "in order, without a gap: {found:?}");
        assert!(number < 4 * 42 || found.len() >= 2 * 42 + 21, "{} days kept", found.len());
        assert_eq!(shown(&mut flash, &days), found);
    }
    assert!(deaths > 5 * 1_024, "{deaths} steps: records, and the erasing of five pages");
}

#[test]
fn a_ring_of_days_without_an_erased_page_takes_none() {
    let mut flash = chip();
    let (mut days, _) = open_days(&mut flash).expect("power");
    // Nothing is tidied: a whole round, and no more.
    for number in 1..=4 * 42 {
        if days.left() == 0 {
            days.tidy(&mut flash).expect("erased");
        }
        days.append(&mut flash, &day(number)).expect("stored");
    }
    let before = flash.clone();
    assert_eq!((days.left(), days.append(&mut flash, &day(200))), (0, Err(StoreError::NotThere)));
    assert!(before == flash, "nothing was written");
}

/// What lay there before the ring did, in a box flashed with other firmware, is no day; it is erased before it is used.
#[test]
fn what_lay_there_before_is_no_day() {
    let mut flash = chip();
    let (start, count, length) = DAYS;
    for at in (start..start + count as u32 * length).step_by(24).filter(|at| at + 24 <= start + count as u32 * length) {
        // Even where it reads as one.
        flash.write(at, &day(7)).expect("erased");
    }
    let (mut days, seen) = open_days(&mut flash).expect("power");
    assert!(seen.is_empty() && shown(&mut flash, &days).is_empty());
    assert_eq!((days.left(), days.wants_tidying()), (0, true));
    days.tidy(&mut flash).expect("erased");
    days.append(&mut flash, &day(1)).expect("stored");
    let (days, seen) = open_days(&mut flash).expect("power");
    assert_eq!((seen, shown(&mut flash, &days)), (vec![1], vec![1]));
}

#[test]
fn no_flipped_bit_of_a_mark_is_taken_for_a_value() {
    let mut flash = chip();
    let (mut marks, _) = open_marks(&mut flash);
    marks.append(&mut flash, 40).expect("stored");
    marks.append(&mut flash, 50).expect("stored");
    let begins = layout().heat[0] as usize + 16;
    for at in begins..begins + 8 {
        for bit in 0..8 {
            let mut aged = flash.clone();
            aged.flip(at, bit);
            assert_eq!(open_marks(&mut aged).1, Newest::Unknown(Some(40)), "byte {at} bit {bit}");
        }
    }
}

fn record(flash: &mut Chip, album: &mut Album, bytes: &[u8]) -> Result<u32, StoreError> {
    album.begin(About { settings: 0xABCD, session: 3, ..About::default() });
    while !album.erase_on(flash)? {}
    for part in bytes.chunks(37) {
        album.add(flash, part)?;
    }
    while !album.check_on(flash)? {}
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
fn a_recording_is_whole_or_its_beginning_and_the_others_stay() {
    let mut flash = chip();
    let mut album = Album::open(&layout(), &mut flash).expect("power");
    let places = album.places();
    for number in 0..places {
        record(&mut flash, &mut album, &recording(number as u8)).expect("stored");
    }
    // The longest that was cut off and found again.
    let longest = std::cell::Cell::new(0);
    die_everywhere(
        &flash,
        |flash| {
            let Ok(mut album) = Album::open(&layout(), flash) else { return false };
            record(flash, &mut album, &recording(99)).is_ok()
        },
        |flash, dies, torn| {
            let album = Album::open(&layout(), flash).expect("power");
            if let Some(new) = read_back(flash, &album, places) {
                // The byte under way may be torn, which the segments' own sums tell.
                let sound = &new[..new.len() - usize::from(torn && album.salvaged().is_some())];
                assert!(recording(99).starts_with(sound), "step {dies}, torn {torn}");
                longest.set(longest.get().max(if album.salvaged().is_some() { new.len() } else { 0 }));
            }
            for number in 1..places {
                assert_eq!(read_back(flash, &album, number), Some(recording(number as u8)), "step {dies}, torn {torn}");
            }
        },
    );
    assert!(longest.get() > 1_400, "{} bytes of 1,500 at the most", longest.get());
}

#[test]
fn too_little_flash_is_refused_with_what_would_do() {
    let needed = Layout::fit::<Chip>(0, 4 * 1024, 2_000).expect_err("too small").needed;
    assert!(Layout::fit::<Chip>(0, needed, 2_000).is_ok());
    assert!(Layout::fit::<Chip>(0, needed - 1, 2_000).is_err());
    assert!(Layout::fit::<Chip>(512, 20 * 1024, 2_000).is_err(), "not on an erase block");
}
