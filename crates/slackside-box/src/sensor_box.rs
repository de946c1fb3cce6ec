//! The box as a whole: one call of [`SensorBox::poll`] is one round of the main loop.
//!
//! A round: is the program on time? – take the edges up to the watermark – look at contacts, buttons and lines – tell the
//! monitor that no earlier input follows – switch the permits – store what must survive – beat the heart. Whatever goes
//! wrong on the way becomes a [`Fault`], drops the permits and is told; nothing in here panics.
//!
//! Flash is erased only while the leg stands with the run permit's contacts seen open, one block a round: on many parts the
//! program stands still while a block is erased, and a leg must not start meanwhile.

use core::cell::RefCell;

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_storage::nor_flash::NorFlash;
use slackside::input::{Command, Input, Origin, Place, Shaft, Signal};
use slackside::judge::{AlarmState, Condition, Status};
use slackside::measure::Measure;
use slackside::record::{Anchor, Recorder};
use slackside::settings::{Checked, MOST_IMAGE_BYTES, Settings};
use slackside::survivor::Survivor;
use slackside::units::{DeciCelsius, Joules, Micros, Ppm, Span, Watts};
use slackside::verdict::{Change, Permit as PermitKind, Phase};
use slackside::wire::{Asked, BoxStatus, MOST_FRAME, Reason, Reply, Request, Server, Surroundings, encode};
use slackside::{Monitor, NoRoom};

use crate::edges::Merger;
use crate::events::{EventLog, Happened};
use crate::fault::{Fault, Faults};
use crate::filing::{Filing, Step};
use crate::heartbeat::Heartbeat;
use crate::line::Analogue;
use crate::permits::{Permit, Stage};
use crate::pin::Output;
use crate::shelf::Shelf;
use crate::store::{About, Album, Entry, Found, Journal, Kept, Layout, Restored, Slots, StoreError};
use crate::wires::{Press, Round, Senses, Wires, drop_all};

/// How often contacts and buttons are looked at.
pub const SAMPLE: Span = Span::from_millis(1);

/// The most recordings that are listed.
pub const MOST_LISTED: usize = 32;

/// After a dip of the supply the permits stay dropped for so long.
const SUPPLY_RECOVERY: Span = Span::from_millis(1_000);

/// Slip heat alone is stored no more often than this: it would wear out the flash.
const HEAT_EVERY: Span = Span::from_millis(10_000);

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
    pub monitor: &'a mut Monitor<MARKS>,
    /// The recorder, with its memory.
    pub recorder: Recorder<'a>,
}

/// Why settings were not armed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ArmRefusal {
    /// The key at the box is off.
    KeyOff,
    /// The leg is not proven to stand, or its drive is on.
    NotAtRest,
    /// The bytes are no settings image.
    Image(slackside::settings::ImageError),
    /// The leg's name given is not this leg's.
    OtherLeg,
    /// The identity echoed is not that of these settings.
    OtherIdentity,
    /// A rule is broken.
    Rule(slackside::settings::Violation),
    /// They are for more marks a turn than this box has room for.
    NoRoom,
    /// They name something that is not wired.
    NotWired,
    /// They could not be stored.
    Store(StoreError),
}

impl ArmRefusal {
    /// What the link says of it.
    const fn reason(self) -> Reason {
        match self {
            Self::KeyOff => Reason::KeyOff,
            Self::NotAtRest => Reason::LegTurns,
            Self::Image(_) => Reason::BadImage,
            Self::OtherLeg => Reason::OtherLeg,
            Self::OtherIdentity => Reason::OtherIdentity,
            Self::Rule(_) => Reason::RulesBroken,
            Self::NoRoom | Self::NotWired => Reason::NotWired,
            Self::Store(_) => Reason::Memory,
        }
    }
}

