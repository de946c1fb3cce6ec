//! Measure and judge in one: inputs in, verdicts out.

use core::ops::Deref;

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::alarm::AlarmState;
use crate::codec::crc::Crc;
use crate::conditions::Condition;
use crate::input::{Command, Input, Origin, Signal};
use crate::judge::{Judge, Out, Status, View};
use crate::measure::Measure;
use crate::retained::Retained;
use crate::settings::plan::Plan;
use crate::settings::plan_check::Sound;
use crate::signals::Signals;
use crate::time::{Now, sweep_wait};
use crate::units::{Micros, Ppm};
use crate::verdict::{Refusal, Verdict};

/// So long without an input leaves a state that more waiting does not change, 76 hours: heat has settled by then whatever its time
/// constant, and no window is so long.
pub(crate) const SETTLED: u64 = 1 << 38;
/// After so long the low half of time is as before. The slow count is not, but no window of it runs any more by then.
pub(crate) const ROUND_SHIFT: u32 = 32;

/// There is no room for this machine's marks: the monitor was built for fewer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoRoom;

/// What the monitor itself remembers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct Clock {
    /// The newest time.
    newest: u64,
    /// How long from then until anything falls due by itself, in microseconds.
    due: u32,
    /// When the first thing was observed since the plan was taken, with [`BEGUN`]; 0 before.
    begun: u32,
}

impl Clock {
    const ZERO: Self = Self { newest: 0, due: 0, begun: 0 };
}

/// Set in [`Clock::begun`]: of the moment sweeps need only the bits below it.
const BEGUN: u32 = 1 << 31;

/// Goes over the plan again and again, piece by piece: memory that changed under way must not go on being judged by. What it has
/// got to is no state of the leg's and so in no snapshot.
#[derive(Clone, Copy, Debug)]
struct Guard {
    /// The CRC of what was gone over, and how far that is.
    crc: Crc,
    at: u16,
    /// The last quarter of a second in which it went on.
    quarter: u16,
}

/// Bytes for each quarter of a second (2^18 µs) since the last piece, up to [`QUARTERS`]: small pieces where inputs come often.
const PIECE: usize = 6;
const QUARTER_SHIFT: u32 = 18;
const QUARTERS: u16 = 4;
/// Somebody must look at each multiple of this.
const GUARD_TICK: u64 = (QUARTERS as u64) << QUARTER_SHIFT;

const _: () = assert!(Plan::LENGTH.div_ceil(PIECE) < 200, "seldom inputs make it longer, never a minute");

impl Guard {
    const NEW: Self = Self { crc: Crc::NEW, at: 0, quarter: 0 };

    /// Whether a piece is due.
    const fn is_due(&self, now: u32) -> bool {
        self.quarter != (now >> QUARTER_SHIFT) as u16
    }

    /// Go over the next piece. Whether the plan is still what it was.
    #[inline(never)]
    fn piece(&mut self, plan: &Plan, now: u32) -> bool {
        let quarter = (now >> QUARTER_SHIFT) as u16;
        let passed = quarter.wrapping_sub(core::mem::replace(&mut self.quarter, quarter)).min(QUARTERS);
        let piece = PIECE.wrapping_mul(passed.into());
        let rest = plan.covered().get(usize::from(self.at)..).unwrap_or_default();
        self.crc.bytes(rest.get(..piece).unwrap_or(rest));
        self.at = self.at.wrapping_add(piece as u16);
        if rest.len() > piece {
            return true;
        }
        let sum = self.crc.get();
        *self = Self { quarter, ..Self::NEW };
        sum == plan.crc
    }
}

/// What judge is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told<'a> {
    /// Something moved, as bits of [`moved`](crate::signals::moved).
    Moved(u8),
    /// An input that measure knows nothing of.
    Signal(&'a Signal),
    /// An input came late.
    Late,
}

