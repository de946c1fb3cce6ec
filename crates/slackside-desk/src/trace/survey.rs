//! What a trace contains, counted while it is read, and what of that is odd.

use std::fmt;

use slackside::input::{Input, Shaft, Signal};
use slackside::record::Anchor;
use slackside::settings::Machine;
use slackside::units::{Micros, Span};

use super::channel::Channel;

const A_DAY_US: u64 = 86_400_000_000;
/// Longer than a leg stands between two rows of one trace: between two harvests it stands for less (common practice, no source).
const MOST_REST_US: u64 = 300 * A_DAY_US;

/// What a trace contains.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Survey {
    /// Rows read.
    pub rows: u64,
    /// The time of the first row.
    pub first: Option<Micros>,
    /// The newest time of any row.
    pub last: Option<Micros>,
    /// Rows whose time is earlier than that of a row before them.
    pub out_of_order: u64,
    /// The line of the first of them; 0 if there is none.
    pub out_of_order_line: u64,
    /// Where its time lies in the day, if a comment says so.
    pub anchor: Option<Anchor>,
    /// The line that comes latest after the one before it, and by how many microseconds.
    longest: Option<(u64, u64)>,
    counts: [u64; Channel::COUNT],
    first_lines: [u64; Channel::COUNT],
    rises: [u64; 2],
    last_rise: [Option<Micros>; 2],
    pitches: [Lengths; 2],
}

/// Lengths of time, counted by their power of two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Lengths([u32; 65]);

impl Default for Lengths {
    fn default() -> Self {
        Self([0; 65])
    }
}

/// How the rises of one shaft follow each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pitches {
    /// How many pitches there are.
    pub count: u64,
    /// The length of the middle one in microseconds, to a factor of two.
    pub median_us: f64,
}

impl Survey {
    pub(super) fn take(&mut self, input: &Input, line: u64) {
        let at = input.at;
        self.rows += 1;
        match self.last {
            Some(last) if at < last => {
                self.out_of_order += 1;
                if self.out_of_order_line == 0 {
                    self.out_of_order_line = line;
                }
            }
            Some(last) => {
                let gap = at.get() - last.get();
                if self.longest.is_none_or(|(_, longest)| gap > longest) {
                    self.longest = Some((line, gap));
                }
                self.last = Some(at);
            }
            None => {
                self.first = Some(at);
                self.last = Some(at);
            }
        }
        let channel = Channel::of(&input.signal).index();
        if self.counts[channel] == 0 {
            self.first_lines[channel] = line;
        }
        self.counts[channel] += 1;
        if let Signal::Edge(shaft, true) = input.signal {
            let shaft = shaft as usize;
            self.rises[shaft] += 1;
            if let Some(before) = self.last_rise[shaft].replace(at) {
                let length = at.get().saturating_sub(before.get());
                let class = 64 - length.leading_zeros() as usize;
                let count = &mut self.pitches[shaft].0[class];
                *count = count.saturating_add(1);
            }
        }
    }

    /// Take a comment: `#anchor TIME_US UNIX_US UNCERTAINTY_US` says where the trace's time lies in the day. The newest counts.
    pub(super) fn comment(&mut self, text: &[u8]) {
        let Some(rest) = str::from_utf8(text).ok().and_then(|text| text.trim_end().strip_prefix("#anchor ")) else {
            return;
        };
        let mut words = rest.split_whitespace();
        let at = words.next().and_then(|word| word.parse().ok()).map(Micros::new);
        let desk_us = words.next().and_then(|word| word.parse().ok());
        let uncertainty = words.next().map_or(Some(0), |word| word.parse().ok()).map(Span::new);
        if let (Some(at), Some(desk_us), Some(uncertainty), None) = (at, desk_us, uncertainty, words.next()) {
            self.anchor = Some(Anchor { at, desk_us, uncertainty });
        }
    }

    /// How many rows are on `channel`.
    #[must_use]
    pub const fn count(&self, channel: Channel) -> u64 {
        self.counts[channel.index()]
    }

    /// The line of the first row on `channel`; 0 if there is none.
    #[must_use]
    pub const fn first_line(&self, channel: Channel) -> u64 {
        self.first_lines[channel.index()]
    }

    /// How many rises and how many falls `shaft` has.
    #[must_use]
    pub const fn rises_and_falls(&self, shaft: Shaft) -> (u64, u64) {
        let rises = self.rises[shaft as usize];
        (rises, self.count(Channel::Edge(shaft)) - rises)
    }

