//! The rows.

use slackside::conditions::Condition as C;
use slackside::input::{Origin, Place, Shaft};
use slackside::settings::{Conditioning, Settings, Spacing};
use slackside::units::Ppm;
use slackside_box::bench::{CLEAR, Chip, Level, Panel, Pin, RUBBING, Rig, Tap, Watchdog, every_command};
use slackside_box::contact::{RubContact, Wiring};
use slackside_box::fault::Fault as F;
use slackside_box::pin::Input;
use slackside_box::wires::Wires;

use super::{BeltStop, Group, Make, Must, Proof, Row, Wire, Word};

const fn stop(within_ms: u64, by: C) -> Must {
    Must::Stop { within_ms, says: Word::Alarm(by) }
}

const fn box_stop(within_ms: u64, by: F) -> Must {
    Must::Stop { within_ms, says: Word::Box(by) }
}

const fn stop_once_started(within_ms: u64, by: C) -> Must {
    Must::StopOnceStarted { within_ms, says: Word::Alarm(by) }
}

const fn once_off(within_ms: u64, by: C) -> Must {
    Must::OnceOff { within_ms, says: Word::Alarm(by), sooner: Proof::HoldSensorAway }
}

const fn alarm(within_ms: u64, by: C) -> Must {
    Must::Alarm { within_ms, says: Word::Alarm(by) }
}

const fn box_alarm(within_ms: u64, by: F) -> Must {
    Must::Alarm { within_ms, says: Word::Box(by) }
}

const fn alarm_once_started(within_ms: u64, by: C) -> Must {
    Must::AlarmOnceStarted { within_ms, says: Word::Alarm(by) }
}

const fn at_next_stop(within_ms: u64, by: F) -> Must {
    Must::AtNextStop { within_ms, says: Word::Box(by) }
}

/// Minutes in milliseconds.
const MINUTE: u64 = 60_000;

const fn row(group: Group, what: &'static str, fails: fn(&mut Rig), must: [Must; 3]) -> Row {
    Row {
        group,
        what,
        make: Make::While(fails),
        wire: Panel::wires,
        two_clocks: false,
        proves_watchdog: false,
        boot_pitches: &[],
        must,
        belt: BeltStop::Stopped,
        settings: Settings::example,
    }
}

const fn wired(group: Group, what: &'static str, wire: Wire, must: [Must; 3]) -> Row {
    Row { wire, ..row(group, what, |_| {}, must) }
}

const fn over_power(group: Group, what: &'static str, becomes: fn(&mut Chip), must: [Must; 3]) -> Row {
    Row { make: Make::OverPower(becomes), ..row(group, what, |_| {}, must) }
}

/// Clocks are compared over two seconds, and the span under way when one fails may not show it.
const fn two_clocks(what: &'static str, fails: fn(&mut Rig)) -> Row {
    Row { two_clocks: true, ..row(Group::Program, what, fails, [box_stop(4_500, F::ClocksDiffer); 3]) }
}

/// The whole table.
#[must_use]
pub fn rows() -> Vec<Row> {
    [sensors(), contacts(), permits(), program(), memory()].concat()
}

fn cut(rig: &mut Rig, shaft: Shaft, line: Option<u16>) {
    let of = if shaft == Shaft::Head { &rig.panel.head_line } else { &rig.panel.boot_line };
    of.set(line);
    rig.tap(shaft, Tap::Nothing);
}

fn with_starting_conditioning() -> Settings {
    let mut settings = Settings::example();
    settings.machine.conditioning = Conditioning::STARTING;
    settings
}

/// What a loaded leg runs at, in per mille of an idle one: a motor's slip from idle to full is 1 to 3 % (common practice, no source).
const LOADED: u64 = 975;

/// Eight targets, each second pitch so many per mille wider than the mean one.
const EACH_SECOND_WIDER: [i64; 8] = [150, -150, 150, -150, 150, -150, 150, -150];
/// The same, hardly.
const EACH_SECOND_HARDLY_WIDER: [i64; 8] = [40, -40, 40, -40, 40, -40, 40, -40];

fn with_uneven_targets() -> Settings {
    let mut settings = Settings::example();
    if let Some(boot) = &mut settings.machine.boot_targets {
        boot.count = 8;
        // An eighth of a turn, 15 % more and less.
        boot.spacing = Spacing::Uneven { closest: Ppm::new(106_250), widest: Ppm::new(143_750) };
    }
    settings
}

