//! A month of a box's life at random, from a seed: runs and stops, slip, rubs, belts that stand, single faults from the
//! [table](crate::faults), floods on the link, and power that goes at any byte that is written.
//!
//! What must hold is looked at on the way: nothing is given that judge does not give, nothing is erased while the leg may run, a belt that stands stops the motor, a trip is
//! still one when power comes back and whatever the link sends, and what is filed can be read.

use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};

use slackside::conditions::Condition;
use slackside::daily::Work;
use slackside::input::Command;
use slackside::record::{Anchor, Reader};
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::verdict::Phase;
use slackside::wire::{CHUNK, MOST_FRAME, Request, Window, encode};
use slackside_box::bench::{CLEAR, Chip, Line, RUBBING, Rig, every_command};
use slackside_legs::random::Random;

use crate::faults::{BeltStop, Make, Row, rows};

/// The key of the box here.
const KEY: [u8; 16] = *b"the bench's key.";
/// A round where nothing is looked at closely: well below what a box may stay away.
const ROUND_US: u64 = 10_000;
/// From stopping until the motor must be off where a belt stands.
const BELT_STOP_MS: u64 = 3_000;

/// Bytes by which the record of a trip has been begun, marks of heat before it counted in: what power takes before that is no trip yet.
const FIRST_BYTES: i64 = 150;

/// From too many starts until the example's window of half an hour has left all of them behind.
const UNTIL_STARTS_ARE_FORGOTTEN_MS: u64 = 31 * 60_000;
/// No start counts for so long, in microseconds, whatever power did: the window of the example and two of the longest runs.
const LONG_AGO: u64 = 9 * 3_600_000_000;
/// Progress is told so often, in hours of box time.
const TOLD_EVERY: u64 = 24;

/// A fault planted on purpose, to see that the soak finds it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Planted {
    /// From the second day on the run permit is bridged in the starter's wiring, and nobody knows.
    BridgedStarter,
    /// From the second day on the box forgets over a loss of power that it had tripped.
    Forgets,
    /// From the second day on the second contact of the run permit is driven though judge does not give it.
    DrivenUnasked,
    /// From the second day on one byte of each recording rots before it is read.
    Rots,
    /// On the second day the program panics.
    Panics,
}

impl Planted {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::BridgedStarter, Self::Forgets, Self::DrivenUnasked, Self::Rots, Self::Panics];
}

/// What happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Soak {
    /// Hours of box time.
    pub hours: u64,
    /// Starts of the leg.
    pub starts: u32,
    /// Of these, those after which the leg was stopped at once, for it had been started too often.
    pub jogged: u32,
    /// Belts that were made to stand.
    pub belt_stops: u32,
    /// Faults from the table.
    pub faults: u32,
    /// Floods on the link.
    pub floods: u32,
    /// Losses of power.
    pub cuts: u32,
    /// Of these, those within a byte that was being written or erased.
    pub torn: u32,
    /// Of these, those while the leg ran.
    pub running: u32,
    /// Recordings read back, not counting one twice in a row.
    pub recordings: u32,
}

/// The life of a box for so many hours, told of each day.
///
/// # Errors
/// What broke, and when.
pub fn soak(seed: u64, hours: u64, planted: Option<Planted>, told: &mut dyn FnMut(&Soak)) -> Result<Soak, String> {
    let plan = Settings::example().check().map_err(|_| "the example's settings")?.plan();
    let mut life = Life {
        random: Random(seed),
        // Its leg is the example, with even targets.
        rows: rows()
            .into_iter()
            .filter(|row| matches!(row.make, Make::While(_)) && row.boot_pitches.is_empty())
            .collect(),
        soak: Soak::default(),
        us: 0,
        newest: None,
        started: Vec::new(),
        plan,
        planted,
    };
    let mut chip = Rig::set_up(&KEY, &plan);
    while life.soak.hours < hours {
        let at = life.us;
        let lived = catch_unwind(AssertUnwindSafe(|| life.episode(chip))).unwrap_or_else(|panic| Err(words(&*panic)));
        chip = lived.map_err(|why| format!("in the episode from {} s: {why}", at / 1_000_000))?;
        let before = life.soak.hours;
        life.soak.hours = life.us / 3_600_000_000;
        if life.soak.hours / TOLD_EVERY > before / TOLD_EVERY {
            told(&life.soak);
        }
    }
    Ok(life.soak)
}

