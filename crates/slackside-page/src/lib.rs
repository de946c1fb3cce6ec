//! The core inside the report's page: what the page's script calls. It only passes on to [`slackside_desk::report::bench`], so that the page
//! judges with the very code of the desk and the box.
//!
//! Plain functions with numbers, so that the page needs no glue made for one compiler: text and bytes go through two pieces of
//! memory, one that the page writes ([`room`]) and one that it reads ([`answer`]).
//!
//! **Not a certified safety device.** What it says is what a box would have done with one recording, and no reason to loosen a limit.

// Exporting a name is the one thing here that the language calls unsafe; nothing is read or written through a pointer.

use std::cell::RefCell;

use slackside_desk::report::bench::Bench;

#[derive(Default)]
struct Desk {
    room: Vec<u8>,
    answer: Vec<u8>,
    bench: Option<Bench>,
}

thread_local! {
    static DESK: RefCell<Desk> = RefCell::default();
}

fn with(act: impl FnOnce(&mut Desk) -> Option<Vec<u8>>) -> u32 {
    DESK.with_borrow_mut(|desk| {
        desk.answer = act(desk).unwrap_or_default();
        u32::try_from(desk.answer.len()).unwrap_or(0)
    })
}

/// Make room for so many bytes; where they are to be written.
#[unsafe(no_mangle)]
pub extern "C" fn room(bytes: u32) -> u32 {
    DESK.with_borrow_mut(|desk| {
        desk.room = vec![0; bytes as usize];
        desk.room.as_ptr().addr() as u32
    })
}

/// Where the last answer can be read.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> u32 {
    DESK.with_borrow(|desk| desk.answer.as_ptr().addr() as u32)
}

/// Put the recording that was written into the room on the bench. The length of the answer: what can be turned, as JSON; 0 if it
/// cannot be read.
#[unsafe(no_mangle)]
pub extern "C" fn open() -> u32 {
    with(|desk| {
        let bench = Bench::of(&std::mem::take(&mut desk.room)).ok()?;
        let told = bench.told().to_string().into_bytes();
        desk.bench = Some(bench);
        Some(told)
    })
}

/// Turn a knob to a value in the core's units, with coupled limits moved too if `together` is not 0. The length of the answer as JSON.
#[unsafe(no_mangle)]
pub extern "C" fn turn(knob: u32, value: f64, together: u32) -> u32 {
    with(|desk| {
        let bench = desk.bench.as_mut()?;
        let knob = bench.knobs().get(knob as usize).copied()?;
        // Saturates; a slider's values are far inside.
        Some(bench.turn(knob, value as i64, together != 0).to_string().into_bytes())
    })
}

/// Which values of a knob the rules allow, as JSON. The length of the answer.
#[unsafe(no_mangle)]
pub extern "C" fn allowed(knob: u32, together: u32) -> u32 {
    with(|desk| {
        let bench = desk.bench.as_ref()?;
        let knob = bench.knobs().get(knob as usize).copied()?;
        Some(serde_json::json!(bench.allowed(knob, together != 0)).to_string().into_bytes())
    })
}

/// The verdicts of the last turn as the link sends them. The length of the answer.
#[unsafe(no_mangle)]
pub extern "C" fn verdicts() -> u32 {
    with(|desk| Some(desk.bench.as_ref()?.bytes()))
}