/// Edges as far apart as those of the true targets at normal speed, but even.
fn tremble_at_own_rate(rig: &mut Rig) {
    let boot = rig.sensor_box.monitor().plan().map(|plan| plan.boot).unwrap_or_default();
    let edges = u64::from(boot.normal) * u64::from(boot.marks) * 2;
    rig.tap(Shaft::Boot, Tap::Trembles(1_000_000_000_000 / edges.max(1)));
}

#[allow(clippy::too_many_lines, reason = "a table")]
fn sensors() -> Vec<Row> {
    const G: Group = Group::Sensors;
    const LINE_MS: u64 = 100;
    vec![
        row(
            G,
            "boot sensor: wire cut, line supervised",
            |rig| cut(rig, Shaft::Boot, Some(0)),
            [stop(LINE_MS, C::BootSensorFault); 3],
        ),
        row(
            G,
            "boot sensor: wires touch, line supervised",
            |rig| cut(rig, Shaft::Boot, Some(9_000)),
            [stop(LINE_MS, C::BootSensorFault); 3],
        ),
        row(
            G,
            "boot sensor: line cannot be measured",
            |rig| rig.panel.boot_line.set(None),
            [stop(LINE_MS, C::BootSensorFault); 3],
        ),
        row(
            G,
            "boot sensor dead, its line looks sound or is not supervised",
            |rig| rig.tap(Shaft::Boot, Tap::Nothing),
            [
                stop_once_started(4_000, C::BeltNotFollowing),
                stop(3_000, C::BeltNotFollowing),
                stop(1_000, C::DeepUnderspeed),
            ],
        ),
        row(
            G,
            "head sensor: wire cut, line supervised",
            |rig| cut(rig, Shaft::Head, Some(0)),
            [stop(LINE_MS, C::HeadSensorFault); 3],
        ),
        row(
            G,
            "head sensor: wires touch, line supervised",
            |rig| cut(rig, Shaft::Head, Some(9_000)),
            [stop(LINE_MS, C::HeadSensorFault); 3],
        ),
        row(
            G,
            "head sensor dead, its line looks sound or is not supervised",
            |rig| rig.tap(Shaft::Head, Tap::Nothing),
            [stop_once_started(2_000, C::HeadSilent), stop(2_000, C::HeadSilent), stop(2_000, C::HeadSilent)],
        ),
        row(
            G,
            "both sensors dead at once: their supply",
            |rig| {
                rig.tap(Shaft::Head, Tap::Nothing);
                rig.tap(Shaft::Boot, Tap::Nothing);
            },
            [stop_once_started(10_500, C::StartFailed), stop(10_500, C::StartFailed), stop(1_000, C::BothSilent)],
        ),
        row(
            G,
            "a boot target is lost",
            |rig| rig.tap(Shaft::Boot, Tap::OneLess),
            [alarm_once_started(20_000, C::BootTargets), alarm(20_000, C::BootTargets), alarm(20_000, C::BootTargets)],
        ),
        row(
            G,
            "a head target is lost",
            |rig| rig.tap(Shaft::Head, Tap::OneLess),
            [stop_once_started(4_000, C::HeadSilent), stop(4_000, C::SlipImpossible), alarm(20_000, C::HeadTargets)],
        ),
        row(
            G,
            "every boot target is seen twice",
            |rig| rig.tap(Shaft::Boot, Tap::Twice),
            [
                stop_once_started(5_000, C::BootSensorFault),
                stop(2_000, C::BootSensorFault),
                stop(2_000, C::BootSensorFault),
            ],
        ),
        row(
            G,
            "every head target is seen twice",
            |rig| rig.tap(Shaft::Head, Tap::Twice),
            [
                stop_once_started(5_000, C::HeadSensorFault),
                stop(2_000, C::HeadSensorFault),
                stop(2_000, C::HeadSensorFault),
            ],
        ),
        row(
            G,
            "hum of the mains on the boot input, 50 Hz",
            |rig| rig.tap(Shaft::Boot, Tap::Trembles(10_000)),
            [stop(500, C::EdgesAtRest), stop(500, C::BootSensorFault), stop(500, C::BootSensorFault)],
        ),
        row(
            G,
            "hum of the mains on the head input, 50 Hz",
            |rig| rig.tap(Shaft::Head, Tap::Trembles(10_000)),
            [stop(500, C::EdgesAtRest), stop(500, C::HeadSensorFault), stop(500, C::HeadSensorFault)],
        ),
        row(
            G,
            "noise floods the boot input",
            |rig| rig.tap(Shaft::Boot, Tap::Trembles(20)),
            [box_stop(100, F::EdgesLost); 3],
        ),
        row(
            G,
            "noise floods the head input",
            |rig| rig.tap(Shaft::Head, Tap::Trembles(20)),
            [box_stop(100, F::EdgesLost); 3],
        ),
        row(
            G,
            "the two sensors are swapped, pulleys a little unlike",
            |rig| {
                rig.tap(Shaft::Head, Tap::Other);
                rig.tap(Shaft::Boot, Tap::Other);
            },
            [alarm_once_started(10_000, C::SlipHigh), alarm(10_000, C::SlipHigh), alarm(5_000, C::SlipHigh)],
        ),
        row(
            G,
            "the sensors' wires are bridged: the boot input carries the head's pulses",
            |rig| rig.tap(Shaft::Boot, Tap::Other),
            [
                stop_once_started(10_000, C::BootSensorFault),
                stop(5_000, C::BootSensorFault),
                stop(5_000, C::BootSensorFault),
            ],
        ),
        row(
            G,
            "boot sensor's plug loose: nothing for a fifth of a second each five seconds",
            |rig| rig.tap(Shaft::Boot, Tap::Loose { every: 5_000_000, lost: 200_000 }),
            [alarm_once_started(MINUTE, C::BootTargets), alarm(MINUTE, C::BootTargets), alarm(MINUTE, C::BootTargets)],
        ),
        Row {
            settings: with_starting_conditioning,
            ..row(
                G,
                "boot sensor bounces for up to 2 ms as a target leaves",
                |rig| rig.tap(Shaft::Boot, Tap::Bounces(2_000)),
                [Must::Nothing; 3],
            )
        },
        Row {
            belt: BeltStop::Missed,
            ..row(
                G,
                "boot sensor trembles by itself, evenly, at the leg's own rate, in place of even targets",
                tremble_at_own_rate,
                [stop(2_000, C::EdgesAtRest), stop(5_000, C::SlipImpossible), once_off(10_500, C::DriveContactFault)],
            )
        },
        Row {
            belt: BeltStop::Missed,
            ..row(
                G,
                "boot sensor trembles by itself, evenly, and as its load grows the leg slows down by 2.5 %",
                |rig| {
                    tremble_at_own_rate(rig);
                    rig.full_speed = LOADED;
                },
                [stop(2_000, C::EdgesAtRest), stop(5_000, C::SlipImpossible), alarm(100_000, C::RatioShifted)],
            )
        },
        Row {
            settings: with_uneven_targets,
            boot_pitches: &EACH_SECOND_WIDER,
            ..row(
                G,
                "boot sensor trembles by itself, evenly, in place of uneven targets: eight, each second pitch 15 % wider",
                tremble_at_own_rate,
                [stop(2_000, C::EdgesAtRest), stop(5_000, C::SlipImpossible), stop(1_000, C::BootSensorFault)],
            )
        },
        Row {
            settings: with_uneven_targets,
            boot_pitches: &EACH_SECOND_HARDLY_WIDER,
            ..row(
                G,
                "boot sensor trembles by itself, evenly, in place of uneven targets: eight, each second pitch 4 % wider",
                tremble_at_own_rate,
                [stop(2_000, C::EdgesAtRest), stop(5_000, C::SlipImpossible), stop(14_000, C::BootSensorFault)],
            )
        },
    ]
}

