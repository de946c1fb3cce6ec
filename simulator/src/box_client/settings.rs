//! Settings from a box and to a box.

use anyhow::{Context, bail};
use slackside::settings::{Checked, MOST_IMAGE_BYTES, Settings};
use slackside::wire::{CHUNK, Reply, Request};

use super::client::Client;

/// The settings in force.
///
/// # Errors
/// The box does not answer, or has none.
pub fn read_settings(client: &mut Client) -> anyhow::Result<Settings> {
    let mut image = Vec::new();
    loop {
        let offset = u16::try_from(image.len()).context("the box sends more than any settings are long")?;
        let piece = client.ask(&Request::ReadSettings { offset }, |reply| match reply {
            Reply::Piece { bytes, .. } => Some(bytes.to_vec()),
            _ => None,
        })?;
        if piece.is_empty() {
            break;
        }
        image.extend(piece);
        if image.len() > MOST_IMAGE_BYTES {
            bail!("the box sends more than any settings are long");
        }
    }
    if image.is_empty() {
        bail!("the box has no settings: write some with `settings write LEG.toml`");
    }
    Settings::from_image(&image).context("the box's settings cannot be read")
}

/// Send settings and arm them: the identity of those before, `None` if there were none.
///
/// # Errors
/// The box does not answer, or refuses: nothing has changed then.
pub fn write_settings(client: &mut Client, settings: &Checked) -> anyhow::Result<Option<u32>> {
    let mut buffer = [0; MOST_IMAGE_BYTES];
    let image = settings.to_image(&mut buffer)?;
    let length = u16::try_from(image.len()).context("settings too long")?;
    let mut echoed = None;
    for (piece, offset) in image.chunks(CHUNK).zip((0..).step_by(CHUNK)) {
        let offset = u16::try_from(offset).context("settings too long")?;
        let state = client.ask(&Request::StageSettings { offset, length, bytes: piece }, |reply| match reply {
            Reply::Staged(state) => Some(state),
            _ => None,
        })?;
        echoed = state.identity;
    }
    let identity = settings.identity();
    if echoed != Some(identity) {
        bail!("the box received other settings than were sent: send them again");
    }
    let request = Request::ArmSettings { leg: &settings.machine.leg, identity };
    let (old, new) = client.ask(&request, |reply| match reply {
        Reply::Armed { old, new } => Some((old, new)),
        _ => None,
    })?;
    if new != identity {
        bail!("the box armed other settings than were sent: read them back and look");
    }
    Ok((old != 0).then_some(old))
}