    /// The pitches of a shaft, from rise to rise; `None` if there are none.
    #[must_use]
    pub fn pitches(&self, shaft: Shaft) -> Option<Pitches> {
        let lengths = &self.pitches[shaft as usize].0;
        let count: u64 = lengths.iter().map(|count| u64::from(*count)).sum();
        let mut past = 0;
        let class = lengths.iter().position(|found| {
            past += u64::from(*found);
            2 * past > count
        })?;
        // The middle of its power of two, as a ratio; what has no length at all is taken as half a microsecond.
        let median_us = if class == 0 { 0.5 } else { libm::exp2(class as f64 - 0.5) };
        (count > 0).then_some(Pitches { count, median_us })
    }

    /// A shaft with at least `enough` edges that all go the same way, and whether they rise.
    pub(super) fn one_way(&self, enough: u64) -> Option<(Shaft, bool)> {
        [Shaft::Head, Shaft::Boot].into_iter().find_map(|shaft| match self.rises_and_falls(shaft) {
            (rises, 0) if rises >= enough => Some((shaft, true)),
            (0, falls) if falls >= enough => Some((shaft, false)),
            _ => None,
        })
    }

    /// That its time leaps further than any recording rests, so that a clock was set in the middle of it, if so.
    #[must_use]
    pub fn leap(&self) -> Option<String> {
        let (line, gap) = self.longest.filter(|(_, gap)| *gap > MOST_REST_US)?;
        Some(format!(
            "Line {line} comes {} days after the row before it: was the logger's clock set in between? What is told of that time, and of \
             what came of it, never was. Replay the rows before that line and those from it on as two traces.",
            gap / A_DAY_US
        ))
    }

    /// What is odd about the trace, for a leg with that machine.
    #[must_use]
    pub fn warnings(&self, machine: &Machine) -> Vec<Warning> {
        let mut warnings = Vec::new();
        if self.out_of_order > 0 {
            warnings.push(Warning::OutOfOrder { rows: self.out_of_order, line: self.out_of_order_line });
        }
        for channel in Channel::ALL {
            let rows = self.count(channel);
            let fitted = fitted(channel, machine);
            if rows > 0 && !fitted {
                warnings.push(Warning::NotFitted { channel, rows, line: self.first_line(channel) });
            }
            if rows == 0 && fitted && matches!(channel, Channel::Edge(_)) {
                warnings.push(Warning::Silent { channel });
            }
            if rows == 0 && fitted && matches!(channel, Channel::Drive) {
                warnings.push(Warning::Silent { channel });
            }
        }
        warnings
    }
}

const fn fitted(channel: Channel, machine: &Machine) -> bool {
    match channel {
        Channel::Edge(Shaft::Head) | Channel::Line(Shaft::Head) => machine.head_targets.is_some(),
        Channel::Edge(Shaft::Boot) | Channel::Line(Shaft::Boot) => machine.boot_targets.is_some(),
        Channel::Rub(place) => machine.contacts[place.index()].is_some(),
        Channel::Temperature(place) => machine.temperatures[place.index()],
        Channel::Drive => machine.drive_contact,
        Channel::Power => machine.power_meter,
        Channel::SpeedReference => machine.speed_reference.is_some(),
        Channel::OutletPlugged => machine.outlet_switch,
        Channel::Command | Channel::EdgesLost | Channel::Tick => true,
    }
}

/// Something odd about a trace that can be replayed all the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Warning {
    /// Rows go back in time.
    OutOfOrder {
        /// How many.
        rows: u64,
        /// The line of the first.
        line: u64,
    },
    /// The settings fit nothing to that channel.
    NotFitted {
        /// Which.
        channel: Channel,
        /// How many rows.
        rows: u64,
        /// The line of the first.
        line: u64,
    },
    /// The settings fit something to that channel, but no row is on it.
    Silent {
        /// Which.
        channel: Channel,
    },
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfOrder { rows, line } => write!(
                f,
                "{rows} {} earlier than a row before (first at line {line}); each is taken at the newest time. \
                 Sort the rows by time_us if the logger mixed them.",
                if *rows == 1 { "row is" } else { "rows are" }
            ),
            Self::NotFitted { channel, rows, line } => write!(
                f,
                "{rows} {} on `{}` (first at line {line}), which the settings do not fit: not used. \
                 Fit it in the settings, or use the settings of this leg.",
                if *rows == 1 { "row" } else { "rows" },
                channel.name()
            ),
            Self::Silent { channel } => write!(
                f,
                "no row on `{}`, which the settings fit: it never changed, its wire is cut, or it was not recorded. \
                 Silence is judged as silence.",
                channel.name()
            ),
        }
    }
}