/// The panel's wires but for the first rub contact.
fn with_first_contact(panel: &Panel, wiring: Wiring<Pin, Level>) -> Wires<Pin, Pin, Level> {
    let mut wires = panel.wires();
    wires.inputs.contacts[Place::HeadLeft.index()] = Some(RubContact::new(wiring));
    wires
}

/// Told within two minutes of the day's end.
const STANDS_STILL: Must = Must::AlarmWithADay {
    within_ms: 24 * 60 * MINUTE + 2 * MINUTE,
    says: Word::Box(F::TemperatureStill),
    sooner: Proof::WarmSensors,
};

fn with_outlet_switch() -> Settings {
    let mut settings = Settings::example();
    settings.machine.outlet_switch = true;
    settings
}

fn with_temperature() -> Settings {
    let mut settings = Settings::example();
    settings.machine.temperatures[0] = true;
    settings
}

#[allow(clippy::too_many_lines, reason = "a table")]
fn contacts() -> Vec<Row> {
    const G: Group = Group::Contacts;
    vec![
        row(
            G,
            "rub contact: wire cut, line supervised",
            |rig| rig.panel.contacts[0].set(Some(65_000)),
            [alarm(1_000, C::ContactFault); 3],
        ),
        row(
            G,
            "rub contact: wires touch, line supervised",
            |rig| rig.panel.contacts[0].set(Some(0)),
            [alarm(1_000, C::ContactFault); 3],
        ),
        row(
            G,
            "rub contact: line cannot be measured",
            |rig| rig.panel.contacts[0].set(None),
            [alarm(1_000, C::ContactFault); 3],
        ),
        row(
            G,
            "rub contact stuck as if the belt rubbed",
            |rig| rig.panel.contacts[0].set(Some(RUBBING)),
            [alarm(1_000, C::Mistracking); 3],
        ),
        wired(
            G,
            "rub contact stuck clear, its wire sound",
            |panel| with_first_contact(panel, Wiring::Supervised(Level::new(CLEAR))),
            [Must::Unseen(Proof::PressRubContacts); 3],
        ),
        wired(
            G,
            "rub contact on a plain wire, closes on rub: wire cut",
            |panel| with_first_contact(panel, Wiring::Plain(Input::on_high(Pin::new()))),
            [Must::Unseen(Proof::PressRubContacts); 3],
        ),
        Row {
            wire: |panel| with_first_contact(panel, Wiring::Plain(Input::on_low(panel.plain.clone()))),
            ..row(
                G,
                "rub contact on a plain wire, opens on rub: wire cut",
                |rig| rig.panel.plain.set(false),
                [alarm(1_000, C::Mistracking); 3],
            )
        },
        row(
            G,
            "starter's auxiliary contact: wire cut",
            |rig| rig.drive_stuck = Some(false),
            [stop_once_started(3_000, C::Rollback), stop(3_000, C::Rollback), stop(11_000, C::DriveContactFault)],
        ),
        row(
            G,
            "starter's auxiliary contact stays closed",
            |rig| rig.drive_stuck = Some(true),
            [stop(10_500, C::StartFailed), at_next_stop(5_100, F::MotorRunsOn), at_next_stop(5_100, F::MotorRunsOn)],
        ),
        Row {
            settings: with_outlet_switch,
            ..row(
                G,
                "outlet switch plugged, or its contact welded",
                |rig| rig.panel.outlet.set(true),
                [stop(2_500, C::OutletPlugged); 3],
            )
        },
        Row {
            settings: with_outlet_switch,
            ..wired(
                G,
                "outlet switch that closes when plugged: wire cut",
                |panel| {
                    let mut wires = panel.wires();
                    wires.inputs.outlet = Some(Input::on_high(Pin::new()));
                    wires
                },
                [Must::Unseen(Proof::PlugOutlet); 3],
            )
        },
        Row {
            settings: with_outlet_switch,
            wire: |panel| {
                let mut wires = panel.wires();
                wires.inputs.outlet = Some(Input::on_low(panel.plain.clone()));
                wires
            },
            ..row(
                G,
                "outlet switch that opens when plugged: wire cut",
                |rig| rig.panel.plain.set(false),
                [stop(2_500, C::OutletPlugged); 3],
            )
        },
        Row {
            settings: with_temperature,
            ..row(
                G,
                "a rub point's temperature stays at its last value",
                |rig| rig.temperature_stuck = rig.temperature,
                [STANDS_STILL; 3],
            )
        },
        Row {
            settings: with_temperature,
            ..row(
                G,
                "a rub point's temperature does not come any more",
                |rig| rig.temperature_lost = true,
                [STANDS_STILL; 3],
            )
        },
        row(G, "reset button held or wedged", |rig| rig.panel.reset.set(true), [alarm(3_100, C::ResetHeld); 3]),
        row(G, "acknowledge button held or wedged", |rig| rig.panel.acknowledge.set(true), [Must::Nothing; 3]),
        row(G, "button for a clear boot held or wedged", |rig| rig.panel.boot_cleared.set(true), [Must::Nothing; 3]),
        row(
            G,
            "key left on, or its contact welded",
            |rig| rig.panel.key.set(true),
            [box_alarm(15 * MINUTE + 1_000, F::KeyLeftOn); 3],
        ),
        row(G, "inching switch stays on, key off", |rig| rig.panel.inching.set(true), [Must::Nothing; 3]),
        row(G, "key's pin cannot be read", |rig| rig.panel.key.break_down(), [box_stop(50, F::Pin); 3]),
        row(G, "reset's pin cannot be read", |rig| rig.panel.reset.break_down(), [box_stop(50, F::Pin); 3]),
        row(G, "auxiliary contact's pin cannot be read", |rig| rig.panel.drive.break_down(), [box_stop(50, F::Pin); 3]),
    ]
}

