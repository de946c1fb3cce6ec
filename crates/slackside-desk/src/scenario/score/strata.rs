//! What healthy shifts are about: weather, loads, mains, sensors and carelessness that a sound leg bears; and, apart from them, what a
//! leg is not built for.

use super::super::fault::{End, Fault, Kind, full_pull};
use super::super::timeline::{Act, Button, Routine};
use crate::plant::chance::Chance;
use crate::plant::leg::Leg;
use crate::plant::ripple::{At, Beat, Ripple};
use crate::plant::slug::LARGEST;
use crate::plant::starter::Starter;

/// Length of a healthy shift in s: the monitor starts afresh each time.
pub const SHIFT_S: f64 = 3_600.0;

/// What a healthy shift is mostly about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs, reason = "each is described by `words`")]
pub enum Stratum {
    Ordinary,
    Wet,
    Cold,
    Rippling,
    Slugs,
    LoadedStops,
    Rocking,
    Sags,
    VariableSpeed,
    Geometry,
    FewDropouts,
    SomeDropouts,
    LightTakeup,
    HeavySlugs,
}

impl Stratum {
    /// All that a sound leg bears.
    pub const ALL: [Self; 12] = [
        Self::Ordinary,
        Self::Wet,
        Self::Cold,
        Self::Rippling,
        Self::Slugs,
        Self::LoadedStops,
        Self::Rocking,
        Self::Sags,
        Self::VariableSpeed,
        Self::Geometry,
        Self::FewDropouts,
        Self::SomeDropouts,
    ];

    /// What a leg is not built for: with nothing broken on it, it cannot lift what comes.
    pub const STRAINED: [Self; 2] = [Self::LightTakeup, Self::HeavySlugs];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ordinary => "ordinary running: starts, stops, loads that change",
            Self::Wet => "wet grain all day",
            Self::Cold => "a frosty day: thick oil, stiff belt, hard lagging",
            Self::Rippling => "ripple of a screw feeder, buckets and V-belts",
            Self::Slugs => "slugs of feed, up to 180 % for 5 s",
            Self::LoadedStops => "stopped full and started full",
            Self::Rocking => "the standing belt rocks in the wind",
            Self::Sags => "the mains sag, and once let the contactor go",
            Self::VariableSpeed => "variable speed, up and down",
            Self::Geometry => "commissioned carelessly: diameters, speeds and ratio off",
            Self::FewDropouts => "up to 0.1 % of targets not seen",
            Self::SomeDropouts => "0.1 to 1 % of targets not seen: an alarm that names the sensor is right",
            Self::LightTakeup => "a take-up too light for its slugs: 55 to 70 % of what the largest takes",
            Self::HeavySlugs => "slugs beyond what the leg lifts, up to 250 % for 10 s: a choke that begins",
        }
    }
}

/// A healthy shift: a leg, and what people and weather do with it.
pub struct Shift {
    /// The leg as it is.
    pub leg: Leg,
    /// Ordinary running, unless the timeline starts and stops it.
    pub routine: Option<Routine>,
    /// What people do beside that.
    pub timeline: Vec<Act>,
    /// What a sound leg bears.
    pub faults: Vec<Fault>,
}

impl Shift {
    /// An ordinary shift. `run_s`: from start to rest, on the mean.
    pub fn draw(leg: Leg, run_s: f64, chance: &mut Chance) -> Self {
        let routine = Routine {
            run_s: run_s * chance.between(0.7, 1.3),
            rest_s: chance.between(60.0, 300.0),
            feed_change_s: chance.between(40.0, 200.0),
            feed_min_pct: chance.between(0.0, 40.0),
            feed_max_pct: chance.between(70.0, 105.0),
            wet_share: 0.15,
            wet_friction: 0.85,
        };
        Self { leg, routine: Some(routine), timeline: Vec::new(), faults: Vec::new() }
    }

    /// Make it a shift of that stratum.
    pub fn befall(&mut self, stratum: Stratum, chance: &mut Chance) {
        match stratum {
            // A careless commissioning is in what the monitor is told.
            Stratum::Ordinary | Stratum::Geometry => {}
            Stratum::Wet => self.wet(),
            Stratum::Cold => {
                self.leg.heat.ambient_c = chance.between(-30.0, -5.0);
                self.faults.push(Fault::plain(Kind::Cold, 0.0, chance.between(0.1, 0.5)));
            }
            Stratum::Rippling => self.ripple(chance),
            Stratum::Slugs => self.slugs([1.2, LARGEST.flow], [2.0, LARGEST.seconds], chance),
            Stratum::LightTakeup => {
                self.leg.takeup.tension_n = LARGEST.tension_n(&self.leg) * chance.between(0.55, 0.7);
                self.slugs([1.2, LARGEST.flow], [2.0, LARGEST.seconds], chance);
            }
            Stratum::HeavySlugs => self.slugs([LARGEST.flow, 2.5], [LARGEST.seconds, 10.0], chance),
            Stratum::LoadedStops => self.loaded_stops(chance),
            Stratum::Rocking => self.faults.push(Fault::plain(Kind::Rocking, 0.0, chance.between(0.1, 1.0))),
            Stratum::Sags => self.sags(chance),
            Stratum::VariableSpeed => self.variable_speed(chance),
            Stratum::FewDropouts => self.dropouts(0.0001, 0.001, chance),
            Stratum::SomeDropouts => self.dropouts(0.0011, 0.01, chance),
        }
    }

