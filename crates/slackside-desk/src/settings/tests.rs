use proptest::prelude::*;
use slackside::conditions::Condition;
use slackside::input::{Place, Shaft};
use slackside::settings::{
    AcceptedRatio, Action, CountedEdges, Field, LegPart, LimitPart, Limits, Priority, Spacing, SpeedReference, Strand,
};
use slackside::units::{Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

use super::*;
use crate::files::Opened;

/// No files at all.
struct NoFiles;

impl Files for NoFiles {
    fn open(&self, _path: &Path) -> std::io::Result<Opened> {
        Err(std::io::ErrorKind::NotFound.into())
    }

    fn is_file(&self, _path: &Path) -> bool {
        false
    }
}

const LEG_3: &str = include_str!("../../../../legs/millbrook-leg-3.toml");
const LEG_1: &str = include_str!("../../../../legs/millbrook-leg-1.toml");
const TERMINAL: &str = include_str!("../../../../legs/terminal-leg-7.toml");

fn settings(text: &str) -> Settings {
    match parse(text, "leg.toml") {
        Ok(loaded) => loaded.checked.into_settings(),
        Err(error) => panic!("{error}"),
    }
}

/// What is wrong, without the headline.
fn wrong(text: &str) -> Vec<String> {
    let error = parse(text, "leg.toml").expect_err("settings that are wrong");
    error.to_string().lines().skip(1).map(|line| line.trim().to_owned()).collect()
}

#[test]
fn the_example_file_is_the_built_in_leg() {
    assert_eq!(settings(LEG_3), Settings::example());
    assert_eq!(Loaded::example().checked.into_settings(), Settings::example());
}

#[test]
fn the_small_leg_is_boot_alone_and_in_inches() {
    let leg = settings(LEG_1).machine;
    assert_eq!(leg.head_pulley.bare_diameter, Micrometres::new(304_800));
    assert_eq!(leg.boot_pulley.crown, Micrometres::new(1_588));
    assert!(leg.head_targets.is_none());
    assert_eq!(leg.boot_targets.map(|targets| targets.edges), Some(CountedEdges::Falling));
    // 300 ft/min = 1.524 m/s.
    assert!(leg.normal_belt_speed().get().abs_diff(1_524_000) <= 1, "{:?}", leg.normal_belt_speed());
    // 3 hp = 2,237 W.
    assert_eq!(leg.rated_power, Watts::new(2_237));
    // Twice 32 ft and one circumference: 19.5072 m + π × 309.563 mm (two equal pulleys, belt rounded to 4.763 mm).
    assert_eq!(leg.belt.loop_length, Micrometres::new(19_507_200 + 972_521));
    assert!(parse(LEG_1, "").expect("sound").advice.contains(&Advice::BootAlone));
}

#[test]
fn the_terminal_leg_keeps_its_own_limits() {
    let leg = settings(TERMINAL);
    assert_eq!(leg.limits.of(Condition::TooManyStarts).setpoint, 3);
    assert_eq!(leg.limits.of(Condition::MistrackingSustained).action, Action::Stop);
    assert_eq!(leg.limits.of(Condition::StartFailed).setpoint, 20_000);
    assert_eq!(leg.limits.of(Condition::SlipHigh), Limits::STARTING.of(Condition::SlipHigh));
    assert_eq!(leg.limits.slip_heat.budget.get(), 160 * 900 * 40);
    assert_eq!(leg.machine.contacts[Place::BootRight.index()], Some(Strand::Up));
    assert_eq!(leg.machine.temperatures, [true, true, false, false]);
}

#[test]
fn every_leg_reads_back_from_what_is_written() {
    for text in [LEG_3, LEG_1, TERMINAL] {
        let leg = settings(text);
        for feet in [false, true] {
            let written = write_for(&leg, feet);
            assert_eq!(settings(&written), leg, "{written}");
            for line in written.lines() {
                assert!(line.chars().count() <= 120, "{line}");
            }
            for ending in ["_in = ", "_ft = ", "_hp = "] {
                assert_eq!(written.contains(ending), feet, "{written}");
            }
        }
    }
}

#[test]
fn rare_settings_read_back_too() {
    let mut leg = Settings::example();
    leg.machine.leg = heapless::String::try_from("\"Leg\\ 4\"").expect("short");
    leg.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(950_001), ramp_per_second: Ppm::new(123_456) });
    leg.machine.accepted_ratio = Some(AcceptedRatio { ratio: Ratio::new(1_038_001), spread: Ppm::new(1_234) });
    leg.machine.head_targets = leg.machine.head_targets.map(|_| slackside::settings::Targets {
        count: 2,
        edges: CountedEdges::Both,
        spacing: Spacing::Uneven { closest: Ppm::new(201_111), widest: Ppm::new(300_001) },
        supervised: true,
    });
    leg.machine.unloaded_head = Some(MicroturnsPerSecond::new(1_331_667));
    leg.machine.outlet_switch = true;
    leg.machine.contacts = [None, Some(Strand::Down), None, None];
    leg.limits.starts.window = Span::new(1_800_000_001);
    // Small steps, so that the slowed reference still keeps the code.
    leg.limits.change(Condition::SlipVeryHigh, |limit| {
        limit.setpoint = 90_001;
        limit.on_delay = Span::new(500_003);
        limit.priority = Priority::Low;
    });
    leg.limits.change(Condition::HeadUnderspeed, |limit| limit.enabled = false);
    let written = write(&leg);
    assert_eq!(settings(&written), leg, "{written}");
}