fn permits() -> Vec<Row> {
    const G: Group = Group::Permits;
    vec![
        row(
            G,
            "run permit, first contact welds",
            |rig| rig.stuck[0] = Some(true),
            [at_next_stop(200, F::RunAWelded); 3],
        ),
        row(
            G,
            "run permit, second contact welds",
            |rig| rig.stuck[1] = Some(true),
            [at_next_stop(200, F::RunBWelded); 3],
        ),
        Row {
            belt: BeltStop::ToldOnly,
            ..row(
                G,
                "run permit, both contacts weld at once",
                |rig| (rig.stuck[0], rig.stuck[1]) = (Some(true), Some(true)),
                [at_next_stop(200, F::RunAWelded); 3],
            )
        },
        row(
            G,
            "feed permit's contact welds",
            |rig| rig.stuck[2] = Some(true),
            [box_stop(200, F::FeedWelded), box_stop(200, F::FeedWelded), at_next_stop(200, F::FeedWelded)],
        ),
        row(
            G,
            "run permit, first contact does not close, or falls open",
            |rig| rig.stuck[0] = Some(false),
            [box_stop(200, F::RunAOpen); 3],
        ),
        row(
            G,
            "run permit, second contact does not close, or falls open",
            |rig| rig.stuck[1] = Some(false),
            [box_stop(200, F::RunBOpen); 3],
        ),
        row(
            G,
            "feed permit's contact does not close, or falls open",
            |rig| rig.stuck[2] = Some(false),
            [
                Must::StopOnceStarted { within_ms: 5_000, says: Word::Box(F::FeedOpen) },
                box_stop(5_000, F::FeedOpen),
                box_stop(200, F::FeedOpen),
            ],
        ),
        row(G, "a coil's pin cannot be written", |rig| rig.panel.coils[1].break_down(), [box_stop(50, F::Pin); 3]),
        row(G, "a read-back's pin cannot be read", |rig| rig.panel.backs[0].break_down(), [box_stop(50, F::Pin); 3]),
        row(
            G,
            "alarm relay: coil fails, or its wire is cut",
            |rig| rig.alarm_stuck = Some(false),
            [Must::Alarm { within_ms: 10, says: Word::Itself }; 3],
        ),
        row(G, "alarm relay's contact welds", |rig| rig.alarm_stuck = Some(true), [Must::Unseen(Proof::WatchAlarm); 3]),
        row(G, "alarm relay's pin cannot be written", |rig| rig.panel.alarm.break_down(), [box_stop(50, F::Pin); 3]),
        Row {
            belt: BeltStop::ToldOnly,
            ..row(
                G,
                "the run permit is bridged in the starter's wiring",
                |rig| rig.starter_bridged = true,
                [at_next_stop(5_100, F::MotorRunsOn); 3],
            )
        },
    ]
}

