//! A month of a box's life at random, from a seed: runs and stops, slip, rubs, belts that stand, single faults from the
//! [table](crate::faults), floods on the link, and power that goes at any byte that is written.
//!
//! What must hold is looked at on the way: nothing is given that judge does not give, a belt that stands stops the motor, a trip is
//! still one when power comes back, and what is filed can be read.

use slackside::conditions::Condition;
use slackside::record::Reader;
use slackside::settings::Settings;
use slackside::verdict::Phase;
use slackside_box::bench::{CLEAR, Chip, Line, RUBBING, Rig};
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

/// What happened.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Soak {
    /// Hours of box time.
    pub hours: u64,
    /// Starts of the leg.
    pub starts: u32,
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
    /// Recordings read back, not counting one twice in a row.
    pub recordings: u32,
}

/// The life of a box for so many hours.
///
/// # Errors
/// What broke, and when.
pub fn soak(seed: u64, hours: u64) -> Result<Soak, String> {
    let mut life = Life {
        random: Random(seed),
        rows: rows().into_iter().filter(|row| matches!(row.make, Make::While(_))).collect(),
        soak: Soak::default(),
        us: 0,
        newest: None,
    };
    let plan = Settings::example().check().map_err(|_| "the example's settings")?.plan();
    let mut chip = Rig::set_up(&KEY, &plan);
    while life.us < hours * 3_600_000_000 {
        let at = life.us;
        chip = life.episode(chip).map_err(|why| format!("in the episode from {} s: {why}", at / 1_000_000))?;
    }
    life.soak.hours = life.us / 3_600_000_000;
    Ok(life.soak)
}

struct Life {
    random: Random,
    rows: Vec<Row>,
    soak: Soak,
    us: u64,
    /// The newest recording read.
    newest: Option<u32>,
}

impl Life {
    /// From switching on to switching off: the flash that is left.
    fn episode(&mut self, chip: Chip) -> Result<Chip, String> {
        let mut rig = Rig::start(chip);
        let line = rig.connect();
        self.rest(&mut rig, 12_000)?;
        rig.clear_up();
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
        let minutes = self.random.whole(15, 240) as u64;
        for _ in 0..minutes {
            self.minute(&mut rig, &line)?;
        }
        let tripped = self.end(&mut rig)?;
        self.us += rig.now;
        let mut chip = rig.power_down();
        self.soak.cuts += 1;
        let torn = !chip.has_power();
        self.soak.torn += u32::from(torn);
        chip.restore_power();
        if let Some(first_out) = tripped {
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

    /// So many milliseconds, with a look at what is given.
    fn rest(&mut self, rig: &mut Rig, millis: u64) -> Result<(), String> {
        for _ in 0..millis * 1_000 / ROUND_US {
            rig.round_after(ROUND_US);
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
            self.soak.floods += 1;
            for _ in 0..200 {
                let noise: Vec<u8> = (0..64).map(|_| self.random.next_u64() as u8).collect();
                line.put(&noise);
                self.rest(rig, 10)?;
                drop(line.take());
            }
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

    /// How it ends: the first-out, if it tripped and the flash took that.
    fn end(&mut self, rig: &mut Rig) -> Result<Option<Condition>, String> {
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
        rig.stop_belt();
        self.soak.belt_stops += 1;
        rig.run(BELT_STOP_MS);
        if rig.motor_runs() && !may_miss {
            return Err("the motor runs three seconds after the belt stood".to_owned());
        }
        let wait = self.random.whole(0, 30_000) as u64;
        rig.run(wait);
        if forgetful {
            return Ok(None);
        }
        Ok(rig.sensor_box.monitor().status().first_out)
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
            let sound = Reader::new(&bytes).filter(|(segment, damage)| segment.is_some() && damage.is_none()).count();
            // What power cut off within its first segment has no whole one.
            if bytes.len() != entry.length as usize || (sound == 0 && bytes.len() > 8_192) {
                return Err(format!("recording {}: {sound} sound segments in {} bytes", entry.number, bytes.len()));
            }
            self.newest = Some(entry.number);
            self.soak.recordings += 1;
        }
        Ok(())
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