/// What a panic said: it is a failure like any other, and its life can be lived again.
fn words(panic: &(dyn Any + Send)) -> String {
    let said = panic.downcast_ref::<String>().map(String::as_str).or_else(|| panic.downcast_ref::<&str>().copied());
    format!("a panic: {}", said.unwrap_or("it said nothing"))
}

struct Life {
    random: Random,
    rows: Vec<Row>,
    soak: Soak,
    us: u64,
    /// The newest recording read.
    newest: Option<u32>,
    /// Starts that count still, in microseconds of box time.
    started: Vec<u64>,
    plan: Plan,
    planted: Option<Planted>,
}

impl Life {
    /// Whether a planted fault is at work.
    fn has(&self, planted: Planted) -> bool {
        self.planted == Some(planted) && self.soak.hours >= 24
    }

    /// From switching on to switching off: the flash that is left.
    fn episode(&mut self, chip: Chip) -> Result<Chip, String> {
        assert!(!self.has(Planted::Panics), "planted");
        let mut rig = Rig::start(chip);
        let line = rig.connect();
        self.rest(&mut rig, 12_000)?;
        rig.clear_up();
        if rig.sensor_box.monitor().status().first_out == Some(Condition::TooManyStarts) {
            self.rest(&mut rig, UNTIL_STARTS_ARE_FORGOTTEN_MS)?;
            rig.clear_up();
        }
        self.rest(&mut rig, 2_000)?;
        if !rig.panel.may_run() {
            return Err(format!(
                "not ready after a person has cleared up: {:?}, {:?}",
                rig.sensor_box.faults().iter().collect::<Vec<_>>(),
                rig.sensor_box.monitor().status()
            ));
        }
        self.recordings(&mut rig)?;
        rig.start_up();
        self.soak.starts += 1;
        if self.is_refused_as_jogging(&mut rig)? {
            self.us += rig.now;
            return Ok(rig.power_down());
        }
        // As often a run of minutes as one of hours.
        let minutes = self.random.log_between(1.0, 240.0) as u64;
        for _ in 0..minutes {
            self.minute(&mut rig, &line)?;
        }
        let tripped = self.end(&mut rig, &line)?;
        self.us += rig.now;
        let mut chip = rig.power_down();
        self.soak.cuts += 1;
        let torn = !chip.has_power();
        self.soak.torn += u32::from(torn);
        chip.restore_power();
        if let Some(first_out) = tripped {
            if self.has(Planted::Forgets) {
                chip = Rig::set_up(&KEY, &self.plan);
            }
            let mut after = Rig::start(chip);
            after.run(10);
            let status = after.sensor_box.monitor().status();
            // Where power went within a byte, what is there may not be sure; then it counts as tripped.
            let known = status.first_out.is_some_and(|known| torn || known == first_out);
            if status.run_permit || !known {
                return Err(format!(
                    "a trip by {first_out:?} is {:?} after a loss of power, torn: {torn}",
                    status.first_out
                ));
            }
            chip = after.power_down();
        }
        Ok(chip)
    }

    /// Whether the leg was stopped at once for having been started too often: never without reason.
    fn is_refused_as_jogging(&mut self, rig: &mut Rig) -> Result<bool, String> {
        let now = self.us + rig.now;
        // A start's age is kept over power as it was last written down: at worst as if no time had passed since the start.
        self.started.retain(|at| now - at <= LONG_AGO);
        self.started.push(now);
        self.rest(rig, 500)?;
        if rig.sensor_box.monitor().status().first_out != Some(Condition::TooManyStarts) {
            return Ok(false);
        }
        let most = self.plan.row(Condition::TooManyStarts.rank()).setpoint;
        if (self.started.len() as i32) < most {
            return Err(format!("stopped for too many starts at the {}th, {most} are too many", self.started.len()));
        }
        self.soak.jogged += 1;
        self.rest(rig, UNTIL_STARTS_ARE_FORGOTTEN_MS)?;
        Ok(true)
    }