#[test]
fn every_key_that_messages_name_is_a_key() {
    // Written settings hold every key; each name that a message may use must be found in them, or be an alternative.
    let mut leg = Settings::example();
    leg.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(950_000), ramp_per_second: Ppm::new(100_000) });
    leg.machine.accepted_ratio = Some(AcceptedRatio { ratio: Ratio::new(1_038_001), spread: Ppm::new(1_234) });
    leg.machine.unloaded_head = Some(MicroturnsPerSecond::new(1_331_667));
    let written = write(&leg);
    let document: toml::Table = written.parse().expect("TOML");
    let find = |key: &str| {
        let mut value = Some(&toml::Value::Table(document.clone())).cloned();
        for part in key.split('.') {
            value = value.and_then(|value| value.get(part).cloned());
        }
        value.is_some()
    };
    let mut fields = vec![Field::Fitted(Shaft::Head), Field::Fitted(Shaft::Boot), Field::Leg(LegPart::Name)];
    // What the leg does not have is an alternative to what it has, or in a section left out; a limit is enabled unless it says not.
    slackside::settings::Section::each(&mut |section| {
        let written = |field: &Field| match field {
            Field::Limit(_, LimitPart::Enabled) => false,
            field => field.get(&leg).is_some_and(|value| value != 0 || !section.is_optional()),
        };
        section.fields(&mut |field| fields.extend(written(&field).then_some(field)));
    });
    for field in fields {
        assert!(find(&field.key().to_string()), "{} of {field:?}", field.key());
    }
}

#[test]
fn an_unknown_key_is_refused_with_its_line_and_the_nearest_known_one() {
    assert_eq!(
        wrong(&LEG_3.replace("lagging_mm", "laging_mm")),
        ["leg.toml:9:1: head_pulley.laging_mm: is not a key of these settings; did you mean head_pulley.lagging_mm?"]
    );
    assert_eq!(
        wrong(&LEG_3.replace("thickness_mm", "thickness")),
        [
            "leg.toml:18:2: belt.thickness_mm: must be given",
            "leg.toml:19:1: belt.thickness: is not a key of these settings; did you mean belt.thickness_mm?",
        ]
    );
    assert_eq!(
        wrong(&format!("{LEG_3}\n[limits.slip_hihg]\nsetpoint_pct = 4\n")),
        ["leg.toml:55:9: limits.slip_hihg: is not a key of these settings; did you mean limits.slip_high?"]
    );
    let other = wrong(&format!("{LEG_3}\n[wifi]\nname = \"x\"\n"));
    assert!(other[0].contains("known here: leg, head_pulley"), "{other:?}");
}

