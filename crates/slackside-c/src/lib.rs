//! The monitor core for firmware in C.
//!
//! **Not a certified safety device.** It can fail, be wired wrongly, be set wrongly. It replaces neither guards, lockout/tagout,
//! housekeeping nor dust control. Never jog a choked leg.
//!
//! The monitor lies in memory of the caller's: a static of [`SlacksideMonitor`], whose size the header knows. All zeros, as C's statics
//! begin, it answers *not ready* and allows nothing; so does one that could not be started. No function allocates, none keeps a pointer,
//! none panics. One monitor is used by one thread or interrupt level at a time.
//!
//! Everything `unsafe` of the library is in this file: pointers that came from C become references here, and nowhere else.
#![cfg_attr(not(feature = "std"), no_std)]

mod input;
mod verdict;

use core::ffi::c_void;
use core::mem::{MaybeUninit, align_of, size_of};
use core::slice;

use slackside::Monitor;
use slackside::retained::Retained;
use slackside::settings::plan::{OwnedPlan, Plan};
use slackside::settings::plan_check::Sound;
use slackside::verdict::Verdict;

pub use input::{SlacksideInput, SlacksideKind};
pub use verdict::{SlacksideChange, SlacksideStatus, SlacksideVerdict};

/// Targets a turn that there is room for.
const MARKS: usize = 64;
/// What a started monitor begins with: no memory that just came up does.
const STARTED: u64 = 0x536c_6163_6b73_6964;

/// Words of 64 bits in a monitor.
pub const SLACKSIDE_WORDS: usize = 768;
/// Bytes of a plan.
pub const SLACKSIDE_PLAN_BYTES: usize = 1124;
/// Bytes of what must outlive a loss of power.
pub const SLACKSIDE_RETAINED_BYTES: usize = 88;

/// A monitor, in memory of the caller's: a static. What is in it is the library's alone. All zeros, it is not ready.
#[repr(C)]
pub struct SlacksideMonitor {
    /// The library's alone.
    pub words: [MaybeUninit<u64>; SLACKSIDE_WORDS],
}

/// What is in it.
#[repr(C)]
struct Inner {
    started: u64,
    monitor: Monitor<OwnedPlan, MARKS>,
}

const _: () = {
    assert!(size_of::<Inner>() <= size_of::<SlacksideMonitor>(), "raise SLACKSIDE_WORDS");
    assert!(align_of::<Inner>() <= align_of::<SlacksideMonitor>());
    assert!(Plan::LENGTH == SLACKSIDE_PLAN_BYTES, "SLACKSIDE_PLAN_BYTES is not the length of a plan");
    assert!(Retained::IMAGE == SLACKSIDE_RETAINED_BYTES, "SLACKSIDE_RETAINED_BYTES is not the length of an image");
};

/// What came of a call.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlacksideResult {
    /// It is done.
    Ok = 0,
    /// The monitor was not started, or could not be: it allows nothing.
    NotReady = 1,
    /// A pointer is null, or not aligned as its type is.
    BadPointer = 2,
    /// These bytes are no plan of this version of the core: make it with the desk program that belongs to it.
    NotAPlan = 3,
    /// The plan breaks a rule: make it anew at the desk.
    PlanBroken = 4,
    /// The plan has more targets a turn than there is room for.
    NoRoom = 5,
    /// The input is of no kind, or cannot have this value. Nothing was taken.
    BadInput = 6,
}

/// Who is told of a verdict, in the order of time. `user` is what was handed in with it. Nothing of the verdict is there after the call.
pub type SlacksideSink = Option<unsafe extern "C" fn(user: *mut c_void, verdict: *const SlacksideVerdict)>;

/// Whether a pointer may become a reference, as far as can be told from it.
fn is_good<T>(pointer: *const T) -> bool {
    !pointer.is_null() && pointer.is_aligned()
}

impl SlacksideMonitor {
    /// As C's statics begin.
    pub const ZERO: Self = Self { words: [MaybeUninit::new(0); SLACKSIDE_WORDS] };

    fn inner(&self) -> Option<&Inner> {
        let [started, ..] = &self.words;
        // SAFETY: a monitor begins as zeros or was started: its first word is written either way.
        if unsafe { started.assume_init() } != STARTED {
            return None;
        }
        // SAFETY: only `start` writes STARTED, behind a whole `Inner` which fits and is aligned as this is; memory that C changed under
        // way it was told to leave alone.
        Some(unsafe { &*core::ptr::from_ref(self).cast::<Inner>() })
    }

