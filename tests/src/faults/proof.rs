//! Proof tests: what a person does at the leg to find what no program can see.

use slackside::input::{Command, Origin, Place, Shaft};
use slackside_box::bench::{CLEAR, RUBBING, Rig};

use super::State;

/// A proof test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Proof {
    /// Press each rub contact by hand.
    PressRubContacts,
    /// Watch the lamp or horn fall as a proof test begins.
    WatchAlarm,
    /// Hold the program still.
    HoldProgram,
    /// Take the boot sensor off its targets.
    HoldSensorAway,
    /// Plug the outlet switch by hand.
    PlugOutlet,
    /// Heat each temperature sensor beyond its limit.
    WarmSensors,
}

impl Proof {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::PressRubContacts,
        Self::WatchAlarm,
        Self::HoldProgram,
        Self::HoldSensorAway,
        Self::PlugOutlet,
        Self::WarmSensors,
    ];

    /// Its name on the page.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::PressRubContacts => "rub contacts",
            Self::WatchAlarm => "alarm output",
            Self::HoldProgram => "watchdog",
            Self::HoldSensorAway => "boot sensor",
            Self::PlugOutlet => "outlet switch",
            Self::WarmSensors => "temperatures",
        }
    }

    /// What to do, and what must happen.
    #[must_use]
    pub const fn does(self) -> &'static str {
        match self {
            Self::PressRubContacts => {
                "at rest, locked out: press each rub contact for a second; the box names its place"
            }
            Self::WatchAlarm => "key on, begin a proof test: lamp or horn must tell of it until the test ends",
            Self::HoldProgram => {
                "at rest: hold the processor in reset or short the heartbeat; the coils must be without supply within the \
                 watchdog's time"
            }
            Self::HoldSensorAway => {
                "leg empty and running, proof test begun: swing the boot sensor off its targets, from outside the guard; the \
                 leg must stop"
            }
            Self::WarmSensors => {
                "at rest: heat each sensor beyond its limit, with hot water or hot air; the box stops and names it"
            }
            Self::PlugOutlet => "at rest: work the outlet switch by hand for three seconds; the box stops and says so",
        }
    }

    /// How often, in months. Common practice, no source.
    #[must_use]
    pub const fn every_months(self) -> u32 {
        match self {
            Self::PressRubContacts | Self::HoldSensorAway => 3,
            Self::WatchAlarm | Self::HoldProgram | Self::PlugOutlet | Self::WarmSensors => 12,
        }
    }

    /// How the leg must be for it.
    #[must_use]
    pub const fn at(self) -> State {
        match self {
            Self::HoldSensorAway => State::Running,
            _ => State::Stopped,
        }
    }

    /// Do it. Whether what must happen did.
    pub fn passes(self, rig: &mut Rig) -> bool {
        match self {
            Self::PressRubContacts => Place::ALL.into_iter().all(|place| {
                rig.panel.contacts[place.index()].set(Some(RUBBING));
                rig.run(1_000);
                let told = !rig.alarm_shows_well();
                rig.panel.contacts[place.index()].set(Some(CLEAR));
                rig.run(6_000);
                rig.press(|panel| &panel.acknowledge, 50);
                told
            }),
            Self::WatchAlarm => {
                rig.panel.key.set(true);
                rig.run(50);
                rig.sensor_box.command(Origin::Leg, Command::ProofTest(true));
                rig.run(50);
                let told = !rig.alarm_shows_well();
                rig.sensor_box.command(Origin::Leg, Command::ProofTest(false));
                rig.run(50);
                rig.panel.key.set(false);
                told && rig.alarm_shows_well()
            }
            Self::HoldProgram => {
                rig.halted = true;
                rig.run(1_000);
                !rig.panel.may_run()
            }
            Self::HoldSensorAway => {
                rig.swing_away(Shaft::Boot);
                rig.run(5_000);
                !rig.motor_runs()
            }
            Self::WarmSensors => {
                rig.temperature = Some(900);
                rig.run(2_000);
                !rig.panel.may_run()
            }
            Self::PlugOutlet => {
                rig.panel.outlet.set(true);
                rig.run(4_000);
                !rig.panel.may_run()
            }
        }
    }
}