/// Sees what the monitor does on the way, so that nobody has to join measure and judge by hand.
pub trait Tap {
    /// Judge is about to be told at this moment; the signals are those that it will see.
    fn tells(&mut self, _now: Micros, _told: Told<'_>, _signals: &Signals, _plan: &Plan) {}

    /// Judge was told, and has said what it had to say.
    fn told(&mut self, _now: Micros, _told: Told<'_>, _signals: &Signals, _judge: &Judge, _plan: &Plan) {}
}

/// Sees nothing.
impl Tap for () {}

/// What does not depend on where the plan lies.
#[derive(Clone, Debug)]
#[repr(C)]
struct Core<const MARKS: usize> {
    clock: Clock,
    guard: Guard,
    judge: Judge,
    measure: Measure<MARKS>,
}

/// The whole monitor. Before [`configure`](Self::configure) it holds both permits dropped.
///
/// `P` says where the plan lies: a `&'static Plan` on a box, an `Arc<Plan>` on a desk. `MARKS` is the most counted edges a turn that it
/// has room for: 64 is room for every machine, and 8 do for four targets and save RAM.
///
/// Built by `const fn new` so that it can be placed in a static: by value it would make a large stack frame.
#[derive(Clone, Debug)]
pub struct Monitor<P, const MARKS: usize = 64> {
    plan: Option<Sound<P>>,
    core: Core<MARKS>,
}

impl<P: Deref<Target = Plan>, const MARKS: usize> Monitor<P, MARKS> {
    /// Whether there is room for the marks of this plan's shafts: [`configure`](Self::configure) asks it of every plan, and firmware may ask it
    /// of a constant one.
    #[must_use]
    pub const fn has_room(plan: &Plan) -> bool {
        Measure::<MARKS>::has_room(plan)
    }

    /// A monitor that knows nothing and allows nothing.
    #[must_use]
    pub const fn new() -> Self {
        let clock = Clock::ZERO;
        Self { plan: None, core: Core { clock, measure: Measure::new(), judge: Judge::new(), guard: Guard::NEW } }
    }

    /// Take a plan, and what survived the last loss of power. Starts afresh otherwise.
    ///
    /// # Errors
    /// [`NoRoom`] if a shaft has more counted edges a turn than `MARKS`. The monitor then has no plan: it allows nothing.
    pub fn configure(&mut self, plan: Sound<P>, retained: &Retained) -> Result<(), NoRoom> {
        self.plan = None;
        let room = Measure::<MARKS>::has_room(&plan);
        self.core.configure(&plan, retained);
        if !room {
            return Err(NoRoom);
        }
        self.plan = Some(plan);
        Ok(())
    }

    /// Take one input: first everything that fell due before it, each with its own time, then the input itself.
    /// A tick promises that no earlier input follows.
    pub fn observe(&mut self, input: Input, sink: &mut dyn FnMut(&Verdict)) {
        self.observe_with(input, &mut (), sink);
    }

    /// The same, with a tap on what measure tells judge.
    pub fn observe_with(&mut self, input: Input, tap: &mut impl Tap, sink: &mut dyn FnMut(&Verdict)) {
        if let Some(plan) = &self.plan {
            self.core.observe(plan, &input, tap, sink);
        }
    }

    /// For the desk: take over what another monitor has measured, on a plan with the same machine. Judge begins with it.
    #[cfg(feature = "desk")]
    pub fn go_on_measuring(&mut self, from: &Self, sink: &mut dyn FnMut(&Verdict)) {
        let Some(plan) = &self.plan else { return };
        if from.core.clock.begun == 0 {
            return;
        }
        self.core.clock.newest = from.core.clock.newest;
        self.core.begin(plan, from.core.clock.newest, &mut |_| {});
        self.core.clock.begun = from.core.clock.begun;
        self.core.measure = from.core.measure.clone();
        self.core.judge.configure(plan, &Retained::default());
        self.core.judge(plan, sink, Judge::begin);
        self.core.find_due(plan);
    }

    /// When to come back with a tick, if nothing else comes sooner. `None`: nothing will fall due by itself.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Micros> {
        // Before the first input nothing is known of time.
        self.plan.as_ref().filter(|_| self.core.clock.begun != 0)?;
        let Clock { newest, due, .. } = self.core.clock;
        // The guard changes nothing while all is well, so nothing that falls due waits for it; but it must be asked for. It is no part of
        // a snapshot, so when depends on the time alone.
        let due = u64::from(due).min(GUARD_TICK.wrapping_sub(newest & (GUARD_TICK - 1)));
        Some(Micros::new(newest.saturating_add(due)))
    }

    /// The newest time.
    #[must_use]
    pub const fn newest(&self) -> Micros {
        Micros::new(self.core.clock.newest)
    }

    /// What it runs on.
    #[must_use]
    pub fn plan(&self) -> Option<&Plan> {
        self.plan.as_deref()
    }

    /// What measure knows now.
    #[must_use]
    pub const fn signals(&self) -> &Signals {
        // What is kept is all zero before a plan, or of the plan before, until something is observed.
        if self.core.clock.begun == 0 { &Signals::NONE } else { self.core.measure.signals() }
    }

    /// What judge holds now.
    #[must_use]
    pub fn status(&self) -> Status {
        self.core.judge.status()
    }

    /// The state of an alarm.
    #[must_use]
    pub fn alarm(&self, condition: Condition) -> AlarmState {
        self.core.judge.alarm(condition)
    }

    /// Slip heat at `now`, as a share of the budget.
    #[must_use]
    pub fn slip_heat_at(&self, now: Micros) -> Ppm {
        self.plan().map_or(Ppm::ZERO, |plan| self.core.judge.slip_heat_at(plan, now))
    }

    /// Whether what [`signals`](Self::signals) say of slip is so at `now`: not of a leg that stands or has not turned yet, nor once the
    /// head has been silent for three pitches at half speed, or both shafts together. Then it is what was, and slip is not known.
    #[must_use]
    pub fn knows_slip(&self, now: Micros) -> bool {
        self.plan().is_some_and(|plan| self.core.judge.knows_slip(self.signals(), plan, now))
    }

    /// Whether a command would be carried out now: a box asks before it takes one that comes by a link, so that refusals fill neither
    /// its recordings nor its log.
    ///
    /// # Errors
    /// Why not. Without a plan there is nothing to do.
    pub fn would_take(&self, origin: Origin, command: Command) -> Result<(), Refusal> {
        let plan = self.plan().ok_or(Refusal::NothingToDo)?;
        let view = View { plan, signals: self.signals(), now: Now::new(self.newest()) };
        self.core.judge.allowed(origin, command, &view)
    }

    /// What must survive a loss of power, as it stands now; without a plan, nothing.
    #[must_use]
    pub fn retained(&self) -> Option<Retained> {
        self.plan().map(|plan| self.core.judge.retained(plan, Now::new(self.newest())))
    }

    /// Take every motion the long way from here on, until the next step: the oracle of the tests.
    #[doc(hidden)]
    pub fn plainly(&mut self) {
        self.core.judge.plainly();
    }

    /// The state's own bytes, part by part.
    pub fn parts(&self, each: &mut dyn FnMut(&[u8])) {
        each(self.core.clock.as_bytes());
        self.core.measure.parts(each);
        self.core.judge.parts(each);
    }

    /// The same, to be put back.
    pub fn parts_mut(&mut self, each: &mut dyn FnMut(&mut [u8])) {
        each(self.core.clock.as_mut_bytes());
        self.core.measure.parts_mut(each);
        self.core.judge.parts_mut(each);
    }
}

impl<P: Deref<Target = Plan>, const MARKS: usize> Default for Monitor<P, MARKS> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const MARKS: usize> Core<MARKS> {
    fn configure(&mut self, plan: &Plan, retained: &Retained) {
        self.clock = Clock::ZERO;
        self.judge.configure(plan, retained);
        self.guard = Guard::NEW;
    }

