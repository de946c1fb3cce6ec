//! The box as a whole: one call of [`SensorBox::poll`] is one round of the main loop.
//!
//! A round: is the program on time? – take the edges up to the watermark – look at contacts, buttons and lines – tell the
//! monitor that no earlier input follows – switch the permits – store what must survive – beat the heart. Whatever goes
//! wrong on the way becomes a [`Fault`], drops the permits and is told; nothing in here panics.
//!
//! Flash is erased only while the leg stands with the run permit's contacts seen open, one block a round: on many parts the
//! program stands still while a block is erased, and a leg must not start meanwhile.

mod arm_by_link;
mod armed;
mod by_link;
mod diary;
mod faults;
mod heat;
mod inputs;
mod marked;
mod memory;
mod outputs;
mod proof;
mod says;
mod temperatures;
mod two_clocks;
mod watchdog;

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_storage::nor_flash::NorFlash;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, Input, Origin, Place, Shaft, Signal};
use slackside::measure::Measure;
use slackside::record::{Anchor, Recorder};
use slackside::settings::plan::{OwnedPlan, Plan};
use slackside::settings::plan_check::Sound;
use slackside::units::{DeciCelsius, Joules, Micros, Ppm, Span, Watts};
use slackside::verdict::{Change, Permit as PermitKind, Phase};
use slackside::wire::{
    Asked, BoxStatus, MOST_FRAME, Message, ProofTests, Reason, Reply, Request, Server, Surroundings, encode,
};
use slackside::{Monitor, NoRoom};

use crate::arming;
use crate::edges::Merger;
use crate::events::{EventLog, Happened};
use crate::fault::Fault;
use crate::line::Analogue;
use crate::permits::Stage;
use crate::shelf::Shelf;
use crate::store::{About, Album, Entry, Kept, Layout, StoreError};
use crate::wires::{Press, Round, Senses, Wires, drop_all};
use arm_by_link::{ArmByLink, Waiting};
use armed::Armed;
use by_link::ByLink;
use diary::Diary;
use faults::FaultBook;
use inputs::Inputs;
use memory::{Memory, Work};
use outputs::{Outputs, Wanted};
use proof::Proof;
use temperatures::Temperatures;
use two_clocks::TwoClocks;

pub use armed::ArmRefusal;

/// The monitor of a box: its plan lies in memory of its own.
pub type BoxMonitor<const MARKS: usize> = Monitor<OwnedPlan, MARKS>;

/// How often contacts and buttons are looked at.
pub const SAMPLE: Span = Span::from_millis(1);

/// The key is on for so long at the most, with neither a bypass nor inching running.
const KEY_LEFT_ON: Span = Span::from_millis(900_000);

/// From the run permit's drop until the motor must be off by the starter's word: any contactor, and a drive's quick stop.
const MOTOR_OFF: Span = Span::from_millis(5_000);

/// The longest name of a leg, in bytes.
const MOST_NAME: usize = 32;

/// The most recordings that are listed.
pub const MOST_LISTED: usize = 32;

/// The verdicts that the link can ask for.
pub type Verdicts = slackside::wire::EventLog<64>;

/// Who this box is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Nameplate {
    /// The serial number.
    pub serial: &'static str,
    /// The firmware's name and version.
    pub firmware: &'static str,
}

/// What a box is built from.
pub struct Parts<'a, I, O, A, F, const MARKS: usize> {
    /// Who it is.
    pub nameplate: Nameplate,
    /// The edges of both shafts.
    pub edges: Merger<'a>,
    /// How long an edge may be on its way from its capture into its queue. Zero where the interrupt itself reads the clock,
    /// on one processor core.
    pub capture_latency: Span,
    /// What is wired.
    pub wires: Wires<I, O, A>,
    /// The flash.
    pub flash: F,
    /// What lies where in it.
    pub layout: Layout,
    /// The monitor, in a static of its own: it is large.
    pub monitor: &'a mut BoxMonitor<MARKS>,
    /// The recorder, with its memory.
    pub recorder: Recorder<'a>,
}