/// The box.
pub struct SensorBox<'a, I, O, A, F, const MARKS: usize> {
    nameplate: Nameplate,
    edges: Merger<'a>,
    has_head_sensor: bool,
    capture_latency: Span,
    senses: Senses<I, A>,
    run: Permit<O, I, 2>,
    feed: Permit<O, I, 1>,
    alarm: Output<O>,
    heartbeat: Heartbeat<O>,
    flash: F,
    slots: Slots,
    journal: Option<Journal>,
    album: Option<Album>,
    monitor: &'a mut Monitor<MARKS>,
    recorder: Recorder<'a>,
    filing: Filing,
    /// The first trip that is not filed yet.
    trip: Option<(Micros, Option<Condition>)>,
    /// How often the box was started.
    session: u32,
    /// The identity of the settings in force.
    identity: Option<u32>,
    /// Their image.
    image: heapless::Vec<u8, MOST_IMAGE_BYTES>,
    leg: heapless::String<32>,
    events: EventLog,
    verdicts: Verdicts,
    /// Faults with a cause that is there now.
    present: Faults,
    /// Faults that wait for a reset.
    latched: Faults,
    /// The faults as last told to the event log.
    told: Faults,
    /// What survived, for settings that come later.
    restored: Survivor,
    /// What is in the journal.
    stored: Kept,
    heat_stored_at: Micros,
    supply_good_since: Option<Micros>,
    /// A proof of the run permit is due at the next standstill.
    ran: bool,
    /// The permits are held while a block of flash is erased.
    flash_hold: bool,
    readings: Readings,
    polled: Option<Micros>,
}

/// Readings handed in since the last round.
#[derive(Clone, Copy, Debug, Default)]
struct Readings {
    temperatures: [Option<DeciCelsius>; Place::COUNT],
    power: Option<Watts>,
    reference: Option<Ppm>,
    command: Option<(Origin, Command)>,
}

