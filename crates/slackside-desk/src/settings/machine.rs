//! The machine as people write it.

use slackside::input::{Place, Shaft};
use slackside::settings::{
    AcceptedRatio, AcceptedRatioPart, Belt, BeltPart, Conditioning, ConditioningPart, CountedEdges, DrivePart, Field,
    LegPart, Machine, Pulley, PulleyPart, Spacing, SpeedPart, SpeedReference, SpeedReferencePart, Strand, Targets,
    TargetsPart,
};
use slackside::units::{Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

use super::decimal::{
    COUNT, DEGREES, FACTOR, FEET_A_MINUTE, FOOT, HORSEPOWER, INCH, KILOWATTS, METRE, METRES_A_SECOND, MICROSECONDS,
    MILLISECONDS, MM, PERCENT, PERCENT_A_SECOND, RATIO, RPM, SECONDS,
};
use super::section::{Gathered, Section};
use crate::problem::MISSING;

/// The places of rub contacts, in the order of [`Place::ALL`].
pub(super) const PLACES: [&str; Place::COUNT] = ["head_left", "head_right", "boot_left", "boot_right"];

/// Spacing of targets nobody measured: what a careful drill and a bolt circle give.
const USUAL_TOLERANCE: Ppm = Ppm::new(20_000);

/// Tell that something must be given, and stand in for it.
fn required<T>(value: Option<T>, stand_in: T, section: &Section<'_, '_>, key: &str, gathered: &mut Gathered) -> T {
    value.unwrap_or_else(|| {
        gathered.tell(section.at(), section.key(key), MISSING);
        stand_in
    })
}

pub(super) fn read(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> Machine {
    let leg = name(root, gathered);
    let head_pulley = pulley(root, Shaft::Head, gathered);
    let boot_pulley = pulley(root, Shaft::Boot, gathered);
    let (belt, centres) = belt(root, gathered);
    let mut machine = Machine {
        leg,
        head_pulley,
        boot_pulley,
        belt,
        head_targets: targets(root, Shaft::Head, gathered),
        boot_targets: targets(root, Shaft::Boot, gathered),
        normal_head: MicroturnsPerSecond::ZERO,
        normal_boot: MicroturnsPerSecond::ZERO,
        unloaded_head: None,
        drive_contact: false,
        power_meter: false,
        speed_reference: None,
        outlet_switch: false,
        contacts: contacts(root, gathered),
        temperatures: temperatures(root, gathered),
        rated_power: Watts::ZERO,
        service_factor: Ppm::ONE,
        accepted_ratio: accepted_ratio(root, gathered),
        conditioning: conditioning(root, gathered),
    };
    drive(root, &mut machine, gathered);
    let mut outlet = root.section("outlet", gathered);
    machine.outlet_switch = outlet.flag("switch", None, gathered).unwrap_or(false);
    outlet.close(gathered);
    if let Some(centres) = centres {
        machine.belt.loop_length = loop_of(&machine, centres);
    }
    speeds(root, &mut machine, gathered);
    machine
}

fn name(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> heapless::String<32> {
    let mut leg = root.section("leg", gathered);
    let given = leg.text("name", Some(Field::Leg(LegPart::Name)), gathered);
    let given = required(given, "stand-in", &leg, "name", gathered);
    let mut name = heapless::String::new();
    if name.push_str(given).is_err() {
        let at = gathered.places.get(&Field::Leg(LegPart::Name)).map(|(_, at)| *at);
        gathered.tell(at, leg.key("name"), format!("takes {} bytes; at most 32 fit the box", given.len()));
    }
    leg.close(gathered);
    name
}

fn length(section: &mut Section<'_, '_>, name: &str, field: Field, gathered: &mut Gathered) -> Option<Micrometres> {
    section.number(name, &[MM, INCH], field, gathered).map(Micrometres::new)
}

fn pulley(root: &mut Section<'_, '_>, shaft: Shaft, gathered: &mut Gathered) -> Pulley {
    let name = match shaft {
        Shaft::Head => "head_pulley",
        Shaft::Boot => "boot_pulley",
    };
    let mut section = root.section(name, gathered);
    let field = |part| Field::Pulley(shaft, part);
    let bare = length(&mut section, "bare_diameter", field(PulleyPart::BareDiameter), gathered);
    let lagging = length(&mut section, "lagging", field(PulleyPart::Lagging), gathered);
    let face = length(&mut section, "face", field(PulleyPart::Face), gathered);
    let crown = length(&mut section, "crown", field(PulleyPart::Crown), gathered);
    let pulley = Pulley {
        bare_diameter: required(bare, Micrometres::ZERO, &section, "bare_diameter_mm", gathered),
        // Bare and flat unless said otherwise.
        lagging: lagging.unwrap_or(Micrometres::ZERO),
        face: required(face, Micrometres::ZERO, &section, "face_mm", gathered),
        crown: crown.unwrap_or(Micrometres::ZERO),
    };
    section.close(gathered);
    pulley
}

fn belt(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> (Belt, Option<Micrometres>) {
    let mut section = root.section("belt", gathered);
    let thickness = length(&mut section, "thickness", Field::Belt(BeltPart::Thickness), gathered);
    let width = length(&mut section, "width", Field::Belt(BeltPart::Width), gathered);
    let whole = section.number("loop", &[METRE, FOOT], Field::Belt(BeltPart::Loop), gathered);
    let loop_place = gathered.places.get(&Field::Belt(BeltPart::Loop)).cloned();
    let centres = section.number("centres", &[METRE, FOOT], Field::Belt(BeltPart::Loop), gathered);
    if let (Some((key, _)), Some(_)) = (loop_place, centres) {
        let at = gathered.places.get(&Field::Belt(BeltPart::Loop)).map(|(_, at)| *at);
        gathered.tell(at, section.key("centres_m"), format!("is given together with {key}; give one of them"));
    }
    let belt = Belt {
        thickness: required(thickness, Micrometres::ZERO, &section, "thickness_mm", gathered),
        width: required(width, Micrometres::ZERO, &section, "width_mm", gathered),
        loop_length: Micrometres::new(required(whole.or(centres), 0, &section, "loop_m (or centres_m)", gathered)),
    };
    section.close(gathered);
    (belt, centres.map(Micrometres::new))
}

/// The open belt around two pulleys: twice the centres, half of each circumference, and what the difference in diameter
/// adds: `2C + π(D+d)/2 + (D−d)²/(4C)`, the usual approximation, exact to a micrometre here.
fn loop_of(machine: &Machine, centres: Micrometres) -> Micrometres {
    let centres = i128::from(centres.get());
    let apart = i128::from(machine.head_diameter().get()) - i128::from(machine.boot_diameter().get());
    let on_pulleys =
        (i128::from(machine.head_circumference().get()) + i128::from(machine.boot_circumference().get())) / 2;
    let slant = if centres > 0 { apart * apart / (4 * centres) } else { 0 };
    Micrometres::new(i64::try_from(2 * centres + on_pulleys + slant).unwrap_or(i64::MAX))
}

fn targets(root: &mut Section<'_, '_>, shaft: Shaft, gathered: &mut Gathered) -> Option<Targets> {
    let name = match shaft {
        Shaft::Head => "head_targets",
        Shaft::Boot => "boot_targets",
    };
    let mut section = root.section(name, gathered);
    let field = |part| Field::Targets(shaft, part);
    if let Some(at) = section.at() {
        gathered.places.insert(Field::Fitted(shaft), (section.key("count"), at));
    }
    let count = section.small("count", &[COUNT], field(TargetsPart::Count), gathered);
    let edges = [("rising", CountedEdges::Rising), ("falling", CountedEdges::Falling), ("both", CountedEdges::Both)];
    let edges = section.word("edges", &edges, None, gathered).unwrap_or_default();
    let tolerance =
        section.small("spacing_tolerance", &[PERCENT], field(TargetsPart::SpacingTolerance), gathered).map(Ppm::new);
    let closest = section.small("closest", &[DEGREES], field(TargetsPart::Closest), gathered).map(Ppm::new);
    let widest = section.small("widest", &[DEGREES], field(TargetsPart::Widest), gathered).map(Ppm::new);
    let supervised = section.flag("supervised", Some(field(TargetsPart::Supervised)), gathered).unwrap_or(false);
    let spacing = match (tolerance, closest, widest) {
        (tolerance, None, None) => Spacing::Even { tolerance: tolerance.unwrap_or(USUAL_TOLERANCE) },
        (None, Some(closest), Some(widest)) => Spacing::Uneven { closest, widest },
        _ => {
            let text =
                "give either spacing_tolerance_pct for even targets, or closest_deg and widest_deg for uneven ones";
            gathered.tell(section.at(), section.key("spacing_tolerance_pct"), text);
            Spacing::Even { tolerance: USUAL_TOLERANCE }
        }
    };
    let fitted = section.is_there();
    let targets =
        fitted.then(|| Targets { count: required(count, 1, &section, "count", gathered), edges, spacing, supervised });
    section.close(gathered);
    targets
}

fn drive(root: &mut Section<'_, '_>, machine: &mut Machine, gathered: &mut Gathered) {
    let mut section = root.section("drive", gathered);
    let contact = section.flag("contact", Some(Field::Drive(DrivePart::Contact)), gathered);
    machine.drive_contact = required(contact, false, &section, "contact", gathered);
    let rated = section.small("rated", &[KILOWATTS, HORSEPOWER], Field::Drive(DrivePart::Rated), gathered);
    machine.rated_power = Watts::new(required(rated, 1, &section, "rated_kw", gathered));
    let factor = section.small("service_factor", &[FACTOR], Field::Drive(DrivePart::ServiceFactor), gathered);
    machine.service_factor = factor.map_or(Ppm::ONE, Ppm::new);
    machine.power_meter = section.flag("power_meter", None, gathered).unwrap_or(false);
    let mut reference = section.section("speed_reference", gathered);
    let minimum = reference.small("minimum", &[PERCENT], Field::SpeedReference(SpeedReferencePart::Minimum), gathered);
    let ramp = reference.small("ramp", &[PERCENT_A_SECOND], Field::SpeedReference(SpeedReferencePart::Ramp), gathered);
    if reference.is_there() {
        machine.speed_reference = Some(SpeedReference {
            minimum: Ppm::new(required(minimum, 1, &reference, "minimum_pct", gathered)),
            ramp_per_second: Ppm::new(required(ramp, 1, &reference, "ramp_pct_per_s", gathered)),
        });
    }
    reference.close(gathered);
    section.close(gathered);
}

fn contacts(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> [Option<Strand>; Place::COUNT] {
    let mut section = root.section("contacts", gathered);
    let words = [("up", Strand::Up), ("down", Strand::Down)];
    let contacts = PLACES.map(|place| section.word(place, &words, None, gathered));
    section.close(gathered);
    contacts
}

fn temperatures(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> [bool; Place::COUNT] {
    let mut section = root.section("temperatures", gathered);
    let fitted = PLACES.map(|place| section.flag(place, None, gathered).unwrap_or(false));
    section.close(gathered);
    fitted
}

fn accepted_ratio(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> Option<AcceptedRatio> {
    let mut section = root.section("accepted_ratio", gathered);
    let ratio = section.small("ratio", &[RATIO], Field::AcceptedRatio(AcceptedRatioPart::Ratio), gathered);
    let spread = section.small("spread", &[PERCENT], Field::AcceptedRatio(AcceptedRatioPart::Spread), gathered);
    let accepted = section.is_there().then(|| AcceptedRatio {
        ratio: Ratio::new(required(ratio, 1, &section, "ratio", gathered)),
        spread: Ppm::new(required(spread, 1, &section, "spread_pct", gathered)),
    });
    section.close(gathered);
    accepted
}

fn conditioning(root: &mut Section<'_, '_>, gathered: &mut Gathered) -> Conditioning {
    let mut section = root.section("conditioning", gathered);
    let starting = Conditioning::STARTING;
    let width = section.small(
        "minimum_width",
        &[MICROSECONDS, MILLISECONDS],
        Field::Conditioning(ConditioningPart::MinimumWidth),
        gathered,
    );
    let top = section.small("top_speed", &[PERCENT], Field::Conditioning(ConditioningPart::TopSpeed), gathered);
    let rejects =
        section.small("rejects_a_turn", &[COUNT], Field::Conditioning(ConditioningPart::RejectsATurn), gathered);
    let bridge = section.small(
        "contact_bridge",
        &[MILLISECONDS, SECONDS],
        Field::Conditioning(ConditioningPart::ContactBridge),
        gathered,
    );
    section.close(gathered);
    Conditioning {
        minimum_width: width.map_or(starting.minimum_width, Span::new),
        top_speed: top.map_or(starting.top_speed, Ppm::new),
        rejects_a_turn: rejects.unwrap_or(starting.rejects_a_turn),
        contact_bridge: bridge.map_or(starting.contact_bridge, Span::new),
    }
}

/// One of belt, head or boot speed, the others following without slip; or head and boot as both were measured.
fn speeds(root: &mut Section<'_, '_>, machine: &mut Machine, gathered: &mut Gathered) {
    let mut section = root.section("speed", gathered);
    let belt = section.number("belt", &[METRES_A_SECOND, FEET_A_MINUTE], Field::BeltSpeed, gathered);
    let head = section.number("head", &[RPM], Field::Speed(SpeedPart::Head), gathered);
    let boot = section.number("boot", &[RPM], Field::Speed(SpeedPart::Boot), gathered);
    let unloaded = section.number("unloaded_head", &[RPM], Field::Speed(SpeedPart::UnloadedHead), gathered);
    let ratio = i128::from(machine.ratio_in_force().get());
    let (head, boot) = match (belt, head, boot) {
        (None, Some(head), Some(boot)) => (i128::from(head), i128::from(boot)),
        (None, Some(head), None) => (i128::from(head), rounded(i128::from(head) * ratio, 1_000_000)),
        (None, None, Some(boot)) => (rounded(i128::from(boot) * 1_000_000, ratio), i128::from(boot)),
        (Some(belt), None, None) => {
            let belt = i128::from(belt) * 1_000_000;
            let boot = rounded(belt, i128::from(machine.boot_circumference().get()));
            (rounded(boot * 1_000_000, ratio), boot)
        }
        (None, None, None) => {
            gathered.tell(section.at(), section.key("belt_mps"), "give normal speed as belt_mps, head_rpm or boot_rpm");
            (1, 1)
        }
        _ => {
            let text = "belt speed is given together with shaft speeds; give belt_mps, or one or both shaft speeds";
            gathered.tell(section.at(), section.key("belt_mps"), text);
            (1, 1)
        }
    };
    let mut held = |speed: i128, key: &str| match u32::try_from(speed) {
        Ok(speed) => MicroturnsPerSecond::new(speed),
        Err(_) => {
            let text = format!("{} turns a minute cannot be held", speed * 6 / 100_000);
            gathered.tell(section.at(), section.key(key), text);
            MicroturnsPerSecond::ZERO
        }
    };
    machine.normal_head = held(head, "head_rpm");
    machine.normal_boot = held(boot, "boot_rpm");
    machine.unloaded_head = unloaded.map(|unloaded| held(i128::from(unloaded), "unloaded_head_rpm"));
    section.close(gathered);
}

/// To the nearest; 0 where the denominator is 0, which the check then refuses.
fn rounded(numerator: i128, denominator: i128) -> i128 {
    (numerator + denominator / 2).checked_div(denominator).unwrap_or(0)
}