/// The box.
pub struct SensorBox<'a, I, O, A, F, const MARKS: usize> {
    nameplate: Nameplate,
    inputs: Inputs<'a, I, A>,
    outputs: Outputs<O, I>,
    memory: Memory<F>,
    book: FaultBook,
    armed: Armed,
    monitor: &'a mut BoxMonitor<MARKS>,
    recorder: Recorder<'a>,
    /// The first trip that is not filed yet.
    trip: Option<(Micros, Option<Condition>)>,
    events: EventLog,
    verdicts: Verdicts,
    by_link: ByLink,
    arm_by_link: ArmByLink,
    proof: Proof,
    diary: Diary,
    /// Since when the key is on with neither a bypass nor inching running.
    key_idle: Option<Micros>,
    /// Since when the motor has run with the run permit dropped.
    runs_on: Option<Micros>,
    clocks: TwoClocks,
    temperatures: Temperatures,
    /// The permits are held while a block of flash is erased.
    flash_hold: bool,
    polled: Option<Micros>,
}

impl<'a, I, O, A, F, const MARKS: usize> SensorBox<'a, I, O, A, F, MARKS>
where
    I: InputPin,
    O: OutputPin,
    A: Analogue,
    F: NorFlash,
{
    /// Start: drop every output, load the plan and what survived. Never fails: what is wrong is in [`faults`](Self::faults),
    /// and holds the permits dropped.
    pub fn start(parts: Parts<'a, I, O, A, F, MARKS>, now: Micros) -> Self {
        let layout = parts.layout;
        let mut sensor_box = Self::built(parts);
        sensor_box.diary.open(&layout, &mut sensor_box.memory.flash);
        if let Err(fault) = sensor_box.load() {
            sensor_box.book.put(fault, true);
        }
        sensor_box.events.push(now, Happened::Started { settings: sensor_box.armed.identity });
        if let Some(number) = sensor_box.memory.album.as_ref().and_then(Album::salvaged) {
            sensor_box.events.push(now, Happened::Recorded { number });
        }
        sensor_box.settle_faults(now);
        sensor_box
    }

    /// Put together, its outputs dropped. On a stack of its own: what it needs for a moment is not held for as long as the box runs.
    #[inline(never)]
    fn built(parts: Parts<'a, I, O, A, F, MARKS>) -> Self {
        let Parts { nameplate, edges, capture_latency, wires, flash, layout, monitor, recorder } = parts;
        let Wires { inputs, mut outputs } = wires;
        let dropped = drop_all(&mut outputs);
        let (mut memory, kept, found) = Memory::open(flash, &layout);
        let (key, power_up) = memory.key_and_power_up();
        let proof = Proof::new(memory.last_proof());
        let Kept { faults, retained, .. } = kept;
        let mut book = FaultBook::new(faults);
        book.add(found);
        book.put(Fault::Pin, !dropped);
        Self {
            nameplate,
            inputs: Inputs::new(edges, Senses::new(inputs), capture_latency),
            outputs: Outputs::new(outputs),
            memory,
            book,
            armed: Armed { identity: None, restored: retained },
            monitor,
            recorder,
            trip: None,
            events: EventLog::new(),
            verdicts: Verdicts::new(),
            by_link: ByLink::default(),
            arm_by_link: ArmByLink::new(key, power_up),
            proof,
            diary: Diary::new(),
            key_idle: None,
            runs_on: None,
            clocks: TwoClocks::default(),
            temperatures: Temperatures::default(),
            flash_hold: false,
            polled: None,
        }
    }

    /// The plan from flash into the monitor.
    #[inline(never)]
    fn load(&mut self) -> Result<(), Fault> {
        let plan = Sound::new(OwnedPlan(self.memory.load_plan()?)).map_err(|_| Fault::SettingsRefused)?;
        if !self.inputs.senses.serve(&plan, self.inputs.has_head_sensor()) {
            return Err(Fault::NotWired);
        }
        self.configure(plan).map_err(|NoRoom| Fault::NoRoom)
    }

    /// Put a plan in force, with what judge remembers of the one before or what survived.
    fn configure(&mut self, plan: Sound<OwnedPlan>) -> Result<(), NoRoom> {
        let mut retained = self.monitor.retained().unwrap_or(self.armed.restored);
        let budget = Joules::new(plan.drive.heat_budget);
        if self.memory.heat_unknown && retained.slip_heat() > budget {
            retained.put_slip_heat(budget);
        }
        let identity = plan.identity();
        self.recorder.configure(self.monitor, plan, &retained, self.memory.session)?;
        self.memory.heat_unknown = false;
        self.armed.identity = Some(identity);
        self.proof.runs = false;
        Ok(())
    }

    /// One round of the main loop at `now`, the time of the clock that stamps the edges, read just before the call.
    pub fn poll(&mut self, now: Micros) {
        let latency = self.inputs.capture_latency;
        let deadline = self.monitor.next_deadline().map(|deadline| deadline.after(latency));
        if !self.outputs.heartbeat.on_time(now, deadline) && !self.book.is_present(Fault::EdgesLost) {
            self.book.put(Fault::Stalled, true);
        }
        if !self.clocks.agree(now) {
            self.book.latch(Fault::ClocksDiffer);
        }
        self.take_inputs(now);
        self.settle_faults(now);
        self.switch(now);
        self.keep(now);
        if !self.outputs.beat(now) {
            // The next round looks at the other pins, and would find nothing.
            self.book.latch(Fault::Pin);
        }
        self.polled = Some(now);
    }

    /// When the newest round was.
    pub(crate) fn newest_round(&self) -> Micros {
        self.polled.unwrap_or(Micros::ZERO)
    }

    /// When to poll again at the latest, whatever else happens.
    #[must_use]
    pub fn next_wake(&self) -> Micros {
        let sample = self.polled.map_or(Micros::ZERO, |polled| polled.after(SAMPLE));
        let latency = self.inputs.capture_latency;
        self.monitor.next_deadline().map_or(sample, |deadline| sample.min(deadline.after(latency)))
    }

    fn take_inputs(&mut self, now: Micros) {
        let tripped_before = self.trip.is_some();
        let Self { inputs, monitor, recorder, trip, verdicts, proof, diary, temperatures, .. } = self;
        let (Round { pin_fault, supply_low, press, acknowledge, reset_stuck }, lost) =
            inputs.take(now, &mut |input: Input| {
                diary.hear(&input);
                temperatures.hear(&input.signal);
                recorder.observe(monitor, input, &mut |verdict| {
                    if let Change::Permit { permit: PermitKind::Run, allowed: false, because } = verdict.change {
                        trip.get_or_insert((verdict.at, because));
                    }
                    proof.hear(&verdict.change);
                    verdicts.push(verdict);
                });
            });
        diary.look(monitor);
        if self.trip.is_some() && !tripped_before {
            self.recorder.hold_early(self.monitor);
        }
        if self.proof.just_passed() {
            self.proof_passed(now);
        }
        self.book.put(Fault::ProofTestDue, self.proof.is_due(now));
        if lost {
            // For good: what else was lost with them is not known, and the watchdog shall start the program anew.
            self.outputs.heartbeat.stop();
            self.book.put(Fault::EdgesLost, true);
        }
        self.book.put(Fault::Pin, pin_fault);
        self.book.put(Fault::ResetStuck, reset_stuck);
        self.arm_by_link.round(acknowledge, self.inputs.senses.key_is_on(), now);
        let key_left_on = self.is_key_left_on(now);
        self.book.put(Fault::KeyLeftOn, key_left_on);
        let fitted = self.monitor.plan().map_or(0, |plan| plan.contacts.temperatures);
        let runs = self.monitor.status().phase == Phase::Running;
        self.book.put(Fault::TemperatureStill, self.temperatures.stand_still(now, fitted, runs));
        if let Some(low) = supply_low {
            let low = self.inputs.is_supply_low(low, now);
            self.book.put(Fault::SupplyLow, low);
        }
        if press == Some(Press::Proper) {
            self.book.reset();
        }
    }

    /// Whether the key has been on for long without being used for what it is there for.
    fn is_key_left_on(&mut self, now: Micros) -> bool {
        let is_bypassed = |condition| self.monitor.alarm(condition) == AlarmState::Shelved;
        let idle = self.inputs.senses.key_is_on()
            && self.monitor.status().phase != Phase::Inching
            && !Condition::ALL.into_iter().any(is_bypassed);
        if !idle {
            self.key_idle = None;
            return false;
        }
        now.since(*self.key_idle.get_or_insert(now)) >= KEY_LEFT_ON
    }

    fn settle_faults(&mut self, now: Micros) {
        self.book.settle(now, &mut self.events);
    }

    /// Bring the outputs to what judge allows and the faults leave.
    fn switch(&mut self, now: Micros) {
        let status = self.monitor.status();
        let alarmed = Condition::ALL.into_iter().any(|condition| {
            !matches!(
                self.monitor.alarm(condition),
                AlarmState::Normal | AlarmState::Suppressed | AlarmState::Shelved | AlarmState::OutOfService
            )
        });
        let faults = self.faults();
        let wanted = Wanted {
            phase: status.phase,
            run: status.run_permit && !faults.drop_permits() && !self.flash_hold,
            feed: status.feed_permit,
            well: self.arm_by_link.shows(!alarmed && !self.proof.runs && faults.is_empty(), now),
        };
        let found = self.outputs.switch(wanted, now);
        self.book.relays(found);
        let runs_on = self.does_motor_run_on(now);
        self.book.put(Fault::MotorRunsOn, runs_on);
        self.settle_faults(now);
    }

    /// Whether the motor has run for too long with the run permit dropped.
    fn does_motor_run_on(&mut self, now: Micros) -> bool {
        if self.outputs.run.is_driven() || !self.inputs.senses.drive_is_on() {
            self.runs_on = None;
            return false;
        }
        now.since(*self.runs_on.get_or_insert(now)) >= MOTOR_OFF
    }

    /// Store what must survive, and look after the flash while the leg stands.
    fn keep(&mut self, now: Micros) {
        // Without a plan judge remembers nothing: what is in the journal must stay.
        if let Some(retained) = self.monitor.retained() {
            let may_run = self.outputs.run.given();
            let budget = self.monitor.plan().map_or(0, |plan| plan.drive.heat_budget);
            if self.memory.keep(retained, budget, may_run, &mut self.book) {
                self.outputs.heartbeat.excuse();
            }
        }
        let rests = self.is_at_rest();
        let kept = self.diary.keep(&mut self.memory.flash, self.monitor.plan(), rests);
        let tidies_days = self.diary.wants_tidying();
        self.flash_hold = rests && (self.memory.has_work(&self.recorder) || tidies_days);
        let at_rest = self.flash_hold && self.outputs.run.stage() == Stage::Proved;
        if !kept || (at_rest && tidies_days && !self.tidy_days()) {
            self.book.latch(Fault::RecordingNotStored);
        }
        // From the trip on, the leg still turning: nothing is erased, and a little is written.
        let ahead = !at_rest && !self.outputs.run.is_driven() && self.memory.can_file_ahead(&self.recorder);
        if (!at_rest && !ahead) || (at_rest && tidies_days) {
            return;
        }
        let (tripped_at, first_out) = self.trip.unwrap_or_default();
        let settings = self.armed.identity.unwrap_or(0);
        let about = About { settings, session: self.memory.session, tripped_at, first_out };
        let Self { memory, recorder, book, events, .. } = self;
        let work = if at_rest {
            self.outputs.heartbeat.excuse();
            memory.work(recorder, about, book, events, now)
        } else {
            memory.file(recorder, about, book, events, now)
        };
        if work == Work::Filed {
            self.trip = None;
        }
    }

    /// Erase a page of the days ahead: whether the flash did.
    fn tidy_days(&mut self) -> bool {
        self.outputs.heartbeat.excuse();
        self.diary.tidy(&mut self.memory.flash)
    }

    /// Whether the leg is proven to stand, with its drive off.
    #[must_use]
    pub fn is_at_rest(&self) -> bool {
        let phase = self.monitor.status().phase;
        (phase == Phase::Standstill || self.armed.identity.is_none()) && self.inputs.senses.drive_is_off()
    }

    /// Whether the run permit is given: judged, driven, and its contacts seen closed.
    #[must_use]
    pub fn run_given(&self) -> bool {
        self.outputs.run.given()
    }

    /// Whether the feed permit is given.
    #[must_use]
    pub fn feed_given(&self) -> bool {
        self.outputs.feed.given()
    }

    /// Whether the program has met its deadlines since it started: only then a watchdog of the board may be fed, in the loop that calls
    /// [`poll`](Self::poll).
    #[must_use]
    pub const fn is_on_time(&self) -> bool {
        !self.outputs.heartbeat.has_stopped()
    }

    /// Whether the key is on.
    #[must_use]
    pub fn key_is_on(&self) -> bool {
        self.inputs.senses.key_is_on()
    }

    /// Whether the sensor line of a shaft would show a cut wire.
    #[must_use]
    pub fn is_supervised(&self, shaft: Shaft) -> bool {
        self.inputs.senses.is_supervised(shaft)
    }

    /// Which rub contacts would show a cut wire.
    #[must_use]
    pub fn supervised_contacts(&self) -> [bool; Place::COUNT] {
        self.inputs.senses.supervised_contacts()
    }

    /// Hand in a temperature. The newest before the next round counts. One that has not moved, or not come, for a day in which the leg ran for an
    /// hour is [`Fault::TemperatureStill`]: where a sensor or the way to it fails, hand in nothing rather than its last value.
    pub fn temperature(&mut self, place: Place, temperature: DeciCelsius) {
        if let Some(slot) = self.inputs.readings.temperatures.get_mut(place.index()) {
            *slot = Some(temperature);
        }
    }

    /// Hand in the power at the head shaft.
    pub fn power(&mut self, power: Watts) {
        self.inputs.readings.power = Some(power);
    }

    /// Hand in the speed reference.
    pub fn reference(&mut self, reference: Ppm) {
        self.inputs.readings.reference = Some(reference);
    }

    /// Hand in what a second clock says, before each round: one with an oscillator of its own, which runs on while the other stands. Its
    /// microseconds need not begin with the other's, and may come in steps of up to 10 ms. From the first time on the two are compared
    /// over spans of 2 s: where they differ by more than 3 %, or one stands, that is [`Fault::ClocksDiffer`].
    pub const fn second_clock(&mut self, time: Micros) {
        self.clocks.hand_in(time);
    }

    /// From now on prove the watchdog outside before each start: once the heart has stood still for so long, the coils must be without supply.
    /// If the first relay follows its coil all the same, that is [`Fault::WatchdogShut`]. Each proof holds the run permit for twice as long and a
    /// tenth of a second, at rest. Not for a watchdog that resets the processor.
    pub const fn watchdog_opens_within(&mut self, span: Span) {
        self.outputs.watchdog.begin(span);
    }

    /// Hand in a command, from a panel at the leg or from a link; one a round. Whether it was taken: of those that come by a link only what
    /// would be carried out, and [few at a time](Reason::TooOften).
    pub fn command(&mut self, origin: Origin, command: Command) -> bool {
        match origin {
            Origin::Leg => self.hand_in(origin, command),
            Origin::Link => self.command_by_link(command).is_ok(),
        }
    }

    fn command_by_link(&mut self, command: Command) -> Result<(), Reason> {
        let now = self.inputs.edges.watermark();
        let taken = match self.monitor.would_take(Origin::Link, command) {
            Err(refusal) => Err(Reason::Monitor(refusal)),
            Ok(()) if self.by_link.has_room(now) && self.hand_in(Origin::Link, command) => Ok(()),
            Ok(()) => Err(Reason::TooOften),
        };
        match taken {
            Ok(()) => self.by_link.take(now),
            Err(_) => self.by_link.refused.add(now),
        }
        taken
    }

    fn hand_in(&mut self, origin: Origin, command: Command) -> bool {
        let free = self.inputs.readings.command.is_none();
        if free {
            self.inputs.readings.command = Some((origin, command));
        }
        free
    }

    /// The desk told its time.
    pub fn anchor(&mut self, anchor: Anchor) {
        self.recorder.anchor(anchor);
        self.proof.find_due(Some(anchor));
    }

    /// A proof test has passed: write it down, with the day if a desk has told it.
    fn proof_passed(&mut self, now: Micros) {
        let anchor = self.recorder.newest_anchor();
        let minutes = self.proof.passed(anchor, now);
        if !self.memory.keep_proof(minutes) {
            self.book.latch(Fault::RecordingNotStored);
        }
    }

    /// When the stop was proven last, and how often that is due.
    #[must_use]
    pub const fn proof_tests(&self) -> ProofTests {
        self.proof.tests()
    }

    /// Hold what is recorded now, as after a trip: it is filed once the leg stands.
    pub fn freeze(&mut self) {
        self.recorder.freeze(self.monitor);
    }

    /// The recordings in flash, oldest first: each with its number and length.
    pub fn recordings(&mut self) -> heapless::Vec<Entry, MOST_LISTED> {
        let Memory { album: Some(album), flash, .. } = &mut self.memory else { return heapless::Vec::new() };
        // Beyond the room they are there, but not listed.
        let found = album.numbers().filter_map(|number| album.find(flash, number).ok());
        let mut entries: heapless::Vec<Entry, MOST_LISTED> = found.take(MOST_LISTED).collect();
        entries.reverse();
        entries
    }

    /// Read from a recording in flash: the number of bytes read, 0 at its end.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] if there is none of that number, [`StoreError::Flash`].
    pub fn read_recording(&mut self, number: u32, offset: u32, buffer: &mut [u8]) -> Result<usize, StoreError> {
        let Memory { album: Some(album), flash, .. } = &mut self.memory else { return Err(StoreError::Flash) };
        let entry = album.find(flash, number)?;
        album.read(flash, &entry, offset, buffer)
    }

    /// Arm a plan: only with the key on, the leg at rest, this leg's name given and the identity of the plan echoed. `leg` is the name of
    /// the leg as the box knows it, or the plan's own if it knows none. The box alone checks: whoever sends may be of any age.
    ///
    /// # Errors
    /// [`ArmRefusal`]; nothing has changed then, unless it is [`ArmRefusal::Store`].
    #[inline(never)]
    pub fn arm(&mut self, plan: &Plan, leg: &[u8], identity: u32, now: Micros) -> Result<(), ArmRefusal> {
        let sound = self.may_arm(plan, leg, identity)?;
        // The flash is about to be erased: the permits drop, and are proved again afterwards.
        let dropped = self.outputs.drop_now();
        self.book.add(dropped);
        let before = self.armed.identity;
        let stored = self.memory.store_plan(plan.bytes(), before);
        self.outputs.heartbeat.excuse();
        self.book.put(Fault::SettingsInDoubt, stored == Err(StoreError::InDoubt));
        stored.map_err(ArmRefusal::Store)?;
        self.configure(sound).map_err(|NoRoom| ArmRefusal::NoRoom)?;
        self.diary.settings_changed();
        self.inputs.senses.forget();
        self.outputs.prove_at_standstill();
        for fault in
            [Fault::NoSettings, Fault::SettingsUnreadable, Fault::SettingsRefused, Fault::NoRoom, Fault::NotWired]
        {
            self.book.put(fault, false);
        }
        self.events.push(now, Happened::Armed { before, now: identity });
        // Into the recording, and among the verdicts.
        self.inputs.readings.command = Some((Origin::Leg, Command::Armed { old: before.unwrap_or(0), new: identity }));
        Ok(())
    }

    /// One step of setting the box's key, asked for by a port at the box itself: whether that was the last. From the first on the permits are
    /// dropped, and after the last the heart stands still: the program begins anew, without settings.
    ///
    /// # Errors
    /// [`ArmRefusal`]; nothing has changed then if it was the first step.
    #[cfg(feature = "tag")]
    pub(crate) fn set_key(&mut self, key: &arming::BoxKey, step: u8) -> Result<bool, ArmRefusal> {
        if !self.inputs.senses.key_is_on() {
            return Err(ArmRefusal::KeyOff);
        }
        if !self.is_at_rest() {
            return Err(ArmRefusal::NotAtRest);
        }
        let dropped = self.outputs.drop_now();
        self.book.add(dropped.with(Fault::NoSettings));
        self.arm_by_link.waiting = None;
        self.arm_by_link.key = None;
        self.outputs.heartbeat.excuse();
        let done = self.memory.set_key(key, step).map_err(ArmRefusal::Store)?;
        if done {
            self.outputs.heartbeat.stop();
        }
        Ok(done)
    }

    /// Whether a plan may be armed now.
    fn may_arm(&self, plan: &Plan, leg: &[u8], identity: u32) -> Result<Sound<OwnedPlan>, ArmRefusal> {
        if !self.inputs.senses.key_is_on() {
            return Err(ArmRefusal::KeyOff);
        }
        Armed::may_follow(self.monitor.plan(), plan, leg, identity)?;
        if !self.is_at_rest() {
            return Err(ArmRefusal::NotAtRest);
        }
        let sound = Sound::new(OwnedPlan(*plan)).map_err(ArmRefusal::Rule)?;
        if !self.inputs.senses.serve(&sound, self.inputs.has_head_sensor()) {
            return Err(ArmRefusal::NotWired);
        }
        if !Measure::<MARKS>::has_room(&sound) {
            return Err(ArmRefusal::NoRoom);
        }
        Ok(sound)
    }

    /// Answer one request of the link as a frame in `out`: its length, 0 if it had no room.
    #[inline(never)]
    pub fn answer(
        &mut self,
        number: u8,
        request: Option<Request<'_>>,
        server: &mut Server<'_>,
        out: &mut [u8; MOST_FRAME],
    ) -> usize {
        let now = self.inputs.edges.watermark();
        let around = Surroundings {
            now,
            key_on: self.inputs.senses.key_is_on(),
            serial: self.nameplate.serial,
            firmware: self.nameplate.firmware,
            session: self.memory.session,
            anchor: self.recorder.newest_anchor(),
        };
        let proof_tests = self.proof.tests();
        let Self { memory, diary, .. } = self;
        let mut shelf = Shelf {
            flash: &mut memory.flash,
            album: memory.album.as_ref(),
            days: diary.days(),
            today: diary.today(),
            proof_tests,
        };
        let is_command = matches!(request, Some(Request::Command(_)));
        if matches!(request, Some(Request::Stage { .. })) {
            // What waits is no longer what a person at the box was told of.
            self.arm_by_link.waiting = None;
        }
        let mut length = 0;
        let mut say = |reply: &dyn Message| length = encode(number, reply, out).map_or(0, <[u8]>::len);
        let asked = server.answer(request, &around, self.monitor, &self.verdicts, &mut shelf, &mut say);
        match asked {
            Asked::Observe(Input { signal: Signal::Command(_, command), .. }) => {
                if let Err(reason) = self.command_by_link(command) {
                    length = encode(number, &Reply::Refused(reason), out).map_or(0, <[u8]>::len);
                }
            }
            // Not for a link, or not with the key off.
            Asked::Nothing if is_command => self.by_link.refused.add(now),
            Asked::Anchor(anchor) => self.anchor(anchor),
            Asked::Box => length = encode(number, &Reply::Box(self.box_status()), out).map_or(0, <[u8]>::len),
            Asked::Challenge => {
                let reply = self.arm_by_link.ask(now).map_or_else(Reply::Refused, Reply::Challenge);
                length = encode(number, &reply, out).map_or(0, <[u8]>::len);
            }
            Asked::Mark { work, note } => {
                let marked = self.diary.mark(&mut self.memory.flash, work, note);
                let reply = marked.map_or_else(Reply::Refused, |()| Reply::Done);
                length = encode(number, &reply, out).map_or(0, <[u8]>::len);
            }
            Asked::Arm { leg, identity, tag } => {
                let reply =
                    self.may_wait(server, leg, identity, tag, now).map_or_else(Reply::Refused, |()| Reply::Done);
                length = encode(number, &reply, out).map_or(0, <[u8]>::len);
            }
            _ => {}
        }
        length
    }

    /// Check what the server holds staged and who sent it; it then waits for a person at the box.
    fn may_wait(
        &mut self,
        server: &Server<'_>,
        leg: &[u8],
        identity: u32,
        tag: &[u8],
        now: Micros,
    ) -> Result<(), Reason> {
        let (key, challenge) = self.arm_by_link.take(now)?;
        self.arm_by_link.waiting = None;
        let plan = server.staged().ok_or(Reason::NothingStaged)?;
        let seal = arming::seal(&key, challenge, plan, self.nameplate.serial, leg).ok_or(Reason::TooLong)?;
        if !arming::is_proven(&seal, tag) {
            self.by_link.refused.add(now);
            return Err(Reason::WrongTag);
        }
        self.may_arm(plan, leg, identity).map_err(ArmRefusal::reason)?;
        self.arm_by_link.wait(challenge, identity, seal, now);
        Ok(())
    }

    /// A person at the box has confirmed what waits: arm it, if it is still what was checked.
    #[inline(never)]
    pub(crate) fn arm_confirmed(&mut self, server: &mut Server<'_>) {
        let Some(Waiting { challenge, identity, seal, confirmed: true, .. }) = self.arm_by_link.waiting else { return };
        self.arm_by_link.waiting = None;
        let (Some(key), Some(plan)) = (self.arm_by_link.key, server.staged()) else { return };
        // Other pieces may have been staged meanwhile, and a name is known by the tag alone.
        let (plan, leg) = (*plan, self.leg_to_be(plan));
        if arming::seal(&key, challenge, &plan, self.nameplate.serial, &leg) != Some(seal) {
            return;
        }
        if self.arm(&plan, &leg, identity, self.newest_round()).is_ok() {
            self.book.latch(Fault::PlanArmed);
            server.forget();
        }
    }

    /// The name of the leg that the box knows, or the plan's own if it knows none.
    fn leg_to_be(&self, plan: &Plan) -> heapless::Vec<u8, MOST_NAME> {
        let known = self.monitor.plan().unwrap_or(plan);
        // No name is longer.
        heapless::Vec::from_slice(known.leg_name().as_bytes()).unwrap_or_default()
    }

    /// How the box itself is, apart from the leg.
    #[must_use]
    pub fn box_status(&self) -> BoxStatus {
        let (supervised_shafts, supervised_contacts) = self.supervision();
        BoxStatus {
            faults: self.faults().bits(),
            run_given: self.run_given(),
            feed_given: self.feed_given(),
            supervised_shafts,
            supervised_contacts,
            refused: self.by_link.refused,
            waits_for_press: self.arm_by_link.waiting.is_some(),
        }
    }

    /// Which sensor lines and which rub contacts would show a cut wire.
    fn supervision(&self) -> ([bool; 2], [bool; Place::COUNT]) {
        let shafts = [Shaft::Head, Shaft::Boot].map(|shaft| self.inputs.senses.is_supervised(shaft));
        (shafts, self.inputs.senses.supervised_contacts())
    }
}
