//! The words of the landed core in those of the new one, and its answers back.

use slackside as old;
use slackside_next as new;

/// The same variant of two enums.
macro_rules! same {
    ($value:expr, $from:path => $to:path: $($Variant:ident)*) => {{
        use $from as From;
        use $to as To;
        match $value { $(From::$Variant => To::$Variant,)* }
    }};
}

/// A condition of the landed core.
///
/// # Panics
/// If the new list has none of that name.
#[must_use]
pub fn condition(condition: old::judge::Condition) -> new::conditions::Condition {
    new::conditions::Condition::from_name(condition.name())
        .unwrap_or_else(|| panic!("the new list has no condition {}", condition.name()))
}

fn condition_back(condition: new::conditions::Condition) -> old::judge::Condition {
    old::judge::Condition::from_name(condition.name())
        .unwrap_or_else(|| panic!("the landed core has no condition {}", condition.name()))
}

const fn shaft(shaft: old::input::Shaft) -> new::input::Shaft {
    same!(shaft, old::input::Shaft => new::input::Shaft: Head Boot)
}

const fn place(place: old::input::Place) -> new::input::Place {
    same!(place, old::input::Place => new::input::Place: HeadLeft HeadRight BootLeft BootRight)
}

const fn span(span: old::units::Span) -> new::units::Span {
    new::units::Span::new(span.get())
}

const fn ppm(ppm: old::units::Ppm) -> new::units::Ppm {
    new::units::Ppm::new(ppm.get())
}

const fn length(length: old::units::Micrometres) -> new::units::Micrometres {
    new::units::Micrometres::new(length.get())
}

fn command(command: old::input::Command) -> new::input::Command {
    use new::input::Command as To;
    use old::input::Command as From;
    match command {
        From::Acknowledge => To::Acknowledge,
        From::Reset => To::Reset,
        From::ResetButton(down) => To::ResetButton(down),
        From::BootCleared => To::BootCleared,
        From::Key(on) => To::Key(on),
        From::Bypass(what, time) => To::Bypass(condition(what), span(time)),
        From::EndBypass => To::EndBypass,
        From::Inch(on) => To::Inch(on),
        From::ProofTest(on) => To::ProofTest(on),
    }
}

fn command_back(command: new::input::Command) -> old::input::Command {
    use new::input::Command as From;
    use old::input::Command as To;
    match command {
        From::Acknowledge => To::Acknowledge,
        From::Reset => To::Reset,
        From::ResetButton(down) => To::ResetButton(down),
        From::BootCleared => To::BootCleared,
        From::Key(on) => To::Key(on),
        From::Bypass(what, time) => To::Bypass(condition_back(what), old::units::Span::new(time.get())),
        From::EndBypass => To::EndBypass,
        From::Inch(on) => To::Inch(on),
        From::ProofTest(on) => To::ProofTest(on),
    }
}

/// An input.
#[must_use]
pub fn input(input: &old::input::Input) -> new::input::Input {
    use new::input::Signal as To;
    use old::input::Signal as From;
    let signal = match input.signal {
        From::Edge(which, level) => To::Edge(shaft(which), level),
        From::Line(which, state) => {
            let state = same!(state, old::input::LineState => new::input::LineState: Sound Open Shorted);
            To::Line(shaft(which), state)
        }
        From::EdgesLost(which) => To::EdgesLost(shaft(which)),
        From::Contact(at, state) => {
            let state = same!(state, old::input::ContactState => new::input::ContactState: Clear Rubbing Faulty);
            To::Contact(place(at), state)
        }
        From::Temperature(at, value) => To::Temperature(place(at), new::units::DeciCelsius::new(value.get())),
        From::DriveRunning(on) => To::DriveRunning(on),
        From::DrivePower(power) => To::DrivePower(new::units::Watts::new(power.get())),
        From::SpeedReference(share) => To::SpeedReference(ppm(share)),
        From::OutletPlugged(plugged) => To::OutletPlugged(plugged),
        From::Command(origin, what) => {
            let origin = same!(origin, old::input::Origin => new::input::Origin: Leg Link);
            To::Command(origin, command(what))
        }
        From::Tick => To::Tick,
    };
    new::input::Input::new(new::units::Micros::new(input.at.get()), signal)
}

const fn origin_back(origin: new::input::Origin) -> old::input::Origin {
    same!(origin, new::input::Origin => old::input::Origin: Leg Link)
}

const fn state_back(state: new::alarm::AlarmState) -> old::judge::AlarmState {
    same!(state, new::alarm::AlarmState => old::judge::AlarmState:
        Normal Unacknowledged Acknowledged ReturnedUnacknowledged LatchedUnacknowledged LatchedAcknowledged Shelved Suppressed
        OutOfService)
}

