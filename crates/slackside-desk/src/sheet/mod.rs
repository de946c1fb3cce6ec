//! The commissioning sheet of a leg: what its settings mean, in the numbers a person can check on site.

pub mod crown;
pub mod discharge;
pub mod friction;
pub mod heat;
pub mod knowing;
pub mod lagging;
mod limits;
pub mod page;
mod people;
mod plant;
mod signals;

use serde_json::{Value, json};
use slackside::settings::Machine;

use crate::settings::Loaded;
use page::{Page, Section};
pub use people::proof_record;
pub use signals::stops_by_a_lost_edge;

/// The whole sheet as text, 80 columns wide.
#[must_use]
pub fn sheet(loaded: &Loaded) -> String {
    written(loaded).into_text()
}

/// The sheet as one object, for other programs.
#[must_use]
pub fn object(loaded: &Loaded) -> Value {
    let section = |section: &Section| {
        let rows: Vec<Value> = section.rows.iter().map(|(name, value)| json!({"name": name, "value": value})).collect();
        json!({"title": section.title, "rows": rows, "notes": section.notes})
    };
    json!({
        "format": "slackside-sheet",
        "format_version": 1,
        "leg": loaded.checked.machine.leg.as_str(),
        "settings": loaded.source_name,
        "settings_identity": crate::report::identity(loaded.checked.identity()),
        "sections": written(loaded).sections().iter().map(section).collect::<Vec<_>>(),
    })
}

fn written(loaded: &Loaded) -> Page {
    let mut page = Page::default();
    let settings = &loaded.checked;
    page.title(&format!("Commissioning sheet: {}", settings.machine.leg));
    page.row("Settings", &loaded.source_name);
    page.row("Identity of the settings", &format!("{:08X}  (the box shows the same)", settings.plan().identity()));
    page.say(
        "What follows is computed from these settings. Starting values are engineering judgement; the engineer of this leg \
         decides and signs at the end.",
    );
    plant::write(&mut page, &settings.machine);
    signals::write(&mut page, settings);
    limits::write(&mut page, settings);
    people::write(&mut page, loaded);
    page
}

/// The numbers of a machine in the units people reckon with.
struct Figures {
    head_m: f64,
    boot_m: f64,
    centres_m: f64,
    belt_mps: f64,
    head_rpm: f64,
    boot_rpm: f64,
    power_w: f64,
}

impl Figures {
    fn of(machine: &Machine) -> Self {
        let metres = |length: slackside::units::Micrometres| length.get() as f64 / 1e6;
        let rpm = |speed: slackside::units::MicroturnsPerSecond| f64::from(speed.get()) * 60.0 / 1e6;
        let on_pulleys = (metres(machine.head_circumference()) + metres(machine.boot_circumference())) / 2.0;
        Self {
            head_m: metres(machine.head_diameter()),
            boot_m: metres(machine.boot_diameter()),
            centres_m: (metres(machine.belt.loop_length) - on_pulleys) / 2.0,
            belt_mps: f64::from(machine.normal_belt_speed().get()) / 1e6,
            head_rpm: rpm(machine.normal_head),
            boot_rpm: rpm(machine.normal_boot),
            power_w: f64::from(machine.rated_power.get()) * f64::from(machine.service_factor.get()) / 1e6,
        }
    }
}

/// Millimetres with inches behind.
fn mm_and_inches(micrometres: i64) -> String {
    let mm = micrometres as f64 / 1e3;
    format!("{} mm ({:.3} in)", trimmed(mm, 2), mm / 25.4)
}

/// A number with at most `decimals`, without trailing zeros.
fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests;
