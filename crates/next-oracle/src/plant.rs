//! The plant's scenarios: what its sensors and people tell, with the landed core in the loop.

use std::io;
use std::path::{Path, PathBuf};

use slackside::input::Input;
use slackside::settings::Checked;
use slackside_simulator::scenario::Scenario;
use slackside_simulator::scenario::guard::Guard;
use slackside_simulator::scenario::run::{Permits, Watch, run};
use slackside_simulator::scenario::score::checked;
use slackside_simulator::scenario::settings::Commissioned;
use slackside_simulator::scenario::truth::Row;
use slackside_simulator::scenario::{legs, timeline};

/// The scenarios of the checkout.
#[must_use]
pub fn scenarios() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios")
}

struct Taken {
    guard: Guard,
    inputs: Vec<Input>,
}

impl Watch for Taken {
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
