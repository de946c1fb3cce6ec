//! Functions and exceptions, over any table of registers: *MODBUS Application Protocol Specification V1.1b3*, sections 6 and 7.
//!
//! Four functions are served: 03 and 04 read, 06 and 16 write. What is asked is looked at in the order of the specification's state
//! diagrams: function (exception 01), quantity and length (03), addresses (02), then the doing.

/// The longest message inside a frame, section 4.1.
pub const MOST_PDU: usize = 253;
/// Registers read at once, at most, section 6.3.
pub const MOST_READ: u16 = 125;
/// Registers written at once, at most, section 6.12.
pub const MOST_WRITTEN: u16 = 123;

/// Why a request is not met, section 7.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Exception {
    /// This function is not served.
    Function = 0x01,
    /// A register asked for is not there, or cannot be written.
    Address = 0x02,
    /// A number in the request is not allowed, or its length is not what it says.
    Value = 0x03,
    /// The leg is no longer judged: what is known is old.
    Failed = 0x04,
    /// Not now: ask again later.
    Busy = 0x06,
    /// From a gateway: the box behind it does not answer.
    NoAnswer = 0x0B,
}

/// What is served.
pub trait Registers {
    /// Read one.
    ///
    /// # Errors
    /// The exception to be answered.
    fn read(&mut self, register: u16) -> Result<u16, Exception>;

    /// Write one.
    ///
    /// # Errors
    /// The exception to be answered.
    fn write(&mut self, register: u16, value: u16) -> Result<(), Exception>;
}

/// Answer one request into the front of `out`: the answer's length; 0 for a request without a function, which is none.
pub fn answer(request: &[u8], registers: &mut impl Registers, out: &mut [u8; MOST_PDU]) -> usize {
    let Some((function, asked)) = request.split_first() else { return 0 };
    let mut reply = Reply { out, length: 0 };
    reply.byte(*function);
    match serve(*function, asked, registers, &mut reply) {
        Ok(()) => reply.length,
        Err(exception) => refuse(request, exception, out),
    }
}

/// Answer a request with an exception.
pub fn refuse(request: &[u8], exception: Exception, out: &mut [u8; MOST_PDU]) -> usize {
    let Some(function) = request.first() else { return 0 };
    let [first, second, ..] = out;
    (*first, *second) = (function | 0x80, exception as u8);
    2
}

fn serve(function: u8, asked: &[u8], registers: &mut impl Registers, reply: &mut Reply<'_>) -> Result<(), Exception> {
    match function {
        0x03 | 0x04 => read(asked, registers, reply),
        0x06 => write_one(asked, registers, reply),
        0x10 => write_some(asked, registers, reply),
        _ => Err(Exception::Function),
    }
}

/// Sections 6.3 and 6.4.
fn read(asked: &[u8], registers: &mut impl Registers, reply: &mut Reply<'_>) -> Result<(), Exception> {
    let [a, b, c, d] = *asked else { return Err(Exception::Value) };
    let (first, quantity) = (word(a, b), word(c, d));
    if quantity == 0 || quantity > MOST_READ {
        return Err(Exception::Value);
    }
    let last = first.checked_add(quantity.wrapping_sub(1)).ok_or(Exception::Address)?;
    // At most 250.
    reply.byte((quantity as u8).wrapping_mul(2));
    for register in first..=last {
        reply.word(registers.read(register)?);
    }
    Ok(())
}

/// Section 6.6: the answer is the request.
fn write_one(asked: &[u8], registers: &mut impl Registers, reply: &mut Reply<'_>) -> Result<(), Exception> {
    let [a, b, c, d] = *asked else { return Err(Exception::Value) };
    registers.write(word(a, b), word(c, d))?;
    asked.iter().for_each(|byte| reply.byte(*byte));
    Ok(())
}

/// Section 6.12: the answer is where, and how many. One exception answers for all, so no more than one register is ever written.
fn write_some(asked: &[u8], registers: &mut impl Registers, reply: &mut Reply<'_>) -> Result<(), Exception> {
    let [a, b, c, d, bytes, values @ ..] = asked else { return Err(Exception::Value) };
    let (first, quantity) = (word(*a, *b), word(*c, *d));
    let stated = usize::from(*bytes);
    if quantity == 0
        || quantity > MOST_WRITTEN
        || stated != values.len()
        || stated != usize::from(quantity).wrapping_mul(2)
    {
        return Err(Exception::Value);
    }
    let [high, low] = *values else { return Err(Exception::Address) };
    registers.write(first, word(high, low))?;
    [*a, *b, *c, *d].into_iter().for_each(|byte| reply.byte(byte));
    Ok(())
}

const fn word(high: u8, low: u8) -> u16 {
    u16::from_be_bytes([high, low])
}

struct Reply<'o> {
    out: &'o mut [u8; MOST_PDU],
    length: usize,
}

impl Reply<'_> {
    fn byte(&mut self, byte: u8) {
        // There is room for the longest answer: a function, a count and 250 bytes.
        if let Some(slot) = self.out.get_mut(self.length) {
            *slot = byte;
            self.length = self.length.wrapping_add(1);
        }
    }

    fn word(&mut self, word: u16) {
        word.to_be_bytes().into_iter().for_each(|byte| self.byte(byte));
    }
}
