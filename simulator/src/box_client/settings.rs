//! Settings to a box, and what it runs on.

use anyhow::{Context, bail};
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::wire::{CHUNK, Reply, Request, Window};

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

/// Send settings and arm them: the identity of those before, `None` if there were none.
///
/// # Errors
/// The box does not answer, or refuses: nothing has changed then.
pub fn write_settings(client: &mut Client, settings: &Checked) -> anyhow::Result<Option<u32>> {
    let plan = settings.plan();
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
    let request = Request::Arm { leg: settings.machine.leg.as_bytes(), identity };
    let (old, new) = client.ask(&request, |reply| match reply {
        Reply::Armed { old, new } => Some((old, new)),
        _ => None,
    })?;
    if new != identity {
        bail!("the box armed other settings than were sent: read them back and look");
    }
    Ok((old != 0).then_some(old))
}
