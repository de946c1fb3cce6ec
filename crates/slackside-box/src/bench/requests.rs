//! One of everything that can be asked by the link, and what such a list has forgotten.

use core::mem::discriminant;
use std::format;
use std::string::String;
use std::vec::Vec;

use slackside::conditions::Condition;
use slackside::daily::Work;
use slackside::input::Command;
use slackside::record::Anchor;
use slackside::units::{Micros, Span};
use slackside::wire::{CHUNK, Readable, Request, Window};

/// One of every command, and both ways of those that have two.
#[must_use]
pub fn every_command() -> Vec<Command> {
    let mut all = std::vec![
        Command::Acknowledge,
        Command::Reset,
        Command::BootCleared,
        Command::Bypass(Condition::SlipHigh, Span::from_millis(1_000)),
        Command::EndBypass,
        Command::Armed { old: 1, new: 2 },
    ];
    let both: [fn(bool) -> Command; 4] = [Command::ResetButton, Command::Key, Command::Inch, Command::ProofTest];
    all.extend(both.into_iter().flat_map(|command| [command(true), command(false)]));
    all
}

/// One request of every kind, whole and well-formed: every window, every work and every command among them. `plan` is what is staged of.
#[must_use]
pub fn every_request(plan: &[u8]) -> Vec<Request<'_>> {
    let anchor = Anchor { at: Micros::new(5), desk_us: 1_700_000_000_000_000, uncertainty: Span::from_millis(1_000) };
    let mut all = std::vec![
        Request::Hello,
        Request::Anchor(anchor),
        Request::Status,
        Request::Events { after: 0 },
        Request::Recording { position: 0 },
        Request::Stage { offset: 0, bytes: plan.get(..CHUNK).unwrap_or(plan) },
        Request::Challenge,
        Request::Arm { leg: b"Millbrook leg 3", identity: 7, tag: &[0; 16] },
        Request::Box,
    ];
    let windows = [Window::Plan, Window::Recording(0), Window::ProofTests, Window::Days, Window::Today];
    all.extend(windows.map(|window| Request::Read { window, offset: 0 }));
    all.extend(Work::ALL.map(|work| Request::Mark { work, note: b"as told" }));
    all.extend(every_command().into_iter().map(Request::Command));
    all
}

/// Whether both are of one kind: the same request, and the same window, work or command in it.
fn are_of_one_kind<'r>(one: &Request<'r>, other: &Request<'r>) -> bool {
    let within = match (one, other) {
        (Request::Read { window: one, .. }, Request::Read { window: other, .. }) => {
            discriminant(one) == discriminant(other)
        }
        (Request::Mark { work: one, .. }, Request::Mark { work: other, .. }) => one == other,
        (Request::Command(one), Request::Command(other)) => discriminant(one) == discriminant(other),
        _ => true,
    };
    within && discriminant(one) == discriminant(other)
}

/// The shortest message that begins with these two bytes: numbers, lengths and kinds follow, of which there is a first or a second.
fn message(first: u8, second: u8) -> Option<Vec<u8>> {
    let lengths = (1..40).flat_map(|length| [(length, 0), (length, 1)]);
    lengths
        .map(|(length, fill)| {
            let mut body = std::vec![fill; length];
            body.iter_mut().zip([first, second]).for_each(|(slot, byte)| *slot = byte);
            body
        })
        .find(|body| Request::read(body).is_some())
}

/// Kinds of requests that the protocol reads and that are not in this list. It is asked what it reads, byte by byte: so a kind that is added
/// to it is missed here, whoever forgets to add it to a list.
#[must_use]
pub fn kinds_missing(requests: &[Request<'_>]) -> Vec<String> {
    let begins = (0..=u8::MAX).filter(|first| [0, 1].into_iter().any(|second| message(*first, second).is_some()));
    let all: Vec<Vec<u8>> =
        begins.flat_map(|first| (0..=u8::MAX).filter_map(move |second| message(first, second))).collect();
    let mut missing: Vec<Request<'_>> = Vec::new();
    for request in all.iter().filter_map(|body| Request::read(body)) {
        if !requests.iter().chain(&missing).any(|listed| are_of_one_kind(listed, &request)) {
            missing.push(request);
        }
    }
    missing.iter().map(|request| format!("{request:?}")).collect()
}