fn program() -> Vec<Row> {
    const G: Group = Group::Program;
    vec![
        row(G, "supply low", |rig| rig.panel.supply.set(false), [box_stop(50, F::SupplyLow); 3]),
        over_power(G, "power lost", |_| {}, [Must::Stop { within_ms: 10, says: Word::Off }; 3]),
        row(G, "main loop held up for 60 ms", |rig| rig.round_after(60_000), [box_stop(50, F::Stalled); 3]),
        row(
            G,
            "program stands still for good",
            |rig| rig.halted = true,
            [Must::Stop { within_ms: 300, says: Word::Heart }; 3],
        ),
        row(G, "heartbeat's pin cannot be written", |rig| rig.panel.heartbeat.break_down(), [box_stop(50, F::Pin); 3]),
        row(G, "watchdog outside stays open", |rig| rig.watchdog = Watchdog::Open, [box_stop(200, F::RunAOpen); 3]),
        Row {
            proves_watchdog: true,
            ..row(
                G,
                "watchdog outside stays closed, and the box proves it before each start",
                |rig| rig.watchdog = Watchdog::Closed,
                [Must::BeforeNextStart { says: Word::Box(F::WatchdogShut) }; 3],
            )
        },
        row(
            G,
            "watchdog outside that resets the processor, so that the box cannot prove it, stays closed",
            |rig| rig.watchdog = Watchdog::Closed,
            [Must::Unseen(Proof::HoldProgram); 3],
        ),
        row(
            G,
            "the box's clock is a tenth slow: everything seems faster",
            |rig| rig.clock_runs(-100_000),
            [
                alarm_once_started(75_000, C::FasterThanNormal),
                alarm(75_000, C::FasterThanNormal),
                alarm(75_000, C::FasterThanNormal),
            ],
        ),
        row(
            G,
            "the box's clock is a quarter fast: everything seems slower",
            |rig| rig.clock_runs(250_000),
            [stop_once_started(10_500, C::StartFailed), stop(10_500, C::StartFailed), stop(2_000, C::DeepUnderspeed)],
        ),
        two_clocks("two clocks: that which stamps the edges 28 % slow", |rig| rig.clock_runs(-280_000)),
        two_clocks("two clocks: that which stamps the edges 28 % fast", |rig| rig.clock_runs(280_000)),
        two_clocks("two clocks: that which stamps the edges 4 % slow", |rig| rig.clock_runs(-40_000)),
        two_clocks("two clocks: the second 28 % slow", |rig| rig.second_clock = Some(-280_000)),
        two_clocks("two clocks: the second 28 % fast", |rig| rig.second_clock = Some(280_000)),
        two_clocks("two clocks: the second stands", |rig| rig.second_clock = Some(-1_000_000)),
        row(
            G,
            "somebody on the link sends every command there is",
            |rig| {
                for command in every_command() {
                    rig.sensor_box.command(Origin::Link, command);
                    rig.run(5);
                }
            },
            [Must::Nothing; 3],
        ),
    ]
}

