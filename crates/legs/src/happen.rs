//! What happens to a leg: what its drive does, what goes wrong, and what people ask of its box.

use slackside::conditions::Condition;
use slackside::input::{Command, ContactState, LineState, Origin, Place, Shaft, Signal};
use slackside::units::{DeciCelsius, Ppm, Span, Watts};

use super::day::{Day, Due};

impl Day<'_> {
    /// The first moments of a box.
    pub fn begin(&mut self) {
        if self.random.chance(0.9) {
            self.say(0.0, Signal::DriveRunning(false));
        } else {
            self.say(0.0, Signal::Tick);
        }
        if self.random.chance(0.8) {
            for place in Place::ALL {
                self.say(0.0, Signal::Contact(place, ContactState::Clear));
            }
        }
        self.say(0.001, Signal::OutletPlugged(false));
        if self.random.chance(0.8) {
            self.reference(1.0);
        }
        let quiet = self.random.one_of(&[0.5, 3.0, 12.0, 25.0]) * self.random.between(0.8, 1.2);
        self.plan(quiet, Due::Decide);
        let meddling = self.random.one_of(&[0.0, 0.0, 0.02, 0.3]);
        let seconds = 600.0;
        for _ in 0..(meddling * seconds) as usize {
            let at = self.random.between(0.0, seconds);
            let signal = self.any_command();
            self.say(at, signal);
        }
        // A meter and sensors of temperature that tell now and then.
        let every = self.random.between(0.5, 20.0);
        let mut at = 0.0;
        while at < seconds {
            at += every * self.random.between(0.5, 1.5);
            let rated = f64::from(self.make.settings.machine.rated_power.get());
            match self.random.whole(0, 3) {
                0 => {
                    let place = self.random.one_of(&Place::ALL);
                    let celsius = self.random.whole(100, 700) as i16;
                    self.say(at, Signal::Temperature(place, DeciCelsius::new(celsius)));
                }
                1 => self.say(at, Signal::Tick),
                _ => {
                    let watts = rated * self.random.one_of(&[0.0, 0.3, 0.7, 1.0, 1.3]) * self.random.between(0.9, 1.1);
                    self.say(at, Signal::DrivePower(Watts::new(watts as u32)));
                }
            }
        }
    }

    /// What comes next, from what there is.
    pub fn decide(&mut self) {
        if self.head_share().abs() < 0.01 && !self.drive {
            self.at_rest();
        } else if self.calm > 0.0 && self.random.chance(self.calm) {
            self.plan(12.0, Due::Decide);
        } else {
            self.while_running();
        }
    }

    fn at_rest(&mut self) {
        match self.random.whole(0, 29) {
            0 => self.rock(),
            1 => self.roll_back(),
            2 => self.inch(),
            3 => self.jog(),
            4 => self.fault(),
            5 => {
                // Turns by itself, the drive off.
                let speed = self.normal() * self.random.between(0.05, 0.6);
                self.plan(0.0, Due::HeadTo(speed, 2.0));
                self.plan(4.0, Due::HeadTo(0.0, 2.0));
                self.plan(8.0, Due::Decide);
            }
            6..=12 => {
                self.clear_up();
                let wait = self.random.between(2.0, 30.0);
                self.plan(wait, Due::Decide);
            }
            _ => self.start(),
        }
    }

    fn start(&mut self) {
        if !self.permit && self.random.chance(0.8) {
            self.clear_up();
            let wait = self.random.between(3.0, 15.0);
            self.plan(wait, Due::Decide);
            return;
        }
        self.say(0.0, Signal::DriveRunning(true));
        let share =
            if self.random.chance(0.1) { self.random.between(0.0, 0.9) } else { self.random.between(0.95, 1.03) };
        let up = self.random.log_between(0.3, 12.0);
        let (normal, lag) = (self.normal(), self.random.between(0.0, 0.2));
        self.plan(lag, Due::HeadTo(normal * share, up));
        let wait = up + self.random.between(0.5, 20.0);
        self.plan(wait, Due::Decide);
    }

    /// The drive goes off and the leg runs down.
    pub fn stop(&mut self) {
        self.say(0.0, Signal::DriveRunning(false));
        let down = self.random.log_between(0.3, 20.0);
        self.plan(0.01, Due::HeadTo(0.0, down));
        let rest = self.random.one_of(&[0.5, 3.0, 12.0]) * self.random.between(0.8, 1.6);
        self.plan(down + rest, Due::Decide);
    }

    fn while_running(&mut self) {
        let wait = self.random.one_of(&[0.7, 4.0, 12.0, 30.0]) * self.random.between(0.5, 1.5);
        match self.random.whole(0, 19) {
            0..=2 => {
                self.stop();
                return;
            }
            3..=7 => self.slip(),
            8 => {
                // The load, or the drive, changes the speed.
                let share = self.random.one_of(&[0.8, 0.88, 0.93, 1.0, 1.1, 1.35]) * self.random.between(0.98, 1.02);
                let seconds = self.random.log_between(0.1, 10.0);
                let normal = self.normal();
                self.plan(0.0, Due::HeadTo(normal * share, seconds));
            }
            9 => {
                let share = self.random.between(0.25, 1.1);
                self.reference(share);
                let (normal, seconds) = (self.normal(), self.random.log_between(0.5, 10.0));
                self.plan(0.1, Due::HeadTo(normal * share, seconds));
            }
            10 => {
                // Power fails, or the head sticks.
                let seconds = self.random.log_between(0.05, 2.0);
                self.plan(0.0, Due::HeadTo(0.0, seconds));
            }
            _ => self.fault(),
        }
        self.plan(wait, Due::Decide);
    }

    fn slip(&mut self) {
        let creep = self.creep;
        let size = if self.random.chance(0.3) { 1.0 } else { self.random.log_between(0.01, 0.9) };
        let size = if self.random.chance(0.1) { -size.min(0.3) } else { size };
        let within = self.random.one_of(&[0.0, 0.2, 2.0, 15.0]) * self.random.between(0.5, 1.5);
        let lasts = self.random.log_between(0.05, 40.0);
        if self.random.chance(0.25) {
            let pitch = 1e6 / self.normal() / 4.0;
            let stuck = (pitch * self.random.log_between(0.1, 3.0)) as u64;
            let free = (pitch * self.random.log_between(0.5, 12.0)) as u64;
            let until = self.later(lasts);
            self.plan(0.0, Due::StickSlip(until, stuck, free));
        } else {
            self.plan(0.0, Due::SlipTo(size, within));
            self.plan(within + lasts, Due::SlipTo(creep, within));
        }
    }

    fn reference(&mut self, share: f64) {
        if self.make.settings.machine.speed_reference.is_some() {
            let ppm =
                if self.random.chance(0.05) { self.random.whole(-100_000, 2_000_000) } else { (share * 1e6) as i64 };
            self.say(0.0, Signal::SpeedReference(Ppm::new(ppm as i32)));
        }
    }

    /// Something goes wrong with a sensor, a contact or a line.
    fn fault(&mut self) {
        let shaft = if self.random.chance(0.5) { Shaft::Head } else { Shaft::Boot };
        let place = self.random.one_of(&Place::ALL);
        let lasts = self.random.log_between(0.02, 40.0);
        let until = self.later(lasts);
        match self.random.whole(0, 15) {
            0 => {
                let probability = self.random.one_of(&[0.05, 0.3, 1.0]);
                self.plan(0.0, Due::Lose(shaft, until, probability));
            }
            1 => {
                // One target, once.
                let until = self.later(0.2);
                self.plan(0.0, Due::Lose(shaft, until, 1.0));
            }
            2 => self.plan(0.0, Due::Silent(shaft, until)),
            3 => self.plan(0.0, Due::Chatter(shaft, until)),
            4 | 5 => {
                let gap = self.random.log_between(300.0, 2e6) as u64;
                let width = f64::from(self.make.settings.machine.conditioning.minimum_width.get());
                let wide = (width * self.random.one_of(&[0.5, 1.0, 4.0])) as u64 + 1;
                let until = self.later(lasts.min(10.0));
                self.plan(0.0, Due::Noise(shaft, until, gap, wide));
            }
            6 => {
                let half = self.random.one_of(&[8_333, 10_000, 900]);
                let until = self.later(lasts.min(10.0));
                self.plan(0.0, Due::Hum(shaft, until, half));
            }
            7 => {
                let state = self.random.one_of(&[LineState::Open, LineState::Shorted]);
                self.plan(0.0, Due::Silent(shaft, until));
                self.say(0.0, Signal::Line(shaft, state));
                self.say(lasts, Signal::Line(shaft, LineState::Sound));
            }
            8 => self.say(0.0, Signal::EdgesLost(shaft)),
            9..=11 => self.rub(place, lasts),
            12 => {
                self.say(0.0, Signal::Contact(place, ContactState::Faulty));
                self.say(lasts, Signal::Contact(place, ContactState::Clear));
            }
            13 => {
                let celsius = self.random.whole(300, 1_300) as i16;
                self.say(0.0, Signal::Temperature(place, DeciCelsius::new(celsius)));
                self.say(lasts, Signal::Temperature(place, DeciCelsius::new(celsius / 2)));
            }
            14 => {
                self.say(0.0, Signal::OutletPlugged(true));
                self.say(lasts, Signal::OutletPlugged(false));
            }
            _ => {
                for _ in 0..self.random.whole(1, 80) {
                    let late = self.random.log_between(1.0, 3e6) as u64;
                    let at = self.random.between(0.0, lasts);
                    let signal = if self.random.chance(0.5) { Signal::Tick } else { Signal::Edge(shaft, true) };
                    self.plan(at, Due::SayLate(signal, late));
                }
            }
        }
    }

    fn rub(&mut self, place: Place, lasts: f64) {
        let mut at = 0.0;
        let touches = self.random.one_of(&[0.005, 0.1, 0.6, 3.0]);
        let clear = self.random.one_of(&[0.01, 0.12, 0.5, 3.0]);
        let mut count = 0;
        while at < lasts && count < 400 {
            self.say(at, Signal::Contact(place, ContactState::Rubbing));
            at += touches * self.random.between(0.3, 1.7);
            self.say(at, Signal::Contact(place, ContactState::Clear));
            at += clear * self.random.between(0.3, 1.7);
            count += 1;
        }
        let wait = at + 0.01;
        if self.random.chance(0.1) {
            self.say(wait, Signal::Contact(place, ContactState::Rubbing));
        }
    }

    fn rock(&mut self) {
        let (normal, times) = (self.normal(), self.random.whole(1, 12));
        for time in 0..times {
            let at = time as f64 * 0.4;
            let way = if time % 2 == 0 { 0.3 } else { -0.3 };
            self.plan(at, Due::HeadTo(normal * way, 0.05));
        }
        self.plan(times as f64 * 0.4, Due::HeadTo(0.0, 0.05));
        self.plan(times as f64 * 0.4 + 3.0, Due::Decide);
    }

    fn roll_back(&mut self) {
        let speed = -self.normal() * self.random.between(0.05, 1.2);
        let seconds = self.random.between(0.5, 6.0);
        self.plan(0.0, Due::HeadTo(speed, seconds));
        self.plan(seconds, Due::HeadTo(0.0, seconds));
        self.plan(2.0 * seconds + 5.0, Due::Decide);
    }

    fn inch(&mut self) {
        self.clear_up();
        let at = self.random.between(5.0, 9.0);
        let leg = |command| Signal::Command(Origin::Leg, command);
        self.say(at, leg(Command::Key(true)));
        self.say(at + 0.5, leg(Command::Inch(true)));
        self.say(at + 1.0, Signal::DriveRunning(true));
        let speed = self.normal() * self.random.between(0.03, 0.35);
        self.plan(at + 1.0, Due::HeadTo(speed, 1.0));
        let lasts = self.random.log_between(1.0, 60.0);
        self.plan(at + lasts, Due::HeadTo(0.0, 1.0));
        self.say(at + lasts + 0.5, Signal::DriveRunning(false));
        if self.random.chance(0.6) {
            self.say(at + lasts + 1.0, leg(Command::Inch(false)));
        }
        self.say(at + lasts + 2.0, leg(Command::Key(false)));
        self.plan(at + lasts + 5.0, Due::Decide);
    }

    fn jog(&mut self) {
        let times = self.random.whole(2, 9);
        let every = self.random.between(1.0, 8.0);
        let normal = self.normal();
        for time in 0..times {
            let at = time as f64 * every;
            self.say(at, Signal::DriveRunning(true));
            self.plan(at, Due::HeadTo(normal, 3.0));
            self.say(at + 0.4 * every, Signal::DriveRunning(false));
            self.plan(at + 0.4 * every, Due::HeadTo(0.0, 0.3 * every));
        }
        self.plan(times as f64 * every + 10.0, Due::Decide);
    }

    /// A person looks after a stopped leg, mostly in the right order.
    fn clear_up(&mut self) {
        let mut at = self.random.between(0.3, 3.0);
        let leg = |command| Signal::Command(Origin::Leg, command);
        for command in [Command::Acknowledge, Command::BootCleared] {
            if self.random.chance(0.92) {
                self.say(at, leg(command));
            }
            at += self.random.between(0.1, 2.0);
        }
        if self.random.chance(0.5) {
            self.say(at, leg(Command::Reset));
        } else {
            self.say(at, leg(Command::ResetButton(true)));
            let held = self.random.log_between(0.05, 8.0);
            self.say(at + held, leg(Command::ResetButton(false)));
        }
    }

    /// Anything that anyone may ask for.
    fn any_command(&mut self) -> Signal {
        let origin = if self.random.chance(0.75) { Origin::Leg } else { Origin::Link };
        let on = self.random.chance(0.6);
        let command = match self.random.whole(0, 11) {
            0 | 1 => Command::Acknowledge,
            2 => Command::Reset,
            3 => Command::ResetButton(on),
            4 => Command::BootCleared,
            5 => Command::Key(on),
            6..=8 => {
                let condition = self.random.one_of(&Condition::ALL);
                let longest = f64::from(self.make.settings.limits.starts.bypass_time.get()) * 1.1;
                let micros = self.random.log_between(1_000.0, longest) as u32;
                Command::Bypass(condition, Span::new(micros))
            }
            9 => Command::EndBypass,
            10 => Command::Inch(on),
            _ => Command::ProofTest(on),
        };
        Signal::Command(origin, command)
    }
}