    /// So many milliseconds, with a look at what is given.
    fn rest(&mut self, rig: &mut Rig, millis: u64) -> Result<(), String> {
        for _ in 0..millis * 1_000 / ROUND_US {
            let before = rig.sensor_box.flash_mut().erased();
            rig.round_after(ROUND_US);
            let erased = rig.sensor_box.flash_mut().erased() != before;
            if erased && (rig.motor_runs() || [0, 1].into_iter().any(|contact| rig.panel.backs[contact].get())) {
                return Err(format!(
                    "at {} us flash is erased in phase {:?}, the leg not at rest",
                    rig.now,
                    rig.phase()
                ));
            }
            if self.has(Planted::DrivenUnasked) {
                rig.panel.coils[1].set(true);
            }
            given_is_judged(rig)?;
        }
        Ok(())
    }

    /// A minute of running, in which something may happen that is no fault.
    fn minute(&mut self, rig: &mut Rig, line: &Line) -> Result<(), String> {
        if self.random.chance(0.02) {
            rig.panel.contacts[self.random.below(4) as usize].set(Some(RUBBING));
            self.rest(rig, 3_000)?;
            rig.panel.contacts.iter().for_each(|contact| contact.set(Some(CLEAR)));
        }
        if self.random.chance(0.02) {
            self.flood(rig, line)?;
        }
        self.rest(rig, 60_000)?;
        if !rig.motor_runs() || rig.phase() != Phase::Running {
            return Err(format!(
                "a sound leg stands: {:?}, {:?}",
                rig.sensor_box.monitor().status(),
                rig.sensor_box.faults().iter().collect::<Vec<_>>()
            ));
        }
        Ok(())
    }

    /// Two seconds in which somebody sends as much as the line carries: noise, or requests of every kind.
    fn flood(&mut self, rig: &mut Rig, line: &Line) -> Result<(), String> {
        self.soak.floods += 1;
        let noise = self.random.chance(0.3);
        for _ in 0..200 {
            if noise {
                let noise: Vec<u8> = (0..64).map(|_| self.random.next_u64() as u8).collect();
                line.put(&noise);
            } else {
                let mut frame = [0; MOST_FRAME];
                line.put(
                    encode(self.random.next_u64() as u8, &any_request(&mut self.random), &mut frame)
                        .unwrap_or_default(),
                );
            }
            self.rest(rig, 10)?;
            drop(line.take());
        }
        Ok(())
    }

    /// How it ends: the first-out, if it tripped and the flash took that.
    fn end(&mut self, rig: &mut Rig, line: &Line) -> Result<Option<Condition>, String> {
        if self.random.chance(0.1) {
            self.soak.running += 1;
            return Ok(None);
        }
        // A flash that takes nothing keeps no trip; the box says so, as the table has it.
        let (mut may_miss, mut forgetful) = (false, false);
        if self.random.chance(0.2) {
            rig.press_stop();
            self.rest(rig, 60_000)?;
            return Ok(None);
        }
        if self.random.chance(0.4) {
            let row = self.rows[self.random.below(self.rows.len() as u64) as usize];
            if let Make::While(fails) = row.make {
                fails(rig);
            }
            self.soak.faults += 1;
            may_miss = row.belt != BeltStop::Stopped;
            forgetful = !rig.sensor_box.flash_mut().has_power();
            let millis = self.random.whole(0, 20_000) as u64;
            rig.run(millis);
        } else if self.random.chance(0.5) {
            // Power will go at any of the bytes that the trip and its recording take.
            let steps = self.random.whole(FIRST_BYTES, 6_000) as u64;
            let torn = self.random.chance(0.5);
            rig.sensor_box.flash_mut().lose_power_after(steps, torn);
        }
        if self.has(Planted::BridgedStarter) {
            rig.starter_bridged = true;
        }
        rig.stop_belt();
        self.soak.belt_stops += 1;
        rig.run(BELT_STOP_MS);
        if rig.motor_runs() && !may_miss {
            return Err("the motor runs three seconds after the belt stood".to_owned());
        }
        let wait = self.random.whole(0, 30_000) as u64;
        rig.run(wait);
        let first_out = rig.sensor_box.monitor().status().first_out;
        if first_out.is_some() && self.random.chance(0.3) {
            self.flood(rig, line)?;
            let after = rig.sensor_box.monitor().status();
            if after.run_permit || after.first_out != first_out {
                return Err(format!("a trip by {first_out:?} became {after:?} by what the link sent"));
            }
        }
        Ok(first_out.filter(|_| !forgetful))
    }

