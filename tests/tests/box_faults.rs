//! Every cell of the table of single faults, played on the box's own code, and every proof test that finds what no program sees.

use slackside_tests::faults::{Group, Must, Proof, Row, State, finds, play, rows};

fn all_of(group: Group) {
    let mut wrong = Vec::new();
    for row in rows().iter().filter(|row| row.group == group) {
        for state in State::ALL {
            let (played, judged) = play(row, state);
            let (told, later): (Vec<&(u64, _)>, Vec<_>) =
                played.said.iter().partition(|(at, _)| *at <= played.belt_stood_ms);
            println!(
                "{} | {state:?} | stop {:?} after start {:?} | unfed {:?} | alarm {:?} after start {:?} | {told:?} then {later:?} | \
                 belt stop {:?}",
                row.what,
                played.stopped_ms,
                played.stopped_after_start_ms,
                played.unfed_ms,
                played.alarmed_ms,
                played.alarmed_after_start_ms,
                played.belt_stop_ms
            );
            if let Err(why) = judged {
                wrong.push(format!("{}, {state:?}: {why}", row.what));
            }
        }
    }
    assert!(wrong.is_empty(), "{} cells:\n  {}", wrong.len(), wrong.join("\n  "));
}

#[test]
fn faults_of_target_sensors_are_told_or_safe() {
    all_of(Group::Sensors);
}

#[test]
fn faults_of_contacts_are_told_or_safe() {
    all_of(Group::Contacts);
}

#[test]
fn faults_of_permits_are_told_or_safe() {
    all_of(Group::Permits);
}

#[test]
fn faults_of_the_program_are_told_or_safe() {
    all_of(Group::Program);
}

#[test]
fn faults_of_memory_are_told_or_safe() {
    all_of(Group::Memory);
}

/// What is not seen, or seen only later, is found by the proof test that is named, and each proof test finds something.
#[test]
fn what_no_program_sees_a_proof_test_finds() {
    let unseen = |row: &Row| row.must.into_iter().find_map(Must::proof);
    let found: Vec<(Row, Proof)> = rows().into_iter().filter_map(|row| Some((row, unseen(&row)?))).collect();
    for (row, proof) in &found {
        assert!(finds(row, *proof), "{}: not found by {}", row.what, proof.name());
    }
    for proof in Proof::ALL {
        assert!(found.iter().any(|(_, by)| *by == proof), "{} finds nothing", proof.name());
    }
}
