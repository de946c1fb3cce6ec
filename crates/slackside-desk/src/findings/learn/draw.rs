//! Runs to learn from and runs to be measured on: what is wrong, on which leg, when and how badly, all by chance, so that the time at
//! which something begins tells nothing.
//!
//! The two draws share no leg and no habit: to be learned from are invented legs, each used once; measured is on the built-in legs,
//! with other onsets, other loads and other lengths.

use slackside::settings::{AcceptedRatio, Checked};
use slackside::units::{Micrometres, MicroturnsPerSecond, Ratio};

use super::super::cause::Cause;
use super::legs;
use crate::error::Error;
use crate::plant::chance::Chance;
use crate::plant::leg::Leg;
use crate::plant::slug::LARGEST;
use crate::plant::starter::Starter;
use crate::scenario::fault::{Contact, End, Fault, Kind, Side, Where, full_pull};
use crate::scenario::legs as built_in;
use crate::scenario::score::population::{drawing_like, guides, healthy, told, vary};
use crate::scenario::settings::Commissioned;
use crate::scenario::timeline::{Act, Button};
use crate::scenario::{Label, Scenario};

/// For what a run is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum For {
    /// To learn from.
    Learning,
    /// To be measured on.
    Measuring,
    /// To be measured on: legs with a boot sensor alone.
    BootAlone,
    /// Sound legs, an hour each: the healthy shifts of the page of scores.
    Healthy,
}

/// What is done to wires and settings beside the plant's own faults.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wires {
    /// Nothing.
    Sound,
    /// Each sensor is on the other's input.
    Swapped,
    /// From then on, in s, the boot's input follows the head's.
    Bridged(f64),
    /// From then on, in s, the speed reference arrives times this.
    Reference(f64, f64),
}

/// A run ready to be played.
pub struct Drawn {
    /// What is wrong.
    pub cause: Cause,
    /// By which means.
    pub means: &'static str,
    /// What else would be right to name.
    pub also: Option<Cause>,
    /// From when, in s.
    pub from_s: f64,
    /// What happens.
    pub scenario: Scenario,
    /// What is true of the leg when sound.
    pub commissioned: Commissioned,
    /// What the monitor is told.
    pub settings: Checked,
    /// What is done to the wires.
    pub wires: Wires,
    /// Whether the load alone may be too much, though nothing is broken.
    pub slugs: bool,
    /// When the belt parts in a run whose splice lets go, in s: what is wrong is another thing before.
    pub parts_s: Option<f64>,
}

/// How a cause is made.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Means {
    Fault(Kind),
    OnShaft(Kind, End),
    /// Before the first start.
    Frozen,
    Jogging,
    Diameters,
    NormalSpeed,
    Swapped,
    Bridged,
    Reference,
    BothLost,
    /// A busy day on a sound leg.
    Sound,
}

