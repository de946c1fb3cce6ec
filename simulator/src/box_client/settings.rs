//! Settings to a box, and what it runs on.

use std::thread::sleep;
use std::time::Duration;

use anyhow::{Context, bail};
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::wire::{CHUNK, Reply, Request, Window};
use slackside_box::arming::{BoxKey, tag};

use super::client::Client;

/// The plan in force: what the box runs on.
///
/// # Errors
/// The box does not answer, or has none.
pub fn read_plan(client: &mut Client) -> anyhow::Result<Plan> {
    let bytes = client.read(Window::Plan, Plan::LENGTH as u32 + 1, &mut |_| {})?;
    if bytes.is_empty() {
        bail!("the box has no settings: write some with `settings write LEG.toml`");
    }
    let other = "what the box runs on cannot be read: use the desk program that belongs to its firmware";
    Plan::copy_of(&bytes).ok().filter(|plan| plan.computed_crc() == plan.identity()).context(other)
}

/// How often the box is asked whether a person has confirmed.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Send settings and have them armed: the identity of those before, `None` if there were none. `key` is the box's. The box then waits for
/// a person there; `waiting` is told so once.
///
/// # Errors
/// The box does not answer, or refuses, or nobody confirms: nothing has changed then.
pub fn write_settings(
    client: &mut Client,
    settings: &Checked,
    key: &BoxKey,
    waiting: &mut dyn FnMut(),
) -> anyhow::Result<Option<u32>> {
    let plan = settings.plan();
    let leg = settings.machine.leg.as_bytes();
    let (serial, old) = client.ask(&Request::Hello, |reply| match reply {
        Reply::Hello(hello) => Some((hello.serial.to_owned(), hello.plan)),
        _ => None,
    })?;
    let mut echoed = None;
    for (piece, offset) in plan.bytes().chunks(CHUNK).zip((0..).step_by(CHUNK)) {
        let offset = u16::try_from(offset).context("settings too long")?;
        let state = client.ask(&Request::Stage { offset, bytes: piece }, |reply| match reply {
            Reply::Staged(state) => Some(state),
            _ => None,
        })?;
        echoed = state.identity;
    }
    let identity = plan.identity();
    if echoed != Some(identity) {
        bail!("the box received other settings than were sent: send them again");
    }
    let challenge = client.ask(&Request::Challenge, |reply| match reply {
        Reply::Challenge(challenge) => Some(challenge),
        _ => None,
    })?;
    let tag = tag(key, challenge, &plan, &serial, leg).context("the box's serial number is too long")?;
    client.demand(&Request::Arm { leg, identity, tag: &tag })?;
    waiting();
    while client.ask(&Request::Box, |reply| match reply {
        Reply::Box(own) => Some(own.waits_for_press),
        _ => None,
    })? {
        sleep(LOOK_EVERY);
    }
    let new = client.ask(&Request::Hello, |reply| match reply {
        Reply::Hello(hello) => Some(hello.plan),
        _ => None,
    })?;
    if new != identity {
        bail!("nobody at the box confirmed the settings within a minute: those before are in force still");
    }
    Ok((old != 0).then_some(old))
}

/// A key as it stands in its file: 32 digits from 0 to 9 and a to f.
#[must_use]
pub fn write_key(key: &BoxKey) -> String {
    key.iter().map(|byte| format!("{byte:02x}")).chain(["\n".to_owned()]).collect()
}

/// The key that a file holds.
///
/// # Errors
/// It is no key.
pub fn parse_key(text: &str) -> anyhow::Result<BoxKey> {
    let text = text.trim();
    let digits = text.len() == 32 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    let number = u128::from_str_radix(text, 16).ok().filter(|_| digits);
    let number =
        number.context("a key is one line of 32 digits from 0 to 9 and a to f: `slackside new-key` makes one")?;
    Ok(number.to_be_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_read_as_written() {
        let key: BoxKey = core::array::from_fn(|at| at as u8 * 17);
        assert_eq!(write_key(&key), "00112233445566778899aabbccddeeff\n");
        assert_eq!(parse_key(&write_key(&key)).expect("a key"), key);
        for wrong in ["", "00112233445566778899aabbccddeef", "+0112233445566778899aabbccddeeff", "key"] {
            assert!(parse_key(wrong).is_err(), "{wrong}");
        }
    }
}
