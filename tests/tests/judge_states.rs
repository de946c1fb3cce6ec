//! Alarms, latches, permits and operator in every state that can be reached, and what is promised of each.

use slackside_tests::states::{Reach, Walk, settings, walk};

fn told(reach: Reach, each: usize, most: usize) -> Walk {
    let walk = walk(&settings(), reach, each, most);
    println!(
        "{reach:?}: {} states by {} steps, {} events deep, {} not taken further; moves never made: {:?}",
        walk.states,
        walk.steps,
        walk.depth,
        walk.left,
        walk.moves.missing()
    );
    if let Some(broken) = &walk.broken {
        panic!("{broken}");
    }
    walk
}

/// At rest the space is closed: nothing that people, power, a plugged outlet and a cut sensor line can do leads to a state not looked at.
#[test]
fn every_state_of_a_leg_at_rest_keeps_what_is_promised() {
    let walk = told(Reach::AtRest, 1, 2_000_000);
    assert_eq!(walk.left, 0, "it is not closed");
    assert!(walk.states > 1_000, "{} states are too few to mean anything", walk.states);
}

/// A leg that runs has too many states to see all of them here; `cargo xtask states` goes on.
#[test]
fn thousands_of_states_of_a_turning_leg_keep_what_is_promised() {
    let walk = told(Reach::Turning, 1, 8_000);
    assert!(walk.states >= 8_000, "{} states", walk.states);
}
