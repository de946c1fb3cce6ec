//! The board's interrupts by name, as cortex-m-rt, RTIC and the others look for them in a device crate.
#![allow(non_camel_case_types, clippy::upper_case_acronyms, reason = "names as the board's manual has them")]

use cortex_m::interrupt::InterruptNumber;
pub use cortex_m_rt::interrupt;

/// Priorities are told apart by so many bits.
pub const NVIC_PRIO_BITS: u8 = 3;

/// Those that are used here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u16)]
pub enum Interrupt {
    /// A byte came by the link.
    UART0_RX = 0,
    /// A byte came by Modbus.
    UART2_RX = 4,
    /// No device rings it here: free for a program that rings itself.
    GPIO0 = 6,
    /// The ring of [`clock::ring_in`](crate::clock::ring_in).
    TIMER0 = 8,
    /// The alarm of [`clock::alarm_at`](crate::clock::alarm_at).
    DUAL_TIMER = 10,
    /// A byte came by the service port.
    UART3_RX = 18,
}

pub use Interrupt as interrupt;

// SAFETY: the numbers are the board's.
unsafe impl InterruptNumber for Interrupt {
    fn number(self) -> u16 {
        self as u16
    }
}

unsafe extern "C" {
    fn UART0_RX();
    fn UART2_RX();
    fn GPIO0();
    fn TIMER0();
    fn DUAL_TIMER();
    fn UART3_RX();
    fn DefaultHandler();
}

/// What the processor jumps to. What a program does not define is its `DefaultHandler` (`device.x`).
#[unsafe(link_section = ".vector_table.interrupts")]
#[unsafe(no_mangle)]
pub static __INTERRUPTS: [unsafe extern "C" fn(); 32] = {
    let mut vectors = [DefaultHandler as unsafe extern "C" fn(); 32];
    vectors[Interrupt::UART0_RX as usize] = UART0_RX;
    vectors[Interrupt::UART2_RX as usize] = UART2_RX;
    vectors[Interrupt::GPIO0 as usize] = GPIO0;
    vectors[Interrupt::TIMER0 as usize] = TIMER0;
    vectors[Interrupt::DUAL_TIMER as usize] = DUAL_TIMER;
    vectors[Interrupt::UART3_RX as usize] = UART3_RX;
    vectors
};
