//! Settings written out as TOML, every value with its reason, reading back to exactly the same settings.

use std::fmt::Write as _;

use slackside::conditions::Condition;
use slackside::settings::{CountedEdges, Limit, Machine, Pulley, Settings, Spacing, Strand, Targets};

use crate::cautions;

use super::decimal::{
    CELSIUS, COUNT, DEGREES, FACTOR, FOOT, HORSEPOWER, INCH, KILOJOULES, KILOWATTS, METRE, MICROSECONDS, MILLISECONDS,
    MINUTES, MM, PERCENT, PERCENT_A_SECOND, RATIO, RPM, SECONDS, Unit, written,
};
use super::limits::{ACTIONS, PRIORITIES, setpoint_units};
use super::machine::PLACES;

/// The settings as a commented TOML file.
#[must_use]
pub fn write(settings: &Settings) -> String {
    write_for(settings, false)
}

/// The settings as a commented TOML file, for someone who measures in feet and inches or not.
#[must_use]
pub fn write_for(settings: &Settings, feet: bool) -> String {
    let mut file = File { text: String::new(), feet };
    file.comment("Settings of one leg. Units are in the names of the keys; what is left out is the starting value.");
    file.comment("Every number here is each leg's engineer's to decide.");
    file.comment("");
    for line in cautions::as_text(114).lines() {
        file.comment(line);
    }
    machine(&mut file, &settings.machine);
    limits(&mut file, settings);
    file.text
}

struct File {
    text: String,
    /// Lengths in feet and inches, power in horsepower.
    feet: bool,
}

impl File {
    fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn comment(&mut self, text: &str) {
        self.line(format!("# {text}").trim_end());
    }

    fn section(&mut self, name: &str) {
        self.line(&format!("\n[{name}]"));
    }

    fn value(&mut self, key: &str, value: &str, why: &str) {
        let mut line = format!("{key} = {value}");
        if !why.is_empty() {
            let _ = write!(line, "{:width$} # {why}", "", width = 34_usize.saturating_sub(line.chars().count()));
        }
        self.line(&line);
    }

    fn number(&mut self, name: &str, unit: Unit, value: impl Into<i64>, why: &str) {
        let unit = match unit {
            MM if self.feet => INCH,
            METRE if self.feet => FOOT,
            KILOWATTS if self.feet => HORSEPOWER,
            unit => unit,
        };
        self.value(&format!("{name}{}", unit.suffix), &written(value.into(), unit), why);
    }

    fn flag(&mut self, name: &str, value: bool, why: &str) {
        self.value(name, if value { "true" } else { "false" }, why);
    }
}

fn machine(file: &mut File, machine: &Machine) {
    file.section("leg");
    let name = toml::Value::String(machine.leg.as_str().to_owned()).to_string();
    file.value("name", &name, "tells boxes apart; at most 32 bytes");

    pulley(file, "head_pulley", &machine.head_pulley);
    pulley(file, "boot_pulley", &machine.boot_pulley);

    file.section("belt");
    file.number(
        "thickness",
        MM,
        machine.belt.thickness.get(),
        "the belt bends about its middle: adds to both diameters",
    );
    file.number("width", MM, machine.belt.width.get(), "");
    let why = if file.feet { "the whole loop; or centres_ft" } else { "the whole loop; or centres_m" };
    file.number("loop", METRE, machine.belt.loop_length.get(), why);

    file.section("speed");
    file.comment("Normal operating speed, measured loaded or from the nameplate: what losses are counted from.");
    file.number("head", RPM, machine.normal_head.get(), "");
    file.number("boot", RPM, machine.normal_boot.get(), "the belt's own measure");
    if let Some(unloaded) = machine.unloaded_head {
        file.number("unloaded_head", RPM, unloaded.get(), "the head's with empty buckets: tells the load, for wear");
    }

    targets(file, "head_targets", machine.head_targets);
    targets(file, "boot_targets", machine.boot_targets);
    drive(file, machine);
    fittings(file, machine);

    let conditioning = &machine.conditioning;
    file.section("conditioning");
    let why = "noise is shorter, targets are longer; the same on both shafts keeps order";
    file.number("minimum_width", MICROSECONDS, conditioning.minimum_width.get(), why);
    file.number("top_speed", PERCENT, conditioning.top_speed.get(), "the fastest either shaft can go, of normal");
    file.number("rejects_a_turn", COUNT, conditioning.rejects_a_turn, "more is hum or a loose wire, not stray noise");
    let why = "a contact bouncing on bucket bolts is still one rub";
    file.number("contact_bridge", MILLISECONDS, conditioning.contact_bridge.get(), why);
}

fn pulley(file: &mut File, name: &str, pulley: &Pulley) {
    file.section(name);
    file.number("bare_diameter", MM, pulley.bare_diameter.get(), "without lagging, at mid-face");
    file.number("lagging", MM, pulley.lagging.get(), "0 if bare");
    file.number("face", MM, pulley.face.get(), "");
    file.number("crown", MM, pulley.crown.get(), "difference in diameter, middle less edge");
}

