//! One shaft by its parts: what is lost, missed, rejected, and told of its line.

use super::*;

const PLAN: ShaftPlan = ShaftPlan {
    marks: 4,
    edges: 0,
    uneven: 0,
    rejects_a_turn: 3,
    even: 0x3FFF_FFFF,
    least: 0x3EB8_51EB,
    largest: 0x4147_AE13,
    allowed_least: 0,
    allowed_most: u32::MAX,
    minimum_gap: 20_000,
    rest: 2_000_000,
    reject_window: 4_000_000,
    normal_turn: 800_000,
    top_turn: 500_000,
    normal: 1_250_000,
    brisk: 1_000_000,
    sudden: 1_280_000,
    standing: 8_000_000,
};

struct Shaft {
    state: ShaftState,
    marks: [Mark; 4],
    signals: ShaftSignals,
}

impl Shaft {
    fn new() -> Self {
        let mut it =
            Self { state: ShaftState::default(), marks: [Mark::default(); 4], signals: ShaftSignals::default() };
        it.view().begin(0);
        it
    }

    fn view(&mut self) -> ShaftView<'_> {
        ShaftView { state: &mut self.state, marks: &mut self.marks, plan: &PLAN, signals: &mut self.signals }
    }
}

/// Seven edges lost at once are a pattern, and 300 edges for each of them end it; of edges lost together four count.
#[test]
fn each_lost_edge_is_borne_for_three_hundred() {
    for losses in [&[1, 1, 1, 1, 1, 1, 1][..], &[4, 3], &[9, 2, 1]] {
        let mut shaft = Shaft::new();
        for (count, edges) in losses.iter().enumerate() {
            assert_eq!(shaft.signals.pattern, pattern::WHOLE, "{losses:?}, {count}");
            shaft.view().lose(*edges, pattern::MISSING);
        }
        for edge in 0..7 * 300 {
            assert_eq!(shaft.signals.pattern, pattern::MISSING, "{losses:?}, edge {edge}");
            shaft.view().leak();
        }
        assert_eq!(shaft.signals.pattern, pattern::WHOLE, "{losses:?}");
    }
    // One short of seven is none; and however many are lost, eight times three hundred is the most that is borne.
    let mut shaft = Shaft::new();
    (0..7).for_each(|_| {
        shaft.view().lose(1, pattern::EXTRA);
        shaft.view().leak();
    });
    assert_eq!(shaft.signals.pattern, pattern::WHOLE);
    (0..30).for_each(|_| shaft.view().lose(4, pattern::EXTRA));
    (1..8 * 300).for_each(|_| shaft.view().leak());
    assert_eq!(shaft.signals.pattern, pattern::EXTRA);
    shaft.view().leak();
    assert_eq!(shaft.signals.pattern, pattern::WHOLE);
}

/// A mark is gone once it was missed twice; of three that are missed the two missed most are remembered.
#[test]
fn a_mark_missed_twice_is_gone_until_it_is_seen() {
    const NONE: u8 = u8::MAX;
    let mut shaft = Shaft::new();
    shaft.view().miss(2);
    assert_eq!(shaft.state.gone(), [NONE, NONE]);
    shaft.view().miss(2);
    shaft.view().miss(2);
    assert_eq!(shaft.state.gone(), [2, NONE]);
    shaft.view().miss(0);
    assert_eq!(shaft.state.gone(), [2, NONE]);
    shaft.view().miss(0);
    assert_eq!(shaft.state.gone(), [2, 0]);
    assert!(shaft.view().is_gone(0) && shaft.view().is_gone(2) && !shaft.view().is_gone(1));
    shaft.view().see(2);
    assert_eq!(shaft.state.gone(), [NONE, 0]);
    // The one missed once gives way to another.
    shaft.view().miss(1);
    shaft.view().miss(3);
    shaft.view().miss(3);
    assert!(shaft.state.gone().contains(&3), "{:?}", shaft.state.gone());
}

/// Pulses are noise: more than allowed within a turn are distrust, those of one burst are one, and a turn without ends it.
#[test]
fn more_rejects_than_allowed_within_a_turn_are_distrust() {
    let mut shaft = Shaft::new();
    for pulse in 1..=3 {
        assert!(!shaft.view().reject(10_000 * pulse));
    }
    assert!(!shaft.view().reject(34_999), "of the same burst");
    assert_eq!(shaft.signals.distrust, 0);
    assert!(shaft.view().reject(35_000));
    assert_eq!((shaft.signals.distrust, shaft.signals.rejected), (distrust::REJECTS, 5));
    // The window is over only after the time for it, and a clean one clears.
    assert!(!shaft.view().reject(4_000_000));
    assert_eq!(shaft.signals.distrust, distrust::REJECTS);
    assert!(!shaft.view().reject(4_010_000), "what ends is a window with too many");
    assert!(shaft.view().reject(8_020_000));
    assert_eq!(shaft.signals.distrust, 0);
}

#[test]
fn a_line_tells_its_fault_and_takes_only_its_own_back() {
    let mut shaft = Shaft::new();
    shaft.signals.distrust = distrust::HUM;
    shaft.state.plain = 1;
    for (line, told) in
        [(LineState::Open, distrust::LINE_OPEN), (LineState::Shorted, distrust::LINE_SHORTED), (LineState::Sound, 0)]
    {
        shaft.view().line(line);
        assert_eq!((shaft.signals.line, shaft.signals.distrust), (line as u8, told | distrust::HUM));
    }
    assert_eq!(shaft.state.plain, 0);
}

/// What was lost on the way leaves nothing in doubt, and is told until a whole turn has passed.
#[test]
fn edges_that_never_came_here_end_every_doubt() {
    let mut shaft = Shaft::new();
    (shaft.state.suspect, shaft.state.plain, shaft.state.missed) = (pattern::MISSING, 1, [130, 65]);
    shaft.signals.seen = seen::SEEN | seen::IN_DOUBT | seen::MAY_GO_ON;
    (shaft.state.rejects, shaft.state.marks_in_window) = (2, 3);
    shaft.view().lost(5_000);
    let state = &shaft.state;
    assert_eq!((state.suspect, state.plain, state.missed, state.rejects), (0, 0, [0, 0], 0));
    assert_eq!((shaft.signals.seen, shaft.signals.distrust), (seen::SEEN, distrust::EDGES_LOST));
    shaft.view().end_window(900_000);
    assert_eq!(shaft.signals.distrust, 0);
}
