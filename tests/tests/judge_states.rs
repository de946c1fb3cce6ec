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

/// As the promises see it the space of a turning leg is closed too. `cargo xtask states --each N` takes N further of those that look the same.
#[test]
fn every_state_of_a_turning_leg_as_the_promises_see_it_keeps_them() {
    let walk = told(Reach::Turning, 1, 2_000_000);
    assert_eq!(walk.left, 0, "it is not closed");
    assert!(walk.states > 10_000, "{} states are too few to mean anything", walk.states);
}