/// What makes each cause: drawn in turn.
const fn means(cause: Cause) -> &'static [(Means, &'static str)] {
    use Means::{Fault as F, OnShaft as S};
    match cause {
        Cause::BeltParted => &[
            (F(Kind::BeltParted), "belt_parted"),
            (F(Kind::BeltParted), "belt_parted"),
            (F(Kind::SpliceLettingGo), "splice_letting_go"),
        ],
        Cause::LaggingGone => &[(F(Kind::LaggingMissing), "lagging_missing")],
        Cause::LaggingSlick => &[
            (F(Kind::LaggingWorn), "lagging_worn"),
            (F(Kind::SlipperyFeed), "slippery_feed"),
            (F(Kind::WetHead), "wet_head"),
        ],
        Cause::TakeUp => &[
            (F(Kind::TakeupSlack), "takeup_slack"),
            (F(Kind::TakeupSlack), "takeup_slack"),
            (F(Kind::BeltStretch), "belt_stretch"),
            (F(Kind::TakeupJammed), "takeup_jammed"),
        ],
        Cause::HeadPulleyLoose => &[(F(Kind::HeadPulleyLoose), "head_pulley_loose")],
        Cause::BootPulleyLoose => &[(F(Kind::BootPulleyLoose), "boot_pulley_loose")],
        Cause::Overload => &[(F(Kind::Overload), "overload")],
        Cause::Choke => &[(F(Kind::BootChoke), "boot_choke")],
        Cause::BootHeld => &[
            (F(Kind::BootPulleyDragging), "boot_pulley_dragging"),
            (S(Kind::BearingFailing, End::Boot), "bearing_failing, boot"),
        ],
        Cause::BeltCaught => &[(F(Kind::BeltCaught), "belt_caught")],
        Cause::FrozenStart => &[(Means::Frozen, "belt_caught at the start")],
        Cause::HeadBuildup => &[(F(Kind::HeadBuildup), "head_buildup")],
        Cause::BootBuildup => &[(F(Kind::BootBuildup), "boot_buildup")],
        Cause::WrongDiameters => &[(Means::Diameters, "settings with other diameters")],
        Cause::Jogging => &[(Means::Jogging, "many short starts")],
        Cause::OutletPlugged => &[(F(Kind::OutletPlugged), "outlet_plugged")],
        Cause::DriveSlow => &[
            (F(Kind::DriveBeltSlipping), "drive_belt_slipping"),
            (F(Kind::SharedDrive), "shared_drive"),
            (S(Kind::BearingFailing, End::Head), "bearing_failing, head"),
        ],
        Cause::PowerDip => &[(F(Kind::PowerDip), "power_dip")],
        Cause::Rollback => &[(F(Kind::BackstopFailed), "backstop_failed")],
        Cause::OffCentre => &[
            (F(Kind::HeadOutOfLevel), "head_out_of_level"),
            (F(Kind::BootEndLoose), "boot_end_loose"),
            (F(Kind::CasingOutOfPlumb), "casing_out_of_plumb"),
            (F(Kind::CrownMissing), "crown_missing"),
        ],
        Cause::OnePlace => {
            &[(F(Kind::SpliceOutOfSquare), "splice_out_of_square"), (F(Kind::BeltEdgeDamaged), "belt_edge_damaged")]
        }
        Cause::Runout => &[(F(Kind::HeadOutOfRound), "head_out_of_round")],
        Cause::HeadSensorLost => LOST_AT_HEAD,
        Cause::BootSensorLost => LOST_AT_BOOT,
        Cause::HeadSensorUnsteady => UNSTEADY_AT_HEAD,
        Cause::BootSensorUnsteady => UNSTEADY_AT_BOOT,
        Cause::HeadTargetLoose => &[(S(Kind::TargetLoose, End::Head), "target_loose, head")],
        Cause::BootTargetLoose => &[(S(Kind::TargetLoose, End::Boot), "target_loose, boot")],
        Cause::HeadTargetMissing => &[
            (S(Kind::TargetMissing, End::Head), "target_missing, head"),
            (S(Kind::SensorOutOfReach, End::Head), "sensor_out_of_reach, head"),
        ],
        Cause::BootTargetMissing => &[
            (S(Kind::TargetMissing, End::Boot), "target_missing, boot"),
            (S(Kind::SensorOutOfReach, End::Boot), "sensor_out_of_reach, boot"),
        ],
        Cause::BothSensors => &[(Means::BothLost, "both sensors cut")],
        Cause::WiresBridged => &[(Means::Bridged, "boot wire on the head's")],
        Cause::SensorsSwapped => &[(Means::Swapped, "wires swapped")],
        Cause::ContactStuck => &[(F(Kind::ContactStuckRubbing), "contact_stuck_rubbing")],
        Cause::ContactBouncing => &[(F(Kind::ContactBouncing), "contact_bouncing")],
        Cause::ContactCut => &[(F(Kind::ContactCut), "contact_cut")],
        Cause::DriveContact => {
            &[(F(Kind::DriveContactChatter), "drive_contact_chatter"), (F(Kind::DriveContactCut), "drive_contact_cut")]
        }
        Cause::SpeedReference => &[(Means::Reference, "speed reference scaled wrongly")],
        Cause::WrongSpeed => &[(Means::NormalSpeed, "settings with another speed")],
        // Nothing that a drawn run could hold makes the last four.
        Cause::Nothing | Cause::HotSpot | Cause::PermitWiring | Cause::SensorChatter | Cause::TimeBase => {
            &[(Means::Sound, "a sound leg, slugs and short dips of the mains")]
        }
    }
}

