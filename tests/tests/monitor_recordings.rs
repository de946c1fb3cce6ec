//! Recordings of real wheels that turn together without slip, through the whole monitor: no stop, no slip alarm.
//!
//! Source: unit-test resources of an open engine-control project (crankshaft and camshaft, coupled 2:1), read where at hand.
//! They run faster than a leg and speed up as they go, so their limits of speed are set to suit: normal speed is a third of the
//! fastest, and a start may take as long as the recording.

use slackside::conditions::Condition;
use slackside::input::{Input, Signal};
use slackside::settings::Checked;
use slackside::units::{Micros, Span};
use slackside::verdict::Permit;
use slackside_tests::recordings::{self, bench, even, uneven};
use slackside_tests::session::{dropped, given, raised, verdicts};

fn no_stop(name: &str, settings: &Checked) {
    let Some(inputs) = recordings::read(name) else { return };
    // The box was on before: it has seen the wheels stand.
    let later = |input: &Input| Input::new(input.at.after(Span::from_millis(20_000)), input.signal);
    let awake = [Input::new(Micros::ZERO, Signal::Tick)];
    let inputs: Vec<Input> = awake.into_iter().chain(inputs.iter().map(later)).collect();
    let verdicts = verdicts(settings, &inputs);
    let raised = raised(&verdicts);
    println!("{name}: raised {raised:?}");
    assert_eq!(given(&verdicts, Permit::Run), 1, "{name}");
    assert_eq!(dropped(&verdicts, Permit::Run), None, "{name}: {raised:?}");
    let slips = [Condition::SlipHigh, Condition::SlipVeryHigh, Condition::SlipNegative, Condition::SlipImpossible];
    assert!(raised.iter().all(|(_, condition)| !slips.contains(condition)), "{name}: {raised:?}");
}

#[test]
fn a_start_from_rest() {
    no_stop("a_even_start_from_rest.csv", &bench(even(2), even(2), 5.4));
}

#[test]
fn hard_acceleration_with_uneven_targets() {
    no_stop("b_uneven_targets_accelerating.csv", &bench(uneven(4, 180_000, 320_000), uneven(3, 90_000, 650_000), 27.0));
}

#[test]
fn common_mode_noise() {
    no_stop("c_common_mode_noise.csv", &bench(uneven(4, 180_000, 320_000), uneven(3, 90_000, 650_000), 27.0));
}

#[test]
fn a_power_up_burst_and_an_extra_target() {
    no_stop("d_extra_target_powerup_burst.csv", &bench(uneven(13, 20_000, 100_000), even(4), 26.0));
}