    fn now(&self) -> Now {
        Now::new(Micros::new(self.clock.newest))
    }

    const fn sweep_wait(&self) -> u32 {
        sweep_wait(self.clock.newest as u32, self.clock.begun)
    }

    /// Tell judge something that is so now.
    fn judge(&mut self, plan: &Plan, sink: &mut dyn FnMut(&Verdict), say: impl FnOnce(&mut Judge, &mut Out<'_>)) {
        let view = View { plan, signals: self.measure.signals(), now: self.now() };
        say(&mut self.judge, &mut Out { view: &view, sink });
    }

    fn observe(&mut self, plan: &Plan, input: &Input, tap: &mut impl Tap, sink: &mut dyn FnMut(&Verdict)) {
        let since = input.at.get().wrapping_sub(self.clock.newest);
        // Before the first input too nothing is waited for; and one that comes late seems to come after ages.
        if since >= u64::from(self.clock.due) {
            if since < SETTLED && self.clock.begun != 0 {
                self.settle(plan, input.at.get(), tap, sink);
            } else {
                self.settle_seldom(plan, input.at.get(), tap, sink);
            }
        }
        // Below the wait, which is below 2^32.
        let passed = input.at.get().saturating_sub(self.clock.newest) as u32;
        self.clock.due = self.clock.due.wrapping_sub(passed);
        self.clock.newest = self.clock.newest.wrapping_add(passed.into());
        let now = self.now();
        if self.guard.is_due(now.us()) && !self.guard.piece(plan, now.us()) {
            self.plan_damaged(plan, sink);
        }
        let moved = match input.signal {
            Signal::Tick => return,
            Signal::Edge(shaft, level) => {
                let (moved, waits) = self.measure.edge(plan, now.us(), shaft, level);
                if waits {
                    self.clock.due = self.clock.due.min(plan.minimum_width);
                }
                moved
            }
            Signal::Line(..) | Signal::EdgesLost(_) | Signal::Contact(..) => {
                self.measure.take(plan, now, &input.signal)
            }
            _ => {
                let told = Told::Signal(&input.signal);
                tap.tells(now.at(), told, self.measure.signals(), plan);
                self.judge(plan, sink, |judge, out| judge.take(&input.signal, out));
                tap.told(now.at(), told, self.measure.signals(), &self.judge, plan);
                self.find_due(plan);
                return;
            }
        };
        if moved != 0 {
            self.tell(moved, plan, now, tap, sink);
            self.find_due(plan);
        }
    }

    /// Settle everything that falls due up to a moment.
    #[inline(never)]
    fn settle(&mut self, plan: &Plan, to: u64, tap: &mut impl Tap, sink: &mut dyn FnMut(&Verdict)) {
        while to.wrapping_sub(self.clock.newest) >= u64::from(self.clock.due) {
            self.settle_next(plan, tap, sink);
        }
    }

    /// The same up to the first input, after a long wait, or for one that comes late.
    #[cold]
    fn settle_seldom(&mut self, plan: &Plan, at: u64, tap: &mut impl Tap, sink: &mut dyn FnMut(&Verdict)) {
        if self.clock.begun == 0 {
            self.begin(plan, at, sink);
        } else if at < self.clock.newest {
            // What is due already comes before it.
            self.settle(plan, self.clock.newest, tap, sink);
            self.late(plan, tap, sink);
            return;
        } else {
            self.settle(plan, self.clock.newest.wrapping_add(SETTLED), tap, sink);
            self.pass_rounds(at);
        }
        self.settle(plan, at, tap, sink);
    }

    #[cold]
    fn late(&mut self, plan: &Plan, tap: &mut impl Tap, sink: &mut dyn FnMut(&Verdict)) {
        tap.tells(self.now().at(), Told::Late, self.measure.signals(), plan);
        self.judge(plan, sink, Judge::late);
        self.find_due(plan);
    }

    #[cold]
    fn plan_damaged(&mut self, plan: &Plan, sink: &mut dyn FnMut(&Verdict)) {
        self.judge(plan, sink, Judge::plan_damaged);
        self.find_due(plan);
    }

    #[cold]
    fn begin(&mut self, plan: &Plan, at: u64, sink: &mut dyn FnMut(&Verdict)) {
        self.clock.newest = at;
        let now = self.now();
        self.clock.begun = now.us() | BEGUN;
        self.measure.begin(plan, now);
        self.judge(plan, sink, Judge::begin);
        self.find_due(plan);
    }

    /// Tell judge what moved.
    fn tell(&mut self, moved: u8, plan: &Plan, now: Now, tap: &mut impl Tap, sink: &mut dyn FnMut(&Verdict)) {
        tap.tells(now.at(), Told::Moved(moved), self.measure.signals(), plan);
        self.judge(plan, sink, |judge, out| judge.moved(moved, out));
        tap.told(now.at(), Told::Moved(moved), self.measure.signals(), &self.judge, plan);
    }

    fn find_due(&mut self, plan: &Plan) {
        let now = self.now();
        self.clock.due = self.measure.wait(plan, now.us()).min(self.judge.wait(now.us())).min(self.sweep_wait());
    }

    /// After so long a wait more of it, but for what is less than a round, changes nothing.
    #[cold]
    const fn pass_rounds(&mut self, at: u64) {
        let rounds = at.saturating_sub(self.clock.newest) >> ROUND_SHIFT;
        self.clock.newest = self.clock.newest.wrapping_add(rounds << ROUND_SHIFT);
    }

    /// Settle what falls due next; at equal times judge before measure.
    fn settle_next(&mut self, plan: &Plan, tap: &mut impl Tap, sink: &mut dyn FnMut(&Verdict)) {
        // No later than what it is settled for.
        let sweeps_now = self.clock.due == self.sweep_wait();
        self.clock.newest = self.clock.newest.wrapping_add(u64::from(self.clock.due));
        let now = self.now();
        if sweeps_now {
            self.measure.sweep(plan, now.us());
            self.judge.sweep(&View { plan, signals: self.measure.signals(), now });
        }
        // With a sweep judge steps too, so that both come together from there on.
        if sweeps_now || self.judge.wait(now.us()) == 0 {
            self.judge(plan, sink, Judge::settle);
        } else {
            let moved = self.measure.settle(plan, now);
            if moved != 0 {
                self.tell(moved, plan, now, tap, sink);
            }
        }
        self.find_due(plan);
    }
}

#[cfg(all(test, feature = "desk"))]
mod tests {
    extern crate std;