const LOST_AT_HEAD: &[(Means, &str)] = &lost(End::Head);
const LOST_AT_BOOT: &[(Means, &str)] = &lost(End::Boot);
const UNSTEADY_AT_HEAD: &[(Means, &str)] = &unsteady(End::Head);
const UNSTEADY_AT_BOOT: &[(Means, &str)] = &unsteady(End::Boot);

const fn lost(end: End) -> [(Means, &'static str); 4] {
    [
        (Means::OnShaft(Kind::SensorCut, end), "sensor_cut"),
        (Means::OnShaft(Kind::SensorStuckHigh, end), "sensor_stuck_high"),
        (Means::OnShaft(Kind::SensorStuckLow, end), "sensor_stuck_low"),
        (Means::OnShaft(Kind::SensorOutOfReach, end), "sensor_out_of_reach, all gone"),
    ]
}

const fn unsteady(end: End) -> [(Means, &'static str); 5] {
    [
        (Means::OnShaft(Kind::SensorNoise, end), "sensor_noise"),
        (Means::OnShaft(Kind::SensorCutHumming, end), "sensor_cut_humming"),
        (Means::OnShaft(Kind::SensorDropout, end), "sensor_dropout"),
        (Means::OnShaft(Kind::SensorBounce, end), "sensor_bounce"),
        (Means::OnShaft(Kind::SensorJitter, end), "sensor_jitter"),
    ]
}

/// Whether a leg bears it for long before anything is said.
const fn quiet(means: Means) -> bool {
    matches!(
        means,
        Means::Fault(
            Kind::LaggingWorn
                | Kind::SlipperyFeed
                | Kind::WetHead
                | Kind::TakeupSlack
                | Kind::TakeupJammed
                | Kind::BeltStretch
                | Kind::HeadPulleyLoose
                | Kind::BootPulleyLoose
                | Kind::DriveBeltSlipping
                | Kind::SharedDrive
                | Kind::SpliceOutOfSquare
                | Kind::BeltEdgeDamaged
                | Kind::HeadOutOfRound
        ) | Means::OnShaft(Kind::BearingFailing | Kind::SensorJitter | Kind::SensorBounce | Kind::SensorNoise, _)
    )
}

/// Habits of a draw.
struct Habits {
    /// Share of faults that are there before the record begins.
    before: f64,
    /// From the feed to the onset, in s.
    onset_s: (f64, f64),
    /// Share of onsets that come at once, and the longest ramp in s.
    at_once: f64,
    ramp_s: f64,
    feed_pct: (f64, f64),
    /// How long it goes on after the fault has grown, in s.
    on_s: (f64, f64),
    severity: (f64, f64),
}

impl For {
    const fn habits(self) -> Habits {
        match self {
            Self::Learning => Habits {
                before: 0.15,
                onset_s: (10.0, 240.0),
                at_once: 0.4,
                ramp_s: 150.0,
                feed_pct: (20.0, 105.0),
                on_s: (60.0, 200.0),
                severity: (0.2, 1.0),
            },
            _ => Habits {
                before: 0.1,
                onset_s: (40.0, 400.0),
                at_once: 0.3,
                ramp_s: 240.0,
                feed_pct: (40.0, 100.0),
                on_s: (90.0, 300.0),
                severity: (0.15, 1.0),
            },
        }
    }

    /// Streams of chance that the other does not use.
    const fn stream(self) -> u64 {
        match self {
            Self::Learning => 20_000_000,
            Self::Measuring => 40_000_000,
            Self::BootAlone => 60_000_000,
            Self::Healthy => 80_000_000,
        }
    }
}

/// What comes at once takes no longer than this, in s.
const AT_ONCE_S: f64 = 10.0;
/// A belt is caught within this, in s.
const CATCHES_S: f64 = 2.0;
/// Too much feed grows over no less than this, in s.
const FILLS_S: f64 = 20.0;
/// The least severity of a choke: 1.2 times the design flow runs into the boot beside the feed.
const CHOKES: f64 = 0.4;
/// A draw that gives no leg is drawn again, at most so often.
const TRIES: u64 = 12;

/// Run number `index` of a seed: causes in turn, all else by chance.
///
/// # Errors
/// The monitor refuses the settings, or the figures give no plant, again and again.
pub fn draw(of: For, seed: u64, index: usize) -> crate::error::Result<Drawn> {
    let mut tried = attempt(of, seed, index, 0);
    for again in 1..TRIES {
        if tried.is_ok() {
            break;
        }
        tried = attempt(of, seed, index, again);
    }
    tried
}

fn attempt(of: For, seed: u64, index: usize, again: u64) -> crate::error::Result<Drawn> {
    if of == For::Healthy {
        return shift(seed, index);
    }
    let cause = Cause::ALL[index % Cause::ALL.len()];
    let turn = index / Cause::ALL.len();
    let all = means(cause);
    let (means, name) = all[turn % all.len()];
    let mut chance = Chance::new(seed, of.stream() + again * 1_000_000 + index as u64);
    let chance = &mut chance;
    let mut leg = match of {
        For::Learning => vary(&legs::invented(chance)?, chance),
        _ => {
            let name = built_in::NAMES[(turn / all.len()) % built_in::NAMES.len()];
            let drawing = built_in::leg(name).unwrap_or_else(|| unreachable!("a built-in leg"));
            vary(&drawing, chance)
        }
    };
    guides(&mut leg, Chance::new(seed, of.stream() + 15_000_000 + index as u64));
    if matches!(cause, Cause::ContactStuck | Cause::ContactBouncing | Cause::ContactCut) {
        leg.fitted.rub_contacts = true;
    }
    if means == Means::Reference {
        leg.drive.starter = Starter::USUAL_VARIABLE;
    }
    let drawing = drawing_like(&leg, &leg);
    let commissioned = Commissioned::measure(&leg);
    let settings = told(&drawing, &leg, &commissioned, 0.005, chance)?;
    let mut run =
        Run { of, leg, chance, faults: Vec::new(), timeline: Vec::new(), from_s: 0.0, ends_s: 0.0, shown: name };
    let wires = run.befall(means);
    let settings = run.mislead(means, settings)?;
    let Run { leg, faults, timeline, from_s, ends_s, shown, .. } = run;
    let parts_s = (means == Means::Fault(Kind::SpliceLettingGo)).then(|| faults[0].from_s + faults[0].ramp_s);
    let cause = if parts_s.is_some() { Cause::TakeUp } else { cause };
    let scenario = Scenario {
        name: format!("{of:?} {index}"),
        description: String::new(),
        leg,
        duration_s: ends_s.ceil(),
        seed: seed.wrapping_add(index as u64),
        step_us: 2_000,
        obey_permits: Some(true),
        feeder_wired: true,
        timeline,
        routine: None,
        faults,
        label: Label { wrong: cause.name().to_owned(), from_s: None, stop: false },
    };
    // A belt that is held before it is first started is frozen, whatever holds it; where somebody jogs it, jogged too.
    let frozen = scenario.faults.iter().any(|fault| fault.kind == Kind::BeltCaught && fault.from_s <= 0.0);
    let jogged = (frozen && means == Means::Jogging).then_some(Cause::Jogging);
    let (cause, also) = if frozen { (Cause::FrozenStart, jogged) } else { (cause, None) };
    Ok(Drawn {
        cause,
        means: shown,
        also,
        from_s,
        scenario,
        commissioned,
        settings,
        wires,
        slugs: means == Means::Sound,
        parts_s,
    })
}

/// A healthy shift as the page of scores has it.
fn shift(seed: u64, index: usize) -> crate::error::Result<Drawn> {
    let (stratum, drawn) = healthy(seed, index)?;
    let mut scenario = drawn.scenario;
    scenario.obey_permits = Some(true);
    Ok(Drawn {
        cause: Cause::Nothing,
        means: stratum.words(),
        also: None,
        from_s: f64::INFINITY,
        scenario,
        commissioned: drawn.commissioned,
        settings: drawn.settings,
        wires: Wires::Sound,
        slugs: true,
        parts_s: None,
    })
}

/// A run being drawn.
struct Run<'a> {
    of: For,
    leg: Leg,
    chance: &'a mut Chance,
    faults: Vec<Fault>,
    timeline: Vec<Act>,
    from_s: f64,
    ends_s: f64,
    shown: &'static str,
}

impl Run<'_> {
    fn press(&mut self, at_s: f64, button: Button) {
        self.timeline.push(Act::press(at_s, button));
    }

    fn feed(&mut self, at_s: f64, pct: f64) {
        self.timeline.push(Act::feed(at_s, pct));
    }

    /// Draw what happens.
    fn befall(&mut self, means: Means) -> Wires {
        let habits = self.of.habits();
        let start_s = self.chance.between(3.0, 20.0);
        let fed_s = start_s + self.chance.between(10.0, 40.0);
        // A leg that is fed too much from its first feed on is choked: too much feed takes its time.
        let before = self.chance.happens(habits.before) && means != Means::Fault(Kind::Overload);
        let onset_s = fed_s + self.chance.between(habits.onset_s.0, habits.onset_s.1);
        self.from_s = if before { 0.0 } else { onset_s };
        let at_once = self.chance.happens(habits.at_once);
        let ramp_s = if before || at_once { 0.0 } else { self.chance.between(1.0, habits.ramp_s) };
        // What cakes on a pulley takes its time; an hour is shortened to minutes.
        let cakes = matches!(means, Means::Fault(Kind::HeadBuildup | Kind::BootBuildup));
        let ramp_s = if cakes && !before { ramp_s + 90.0 } else { ramp_s };
        let severity = self.chance.between(habits.severity.0, habits.severity.1);
        // What a leg bears for long without a word must be bad to be heard of at all.
        let severity = if quiet(means) { 0.5 + 0.5 * severity } else { severity };
        self.ends_s = self.from_s.max(fed_s) + ramp_s + self.chance.between(habits.on_s.0, habits.on_s.1);
        if means == Means::Jogging {
            self.jog(start_s);
            return Wires::Sound;
        }
        self.press(start_s, Button::Start);
        self.loads(fed_s);
        let from_s = self.from_s;
        match means {
            Means::Fault(kind) => self.fault(kind, None, ramp_s, severity),
            Means::OnShaft(kind, end) => self.fault(kind, Some(end), ramp_s, severity),
            Means::Frozen => {
                self.from_s = 0.0;
                self.fault(Kind::BeltCaught, None, 0.0, severity);
                self.ends_s = start_s + self.chance.between(30.0, 90.0);
            }
            Means::BothLost => {
                for end in [End::Head, End::Boot] {
                    self.fault(Kind::SensorCut, Some(end), 0.0, 1.0);
                }
            }
            Means::Swapped => {
                self.from_s = 0.0;
                return Wires::Swapped;
            }
            Means::Bridged => return Wires::Bridged(from_s),
            Means::Reference => {
                let low = self.chance.happens(0.5);
                let times = if low { self.chance.between(0.5, 0.85) } else { self.chance.between(1.15, 1.5) };
                return Wires::Reference(from_s, times);
            }
            Means::Sound => {
                self.from_s = f64::INFINITY;
                self.slugs(fed_s);
            }
            Means::Diameters | Means::NormalSpeed => self.from_s = 0.0,
            Means::Jogging => {}
        }
        Wires::Sound
    }

    /// Feed that changes now and then.
    fn loads(&mut self, fed_s: f64) {
        let (least, most) = self.of.habits().feed_pct;
        let mut at_s = fed_s;
        while at_s < self.ends_s {
            let feed = self.chance.between(least, most);
            self.feed(at_s, feed);
            at_s += 20.0 + self.chance.waiting(150.0);
            if matches!(self.leg.drive.starter, Starter::Variable { .. }) && self.chance.happens(0.5) {
                let speed_pct = Some(self.chance.between(60.0, 100.0));
                self.timeline.push(Act { at_s: at_s - 5.0, speed_pct, ..Act::default() });
            }
        }
    }

    fn slugs(&mut self, fed_s: f64) {
        self.ends_s = fed_s + 900.0;
        let mut at_s = fed_s + 20.0;
        while at_s < self.ends_s {
            // No more than a sound leg bears, by the rule that each is held to.
            let slug = self.chance.between(120.0, 100.0 * LARGEST.flow);
            self.feed(at_s, slug);
            at_s += self.chance.between(2.0, LARGEST.seconds);
            let usual = self.chance.between(20.0, 80.0);
            self.feed(at_s, usual);
            if self.chance.happens(0.2) {
                let until_s = Some(at_s + self.chance.between(0.05, 0.5));
                let severity = self.chance.between(0.05, 0.3);
                self.faults.push(Fault { until_s, ..Fault::plain(Kind::PowerDip, at_s, severity) });
            }
            at_s += self.chance.between(20.0, 120.0);
        }
    }

    /// Somebody starts it again and again.
    fn jog(&mut self, start_s: f64) {
        self.from_s = 0.0;
        if self.chance.happens(0.5) {
            let severity = self.chance.between(0.1, 1.0);
            self.fault(Kind::BeltCaught, None, 0.0, severity);
        }
        let mut at_s = start_s;
        for _ in 0..8 {
            self.press(at_s, Button::Start);
            at_s += self.chance.between(0.5, 4.0);
            self.press(at_s, Button::Stop);
            at_s += self.chance.between(2.0, 25.0);
        }
        self.ends_s = at_s + 20.0;
    }

    fn fault(&mut self, kind: Kind, shaft: Option<End>, ramp_s: f64, severity: f64) {
        let from_s = self.from_s;
        let mut fault = Fault { shaft, ramp_s, ..Fault::plain(kind, from_s, severity) };
        if kind.needs() == Where::Side {
            fault.side = Some(self.chance.pick(&Side::ALL));
        }
        if kind.needs() == Where::Place {
            fault.place = Some(self.chance.pick(&Contact::ALL));
        }
        // Forces that a scenario gives in newtons are those of a middling leg.
        let middling = built_in::leg("millbrook-leg-3").unwrap_or_else(|| unreachable!("a built-in leg"));
        let pull = full_pull(&self.leg) / full_pull(&middling);
        match kind {
            Kind::BootPulleyDragging => fault.force = pull * self.leg.boot_radius() / middling.boot_radius(),
            // Below half the voltage the contactor lets go; a dip lasts for moments.
            Kind::PowerDip => {
                fault.from_s = fault.from_s.max(60.0);
                self.from_s = fault.from_s;
                fault.ramp_s = 0.0;
                fault.severity = self.chance.between(0.2, 1.0);
                fault.until_s = Some(fault.from_s + self.chance.between(0.1, 4.0));
            }
            // It shows only when a full leg stops.
            Kind::BackstopFailed => {
                (fault.ramp_s, fault.from_s) = (0.0, 0.0);
                let at_s = self.ends_s;
                self.press(at_s, Button::Stop);
                self.feed(at_s + 0.5, 0.0);
                self.ends_s += 60.0;
            }
            Kind::SpliceLettingGo => {
                fault.severity = 1.0;
                fault.ramp_s = fault.ramp_s.max(5.0);
            }
            // What is not all gone looks like targets that are.
            Kind::SensorOutOfReach => {
                fault.severity = if self.shown.ends_with("all gone") { 1.0 } else { self.chance.between(0.3, 0.95) };
            }
            Kind::SensorDropout => fault.severity = 0.01 + 0.6 * severity,
            // A choke comes at once, and pours in more than the buckets take; a boot that fills more slowly is fed too much, whatever
            // feeds it.
            Kind::BootChoke => {
                fault.ramp_s = fault.ramp_s.min(AT_ONCE_S);
                fault.severity = CHOKES + (1.0 - CHOKES) * severity;
            }
            Kind::Overload => fault.ramp_s = fault.ramp_s.max(FILLS_S),
            // What catches a belt, a bucket that hangs loose as a rule, catches it there and then; what drags ever more is another thing.
            Kind::BeltCaught => {
                fault.ramp_s = fault.ramp_s.min(CATCHES_S);
                fault.force = pull;
            }
            // A take-up that no longer moves is missed only when the belt stretches.
            Kind::TakeupJammed => {
                let stretch =
                    Fault { ramp_s: fault.ramp_s.max(5.0), ..Fault::plain(Kind::BeltStretch, from_s, severity) };
                self.faults.push(stretch);
            }
            _ => {}
        }
        self.faults.push(fault);
    }

    /// What the monitor is told, where that is what is wrong.
    fn mislead(&mut self, means: Means, settings: Checked) -> crate::error::Result<Checked> {
        let chance = &mut *self.chance;
        let either = |chance: &mut Chance, low: f64, high: f64| {
            let by = chance.between(low, high);
            if chance.happens(0.5) { 1.0 + by } else { 1.0 - by }
        };
        let mut lenient = settings.into_settings();
        let machine = &mut lenient.machine;
        let of_head = matches!(means, Means::OnShaft(_, End::Head) | Means::Swapped | Means::Bridged | Means::BothLost);
        if self.of == For::BootAlone {
            if of_head || matches!(means, Means::Diameters) {
                return Err(Error::said("a leg with a boot sensor alone has no such fault".to_owned()));
            }
            machine.head_targets = None;
            machine.accepted_ratio = None;
            self.leg.fitted.head = None;
        }
        // Some legs have no head sensor, and on some the drive contact is not wired.
        if self.of == For::Learning {
            if !of_head && chance.happens(0.12) {
                machine.head_targets = None;
                machine.accepted_ratio = None;
                self.leg.fitted.head = None;
            }
            let of_contact =
                matches!(means, Means::Fault(Kind::DriveContactChatter | Kind::DriveContactCut | Kind::BackstopFailed));
            if chance.happens(0.1) && !of_contact {
                machine.drive_contact = false;
            }
        }
        match means {
            Means::Diameters => {
                let wrong = either(chance, 0.02, 0.1);
                machine.head_pulley.bare_diameter =
                    Micrometres::new((machine.head_pulley.bare_diameter.get() as f64 * wrong) as i64);
                machine.accepted_ratio = machine.accepted_ratio.filter(|_| chance.happens(0.5)).map(|accepted| {
                    AcceptedRatio { ratio: Ratio::new((f64::from(accepted.ratio.get()) * wrong) as u32), ..accepted }
                });
            }
            Means::NormalSpeed => {
                let wrong = either(chance, 0.1, 0.35);
                for speed in [&mut machine.normal_head, &mut machine.normal_boot] {
                    *speed = MicroturnsPerSecond::new((f64::from(speed.get()) * wrong) as u32);
                }
            }
            _ => {}
        }
        lenient.check().map_err(|violations| {
            let all: Vec<String> = violations.iter().map(ToString::to_string).collect();
            Error::said(all.join("; "))
        })
    }
}
