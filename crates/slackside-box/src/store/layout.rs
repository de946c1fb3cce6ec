//! Where in flash what lies.

use embedded_storage::nor_flash::NorFlash;
use slackside::settings::plan::Plan;

use super::round_up;

/// The parts of the flash, each beginning and ending on an erase block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Layout {
    /// Where the two settings slots begin.
    pub slots: [u32; 2],
    /// How long a settings slot is.
    pub slot_length: u32,
    /// Where the two pages of the journal begin.
    pub pages: [u32; 2],
    /// How long a page is.
    pub page_length: u32,
    /// Where the two pages of slip heat begin; each is as long as a page of the journal.
    pub heat: [u32; 2],
    /// Where the two pages of power-ups begin, as long as those.
    pub power_ups: [u32; 2],
    /// Where the two pages of proof tests begin, as long as those.
    pub proof_tests: [u32; 2],
    /// Where the block of the box's key begins.
    pub key: u32,
    /// Where the recordings begin.
    pub album: u32,
    /// How long a place for one recording is.
    pub place_length: u32,
    /// How many recordings have a place.
    pub places: u32,
    /// Whether the days have room behind them: a ring of pages, each as long as a page of the journal, and two more for the day under way.
    pub keeps_days: bool,
}

/// The flash given is too small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooSmall {
    /// The bytes that would be enough for settings, journal, slip heat and one recording.
    pub needed: u32,
}

impl Layout {
    /// The shortest page of the journal, and of slip heat.
    const SHORTEST_PAGE: u32 = 1_024;
    /// What the ring of days takes, unless two pages are more.
    const DAYS: u32 = 12 * 1_024;

    /// Lay out `length` bytes of flash from `start`, with room for recordings of `recording` bytes. Days are kept where there is room for
    /// them beside one recording. They lie behind the recordings, so that all else lies where it did before there were any.
    ///
    /// # Errors
    /// [`TooSmall`] if not even one recording fits, or `start` is not on an erase block.
    pub fn fit<F: NorFlash>(start: u32, length: u32, recording: u32) -> Result<Self, TooSmall> {
        let erase = u32::try_from(F::ERASE_SIZE).unwrap_or(u32::MAX);
        let write = u32::try_from(F::WRITE_SIZE).unwrap_or(u32::MAX);
        let image = u32::try_from(Plan::LENGTH).unwrap_or(u32::MAX);
        let header = round_up(super::slots::HEADER, write);
        // Four words at the end, each in write units of its own.
        let around = header.saturating_add(round_up(4, write).saturating_mul(4));
        let slot_length = round_up(image.saturating_add(around), erase);
        let page_length = round_up(Self::SHORTEST_PAGE, erase);
        let padded = round_up(recording, write);
        let place_length = round_up(padded.saturating_add(super::album::around::<F>()), erase);
        let fixed = slot_length.saturating_add(page_length.saturating_mul(4)).saturating_mul(2).saturating_add(erase);
        let needed = fixed.saturating_add(place_length);
        let places = |but: u32| {
            let room = length.saturating_sub(fixed).saturating_sub(but);
            room.checked_div(place_length).unwrap_or(0).min(super::album::MOST_PLACES)
        };
        let for_days = day_pages(page_length).saturating_add(2).saturating_mul(page_length);
        let keeps_days = places(for_days) > 0;
        let places = places(if keeps_days { for_days } else { 0 });
        let end = start.checked_add(length);
        if places == 0 || start.checked_rem(erase) != Some(0) || end.is_none() {
            return Err(TooSmall { needed });
        }
        let second_slot = start.saturating_add(slot_length);
        let first_page = second_slot.saturating_add(slot_length);
        let second_page = first_page.saturating_add(page_length);
        let first_heat = second_page.saturating_add(page_length);
        let second_heat = first_heat.saturating_add(page_length);
        let first_power_ups = second_heat.saturating_add(page_length);
        let second_power_ups = first_power_ups.saturating_add(page_length);
        let first_proof_tests = second_power_ups.saturating_add(page_length);
        let second_proof_tests = first_proof_tests.saturating_add(page_length);
        let key = second_proof_tests.saturating_add(page_length);
        Ok(Self {
            slots: [start, second_slot],
            slot_length,
            pages: [first_page, second_page],
            page_length,
            heat: [first_heat, second_heat],
            power_ups: [first_power_ups, second_power_ups],
            proof_tests: [first_proof_tests, second_proof_tests],
            key,
            album: key.saturating_add(erase),
            place_length,
            places,
            keeps_days,
        })
    }

    /// Where the ring of days begins, and of how many pages it is.
    pub(crate) const fn days(&self) -> Option<(u32, usize)> {
        let start = self.album.saturating_add(self.places.saturating_mul(self.place_length));
        if self.keeps_days { Some((start, day_pages(self.page_length) as usize)) } else { None }
    }

    /// Where the two pages of the day under way begin: behind the ring of days.
    pub(crate) fn day_under_way(&self) -> u32 {
        let (start, count) = self.days().unwrap_or_default();
        start.saturating_add(self.page_length.saturating_mul(count as u32))
    }
}

/// Pages of the ring of days.
const fn day_pages(page_length: u32) -> u32 {
    match Layout::DAYS.checked_div(page_length) {
        Some(pages) if pages > 2 => pages,
        _ => 2,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Flash;

    /// As the integrator's page says.
    #[test]
    fn all_of_it_and_one_recording_take_46_to_80_kib() {
        let needed = |fit: Result<Layout, TooSmall>| fit.expect_err("no flash at all is too small").needed;
        assert_eq!(needed(Layout::fit::<Flash<4, 1_024>>(0, 0, 32 * 1_024)), 46 * 1_024);
        assert_eq!(needed(Layout::fit::<Flash<4, 4_096>>(0, 0, 32 * 1_024)), 80 * 1_024);
    }

    /// Likewise.
    #[test]
    fn days_take_14_to_20_kib_where_one_recording_leaves_them() {
        fn fit<const ERASE: usize>(kib: u32) -> Layout {
            Layout::fit::<Flash<4, ERASE>>(0, kib * 1_024, 32 * 1_024).expect("room for a recording")
        }
        assert_eq!([fit::<1_024>(59), fit::<1_024>(60)].map(|it| (it.places, it.keeps_days)), [(1, false), (1, true)]);
        assert_eq!([fit::<4_096>(96), fit::<4_096>(100)].map(|it| (it.places, it.keeps_days)), [(1, false), (1, true)]);
        for (it, ends) in [(fit::<1_024>(256), 13 + 6 * 33 + 14), (fit::<4_096>(256), 44 + 5 * 36 + 20)] {
            assert_eq!(it.day_under_way() + 2 * it.page_length, ends * 1_024);
            let (start, count) = it.days().expect("room");
            assert_eq!((it.day_under_way() - start, count as u32 * it.page_length), (12 * 1_024, 12 * 1_024));
        }
    }
}
