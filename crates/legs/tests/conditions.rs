//! Every condition is raised by some random leg: what is never raised is not tested by them.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::verdict::Change;
use slackside_legs::{Frame, leg};

/// The rarest come on one leg in some hundred.
const MOST_LEGS: u64 = 2_000;

#[test]
fn the_legs_raise_every_condition() {
    let mut raised = [0_u32; Condition::COUNT];
    // A fault of the settings is told by the box, not by an input; feed hunts for half an hour, which no random leg lasts (the core's
    // own test of it does).
    let others = [Condition::SettingsFault, Condition::FeedHunting];
    let is_missing =
        |raised: &[u32], condition: &Condition| raised[condition.rank()] == 0 && !others.contains(condition);
    let mut legs = 0;
    while legs < MOST_LEGS && Condition::ALL.iter().any(|condition| is_missing(&raised, condition)) {
        for verdict in leg(legs, Frame::ANY).verdicts() {
            if let Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } = verdict.change {
                raised[condition.rank()] += 1;
            }
        }
        legs += 1;
    }
    let missing: Vec<_> = Condition::ALL.iter().filter(|condition| is_missing(&raised, condition)).collect();
    println!("{legs} legs: {raised:?}");
    assert!(missing.is_empty(), "{missing:?} never raised on {legs} legs");
}
