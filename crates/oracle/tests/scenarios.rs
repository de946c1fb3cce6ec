//! Every scenario of the plant, and the demo, through both cores.

use slackside_oracle::compare::{Outcome, Tolerance};
use slackside_oracle::plant;
use slackside_oracle::run::{Tally, Ticks, both};

#[test]
fn every_scenario_gives_the_same_verdicts() {
    let mut tally = Tally::default();
    for path in plant::scenarios().expect("the scenarios") {
        let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
        let (settings, inputs) = plant::inputs(&path).expect("a sound scenario");
        let (outcome, shifts) = both(&settings, &inputs, &[], Ticks::None, 0, Tolerance::PROMISED);
        println!("{name}: {} inputs, {} verdicts", inputs.len(), shifts.verdicts);
        let outcome = match outcome {
            Outcome::Differ(why) => Outcome::Differ(format!("{name}: {why}")),
            other => other,
        };
        tally.add(tally.legs as u64, inputs.len(), outcome, &shifts);
    }
    println!("{}", tally.summary());
    let told: Vec<&str> = tally.differ.iter().map(|(_, why)| why.as_str()).collect();
    assert!(tally.differ.is_empty(), "{}", told.join("\n"));
    assert!(tally.legs >= 45 && tally.shifts.verdicts > 500, "{}", tally.summary());
}

#[test]
fn the_demo_gives_the_same_verdicts() {
    let (settings, inputs) = plant::demo().expect("sound settings");
    for ticks in [Ticks::None, Ticks::Deadlines, Ticks::Any] {
        let (outcome, shifts) = both(&settings, &inputs, &[], ticks, 0, Tolerance::PROMISED);
        assert_eq!(outcome, Outcome::Alike, "{ticks:?}");
        assert!(shifts.verdicts > 20);
    }
}