impl<'a, I, O, A, F, const MARKS: usize> SensorBox<'a, I, O, A, F, MARKS>
where
    I: InputPin,
    O: OutputPin,
    A: Analogue,
    F: NorFlash,
{
    /// Start: drop every output, load settings and what survived. Never fails: what is wrong is in [`faults`](Self::faults),
    /// and holds the permits dropped.
    pub fn start(parts: Parts<'a, I, O, A, F, MARKS>, now: Micros) -> Self {
        let Parts { nameplate, edges, capture_latency, wires, mut flash, layout, monitor, recorder } = parts;
        let Wires { inputs, mut outputs } = wires;
        let mut present = Faults::NONE;
        if !drop_all(&mut outputs) {
            present = present.with(Fault::Pin);
        }
        let (journal, restored) = match Journal::open(&layout, &mut flash) {
            Ok((journal, restored)) => (Some(journal), restored),
            Err(_) => (None, Restored { kept: None, sure: false }),
        };
        let before = restored.kept.as_ref().map_or(0, |kept| kept.session);
        let restored = restored.kept.filter(|_| restored.sure);
        let kept = restored.unwrap_or_else(|| Kept {
            session: before,
            faults: Faults::NONE.with(Fault::StateUnreadable),
            survivor: Survivor::unreadable(),
        });
        if journal.is_none() {
            present = present.with(Fault::StateNotStored);
        }
        let album = Album::open(&layout, &mut flash).ok();
        if album.is_none() {
            present = present.with(Fault::RecordingNotStored);
        }
        let mut sensor_box = Self {
            nameplate,
            has_head_sensor: edges.has_head(),
            edges,
            capture_latency,
            senses: Senses::new(inputs),
            run: Permit::new(outputs.run, [(Fault::RunAWelded, Fault::RunAOpen), (Fault::RunBWelded, Fault::RunBOpen)]),
            feed: Permit::new([outputs.feed], [(Fault::FeedWelded, Fault::FeedOpen)]),
            alarm: outputs.alarm,
            heartbeat: Heartbeat::new(outputs.heartbeat),
            flash,
            slots: Slots::new(&layout),
            journal,
            album,
            monitor,
            recorder,
            filing: Filing::default(),
            trip: None,
            session: before.wrapping_add(1),
            identity: None,
            image: heapless::Vec::new(),
            leg: heapless::String::new(),
            events: EventLog::new(),
            verdicts: Verdicts::new(),
            present,
            latched: kept.faults.latching(),
            told: Faults::NONE,
            restored: kept.survivor,
            // Nothing is known to be stored: the first round stores what is found now.
            stored: Kept { session: before, faults: Faults::from_bits(u32::MAX), survivor: Survivor::default() },
            heat_stored_at: now,
            supply_good_since: None,
            ran: true,
            flash_hold: false,
            readings: Readings::default(),
            polled: None,
        };
        let fault = sensor_box.load_settings();
        sensor_box.present = fault.into_iter().fold(sensor_box.present, Faults::with);
        sensor_box.events.push(now, Happened::Started { settings: sensor_box.identity });
        sensor_box.settle_faults(now);
        sensor_box
    }

    /// Settings from flash into the monitor.
    #[inline(never)]
    fn load_settings(&mut self) -> Option<Fault> {
        let mut buffer = [0; MOST_IMAGE_BYTES];
        let image = match self.slots.load(&mut self.flash, &mut buffer) {
            Ok(Found::Image { length, .. }) => buffer.get(..length),
            Ok(Found::Blank) => return Some(Fault::NoSettings),
            Ok(Found::Damaged) | Err(_) => return Some(Fault::SettingsUnreadable),
        };
        let Some(Ok(settings)) = image.map(Settings::from_image) else { return Some(Fault::SettingsUnreadable) };
        let Ok(settings) = settings.check_first() else { return Some(Fault::SettingsRefused) };
        if !self.senses.serve(&settings, self.has_head_sensor) {
            return Some(Fault::NotWired);
        }
        let survivor = self.restored.clone();
        self.configure(&settings, image.unwrap_or_default(), &survivor).err().map(|NoRoom| Fault::NoRoom)
    }

    fn configure(&mut self, settings: &Checked, image: &[u8], survivor: &Survivor) -> Result<(), NoRoom> {
        self.recorder.configure(self.monitor, settings, survivor, self.session)?;
        self.identity = Some(settings.identity());
        self.image.clear();
        // An image is never longer than the room for it.
        let _ = self.image.extend_from_slice(image);
        self.leg = settings.machine.leg.clone();
        Ok(())
    }

    /// One round of the main loop at `now`, the time of the clock that stamps the edges, read just before the call.
    pub fn poll(&mut self, now: Micros) {
        let deadline = self.monitor.next_deadline().map(|deadline| deadline.after(self.capture_latency));
        if !self.heartbeat.on_time(now, deadline) && !self.present.contains(Fault::EdgesLost) {
            self.present = self.present.with(Fault::Stalled);
        }
        self.take_inputs(now);
        self.settle_faults(now);
        self.switch(now);
        self.keep(now);
        let beats = !self.heartbeat.has_stopped() && self.heartbeat.beat(now);
        if !beats && !self.heartbeat.has_stopped() {
            self.present = self.present.with(Fault::Pin);
        }
        self.polled = Some(now);
    }

    /// When to poll again at the latest, whatever else happens.
    #[must_use]
    pub fn next_wake(&self) -> Micros {
        let sample = self.polled.map_or(Micros::ZERO, |polled| polled.after(SAMPLE));
        self.monitor.next_deadline().map_or(sample, |deadline| sample.min(deadline.after(self.capture_latency)))
    }

    fn take_inputs(&mut self, now: Micros) {
        let watermark = Micros::new(now.get().saturating_sub(u64::from(self.capture_latency.get())));
        let Self { edges, monitor, recorder, senses, readings, trip, verdicts, .. } = self;
        let mut observe = |input: Input| {
            recorder.observe(monitor, input, &mut |verdict| {
                if let Change::Permit { permit: PermitKind::Run, allowed: false, because } = verdict.change {
                    trip.get_or_insert((verdict.at, because));
                }
                verdicts.push(verdict);
            });
        };
        let lost = edges.move_on(watermark, &mut observe);
        while let Some(edge) = edges.next() {
            observe(edge);
        }
        // Looks are stamped with the watermark, not with now: an edge before now may still be on its way.
        let at = edges.watermark();
        let Round { pin_fault, supply_low, press } = senses.look(now, &mut |signal| observe(Input::new(at, signal)));
        let taken = core::mem::take(readings);
        let temperatures = Place::ALL.into_iter().zip(taken.temperatures);
        let temperatures = temperatures.filter_map(|(place, value)| Some(Signal::Temperature(place, value?)));
        let others = [
            taken.power.map(Signal::DrivePower),
            taken.reference.map(Signal::SpeedReference),
            taken.command.map(|(origin, command)| Signal::Command(origin, command)),
        ];
        for signal in temperatures.chain(others.into_iter().flatten()) {
            observe(Input::new(at, signal));
        }
        observe(Input::new(at, Signal::Tick));
        if lost {
            // For good: what else was lost with them is not known, and the watchdog shall start the program anew.
            self.heartbeat.stop();
            self.present = self.present.with(Fault::EdgesLost);
        }
        if pin_fault {
            self.present = self.present.with(Fault::Pin);
        } else {
            self.present = self.present.without(Fault::Pin);
        }
        if let Some(low) = supply_low {
            self.watch_supply(low, now);
        }
        if press == Some(Press::Proper) {
            self.latched = Faults::NONE;
        }
    }

    fn watch_supply(&mut self, low: bool, now: Micros) {
        if low {
            self.supply_good_since = None;
        }
        let good_for = self.supply_good_since.map(|since| now.since(since));
        if !low && self.supply_good_since.is_none() {
            self.supply_good_since = Some(now);
        }
        // At start-up the supply has just come.
        let recovered = good_for.is_some_and(|span| span >= SUPPLY_RECOVERY);
        self.present =
            if recovered { self.present.without(Fault::SupplyLow) } else { self.present.with(Fault::SupplyLow) };
    }

    /// What is present and latches, stays; tell what came and what went.
    fn settle_faults(&mut self, now: Micros) {
        let before = self.told;
        self.latched = self.latched.and(self.present.latching());
        let after = self.faults();
        for fault in Fault::ALL {
            match (before.contains(fault), after.contains(fault)) {
                (false, true) => self.events.push(now, Happened::FaultCame(fault)),
                (true, false) => self.events.push(now, Happened::FaultWent(fault)),
                _ => {}
            }
        }
        self.told = after;
    }

    /// Bring the outputs to what judge allows and the faults leave.
    fn switch(&mut self, now: Micros) {
        let Status { run_permit, feed_permit, phase, alarms, .. } = self.monitor.status();
        let (run_permit, feed_permit, phase) = (*run_permit, *feed_permit, *phase);
        let alarmed = alarms.iter().any(|state| {
            !matches!(
                state,
                AlarmState::Normal | AlarmState::Suppressed | AlarmState::Shelved | AlarmState::OutOfService
            )
        });
        let faults = self.faults();
        let sound = !faults.drop_permits();
        if matches!(phase, Phase::Starting | Phase::Running | Phase::Inching) {
            self.ran = true;
        } else if phase == Phase::Standstill && self.ran {
            self.run.prove_again();
            self.ran = false;
        }
        let run = run_permit && sound && !self.flash_hold;
        let relays = self.run.step(run, now).and(self.feed.step(feed_permit && run, now));
        let mut written = self.alarm.write(!alarmed && faults.is_empty());
        if !relays.is_empty() {
            // What one relay says drops all of them, in this very round.
            written &= self.run.drop_now().and(self.feed.drop_now()).is_empty();
        }
        let pin = if written { relays } else { relays.with(Fault::Pin) };
        let others = RELAY_FAULTS.into_iter().fold(self.present, Faults::without);
        self.present = others.and(pin);
        self.settle_faults(now);
    }

    /// Store what must survive, and look after the flash while the leg stands.
    fn keep(&mut self, now: Micros) {
        let kept = Kept { session: self.session, faults: self.latched, survivor: self.monitor.survivor() };
        let configured = self.identity.is_some();
        let weighty = weight(&kept) != weight(&self.stored);
        let hotter = kept.survivor.slip_heat.get().abs_diff(self.stored.survivor.slip_heat.get())
            > self.stored.survivor.slip_heat.get().max(HEAT_STEP.get()) / 8;
        let Self { journal: Some(journal), flash, .. } = self else { return };
        let must_erase = journal.must_erase();
        // Without settings judge remembers nothing: what is in the journal must stay.
        let wanted = configured && (weighty || (hotter && now.since(self.heat_stored_at) >= HEAT_EVERY && !must_erase));
        // A page is erased ahead at rest, so that this is rare; and never while the leg may run.
        if wanted && !(must_erase && self.run.given()) {
            if journal.append(flash, &kept).is_ok() {
                self.present = self.present.without(Fault::StateNotStored);
            } else {
                self.present = self.present.with(Fault::StateNotStored);
                self.latched = self.latched.with(Fault::StateNotStored);
            }
            self.stored = Kept { session: self.session, faults: self.latched, survivor: kept.survivor };
            self.heat_stored_at = now;
            if must_erase {
                self.heartbeat.excuse();
            }
        }
        self.work_at_rest(now);
    }

    /// Erase ahead and file recordings, while the leg stands and cannot start.
    fn work_at_rest(&mut self, now: Micros) {
        let tidying = self.journal.as_ref().is_some_and(Journal::wants_tidying);
        let filing = self.album.as_ref().is_some_and(|album| Filing::is_due(album, &self.recorder));
        self.flash_hold = self.is_at_rest() && (tidying || filing);
        if !self.flash_hold || self.run.stage() != Stage::Proved {
            return;
        }
        self.heartbeat.excuse();
        if tidying {
            if let Some(journal) = self.journal.as_mut()
                && journal.tidy(&mut self.flash).is_err()
            {
                self.present = self.present.with(Fault::StateNotStored);
                self.journal = None;
            }
            return;
        }
        let (settings, session) = (self.identity.unwrap_or(0), self.session);
        let (tripped_at, first_out) = self.trip.unwrap_or_default();
        let about = About { settings, session, tripped_at, first_out };
        let Self { album: Some(album), flash, recorder, filing, .. } = self else { return };
        match filing.step(album, flash, recorder, about) {
            Step::Idle | Step::More => return,
            Step::Filed(number) => self.events.push(now, Happened::Recorded { number }),
            Step::Failed => self.latched = self.latched.with(Fault::RecordingNotStored),
        }
        self.trip = None;
    }

    /// Whether the leg is proven to stand, with its drive off.
    #[must_use]
    pub fn is_at_rest(&self) -> bool {
        let phase = self.monitor.status().phase;
        (phase == Phase::Standstill || self.identity.is_none()) && self.senses.drive_is_off()
    }

    /// Whether the run permit is given: judged, driven, and its contacts seen closed.
    #[must_use]
    pub fn run_given(&self) -> bool {
        self.run.given()
    }

    /// Whether the feed permit is given.
    #[must_use]
    pub fn feed_given(&self) -> bool {
        self.feed.given()
    }

    /// Whether the key is on.
    #[must_use]
    pub fn key_is_on(&self) -> bool {
        self.senses.key_is_on()
    }

    /// Whether the sensor line of a shaft would show a cut wire.
    #[must_use]
    pub fn is_supervised(&self, shaft: Shaft) -> bool {
        self.senses.is_supervised(shaft)
    }

    /// Which rub contacts would show a cut wire.
    #[must_use]
    pub fn supervised_contacts(&self) -> [bool; Place::COUNT] {
        self.senses.supervised_contacts()
    }

    /// Hand in a temperature. The newest before the next round counts.
    pub fn temperature(&mut self, place: Place, temperature: DeciCelsius) {
        if let Some(slot) = self.readings.temperatures.get_mut(place.index()) {
            *slot = Some(temperature);
        }
    }

    /// Hand in the power at the head shaft.
    pub fn power(&mut self, power: Watts) {
        self.readings.power = Some(power);
    }

    /// Hand in the speed reference.
    pub fn reference(&mut self, reference: Ppm) {
        self.readings.reference = Some(reference);
    }

    /// Hand in a command, from a panel at the leg or from the link; one a round. Whether there was room for it.
    pub fn command(&mut self, origin: Origin, command: Command) -> bool {
        let free = self.readings.command.is_none();
        if free {
            self.readings.command = Some((origin, command));
        }
        free
    }

    /// The desk told its time.
    pub fn anchor(&mut self, anchor: Anchor) {
        self.recorder.anchor(self.monitor, anchor);
    }

    /// Hold what is recorded now, as after a trip: it is filed once the leg stands.
    pub fn freeze(&mut self) {
        self.recorder.freeze(self.monitor);
    }

    /// The recordings in flash, oldest first: each with its number and length.
    pub fn recordings(&mut self) -> heapless::Vec<Entry, MOST_LISTED> {
        let Self { album: Some(album), flash, .. } = self else { return heapless::Vec::new() };
        let mut entries: heapless::Vec<Entry, MOST_LISTED> = heapless::Vec::new();
        for place in 0..album.places() {
            if let Ok(Some(entry)) = album.look(flash, place) {
                // Beyond the room they are there, but not listed.
                let _ = entries.push(entry);
            }
        }
        entries.sort_unstable_by_key(|entry| entry.number);
        entries
    }

    /// Read from a recording in flash: the number of bytes read, 0 at its end.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] if there is none of that number, [`StoreError::Flash`].
    pub fn read_recording(&mut self, number: u32, offset: u32, buffer: &mut [u8]) -> Result<usize, StoreError> {
        let Self { album: Some(album), flash, .. } = self else { return Err(StoreError::Flash) };
        let entry = album.find(flash, number)?;
        album.read(flash, &entry, offset, buffer)
    }

    /// Arm new settings: only with the key on, the leg at rest, this leg's name given and the identity of the new settings
    /// echoed. `leg` is the name of the leg as the box knows it, or the new name if it knows none.
    ///
    /// # Errors
    /// [`ArmRefusal`]; nothing has changed then, unless it is [`ArmRefusal::Store`].
    #[inline(never)]
    pub fn arm(&mut self, image: &[u8], leg: &str, identity: u32, now: Micros) -> Result<(), ArmRefusal> {
        if !self.senses.key_is_on() {
            return Err(ArmRefusal::KeyOff);
        }
        if !self.is_at_rest() {
            return Err(ArmRefusal::NotAtRest);
        }
        let settings = Settings::from_image(image).map_err(ArmRefusal::Image)?;
        let known = if self.identity.is_some() { self.leg.as_str() } else { settings.machine.leg.as_str() };
        if leg != known {
            return Err(ArmRefusal::OtherLeg);
        }
        if settings.identity() != identity {
            return Err(ArmRefusal::OtherIdentity);
        }
        let settings = settings.check_first().map_err(ArmRefusal::Rule)?;
        if !self.senses.serve(&settings, self.has_head_sensor) {
            return Err(ArmRefusal::NotWired);
        }
        if !Measure::<MARKS>::has_room(&settings) {
            return Err(ArmRefusal::NoRoom);
        }
        // The flash is about to be erased: the permits drop, and are proved again afterwards.
        let dropped = self.run.drop_now().and(self.feed.drop_now());
        self.present = self.present.and(dropped);
        let survivor = if self.identity.is_some() { self.monitor.survivor() } else { self.restored.clone() };
        let before = self.identity;
        let mut scratch = [0; MOST_IMAGE_BYTES];
        let stored = self.slots.store(&mut self.flash, image, before, &mut scratch);
        self.heartbeat.excuse();
        stored.map_err(ArmRefusal::Store)?;
        self.configure(&settings, image, &survivor).map_err(|NoRoom| ArmRefusal::NoRoom)?;
        self.senses.forget();
        self.ran = true;
        let settled =
            [Fault::NoSettings, Fault::SettingsUnreadable, Fault::SettingsRefused, Fault::NoRoom, Fault::NotWired];
        self.present = settled.into_iter().fold(self.present, Faults::without);
        self.events.push(now, Happened::Armed { before, now: identity });
        Ok(())
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
        let now = self.edges.watermark();
        let (key_on, supervised) = (self.senses.key_is_on(), self.supervision());
        if request == Some(Request::Box) {
            let reply = Reply::Box(BoxStatus {
                faults: self.faults().bits(),
                run_given: self.run.given(),
                feed_given: self.feed.given(),
                supervised_shafts: supervised.0,
                supervised_contacts: supervised.1,
            });
            return encode(number, &reply, out).map_or(0, <[u8]>::len);
        }
        let armed = RefCell::new(heapless::Vec::new());
        let Self { monitor, recorder, verdicts, flash, image, album, nameplate, .. } = self;
        let around = Surroundings {
            now,
            key_on,
            serial: nameplate.serial,
            firmware: nameplate.firmware,
            session: self.session,
            anchor: recorder.newest_anchor(),
        };
        let mut shelf = Shelf { flash, image, album: album.as_ref(), armed: &armed };
        let (reply, asked) = server.answer(request, &around, monitor, verdicts, &mut shelf);
        if let (false, Some(Request::ArmSettings { leg, identity })) = (armed.borrow().is_empty(), request) {
            // What the server found good, the box looks at with what it knows of its wires, and puts in force.
            let old = self.identity.unwrap_or(0);
            let reply = match self.arm(&armed.borrow(), leg, identity, now) {
                Ok(()) => Reply::Armed { old, new: identity },
                Err(refusal) => Reply::Refused(refusal.reason()),
            };
            return encode(number, &reply, out).map_or(0, <[u8]>::len);
        }
        let length = encode(number, &reply, out).map_or(0, <[u8]>::len);
        match asked {
            Asked::Observe(Input { signal: Signal::Command(origin, command), .. }) => {
                // One a round: what does not fit is dropped, and the desk sees that nothing came of it.
                self.command(origin, command);
            }
            Asked::Anchor(anchor) => self.anchor(anchor),
            _ => {}
        }
        length
    }

    /// Which sensor lines and which rub contacts would show a cut wire.
    fn supervision(&self) -> ([bool; 2], [bool; Place::COUNT]) {
        let shafts = [Shaft::Head, Shaft::Boot].map(|shaft| self.senses.is_supervised(shaft));
        (shafts, self.senses.supervised_contacts())
    }
}