    fn wet(&mut self) {
        if let Some(routine) = &mut self.routine {
            (routine.wet_share, routine.wet_friction) = (1.0, 0.76);
        }
    }

    fn ripple(&mut self, chance: &mut Chance) {
        let pull = full_pull(&self.leg);
        let (screw, pitch) = (chance.between(0.6, 4.0), chance.between(0.15, 0.4));
        let mut drag = |most: f64| pull * chance.between(0.02, most);
        self.leg.ripple = vec![
            Ripple { beat: Beat::Second, period: screw, drag_n: drag(0.2), at: At::Boot },
            Ripple { beat: Beat::Metre, period: pitch, drag_n: drag(0.15), at: At::Boot },
            Ripple { beat: Beat::HeadTurn, period: 0.31, drag_n: drag(0.06), at: At::Drive },
        ];
    }

    /// Slugs of so much flow, as a share of design flow, for so many seconds, least and most.
    fn slugs(&mut self, flow: [f64; 2], seconds: [f64; 2], chance: &mut Chance) {
        let mut at_s = chance.between(60.0, 200.0);
        while at_s < SHIFT_S - 30.0 {
            self.feed(at_s, 100.0 * chance.between(flow[0], flow[1]));
            at_s += chance.between(seconds[0], seconds[1]);
            self.feed(at_s, chance.between(20.0, 70.0));
            at_s += chance.between(60.0, 240.0);
        }
    }

    fn loaded_stops(&mut self, chance: &mut Chance) {
        self.routine = None;
        let mut at_s = 10.0;
        while at_s < SHIFT_S - 120.0 {
            self.press(at_s, Button::Start);
            let fed_s = at_s + chance.between(10.0, 25.0);
            self.feed(fed_s, chance.between(40.0, 90.0));
            at_s = fed_s + chance.between(60.0, 400.0);
            self.press(at_s, Button::Stop);
            self.feed(at_s + chance.between(0.2, 1.5), 0.0);
            // No more than two starts in ten minutes: that is no jogging.
            at_s += chance.between(300.0, 600.0);
        }
    }

    fn sags(&mut self, chance: &mut Chance) {
        for _ in 0..10 {
            let from_s = chance.between(60.0, SHIFT_S - 10.0);
            let until_s = Some(from_s + chance.between(0.06, 0.8));
            self.faults.push(Fault { until_s, ..Fault::plain(Kind::PowerDip, from_s, chance.between(0.05, 0.3)) });
        }
        let from_s = chance.between(60.0, SHIFT_S - 10.0);
        let until_s = Some(from_s + 0.2);
        self.faults.push(Fault { until_s, ..Fault::plain(Kind::PowerDip, from_s, chance.between(0.55, 0.9)) });
    }

    fn variable_speed(&mut self, chance: &mut Chance) {
        self.leg.drive.starter = Starter::USUAL_VARIABLE;
        if let Some(routine) = &mut self.routine {
            (routine.feed_min_pct, routine.feed_max_pct) = (10.0, 50.0);
        }
        let mut at_s = chance.between(60.0, 200.0);
        while at_s < SHIFT_S - 10.0 {
            let speed_pct = Some(chance.between(55.0, 100.0));
            self.timeline.push(Act { at_s, speed_pct, ..Act::default() });
            at_s += chance.between(60.0, 240.0);
        }
    }

    fn dropouts(&mut self, least: f64, most: f64, chance: &mut Chance) {
        let severity = chance.between(least, most);
        let shaft = Some(if chance.happens(0.5) { End::Head } else { End::Boot });
        self.faults.push(Fault { shaft, ..Fault::plain(Kind::SensorDropout, 0.0, severity) });
    }

    fn feed(&mut self, at_s: f64, pct: f64) {
        self.timeline.push(Act::feed(at_s, pct));
    }

    fn press(&mut self, at_s: f64, button: Button) {
        self.timeline.push(Act::press(at_s, button));
    }
}