#[test]
fn two_units_for_one_value_are_refused() {
    assert_eq!(
        wrong(&LEG_3.replace("lagging_mm = 12 ", "lagging_mm = 12\nlagging_in = 0.5 ")),
        ["leg.toml:10:1: head_pulley.lagging_in: is given together with head_pulley.lagging_mm; give one of them"]
    );
    let both = wrong(&LEG_3.replace("loop_m = 61.95 ", "loop_m = 61.95\ncentres_m = 30 "));
    assert_eq!(both, ["leg.toml:22:1: belt.centres_m: is given together with belt.loop_m; give one of them"]);
    let speeds = wrong(&LEG_3.replace("head_rpm = 78.6 ", "head_rpm = 78.6\nbelt_mps = 2.6 "));
    assert!(speeds[0].contains("give belt_mps, or one or both shaft speeds"), "{speeds:?}");
}

#[test]
fn a_broken_rule_is_told_with_the_key_as_written() {
    let slow = format!("{LEG_3}\n[limits.deep_underspeed]\nsetpoint_pct = 25\n");
    assert_eq!(
        wrong(&slow),
        [
            "leg.toml:56:1: limits.deep_underspeed.setpoint_pct: a stop at 25 % is refused: 29 CFR 1910.272(q)(5) has the leg \
             shut down before belt speed falls by more than 20 % of normal"
        ]
    );
    // Inches as written, and one that is not in the file.
    let found = wrong(&LEG_1.replace("crown_in = 0.0625", "crown_in = 0.5").replace("belt_fpm = 300", "belt_fpm = 30"));
    assert!(found.iter().any(|line| line.contains("head_pulley.crown_in: a crown of 12.7 mm is 3 %")), "{found:?}");
    assert!(found.iter().any(|line| line.contains("speed.belt_fpm: 0.15")), "{found:?}");
    // And told in what it was written in, such that what is said is taken.
    let small = |inches: &str| LEG_1.replace("bare_diameter_in = 12", &format!("bare_diameter_in = {inches}"));
    let kept = parse(&small("7.874"), "leg.toml").map_or_else(|refused| refused.to_string(), |_| String::new());
    assert!(!kept.contains("bare_diameter_in"), "{kept}");
    let found_small = wrong(&small("7.87"));
    assert!(
        found_small.iter().any(|line| line.contains("head_pulley.bare_diameter_in: ")
            && line.ends_with("at least 200 mm (7.87 in; at least 7.874 in)")),
        "{found_small:#?}"
    );
    let fast = wrong(&LEG_1.replace("belt_fpm = 300", "belt_fpm = 3000"));
    assert!(fast.iter().any(|line| line.ends_with("at most 5 m/s (3000 ft/min; at most 984.252 ft/min)")), "{fast:#?}");
    let derived = found.iter().find(|line| line.contains("speed.boot_rpm")).expect("the shaft is too slow as well");
    assert!(
        derived.starts_with("leg.toml: ") && derived.ends_with("(not given here: starting value or derived)"),
        "{derived}"
    );
}

#[test]
fn everything_wrong_is_told_at_once() {
    let found = wrong(
        "[leg]\nname = 7\n[drive]\ncontact = \"yes\"\nrated_kw = inf\n[boot_targets]\ncount = 300\nedges = \"up\"\n",
    );
    for part in [
        "leg.toml:2:1: leg.name: must be a text in quotes and is a number",
        "leg.toml:4:1: drive.contact: must be true or false and is the text \"yes\"",
        "leg.toml:5:1: drive.rated_kw: is not a plain decimal number (kilowatts)",
        "leg.toml:7:1: boot_targets.count: is too large to be held: write less",
        "leg.toml:8:1: boot_targets.edges: is \"up\" and must be one of \"rising\", \"falling\", \"both\"",
        "leg.toml: head_pulley.bare_diameter_mm: must be given",
        "leg.toml: speed.belt_mps: give normal speed as belt_mps, head_rpm or boot_rpm",
    ] {
        assert!(found.iter().any(|line| line.starts_with(part)), "{part}\n{found:#?}");
    }
}

