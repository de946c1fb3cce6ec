//! What a box tells in its log: by `defmt`, by `log`, or by both. The log is for whoever builds the box; the desk asks by the link.

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_storage::nor_flash::NorFlash;

use crate::line::Analogue;
use crate::{Happened, SensorBox};

/// A line, by whichever there is. Numbers are `{}`, all else `{:?}`: both understand that.
macro_rules! line {
    ($level:ident, $($what:tt)*) => {
        #[cfg(feature = "defmt")]
        defmt::$level!($($what)*);
        #[cfg(feature = "log")]
        log::$level!($($what)*);
    };
}

/// What was told so far. Keep one beside the box, for as long as it runs.
#[derive(Clone, Copy, Debug, Default)]
pub struct Told {
    run: bool,
    feed: bool,
    events: u32,
}

impl Told {
    /// Nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { run: false, feed: false, events: 0 }
    }

    /// Tell what is new: faults as warnings, other events, permits with the first-out. Call it after
    /// [`poll`](SensorBox::poll), from the main loop alone. Whether there was anything to tell.
    pub fn tell<I, O, A, F, const MARKS: usize>(&mut self, sensor_box: &SensorBox<'_, I, O, A, F, MARKS>) -> bool
    where
        I: InputPin,
        O: OutputPin,
        A: Analogue,
        F: NorFlash,
    {
        let before = *self;
        for event in sensor_box.events().from(self.events) {
            if let Happened::FaultCame(_) = event.happened {
                line!(warn, "{} us: {:?}", event.at.get(), event.happened);
            } else {
                line!(info, "{} us: {:?}", event.at.get(), event.happened);
            }
        }
        self.events = sensor_box.events().next_number();
        (self.run, self.feed) = (sensor_box.run_given(), sensor_box.feed_given());
        if self.run != before.run {
            let first_out = sensor_box.monitor().status().first_out;
            line!(info, "run permit {}, first out {:?}", word(self.run), first_out);
        }
        if self.feed != before.feed {
            line!(info, "feed permit {}", word(self.feed));
        }
        (self.run, self.feed, self.events) != (before.run, before.feed, before.events)
    }
}

const fn word(given: bool) -> &'static str {
    if given { "given" } else { "dropped" }
}
