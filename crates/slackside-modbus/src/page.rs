//! The page of the book: written from the table, so that it cannot say anything else.

use std::fmt::Write as _;
use std::string::String;

use slackside::conditions::Condition;
use slackside_box::fault::Fault;

use crate::registers::{ACKNOWLEDGE, ACKNOWLEDGE_WORD, LAST, TABLE, VERSION};

/// What the page begins with.
const OPENING: &str = "\
# Modbus registers

Written by `cargo xtask reference` from the table that the server serves; do not edit.

> **The permits are wired. No PLC may run or stop a leg by these registers.** They are for screens, logs and calls for help. Modbus proves
> neither who speaks nor that anybody does: the permits' contacts, the wire through them and the watchdog outside do.
";

/// What it says before the tables.
const RULES: &str = "
## How to read it

| | |
|---|---|
| functions | 03 and 04 read the same registers; 06 and 16 write the one that can be written. Any other is answered by exception 01 |
| addresses | counted from 0, as they go over the wire. Where a program counts from 1, or writes 30001 or 40001, add 1 |
| numbers | signed, 16 bits, held at -32,767 and 32,767 |
| unknown | **0x8000 (-32,768)**: not known, not fitted, or not there. Nothing unknown is ever 0. Bits, halves of 32 bits, the heartbeat and the \
name use all sixteen bits: what is unknown there is said in their rows |
| 32 bits | two registers, **high word first**; in each register the high byte first, as everywhere in Modbus |
| bits | bit 0 is the lowest |
| old | what nobody has judged for 2 s is not told: exception 04 from a box, 0B from a desk that stands before one |
| serial line | 8 data bits; a frame ends at 3.5 characters of silence, 1.75 ms above 19,200 bits a second; answers begin after that |
| broadcast | address 0 is heeded by nobody: an acknowledgement means that somebody has seen *these* alarms, and nothing else can be written |
| TCP | units 0 and 255 mean the leg that is reached; any other number but its own is answered by exception 0B, never by this leg's values |
| one read | all registers of one answer are of one moment |

";

/// The whole page.
#[must_use]
pub fn page() -> String {
    let mut text = String::from(OPENING);
    text.push_str(RULES);
    let _ = write!(
        text,
        "## Registers to read (table {VERSION}, 0 to {LAST})\n\nRegisters between the rows read as unknown.\n\n\
         | register | name | unit | what it says |\n|---|---|---|---|\n"
    );
    for row in TABLE {
        let last = row.first.saturating_add(row.count).saturating_sub(1);
        let place =
            if row.count == 1 { std::format!("{}", row.first) } else { std::format!("{} to {last}", row.first) };
        let _ = writeln!(text, "| {place} | `{}` | {} | {} |", row.name, row.unit, row.meaning);
    }
    let _ = write!(
        text,
        "\n## The register to write\n\n\
         | register | word | what it does |\n|---|---|---|\n\
         | {ACKNOWLEDGE} | 0x{ACKNOWLEDGE_WORD:04X} ({ACKNOWLEDGE_WORD}) | Somebody has seen the alarms: acknowledges all of them. \
         It resets nothing and gives no permit back |\n\n\
         Any other word is answered by exception 03, any other register by 02. The box takes four commands by links at once and one more each \
         15 s: beyond that it answers 06. The register cannot be read.\n\n\
         ## Conditions by number\n\n\
         [Every condition](conditions.md) has its meaning there.\n\n\
         | number | condition | name | in the bit words |\n|---|---|---|---|\n"
    );
    let mut conditions = Condition::ALL;
    conditions.sort_unstable_by_key(|condition| condition.id());
    for condition in conditions {
        let (number, title, name) = (condition.id(), condition.entry().title, condition.name());
        let (word, bit) = (number >> 4, number & 15);
        let _ = writeln!(text, "| {number} | {title} | `{name}` | word {word}, bit {bit} |");
    }
    text.push_str("\n## Faults of the box\n\n| bit of the 32 | what it says |\n|---|---|\n");
    for fault in Fault::ALL {
        let _ = writeln!(text, "| {} | {} |", fault as u8, fault.says());
    }
    text
}