    fn inner_mut(&mut self) -> Option<&mut Inner> {
        self.inner()?;
        // SAFETY: as above, and `self` is held alone.
        Some(unsafe { &mut *core::ptr::from_mut(self).cast::<Inner>() })
    }

    fn start(&mut self, plan: &Plan, retained: &Retained) -> SlacksideResult {
        let Ok(sound) = Sound::new(OwnedPlan(*plan)) else { return SlacksideResult::PlanBroken };
        let place = core::ptr::from_mut(self).cast::<MaybeUninit<Inner>>();
        // SAFETY: it fits and is aligned, see the assertions above, and `self` is held alone; uninitialised memory needs no drop.
        let inner = unsafe { &mut *place }.write(Inner { started: 0, monitor: Monitor::new() });
        if inner.monitor.configure(sound, retained).is_err() {
            *self = Self::ZERO;
            return SlacksideResult::NoRoom;
        }
        inner.started = STARTED;
        SlacksideResult::Ok
    }
}

/// Start a monitor on a plan, which is copied. `retained` is what `slackside_retained` gave before power was lost; where it is null, damaged
/// or of another version, what was latched is not known and counts as tripped, so that somebody must look.
///
/// Whatever fails: the monitor is not ready then, and allows nothing.
///
/// # Safety
/// `monitor` is null or points to one that nobody else uses; `plan` is null or points to SLACKSIDE_PLAN_BYTES bytes; `retained` is null or
/// points to SLACKSIDE_RETAINED_BYTES bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn slackside_start(
    monitor: *mut SlacksideMonitor,
    plan: *const u8,
    retained: *const u8,
) -> SlacksideResult {
    if !is_good(monitor) {
        return SlacksideResult::BadPointer;
    }
    // SAFETY: the caller holds it alone; any bytes are a monitor.
    let monitor = unsafe { &mut *monitor };
    *monitor = SlacksideMonitor::ZERO;
    if plan.is_null() {
        return SlacksideResult::BadPointer;
    }
    // SAFETY: the caller says so.
    let bytes = unsafe { slice::from_raw_parts(plan, SLACKSIDE_PLAN_BYTES) };
    let Ok(plan) = Plan::copy_of(bytes) else { return SlacksideResult::NotAPlan };
    let retained = if retained.is_null() {
        Retained::unreadable()
    } else {
        // SAFETY: the caller says so.
        let bytes = unsafe { slice::from_raw_parts(retained, SLACKSIDE_RETAINED_BYTES) };
        Retained::from_image(bytes).unwrap_or_else(|_| Retained::unreadable())
    };
    monitor.start(&plan, &retained)
}

/// What is retained where nothing ever happened: for a test on the bench. A box in service starts with what it kept, or with null.
///
/// # Safety
/// `retained` is null or points to SLACKSIDE_RETAINED_BYTES bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn slackside_nothing_retained(retained: *mut u8) -> SlacksideResult {
    // SAFETY: the caller's, handed on.
    unsafe { put(retained, &Retained::default().to_image()) }
}

/// What must outlive a loss of power, as it stands now: write it to flash whenever it has changed.
///
/// # Safety
/// `monitor` is null or points to one that nobody changes meanwhile; `retained` is null or points to SLACKSIDE_RETAINED_BYTES bytes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn slackside_retained(monitor: *const SlacksideMonitor, retained: *mut u8) -> SlacksideResult {
    // SAFETY: the caller's, handed on.
    let inner = match unsafe { shared(monitor) } {
        Ok(inner) => inner,
        Err(result) => return result,
    };
    let Some(kept) = inner.monitor.retained() else { return SlacksideResult::NotReady };
    // SAFETY: the caller's, handed on.
    unsafe { put(retained, &kept.to_image()) }
}

