//! The part of the sheet about the leg itself: speeds, ratio, friction, crown, discharge.

use slackside::settings::Machine;

use crate::plant::discharge::{balance_rpm, pole_height};

use super::page::Page;
use super::{Figures, crown, discharge, friction, lagging, mm_and_inches, trimmed};

pub(super) fn write(page: &mut Page, machine: &Machine) {
    let figures = Figures::of(machine);
    leg(page, machine, &figures);
    speeds(page, machine, &figures);
    ratio(page, machine, &figures);
    grip(page, machine, &figures);
    crowns(page, machine);
    throw(page, &figures);
}

fn leg(page: &mut Page, machine: &Machine, figures: &Figures) {
    page.heading("The leg");
    for (name, pulley) in [("Head pulley", &machine.head_pulley), ("Boot pulley", &machine.boot_pulley)] {
        let lagging = match pulley.lagging.get() {
            0 => "bare".to_owned(),
            lagging => format!("lagging {}", mm_and_inches(lagging)),
        };
        page.row(name, &format!("{}, {lagging}", mm_and_inches(pulley.bare_diameter.get())));
        page.row("  face", &mm_and_inches(pulley.face.get()));
    }
    page.row(
        "Belt",
        &format!(
            "{} wide, {} thick",
            mm_and_inches(machine.belt.width.get()),
            mm_and_inches(machine.belt.thickness.get())
        ),
    );
    let loop_m = machine.belt.loop_length.get() as f64 / 1e6;
    page.row("Belt loop", &format!("{loop_m:.2} m ({:.1} ft)", loop_m / 0.3048));
    page.row("Centres, from the loop", &format!("{:.2} m ({:.1} ft)", figures.centres_m, figures.centres_m / 0.3048));
    let rated = f64::from(machine.rated_power.get()) / 1e3;
    page.row(
        "Drive",
        &format!(
            "{} kW ({:.1} hp), service factor {}",
            trimmed(rated, 2),
            rated / 0.745_699_872,
            trimmed(f64::from(machine.service_factor.get()) / 1e6, 3)
        ),
    );
}

fn speeds(page: &mut Page, machine: &Machine, figures: &Figures) {
    page.heading("Speeds at normal operating speed");
    let Figures { belt_mps, head_rpm, boot_rpm, .. } = *figures;
    page.row("Belt", &format!("{belt_mps:.3} m/s ({:.0} ft/min)", belt_mps / 0.3048 * 60.0));
    page.row("Head shaft", &format!("{head_rpm:.2} rpm, one turn in {:.3} s", 60.0 / head_rpm));
    page.row("Boot shaft", &format!("{boot_rpm:.2} rpm, one turn in {:.3} s", 60.0 / boot_rpm));
    page.row("One belt loop", &format!("{:.2} s", f64::from(machine.loop_time().get()) / 1e6));
    page.note(
        "Nameplate values until measured: run loaded, measure both shafts, enter what you found. Every loss is counted from \
         these.",
    );
}

fn ratio(page: &mut Page, machine: &Machine, figures: &Figures) {
    page.heading("No-slip ratio");
    for (name, metres) in [("Effective diameter, head", figures.head_m), ("  boot", figures.boot_m)] {
        page.row(name, &format!("{:.1} mm ({:.2} in)", metres * 1e3, metres / 0.0254));
    }
    page.note("Bare diameter + 2 x lagging + belt thickness: the belt bends about its middle.");
    let geometric = f64::from(machine.geometric_ratio().get()) / 1e6;
    page.row("Ratio from geometry", &format!("{geometric:.6} boot turns for each head turn"));
    match machine.accepted_ratio {
        Some(accepted) => {
            let ratio = f64::from(accepted.ratio.get()) / 1e6;
            let apart = (ratio / geometric - 1.0) * 100.0;
            page.row(
                "Ratio learned and accepted",
                &format!("{ratio:.6}, spread {:.3} %", f64::from(accepted.spread.get()) / 1e4),
            );
            page.row("  against geometry", &format!("{apart:+.2} %"));
        }
        None => page.row("Ratio learned and accepted", "none yet: geometry is used, and all slip counts"),
    }
    if machine.head_pulley.lagging.get() > 0 {
        let thickness = machine.head_pulley.lagging.get() as f64 / 1e6;
        let shift = lagging::shift(thickness, figures.head_m);
        page.row(
            "Lagging lost from the head",
            &format!("shows as {:.1} % slip at any load, for good (2t/D)", shift * 100.0),
        );
        page.note("It is said as \"ratio shifted\": it is not heat, but the grip below is gone with it.");
    }
}