    /// Every recording listed is there and begins with a sound segment.
    fn recordings(&mut self, rig: &mut Rig) -> Result<(), String> {
        for entry in rig.sensor_box.recordings() {
            if self.newest.is_some_and(|newest| entry.number <= newest) {
                continue;
            }
            let (mut bytes, mut part) = (Vec::new(), [0; 256]);
            loop {
                let offset = u32::try_from(bytes.len()).unwrap_or(u32::MAX);
                match rig.sensor_box.read_recording(entry.number, offset, &mut part) {
                    Ok(0) => break,
                    Ok(count) => bytes.extend_from_slice(&part[..count]),
                    Err(why) => return Err(format!("recording {} cannot be read: {why:?}", entry.number)),
                }
            }
            if self.has(Planted::Rots)
                && let Some(byte) = bytes.get_mut(100)
            {
                *byte ^= 1;
            }
            let damages: Vec<bool> =
                Reader::new(&bytes).map(|(segment, damage)| segment.is_none() || damage.is_some()).collect();
            let sound = damages.iter().filter(|damaged| !**damaged).count();
            // Only its end can be what power cut off; within its first segment there is no whole one then.
            let before_its_end = damages.iter().rev().skip(1).any(|damaged| *damaged);
            if bytes.len() != entry.length as usize || before_its_end || (sound == 0 && bytes.len() > 8_192) {
                return Err(format!(
                    "recording {}: of {} segments {sound} are sound, in {} bytes",
                    entry.number,
                    damages.len(),
                    bytes.len()
                ));
            }
            self.newest = Some(entry.number);
            self.soak.recordings += 1;
        }
        Ok(())
    }
}

/// Any request there is, of anybody who has not the box's key.
fn any_request(random: &mut Random) -> Request<'static> {
    const TAG: [u8; 16] = [7; 16];
    const PIECE: [u8; CHUNK] = [0x5A; CHUNK];
    let any = random.next_u64();
    let span = Span::from_millis(any as u32 >> 8);
    match random.below(15) {
        0 => Request::Hello,
        1 => Request::Status,
        2 => Request::Events { after: any as u32 },
        3 => Request::Recording { position: any as u8 },
        4 => Request::Read { window: Window::Plan, offset: any as u32 >> 20 },
        5 => Request::Read { window: Window::Recording(any as u32 >> 26), offset: any as u32 >> 16 & 0xFFFF },
        6 => Request::Stage { offset: if any & 1 == 0 { 0 } else { any as u16 }, bytes: &PIECE },
        7 => Request::Arm { leg: b"Millbrook leg 3", identity: any as u32, tag: &TAG },
        8 => Request::Challenge,
        9 => Request::Box,
        10 => {
            let (at, desk_us) = (Micros::new(any >> 30), 1_700_000_000_000_000);
            Request::Anchor(Anchor { at, desk_us, uncertainty: span })
        }
        11 => Request::Mark { work: Work::ALL[random.below(6) as usize], note: b"by nobody" },
        12 => Request::Read { window: Window::Days, offset: any as u32 >> 18 },
        13 => Request::Read { window: if any & 1 == 0 { Window::Today } else { Window::ProofTests }, offset: 0 },
        _ => {
            let commands = every_command();
            let command = commands[random.below(commands.len() as u64) as usize];
            Request::Command(if let Command::Bypass(of, _) = command { Command::Bypass(of, span) } else { command })
        }
    }
}

/// Nothing is given that judge, and the box's own faults, do not give.
fn given_is_judged(rig: &Rig) -> Result<(), String> {
    let status = rig.sensor_box.monitor().status();
    let coils = [0, 1].map(|coil| rig.panel.coils[coil].get());
    if coils.contains(&true) && (!status.run_permit || rig.sensor_box.faults().drop_permits()) {
        return Err(format!("at {} us the run permit is driven: {status:?}, {:?}", rig.now, rig.sensor_box.faults()));
    }
    if rig.panel.coils[2].get() && !(status.feed_permit && status.run_permit) {
        return Err(format!("at {} us the feed permit is driven: {status:?}", rig.now));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use slackside_box::bench::kinds_missing;

    #[test]
    fn a_flood_has_every_kind_of_request() {
        let mut random = Random(1);
        let sent: Vec<_> = (0..4_000).map(|_| any_request(&mut random)).collect();
        assert_eq!(kinds_missing(&sent), Vec::<String>::new());
    }
}