impl<I, O, A, F, const MARKS: usize> SensorBox<'_, I, O, A, F, MARKS> {
    /// Who it is.
    #[must_use]
    pub const fn nameplate(&self) -> Nameplate {
        self.nameplate
    }

    /// The leg's name; empty without settings.
    #[must_use]
    pub fn leg(&self) -> &str {
        &self.leg
    }

    /// The identity of the settings in force, if there are any.
    #[must_use]
    pub const fn settings_identity(&self) -> Option<u32> {
        self.identity
    }

    /// Every fault, present or waiting for a reset.
    #[must_use]
    pub const fn faults(&self) -> Faults {
        self.present.and(self.latched)
    }

    /// The flash, for a test to break.
    #[cfg(feature = "bench")]
    pub fn flash_mut(&mut self) -> &mut F {
        &mut self.flash
    }

    /// Switch off: what is left is the flash.
    #[cfg(feature = "bench")]
    pub fn into_flash(self) -> F {
        self.flash
    }

    /// The newest verdicts.
    #[must_use]
    pub const fn verdicts(&self) -> &Verdicts {
        &self.verdicts
    }

    /// What the box did, beside verdicts.
    #[must_use]
    pub const fn events(&self) -> &EventLog {
        &self.events
    }

    /// The monitor: what it knows and what it holds.
    #[must_use]
    pub const fn monitor(&self) -> &Monitor<MARKS> {
        self.monitor
    }
}

/// What [`Permit::step`] says anew in every round.
const RELAY_FAULTS: [Fault; 6] =
    [Fault::RunAWelded, Fault::RunBWelded, Fault::FeedWelded, Fault::RunAOpen, Fault::RunBOpen, Fault::FeedOpen];

/// Slip heat is stored anew once it has changed by an eighth, or by this much.
const HEAT_STEP: Joules = Joules::new(8_000);

/// The part of what is kept that is stored as soon as it changes.
fn weight(kept: &Kept) -> (u32, Faults, Survivor) {
    let survivor = &kept.survivor;
    let light = Survivor { slip_heat: Joules::ZERO, start_ages: heapless::Vec::new(), ..survivor.clone() };
    // Ages run on by themselves; another number of them means that a start came or lapsed.
    let ages = survivor.start_ages.iter().map(|_| Span::ZERO).collect();
    (kept.session, kept.faults, Survivor { start_ages: ages, ..light })
}
