//! Faults of the program that the host asks for by the first byte of `plant.bin`, 20 s into the run: to show what each ends in.
//!
//! A watchdog outside that stays closed does so from the beginning. It and a second clock that goes wrong end nothing: the program goes on with
//! its permits dropped. Then the board itself tells the host, 5 s later, and in `ended.bin` as all the others do.

use core::cell::Cell;
use core::hint::black_box;
use core::sync::atomic::Ordering;

use slackside::units::Micros;
use slackside_mps2::pins::{COILS, PINS};
use slackside_mps2::{clock, host, stack};

const AT: Micros = Micros::new(20_000_000);
/// When a board whose program goes on tells what became of it.
const TOLD_AT: Micros = Micros::new(25_000_000);
/// What `ended.bin` begins with then.
const GOES_ON: u8 = 5;

/// Which one, and the coils as they were before it.
pub struct Planted {
    which: u8,
    before: Cell<[u8; 3]>,
}

/// The coils now.
fn coils() -> [u8; 3] {
    COILS.map(|coil| PINS.get(coil).is_none_or(|coil| coil.load(Ordering::SeqCst)).into())
}

impl Planted {
    pub fn new() -> Self {
        let mut which = [0];
        let which = host::read_file(c"plant.bin", &mut which).first().copied().unwrap_or(0);
        Self { which, before: Cell::new([0; 3]) }
    }

    /// Whether the watchdog outside is to stay closed.
    pub const fn shuts_watchdog(&self) -> bool {
        self.which == b'w'
    }

    /// What is handed in of the second clock: 28 % slow from then on, or fast, or standing.
    pub fn second(&self, second: Micros) -> Micros {
        let since = second.get().saturating_sub(AT.get());
        let per_cent = match self.which {
            b's' => 72,
            b'q' => 128,
            b'h' => 0,
            _ => return second,
        };
        Micros::new(second.get() - since + since / 100 * per_cent)
    }

    /// The program goes on: as the coils were before, and as they are now.
    fn tell(&self) -> ! {
        let ([a, b, c], [d, e, f]) = (self.before.get(), coils());
        host::write_file(c"ended.bin", &[GOES_ON, a, b, c, d, e, f]);
        host::exit(3)
    }

    /// In the loop that judges.
    pub fn strike(&self) {
        if clock::now() < AT {
            self.before.set(coils());
            return;
        }
        match self.which {
            b'l' => loop {
                cortex_m::asm::nop();
            },
            b'p' => panic!("planted"),
            b'f' => cortex_m::asm::udf(),
            b'o' => {
                black_box(deeper(0));
            }
            // Past the bound, and back: what is left of it must end the program all the same.
            b'd' => {
                black_box(deeper(stack::BOUND));
            }
            b's' | b'q' | b'h' | b'w' if clock::now() >= TOLD_AT => self.tell(),
            _ => {}
        }
    }
}

/// Goes on until the stack is below this address.
#[inline(never)]
fn deeper(until: u32) -> u32 {
    let frame = black_box([until; 64]);
    let below = if cortex_m::register::msp::read() > until { deeper(until) } else { 0 };
    frame.iter().fold(below, |sum, word| sum.wrapping_add(*word))
}