/// Turn a bit of every tenth byte that is not erased, from there on.
fn rot(chip: &mut Chip, from: u32, length: u32) {
    let (from, length) = (from as usize, length as usize);
    for at in (from..from + length).step_by(10) {
        if chip.bytes()[at] != 0xFF {
            chip.flip(at, 3);
        }
    }
}

fn memory() -> Vec<Row> {
    const G: Group = Group::Memory;
    vec![
        row(
            G,
            "flash cannot be written any more",
            |rig| rig.sensor_box.flash_mut().lose_power_after(0, false),
            [
                Must::StopOnceStarted { within_ms: 200, says: Word::Box(F::StateNotStored) },
                at_next_stop(200, F::StateNotStored),
                at_next_stop(200, F::StateNotStored),
            ],
        ),
        over_power(
            G,
            "settings damaged by age",
            |chip| {
                let layout = Rig::layout();
                layout.slots.into_iter().for_each(|slot| rot(chip, slot, layout.slot_length));
            },
            [box_stop(10, F::SettingsUnreadable); 3],
        ),
        over_power(
            G,
            "latched state damaged by age",
            |chip| {
                let layout = Rig::layout();
                layout.pages.into_iter().for_each(|page| rot(chip, page, layout.page_length));
            },
            [box_stop(10, F::StateUnreadable); 3],
        ),
        over_power(
            G,
            "recordings damaged by age",
            |chip| {
                let layout = Rig::layout();
                rot(chip, layout.album, layout.places * layout.place_length);
            },
            [Must::Stop { within_ms: 10, says: Word::Off }; 3],
        ),
    ]
}
