//! What a scenario's sensors and people tell, with the monitor in the loop.

use std::io;

use slackside::input::Input;
use slackside::settings::Checked;
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::guard::Guard;
use slackside_desk::scenario::run::{Permits, Watch, run};
use slackside_desk::scenario::settings::Commissioned;
use slackside_desk::scenario::truth::Row;

/// All that the sensors and people of this scenario tell, its leg under a monitor with these settings, whose permits it obeys unless it
/// says otherwise.
///
/// # Errors
/// If the scenario cannot be run.
pub fn heard(scenario: &Scenario, of: &Commissioned, settings: &Checked) -> anyhow::Result<Vec<Input>> {
    let mut heard = Heard { guard: Guard::new(settings), inputs: Vec::new() };
    run(scenario, of, scenario.seed, scenario.obeys(), &mut heard)?;
    Ok(heard.inputs)
}

struct Heard {
    guard: Guard,
    inputs: Vec<Input>,
}

impl Watch for Heard {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        self.guard.take(input);
        self.inputs.push(*input);
        Ok(())
    }

    fn truth(&mut self, _: &Row) -> io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.guard.allows(now_us)
    }
}