#[test]
fn what_is_not_toml_is_told_with_its_line() {
    let found = wrong("[leg]\nname = \"Millbrook\n");
    assert!(found[0].starts_with("leg.toml:2:"), "{found:?}");
    assert!(found[0].contains("is not TOML"), "{found:?}");
    let twice = wrong(&format!("{LEG_3}\n[belt]\nwidth_mm = 300\n"));
    assert!(twice[0].ends_with("is not TOML: duplicate key"), "{twice:?}");
    assert!(twice[1].starts_with("mend: it stands there twice"), "{twice:?}");
    let comma = wrong(&LEG_3.replace("loop_m = 61.95", "loop_m = 61,95"));
    assert!(comma[1].contains("a point, not a comma, in numbers"), "{comma:?}");
    let part = wrong(&LEG_1.replace("count = 6", "count = 2.5"));
    assert!(part.iter().any(|line| line.ends_with("boot_targets.count: must be a whole number")), "{part:?}");
    assert!(!wrong("").is_empty());
    let empty = parse("", "leg.toml").expect_err("nothing in it").to_string();
    assert!(empty.contains("\n  mend: `slackside new-leg"), "{empty}");
    let deep = format!("a = {}", "[".repeat(100_000));
    assert!(wrong(&deep)[0].contains("is not TOML"));
}

#[test]
fn a_file_that_cannot_be_read_is_told() {
    let error = read(&NoFiles, Path::new("no/such/leg.toml")).expect_err("no such file");
    assert!(error.to_string().contains("no/such/leg.toml: cannot be read"), "{error}");
}

#[test]
fn measured_speeds_and_one_speed_agree() {
    let one = settings(&LEG_3.replace("head_rpm = 78.6 ", "belt_mps = 2.6009883 "));
    assert_eq!(one.machine.normal_boot, MicroturnsPerSecond::new(1_361_711));
    assert_eq!(one.machine.normal_head, MicroturnsPerSecond::new(1_310_000));
    let both = settings(&LEG_3.replace("head_rpm = 78.6 ", "head_rpm = 78\nboot_rpm = 80 "));
    assert_eq!(both.machine.normal_boot, MicroturnsPerSecond::new(1_333_333));
}

#[test]
fn a_bench_may_be_what_no_leg_is() {
    let bench = LEG_3.replace("bare_diameter_mm = 600", "bare_diameter_mm = 60");
    assert!(parse(&bench, "").is_err());
    assert!(parse_with(&bench, "", Scope::Bench).is_ok());
}

proptest! {
    /// Any text at all gives settings or an error, never a panic.
    #[test]
    fn any_text_can_be_parsed(text in "\\PC{0,300}") {
        let _ = parse(&text, "any");
    }

    /// A leg with one line damaged, too, and the error can be said.
    #[test]
    fn any_damage_can_be_told(line in 0..60_usize, column in 0..40_usize, with in "[\\PC\n]{0,6}", which in 0..3_usize) {
        let text = [LEG_3, LEG_1, TERMINAL][which];
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        if let Some(line) = lines.get_mut(line) {
            let at = line.char_indices().map(|(at, _)| at).nth(column).unwrap_or(line.len());
            line.insert_str(at, &with);
        }
        if let Err(error) = parse(&lines.join("\n"), "any") {
            prop_assert!(!error.problems.is_empty());
            prop_assert!(!error.to_string().is_empty());
        }
    }

    /// Any number in any numeric key gives settings or an error.
    #[test]
    fn any_number_can_be_told(number in "-?[0-9]{1,19}(\\.[0-9]{1,6})?(e-?[0-9]{1,3})?", nth in 0..20_usize) {
        let mut seen = 0;
        let text: Vec<String> = LEG_3.lines().map(|line| match line.split_once(" = ") {
            Some((key, value)) if value.starts_with(|letter: char| letter.is_ascii_digit()) => {
                seen += 1;
                if seen == nth + 1 { format!("{key} = {number}") } else { line.to_owned() }
            }
            _ => line.to_owned(),
        }).collect();
        let _ = parse(&text.join("\n"), "any");
    }
}
