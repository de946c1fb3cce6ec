//! Who may arm a plan by a link: whoever has the box's key, and a person at the box.
//!
//! The tag that proves the key is that of Ascon-AEAD128 (NIST SP 800-232). Its nonce is the challenge, its associated data every byte of
//! the plan, and its plaintext the plan's length, the box's serial number and the leg's name, whose ciphertext nobody needs. So no tag
//! fits another plan, another box, another leg or another time.

use ascon_aead::aead::inout::InOutBuf;
use ascon_aead::aead::{AeadInOut, KeyInit};
use ascon_aead::{AsconAead128, Key, Nonce};
use slackside::settings::plan::Plan;
use slackside::wire::Challenge;
use subtle::ConstantTimeEq;

/// The key of a box: whoever has it can make tags.
pub type BoxKey = [u8; 16];

/// A tag.
pub type Tag = [u8; 16];

/// Room for what a tag is made over besides the plan.
const ROOM: usize = 128;

/// The tag over all of it; `None` if serial number and name are longer than 120 bytes together.
#[must_use]
#[inline(never)]
pub fn tag(key: &BoxKey, challenge: Challenge, plan: &Plan, serial: &str, leg: &[u8]) -> Option<Tag> {
    let mut about = heapless::Vec::<u8, ROOM>::new();
    let plan = plan.bytes();
    about.extend_from_slice(&(plan.len() as u32).to_le_bytes()).ok()?;
    for part in [serial.as_bytes(), leg] {
        // Each with its length, so that no byte can move from the one to the other.
        about.push(u8::try_from(part.len()).ok()?).ok()?;
        about.extend_from_slice(part).ok()?;
    }
    let mut nonce = Nonce::<AsconAead128>::default();
    let numbers = challenge.power_up.to_le_bytes().into_iter().chain(challenge.counter.to_le_bytes());
    for (slot, byte) in nonce.iter_mut().zip(numbers) {
        *slot = byte;
    }
    let cipher = AsconAead128::new(&Key::<AsconAead128>::from(*key));
    let tag = cipher.encrypt_inout_detached(&nonce, plan, InOutBuf::from(about.as_mut_slice())).ok()?;
    Some(tag.into())
}

/// By what the box knows again what was staged when it checked it: its tag.
pub(crate) type Seal = Tag;

/// Made by the box over what is staged.
pub(crate) fn seal(key: &BoxKey, challenge: Challenge, plan: &Plan, serial: &str, leg: &[u8]) -> Option<Seal> {
    tag(key, challenge, plan, serial, leg)
}

/// Whether whoever sent this tag has the key, in a time that does not tell where it differs.
pub(crate) fn is_proven(seal: &Seal, sent: &[u8]) -> bool {
    seal.ct_eq(sent).into()
}

/// The key that a plan by the link needs: the box's, if it has one.
pub(crate) const fn needed(key: Option<BoxKey>) -> Option<BoxKey> {
    key
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(text: &str) -> std::vec::Vec<u8> {
        (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap()).collect()
    }

    /// Known answers of Ascon-AEAD128: counts 1, 2, 35, 562 and 1089 of the file that comes with the reference implementation of
    /// NIST SP 800-232.
    #[test]
    fn the_cipher_is_that_of_the_standard() {
        let counting = |length: u8| (0..length).collect::<std::vec::Vec<u8>>();
        for (plaintext, data, answer) in [
            (0, 0, "4427D64B8E1E1451FC445960F0839BB0"),
            (0, 1, "103AB79D913A0321287715A979BB8585"),
            (1, 1, "25EB4B700ED4AC8517DCBA20F673292230"),
            (17, 0, "E770D289D2A44AEE7CD0A48ECE5274E381A6132E1D1B072B1F103817B2D454700D"),
            (
                32,
                32,
                "4C086D27A3B51A2333CFC7F22172A9BCAD88B8D4D77E50622D788345FA7BEE4468915D3F9422289F2349D6A3B4160397",
            ),
        ] {
            let key: BoxKey = counting(16).try_into().unwrap();
            let nonce = Nonce::<AsconAead128>::try_from(&counting(16)[..]).unwrap();
            let mut text = counting(plaintext);
            let cipher = AsconAead128::new(&Key::<AsconAead128>::from(key));
            let tag = cipher
                .encrypt_inout_detached(&nonce, &counting(data), InOutBuf::from(text.as_mut_slice()))
                .expect("short enough");
            text.extend_from_slice(&tag);
            assert_eq!(text, hex(answer));
        }
    }

    #[test]
    fn whatever_changes_makes_another_tag() {
        let plan = Plan::blank();
        let challenge = Challenge { power_up: 7, counter: 3 };
        let right = tag(&[9; 16], challenge, &plan, "A-17", b"leg 3").unwrap();
        assert!(is_proven(&right, &right) && !is_proven(&right, &right[..15]));
        let mut wrong = std::vec![
            tag(&[8; 16], challenge, &plan, "A-17", b"leg 3"),
            tag(&[9; 16], Challenge { counter: 4, ..challenge }, &plan, "A-17", b"leg 3"),
            tag(&[9; 16], Challenge { power_up: 8, ..challenge }, &plan, "A-17", b"leg 3"),
            tag(&[9; 16], challenge, &plan, "A-18", b"leg 3"),
            tag(&[9; 16], challenge, &plan, "A-1", b"7leg 3"),
            tag(&[9; 16], challenge, &plan, "A-17", b"leg 4"),
        ];
        let bytes = plan.bytes().to_vec();
        for at in 0..bytes.len() {
            let mut other = bytes.clone();
            other[at] ^= 1;
            let other = Plan::copy_of(&other).expect("as long");
            wrong.push(tag(&[9; 16], challenge, &other, "A-17", b"leg 3"));
        }
        assert!(wrong.iter().all(|wrong| wrong.is_some_and(|wrong| !is_proven(&right, &wrong))));
        assert_eq!(tag(&[9; 16], challenge, &plan, &"x".repeat(200), b"leg"), None);
    }
}