/// Take one input: first what fell due before it, each with its own time, then the input itself. Inputs come in order of time; a tick
/// promises that nothing earlier follows. `sink` may be null.
///
/// # Safety
/// `monitor` and `input` are null or point to one each, of which nobody else uses the monitor; `sink` is null or may be called with `user`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn slackside_observe(
    monitor: *mut SlacksideMonitor,
    input: *const SlacksideInput,
    sink: SlacksideSink,
    user: *mut c_void,
) -> SlacksideResult {
    if !is_good(monitor) || !is_good(input) {
        return SlacksideResult::BadPointer;
    }
    // SAFETY: the caller holds it alone, and the input is one, of which any bytes are.
    let (monitor, input) = unsafe { (&mut *monitor, &*input) };
    let Some(inner) = monitor.inner_mut() else { return SlacksideResult::NotReady };
    let Some(input) = input.read() else { return SlacksideResult::BadInput };
    inner.monitor.observe(input, &mut |verdict: &Verdict| {
        if let Some(sink) = sink {
            // SAFETY: the caller says it may be called with `user`; the verdict is there for as long as the call.
            unsafe { sink(user, &SlacksideVerdict::of(verdict)) };
        }
    });
    SlacksideResult::Ok
}

/// Which permits may be given now: bit 0 run, bit 1 feed. 0 for a monitor that is not ready, and for none. Asked in every round: an output
/// is held by nothing else.
///
/// # Safety
/// `monitor` is null or points to one that nobody changes meanwhile.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn slackside_permits(monitor: *const SlacksideMonitor) -> u8 {
    // SAFETY: the caller's, handed on.
    let Ok(inner) = (unsafe { shared(monitor) }) else { return 0 };
    let status = inner.monitor.status();
    u8::from(status.run_permit) | u8::from(status.feed_permit && status.run_permit) << 1
}

/// When to come back with a tick at the latest, in microseconds; the greatest number there is if nothing falls due by itself.
///
/// # Safety
/// `monitor` is null or points to one that nobody changes meanwhile; `at_us` is null or points to a number.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn slackside_next_deadline(monitor: *const SlacksideMonitor, at_us: *mut u64) -> SlacksideResult {
    // SAFETY: the caller's, handed on.
    let inner = match unsafe { shared(monitor) } {
        Ok(inner) => inner,
        Err(result) => return result,
    };
    if !is_good(at_us) {
        return SlacksideResult::BadPointer;
    }
    // SAFETY: the caller says so.
    unsafe { *at_us = inner.monitor.next_deadline().map_or(u64::MAX, |at| at.get()) };
    SlacksideResult::Ok
}

/// What the leg is doing now.
///
/// # Safety
/// `monitor` is null or points to one that nobody changes meanwhile; `status` is null or points to one.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn slackside_get_status(
    monitor: *const SlacksideMonitor,
    status: *mut SlacksideStatus,
) -> SlacksideResult {
    // SAFETY: the caller's, handed on.
    let inner = match unsafe { shared(monitor) } {
        Ok(inner) => inner,
        Err(result) => return result,
    };
    if !is_good(status) {
        return SlacksideResult::BadPointer;
    }
    let monitor = &inner.monitor;
    let slip = monitor.knows_slip(monitor.newest()).then(|| monitor.signals().short);
    // SAFETY: the caller says so.
    unsafe { *status = SlacksideStatus::of(&monitor.status(), slip) };
    SlacksideResult::Ok
}

/// A started monitor.
///
/// # Safety
/// `monitor` is null or points to one that nobody changes for as long as the answer lives.
unsafe fn shared<'a>(monitor: *const SlacksideMonitor) -> Result<&'a Inner, SlacksideResult> {
    if !is_good(monitor) {
        return Err(SlacksideResult::BadPointer);
    }
    // SAFETY: the caller's; any bytes are a monitor.
    unsafe { &*monitor }.inner().ok_or(SlacksideResult::NotReady)
}

/// Copy an image to C's memory.
///
/// # Safety
/// `to` is null or points to as many bytes.
unsafe fn put(to: *mut u8, image: &[u8; SLACKSIDE_RETAINED_BYTES]) -> SlacksideResult {
    if to.is_null() {
        return SlacksideResult::BadPointer;
    }
    // SAFETY: the caller's.
    unsafe { slice::from_raw_parts_mut(to, SLACKSIDE_RETAINED_BYTES) }.copy_from_slice(image);
    SlacksideResult::Ok
}

/// None can be reached: `cargo xtask no-panic` proves it of the core. If one were, the program would stand still, the heartbeat with it,
/// and the watchdog outside opens the permits.
#[cfg(not(feature = "std"))]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