fn targets(file: &mut File, name: &str, targets: Option<Targets>) {
    let Some(targets) = targets else {
        return;
    };
    file.section(name);
    file.number("count", COUNT, targets.count, "targets a turn, 1 to 64");
    let edges = match targets.edges {
        CountedEdges::Rising => "\"rising\"",
        CountedEdges::Falling => "\"falling\"",
        CountedEdges::Both => "\"both\"",
    };
    file.value("edges", edges, "which edges count: rising, falling or both");
    match targets.spacing {
        Spacing::Even { tolerance } => {
            file.number(
                "spacing_tolerance",
                PERCENT,
                tolerance.get(),
                "largest deviation of a pitch from the mean pitch",
            );
        }
        Spacing::Uneven { closest, widest } => {
            file.number("closest", DEGREES, closest.get(), "smallest pitch between counted edges");
            file.number("widest", DEGREES, widest.get(), "largest pitch");
        }
    }
    file.flag("supervised", targets.supervised, "whether a cut or shorted line is seen as such");
}

fn drive(file: &mut File, machine: &Machine) {
    file.section("drive");
    file.flag("contact", machine.drive_contact, "the starter's auxiliary contact");
    file.number(
        "rated",
        KILOWATTS,
        machine.rated_power.get(),
        "at the head shaft; heats the pulley when the belt slips",
    );
    file.number(
        "service_factor",
        FACTOR,
        machine.service_factor.get(),
        "times rated power where power is not measured",
    );
    file.flag("power_meter", machine.power_meter, "");
    if let Some(reference) = machine.speed_reference {
        file.section("drive.speed_reference");
        file.number("minimum", PERCENT, reference.minimum.get(), "the lowest speed the leg may run at, of normal");
        file.number("ramp", PERCENT_A_SECOND, reference.ramp_per_second.get(), "the fastest the drive changes speed");
    }
}

fn fittings(file: &mut File, machine: &Machine) {
    if machine.contacts.iter().any(Option::is_some) {
        file.section("contacts");
        file.comment(
            "Rub contacts: the strand each sits at. Left and right as seen from the up strand, looking the way the",
        );
        file.comment("head discharges.");
        for (place, strand) in PLACES.into_iter().zip(machine.contacts) {
            match strand {
                Some(Strand::Up) => file.value(place, "\"up\"", ""),
                Some(Strand::Down) => file.value(place, "\"down\"", ""),
                None => {}
            }
        }
    }
    if machine.temperatures.contains(&true) {
        file.section("temperatures");
        for (place, fitted) in PLACES.into_iter().zip(machine.temperatures) {
            if fitted {
                file.flag(place, true, "");
            }
        }
    }
    if machine.outlet_switch {
        file.section("outlet");
        file.flag("switch", true, "");
    }
    if let Some(accepted) = machine.accepted_ratio {
        file.section("accepted_ratio");
        file.comment("Learned unloaded and accepted by a person: boot turns for each head turn.");
        file.number("ratio", RATIO, accepted.ratio.get(), "");
        file.number("spread", PERCENT, accepted.spread.get(), "largest less smallest seen while learning");
    }
}

/// Minutes where they come out whole, else seconds.
fn minutes(file: &mut File, name: &str, micros: u32, why: &str) {
    let unit = if micros.is_multiple_of(60_000_000) { MINUTES } else { SECONDS };
    file.number(name, unit, micros, why);
}

fn limits(file: &mut File, settings: &Settings) {
    let starts = &settings.limits.starts;
    file.section("starts");
    file.number("standstill_below", PERCENT, starts.standstill_below.get(), "a shaft proven slower than this stands");
    let why = "the shortest time the leg takes to run down; 0 if not known";
    file.number("shortest_coast_down", SECONDS, starts.shortest_coast_down.get(), why);
    minutes(file, "window", starts.window.get(), "in which starts are counted; at most 71 min");
    minutes(file, "inching_time", starts.inching_time.get(), "the longest inching may last");
    minutes(file, "bypass_time", starts.bypass_time.get(), "the longest a bypass may last");

    let heat = &settings.limits.slip_heat;
    file.section("slip_heat");
    file.number("budget", KILOJOULES, heat.budget.get(), "mass x heat capacity x allowed rise of what slip heats");
    minutes(file, "time_constant", heat.time_constant.get(), "with which the heat goes away");

    for condition in Condition::ALL {
        limit(file, condition, settings.limits.of(condition));
    }
}

fn limit(file: &mut File, condition: Condition, limit: &Limit) {
    let unit = setpoint_units(condition).first().copied().unwrap_or(CELSIUS);
    file.section(&format!("limits.{}", condition.name()));
    file.comment(condition.entry().reason);
    if !limit.enabled {
        file.flag("enabled", false, "");
    }
    file.number("setpoint", unit, limit.setpoint, "");
    file.number("deadband", unit, limit.deadband, "");
    file.number("on_delay", SECONDS, limit.on_delay.get(), "");
    file.number("off_delay", SECONDS, limit.off_delay.get(), "");
    file.flag("latching", limit.latching, "");
    let word = |word: &str| format!("\"{word}\"");
    if let Some((name, _)) = PRIORITIES.iter().find(|(_, priority)| *priority == limit.priority) {
        file.value("priority", &word(name), "");
    }
    if let Some((name, _)) = ACTIONS.iter().find(|(_, action)| *action == limit.action) {
        file.value("action", &word(name), "");
    }
}