fn grip(page: &mut Page, machine: &Machine, figures: &Figures) {
    page.heading("What friction can pull (Euler-Eytelwein)");
    let wrap = friction::wrap_angle(figures.head_m, figures.boot_m, figures.centres_m);
    let pull = figures.power_w / figures.belt_mps;
    page.row("Wrap on the head pulley", &format!("{:.1} degrees", wrap.to_degrees()));
    page.row("Pull at full power, P/v", &format!("{pull:.0} N"));
    page.gap();
    page.line("  surface                  mu   T1/T2     Cw  slack tension  from");
    for surface in &friction::SURFACES {
        let factor = friction::wrap_factor(surface.mu, wrap);
        page.line(&format!(
            "  {:<22} {:.2} {:>7.4} {:>6.4} {:>11.0} N   {}",
            surface.name,
            surface.mu,
            friction::tension_ratio(surface.mu, wrap),
            factor,
            pull * factor,
            surface.source,
        ));
    }
    let bare = friction::wrap_factor(0.35, wrap) / friction::wrap_factor(0.25, wrap);
    page.note(&format!(
        "Slack tension is what take-up and the empty belt must hold on the slack side, or the belt slips at full power. With \
         the same slack tension a bare pulley (0.25) pulls {:.0} % of what a lagged one (0.35) pulls. This leg's head is {}.",
        bare * 100.0,
        if machine.head_pulley.lagging.get() > 0 { "lagged" } else { "bare" },
    ));
}

fn crowns(page: &mut Page, machine: &Machine) {
    page.heading("Crown, as difference in diameter");
    for (name, pulley) in [("Head", &machine.head_pulley), ("Boot", &machine.boot_pulley)] {
        let (crown, face) = (pulley.crown.get() as f64 / 1e3, pulley.face.get() as f64 / 1e3);
        page.row(
            &format!("{name}: by the rule"),
            &format!("{:.1} mm ({:.3} in)", crown::by_rule_mm(face), crown::by_rule_mm(face) / 25.4),
        );
        let diameter = pulley.bare_diameter.get() as f64 / 1e3;
        page.row(
            &format!("{name}: by the table"),
            &crown::by_table_mm(diameter).map_or_else(
                || "none: the table ends at a diameter of 1 m".to_owned(),
                |crown| format!("{crown:.1} mm ({:.3} in)", crown / 25.4),
            ),
        );
        page.row(
            &format!("{name}: in the settings"),
            &format!("{}: {}", mm_and_inches(pulley.crown.get()), crown::verdict(crown, face)),
        );
    }
    page.note(
        "The common rule is 1/8 in for each 12 in of face (CEMA/RMA, from memory). Twice that is possible but hard on a single \
         wide bucket, which then bears on its middle. The table goes by diameter and is that of flat belts, as makers of \
         belting print it; it is the least of the two on a wide face.",
    );
}

fn throw(page: &mut Page, figures: &Figures) {
    page.heading("Centrifugal discharge");
    let balance = balance_rpm(figures.head_m);
    let share = figures.head_rpm / balance;
    page.row("Balancing speed", &format!("{balance:.1} rpm (42.29 / sqrt(D in m), g = w^2 r)"));
    page.row("Head at normal speed", &format!("{:.0} % of it: {}", share * 100.0, discharge::verdict(share)));
    page.row(
        "Pole above the shaft",
        &format!(
            "{:.0} mm ({:.1} in); the pulley's radius is {:.0} mm ({:.1} in)",
            pole_height(figures.head_rpm) * 1e3,
            pole_height(figures.head_rpm) / 0.0254,
            figures.head_m * 500.0,
            figures.head_m / 0.0508
        ),
    );
    page.note(
        "Reckoned at the belt. Grain rides further out in the bucket, so it balances somewhat slower. Usual range by common \
         practice, no source.",
    );
}