    use super::*;
    use crate::settings::Settings;

    const QUARTER: u32 = 1 << QUARTER_SHIFT;

    #[test]
    fn the_guard_goes_on_once_in_a_quarter_of_a_second() {
        let plan = Settings::example().check().expect("sound").plan();
        let mut guard = Guard::NEW;
        assert!(!guard.is_due(0) && !guard.is_due(QUARTER - 1) && guard.is_due(QUARTER));
        let piece = PIECE as u16;
        // By a piece for each quarter that has begun since, and four at the most.
        for (now, at) in [(QUARTER, 1), (2 * QUARTER - 1, 1), (3 * QUARTER, 3), (4 * QUARTER + 7, 4), (40 * QUARTER, 8)]
        {
            assert!(!guard.is_due(now) || guard.piece(&plan, now));
            assert_eq!(guard.at, at * piece, "at {now}");
            assert!(!guard.is_due(now));
        }
        // The count of microseconds wraps.
        guard.quarter = (u32::MAX >> QUARTER_SHIFT) as u16;
        assert!(guard.is_due(5) && guard.piece(&plan, 5));
        assert_eq!((guard.at, guard.quarter), (12 * piece, 0));
    }

    #[test]
    fn the_guard_sees_every_bit_within_a_round() {
        let plan = Settings::example().check().expect("sound").plan();
        let covered = plan.covered().len();
        let rounds = covered.div_ceil(PIECE);
        // So many pieces: all but the last say nothing yet.
        let round = |plan: &Plan| {
            let mut guard = Guard::NEW;
            let said =
                (1..=rounds as u32).map(|quarter| guard.piece(plan, quarter * QUARTER)).collect::<std::vec::Vec<_>>();
            (said, guard)
        };
        let (said, guard) = round(&plan);
        assert!(said.iter().all(|sound| *sound));
        assert_eq!((guard.at, guard.crc.get()), (0, Crc::NEW.get()), "and begins again");
        for byte in 0..covered {
            let mut bytes = plan.bytes().to_vec();
            bytes[byte] ^= 1 << (byte % 8);
            let (said, _) = round(&Plan::copy_of(&bytes).expect("as long as a plan"));
            let (last, before) = said.split_last().expect("some");
            assert!(!last && before.iter().all(|sound| *sound), "byte {byte}");
        }
    }
}
