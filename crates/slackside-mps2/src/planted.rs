//! Faults of the program that the host asks for by the first byte of `plant.bin`, 20 s into the run: to show what each ends in.

use core::hint::black_box;

use slackside::units::Micros;
use slackside_mps2::{clock, host, stack};

const AT: Micros = Micros::new(20_000_000);

/// Which one.
pub struct Planted(u8);

impl Planted {
    pub fn new() -> Self {
        let mut which = [0];
        Self(host::read_file(c"plant.bin", &mut which).first().copied().unwrap_or(0))
    }

    /// In the loop that judges.
    pub fn strike(&self) {
        if clock::now() < AT {
            return;
        }
        match self.0 {
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
