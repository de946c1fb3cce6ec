//! Sensors: what the plant's motion looks like on the wires.

pub mod contact;
pub mod disc;
pub mod edge_time;
pub mod line;
pub mod outbox;

use slackside::input::{Place, Shaft, Signal};
use slackside::units::{DeciCelsius, Ppm, Watts};

use crate::plant::chance::Chance;
use crate::plant::{Plant, Turning};
use contact::{ContactUpset, RubContact};
use line::{Line, LineUpset};
use outbox::Outbox;

/// What is wrong with the sensors at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorUpset {
    /// Head sensor.
    pub head: LineUpset,
    /// Boot sensor.
    pub boot: LineUpset,
    /// Rub contacts, in the order of [`Place::ALL`].
    pub contacts: [ContactUpset; Place::COUNT],
    /// Times a second that the drive contact opens for a moment.
    pub drive_chatter_per_s: f64,
    /// The drive contact's wire is cut: it reads off.
    pub drive_cut: bool,
}

impl SensorUpset {
    /// Nothing is wrong.
    pub const NONE: Self = Self {
        head: LineUpset::NONE,
        boot: LineUpset::NONE,
        contacts: [ContactUpset { stuck: None, cut: false, bouncing: false }; Place::COUNT],
        drive_chatter_per_s: 0.0,
        drive_cut: false,
    };
}

/// How late the starter's auxiliary contact is, in microseconds.
const AUXILIARY_LATE_US: u64 = 30_000;

/// All sensors of a leg.
#[derive(Clone, Debug)]
pub struct Sensors {
    head: Option<Line>,
    boot: Line,
    contacts: Option<[RubContact; Place::COUNT]>,
    temperatures: bool,
    power_meter: bool,
    outlet_switch: bool,
    variable: bool,
    chance: Chance,
    upset: SensorUpset,
    drive_shown: bool,
    drive_wanted: bool,
    outlet_shown: bool,
    reference_shown: i32,
    temperature_shown: [i16; Place::COUNT],
    looks: u64,
    /// What is on its way out.
    pub out: Outbox,
}

impl Sensors {
    /// The sensors fitted to that plant.
    #[must_use]
    pub fn new(plant: &Plant, seed: u64) -> Self {
        let fitted = &plant.leg().fitted;
        let variable = matches!(plant.leg().drive.starter, crate::plant::starter::Starter::Variable { .. });
        let mut sensors = Self {
            head: fitted.head.as_ref().map(|targets| Line::new(Shaft::Head, targets, seed)),
            boot: Line::new(Shaft::Boot, &fitted.boot, seed),
            contacts: fitted.rub_contacts.then(|| Place::ALL.map(|place| RubContact::new(place, seed))),
            temperatures: fitted.temperatures,
            power_meter: fitted.power_meter,
            outlet_switch: fitted.outlet_switch,
            variable,
            chance: Chance::new(seed, 30),
            upset: SensorUpset::NONE,
            drive_shown: false,
            drive_wanted: false,
            outlet_shown: false,
            reference_shown: 0,
            temperature_shown: [i16::MIN; Place::COUNT],
            looks: 0,
            out: Outbox::default(),
        };
        sensors.out.push(0, Signal::DriveRunning(false));
        if let Some(head) = &sensors.head {
            head.begin(0, &mut sensors.out);
        }
        sensors.boot.begin(0, &mut sensors.out);
        for contact in sensors.contacts.iter().flatten() {
            contact.begin(0, &mut sensors.out);
        }
        if sensors.outlet_switch {
            sensors.out.push(0, Signal::OutletPlugged(false));
        }
        sensors
    }

    /// Change what is wrong, from `now_us`.
    pub fn set_upset(&mut self, upset: &SensorUpset, now_us: u64) {
        if *upset == self.upset {
            return;
        }
        self.upset = *upset;
        if let Some(head) = &mut self.head {
            head.set_upset(upset.head, now_us, &mut self.out);
        }
        self.boot.set_upset(upset.boot, now_us, &mut self.out);
        for (contact, upset) in self.contacts.iter_mut().flatten().zip(upset.contacts) {
            contact.upset = upset;
        }
    }

    /// A step of the shafts from `start_us` on.
    pub fn step(&mut self, start_us: u64, turning: &Turning, dt: f64) {
        if let Some(head) = &mut self.head {
            head.step(start_us, turning.head, dt, &mut self.out);
        }
        self.boot.step(start_us, turning.boot, dt, &mut self.out);
    }

    /// The contactor changed.
    pub const fn contactor(&mut self, closed: bool) {
        self.drive_wanted = closed;
    }

    /// Everything that is looked at once a slow part.
    pub fn look(&mut self, plant: &Plant, reference: f64, now_us: u64) {
        let every = Plant::SLOW_US;
        self.looks += 1;
        let drive = self.drive_wanted && !self.upset.drive_cut;
        if drive != self.drive_shown {
            self.drive_shown = drive;
            self.out.push(now_us + AUXILIARY_LATE_US, Signal::DriveRunning(drive));
        } else if drive && self.chance.happens(self.upset.drive_chatter_per_s * f64::from(every) * 1e-6) {
            let gap = self.chance.between(500.0, 15_000.0) as u64;
            self.out.push(now_us + AUXILIARY_LATE_US + 1_000, Signal::DriveRunning(false));
            self.out.push(now_us + AUXILIARY_LATE_US + 1_000 + gap, Signal::DriveRunning(true));
        }
        for (contact, touches) in self.contacts.iter_mut().flatten().zip(plant.touches()) {
            contact.look(touches, now_us, every, &mut self.out);
        }
        if self.outlet_switch {
            let fill = plant.spout_fill();
            let plugged = if self.outlet_shown { fill > 0.5 } else { fill > 0.8 };
            if plugged != self.outlet_shown {
                self.outlet_shown = plugged;
                self.out.push(now_us, Signal::OutletPlugged(plugged));
            }
        }
        if self.variable {
            // Sent five times a second while it turns, and every five seconds.
            let ppm = (reference * 1e6).round() as i32;
            if ppm != self.reference_shown && self.looks.is_multiple_of(10) || self.looks % 250 == 1 {
                self.reference_shown = ppm;
                self.out.push(now_us, Signal::SpeedReference(Ppm::new(ppm)));
            }
        }
        if self.power_meter && self.looks.is_multiple_of(50) {
            let reading = plant.shaft_power() * (1.0 + 0.01 * self.chance.normal());
            self.out.push(now_us, Signal::DrivePower(Watts::new(reading.max(0.0) as u32)));
        }
        if self.temperatures && self.looks.is_multiple_of(500) {
            for (place, celsius) in Place::ALL.into_iter().zip(plant.rub_temperatures()) {
                let tenths = (celsius * 10.0 + 0.5) as i16;
                if tenths.saturating_sub(self.temperature_shown[place.index()]).unsigned_abs() >= 5 {
                    self.temperature_shown[place.index()] = tenths;
                    self.out.push(now_us, Signal::Temperature(place, DeciCelsius::new(tenths)));
                }
            }
        }
    }
}
