//! The box's running time on the desk's clock, and how sure that is.

use std::time::{SystemTime, UNIX_EPOCH};

use slackside::record::Anchor;
use slackside::units::Micros;
use slackside::wire::{Reply, Request};
use slackside_desk::report::{Clock, date_and_time};

use super::client::{Client, LinkError};

pub use slackside_desk::report::DRIFT_PPM;

/// Questions asked to find a short round trip.
const QUESTIONS: usize = 5;

fn desk_us() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_micros());
    i64::try_from(since).unwrap_or(i64::MAX)
}

/// Ask the box for its time until the answer is as sure as it gets, and tell the box, unless it knows better.
///
/// # Errors
/// [`LinkError`].
pub fn anchor(client: &mut Client) -> Result<Option<Anchor>, LinkError> {
    let mut best: Option<Anchor> = None;
    let mut known = None;
    for _ in 0..QUESTIONS {
        let asked = desk_us();
        let (now, told) = client.ask(&Request::Hello, |reply| match reply {
            Reply::Hello(hello) => Some((hello.now, hello.anchor)),
            _ => None,
        })?;
        known = told;
        if let Some(new) = Anchor::from_exchange(asked, desk_us(), now) {
            best = Some(best.map_or(new, |best| best.surer(new, now, DRIFT_PPM)));
        }
    }
    if let Some(best) = best
        && known.is_none_or(|known| known.surer(best, best.at, DRIFT_PPM) == best)
    {
        client.demand(&Request::Anchor(best))?;
    }
    Ok(best)
}

/// A moment of the box's running time, as people read it.
pub struct Time {
    /// The moment.
    pub at: Micros,
    /// The anchor, if there is one.
    pub anchor: Option<Anchor>,
}

impl Time {
    /// The time of day in UTC for programs, if an anchor tells it.
    #[must_use]
    pub fn of_day(&self) -> Option<String> {
        Clock::new(self.at, self.at, Some(self.anchor?)).time_of_day(self.at)
    }
}

impl std::fmt::Display for Time {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (seconds, micros) = (self.at.get() / 1_000_000, self.at.get() % 1_000_000);
        match self.anchor.and_then(|anchor| anchor.desk_time(self.at, DRIFT_PPM)) {
            Some((us, doubt)) => {
                let (day, millis) = (date_and_time(us), doubt.div_ceil(1_000));
                write!(out, "{day} ± {}.{:03} s (box {seconds}.{micros:06} s)", millis / 1_000, millis % 1_000)
            }
            None => write!(out, "box {seconds}.{micros:06} s"),
        }
    }
}

#[cfg(test)]
mod tests {
    use slackside::units::Span;

    use super::*;

    #[test]
    fn a_time_says_how_sure_it_is() {
        let anchor =
            Anchor { at: Micros::new(1_000_000), desk_us: 1_700_000_000_000_000, uncertainty: Span::new(1_500) };
        let time = Time { at: Micros::new(11_000_000), anchor: Some(anchor) };
        // Ten seconds at 100 ppm are one millisecond more, and the sum is rounded up.
        assert_eq!(time.to_string(), "2023-11-14 22:13:30.000 UTC ± 0.003 s (box 11.000000 s)");
        assert_eq!(Time { at: Micros::new(5), anchor: None }.to_string(), "box 0.000005 s");
    }
}