/// A verdict of the new core in the landed one's words.
///
/// # Panics
/// If it says something the landed core cannot say.
#[must_use]
pub fn verdict_back(verdict: &new::verdict::Verdict) -> old::verdict::Verdict {
    use new::verdict::{Change as From, Refusal as FromRefusal};
    use old::verdict::{Change as To, Refusal as ToRefusal};
    let change = match verdict.change {
        From::Alarm { condition, from, to, value, setpoint, detail } => To::Alarm {
            condition: condition_back(condition),
            from: state_back(from),
            to: state_back(to),
            value,
            setpoint,
            detail,
        },
        From::Permit { permit, allowed, because } => To::Permit {
            permit: same!(permit, new::verdict::Permit => old::verdict::Permit: Run Feed),
            allowed,
            because: because.map(condition_back),
        },
        From::FirstOut(first) => To::FirstOut(first.map(condition_back)),
        From::Phase(phase) => To::Phase(same!(phase, new::verdict::Phase => old::verdict::Phase:
            Unsure Standstill Starting Running CoastDown Inching)),
        From::Accepted(origin, command) => To::Accepted(origin_back(origin), command_back(command)),
        From::Refused(origin, command, refusal) => {
            let refusal = match refusal {
                FromRefusal::OnlyAtTheLeg => ToRefusal::OnlyAtTheLeg,
                FromRefusal::KeyOff => ToRefusal::KeyOff,
                FromRefusal::NothingToDo => ToRefusal::NothingToDo,
                FromRefusal::StillPresent => ToRefusal::StillPresent,
                FromRefusal::NotAcknowledged => ToRefusal::NotAcknowledged,
                FromRefusal::BootNotCleared => ToRefusal::BootNotCleared,
                FromRefusal::NotAtRest => ToRefusal::NotAtRest,
                FromRefusal::NeverBypassed => ToRefusal::NeverBypassed,
                FromRefusal::OneAtATime => ToRefusal::OneAtATime,
                FromRefusal::TooLong => ToRefusal::TooLong,
                FromRefusal::BadPress => ToRefusal::BadPress,
                other => panic!("the landed core never refuses with {other:?}"),
            };
            To::Refused(origin_back(origin), command_back(command), refusal)
        }
        From::ProofTest { passed } => To::ProofTest { passed },
    };
    old::verdict::Verdict { at: old::units::Micros::new(verdict.at.get()), change }
}

const fn pulley(pulley: &old::settings::Pulley) -> new::settings::Pulley {
    new::settings::Pulley {
        bare_diameter: length(pulley.bare_diameter),
        lagging: length(pulley.lagging),
        face: length(pulley.face),
        crown: length(pulley.crown),
    }
}

fn targets(targets: &old::settings::Targets) -> new::settings::Targets {
    use new::settings::Spacing as To;
    use old::settings::Spacing as From;
    new::settings::Targets {
        count: targets.count,
        edges: same!(targets.edges, old::settings::CountedEdges => new::settings::CountedEdges: Rising Falling Both),
        spacing: match targets.spacing {
            From::Even { tolerance } => To::Even { tolerance: ppm(tolerance) },
            From::Uneven { closest, widest } => To::Uneven { closest: ppm(closest), widest: ppm(widest) },
        },
        supervised: targets.supervised,
    }
}

/// Settings.
///
/// # Panics
/// If the leg's name does not fit.
#[must_use]
pub fn settings(settings: &old::settings::Settings) -> new::settings::Settings {
    use new::units::{Joules, MicroturnsPerSecond, Ratio, Watts};
    let machine = &settings.machine;
    let mut all = new::settings::Settings::example();
    let to = &mut all.machine;
    to.leg.clear();
    to.leg.push_str(&machine.leg).expect("the names are equally long");
    to.head_pulley = pulley(&machine.head_pulley);
    to.boot_pulley = pulley(&machine.boot_pulley);
    to.belt = new::settings::Belt {
        thickness: length(machine.belt.thickness),
        width: length(machine.belt.width),
        loop_length: length(machine.belt.loop_length),
    };
    to.head_targets = machine.head_targets.as_ref().map(targets);
    to.boot_targets = machine.boot_targets.as_ref().map(targets);
    to.normal_head = MicroturnsPerSecond::new(machine.normal_head.get());
    to.normal_boot = MicroturnsPerSecond::new(machine.normal_boot.get());
    to.drive_contact = machine.drive_contact;
    to.power_meter = machine.power_meter;
    to.speed_reference = machine.speed_reference.map(|reference| new::settings::SpeedReference {
        minimum: ppm(reference.minimum),
        ramp_per_second: ppm(reference.ramp_per_second),
    });
    to.outlet_switch = machine.outlet_switch;
    to.contacts = machine.contacts.map(|contact| {
        contact.map(|strand| same!(strand, old::settings::Strand => new::settings::Strand: Up Down))
    });
    to.temperatures = machine.temperatures;
    to.rated_power = Watts::new(machine.rated_power.get());
    to.service_factor = ppm(machine.service_factor);
    to.accepted_ratio = machine.accepted_ratio.map(|accepted| new::settings::AcceptedRatio {
        ratio: Ratio::new(accepted.ratio.get()),
        spread: ppm(accepted.spread),
    });
    let conditioning = &machine.conditioning;
    to.conditioning = new::settings::Conditioning {
        minimum_width: span(conditioning.minimum_width),
        top_speed: ppm(conditioning.top_speed),
        rejects_a_turn: conditioning.rejects_a_turn,
        contact_bridge: span(conditioning.contact_bridge),
    };
    for each in old::judge::Condition::ALL {
        let limit = settings.limits.of(each);
        all.limits.change(condition(each), |to| {
            *to = new::settings::Limit {
                enabled: limit.enabled,
                setpoint: limit.setpoint,
                deadband: limit.deadband,
                on_delay: span(limit.on_delay),
                off_delay: span(limit.off_delay),
                latching: limit.latching,
                priority: same!(limit.priority, old::settings::Priority => new::settings::Priority: Low Medium High),
                action: same!(limit.action, old::settings::Action => new::settings::Action: Alarm DropFeed Stop),
            };
        });
    }
    let starts = &settings.limits.starts;
    all.limits.starts = new::settings::Starts {
        standstill_below: ppm(starts.standstill_below),
        shortest_coast_down: span(starts.shortest_coast_down),
        window: span(starts.window),
        inching_time: span(starts.inching_time),
        bypass_time: span(starts.bypass_time),
    };
    let heat = &settings.limits.slip_heat;
    all.limits.slip_heat =
        new::settings::SlipHeat { budget: Joules::new(heat.budget.get()), time_constant: span(heat.time_constant) };
    all
}
