//! The words of the landed core in those of the new one, and its answers back.

/// The same variant of two enums.
macro_rules! same {
    ($value:expr, $from:path => $to:path: $($Variant:ident)*) => {{
        use $from as From;
        use $to as To;
        match $value { $(From::$Variant => To::$Variant,)* }
    }};
}

/// Translations of what goes in, one way.
macro_rules! inward {
    ($from:ident => $to:ident, $From:ty => $To:ty) => {
        use $from::settings as from_settings;
        use $to::settings as to_settings;

        /// A condition.
        ///
        /// # Panics
        /// If the other core has none of that name.
        #[must_use]
        pub fn condition(condition: $From) -> $To {
            <$To>::from_name(condition.name()).unwrap_or_else(|| panic!("no condition {}", condition.name()))
        }

        const fn shaft(shaft: $from::input::Shaft) -> $to::input::Shaft {
            same!(shaft, $from::input::Shaft => $to::input::Shaft: Head Boot)
        }

        const fn place(place: $from::input::Place) -> $to::input::Place {
            same!(place, $from::input::Place => $to::input::Place: HeadLeft HeadRight BootLeft BootRight)
        }

        const fn span(span: $from::units::Span) -> $to::units::Span {
            $to::units::Span::new(span.get())
        }

        const fn ppm(ppm: $from::units::Ppm) -> $to::units::Ppm {
            $to::units::Ppm::new(ppm.get())
        }

        const fn length(length: $from::units::Micrometres) -> $to::units::Micrometres {
            $to::units::Micrometres::new(length.get())
        }

        /// Where a command comes from.
        #[must_use]
        pub const fn origin(origin: $from::input::Origin) -> $to::input::Origin {
            same!(origin, $from::input::Origin => $to::input::Origin: Leg Link)
        }

        /// A command.
        #[must_use]
        pub fn command(command: $from::input::Command) -> $to::input::Command {
            use $from::input::Command as From;
            use $to::input::Command as To;
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

        /// An input.
        #[must_use]
        pub fn input(input: &$from::input::Input) -> $to::input::Input {
            use $to::input::Signal as To;
            use $from::input::Signal as From;
            let signal = match input.signal {
                From::Edge(which, level) => To::Edge(shaft(which), level),
                From::Line(which, state) => {
                    let state = same!(state, $from::input::LineState => $to::input::LineState: Sound Open Shorted);
                    To::Line(shaft(which), state)
                }
                From::EdgesLost(which) => To::EdgesLost(shaft(which)),
                From::Contact(at, state) => {
                    let state = same!(state, $from::input::ContactState => $to::input::ContactState: Clear Rubbing Faulty);
                    To::Contact(place(at), state)
                }
                From::Temperature(at, value) => To::Temperature(place(at), $to::units::DeciCelsius::new(value.get())),
                From::DriveRunning(on) => To::DriveRunning(on),
                From::DrivePower(power) => To::DrivePower($to::units::Watts::new(power.get())),
                From::SpeedReference(share) => To::SpeedReference(ppm(share)),
                From::OutletPlugged(plugged) => To::OutletPlugged(plugged),
                From::Command(by, what) => To::Command(origin(by), command(what)),
                From::Tick => To::Tick,
            };
            $to::input::Input::new($to::units::Micros::new(input.at.get()), signal)
        }

        const fn pulley(pulley: &from_settings::Pulley) -> to_settings::Pulley {
            to_settings::Pulley {
                bare_diameter: length(pulley.bare_diameter),
                lagging: length(pulley.lagging),
                face: length(pulley.face),
                crown: length(pulley.crown),
            }
        }

        fn targets(targets: &from_settings::Targets) -> to_settings::Targets {
            use to_settings::Spacing as To;
            use from_settings::Spacing as From;
            to_settings::Targets {
                count: targets.count,
                edges: same!(targets.edges, from_settings::CountedEdges => to_settings::CountedEdges: Rising Falling Both),
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
        pub fn settings(settings: &from_settings::Settings) -> to_settings::Settings {
            use $to::units::{Joules, MicroturnsPerSecond, Ratio, Watts};
            let machine = &settings.machine;
            let mut all = to_settings::Settings::example();
            let to = &mut all.machine;
            to.leg.clear();
            to.leg.push_str(&machine.leg).expect("the names are equally long");
            to.head_pulley = pulley(&machine.head_pulley);
            to.boot_pulley = pulley(&machine.boot_pulley);
            to.belt = to_settings::Belt {
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
            to.speed_reference = machine.speed_reference.map(|reference| to_settings::SpeedReference {
                minimum: ppm(reference.minimum),
                ramp_per_second: ppm(reference.ramp_per_second),
            });
            to.outlet_switch = machine.outlet_switch;
            to.contacts = machine.contacts.map(|contact| {
                contact.map(|strand| same!(strand, from_settings::Strand => to_settings::Strand: Up Down))
            });
            to.temperatures = machine.temperatures;
            to.rated_power = Watts::new(machine.rated_power.get());
            to.service_factor = ppm(machine.service_factor);
            to.accepted_ratio = machine.accepted_ratio.map(|accepted| to_settings::AcceptedRatio {
                ratio: Ratio::new(accepted.ratio.get()),
                spread: ppm(accepted.spread),
            });
            let conditioning = &machine.conditioning;
            to.conditioning = to_settings::Conditioning {
                minimum_width: span(conditioning.minimum_width),
                top_speed: ppm(conditioning.top_speed),
                rejects_a_turn: conditioning.rejects_a_turn,
                contact_bridge: span(conditioning.contact_bridge),
            };
            for each in <$From>::ALL {
                let limit = settings.limits.of(each);
                all.limits.change(condition(each), |to| {
                    *to = to_settings::Limit {
                        enabled: limit.enabled,
                        setpoint: limit.setpoint,
                        deadband: limit.deadband,
                        on_delay: span(limit.on_delay),
                        off_delay: span(limit.off_delay),
                        latching: limit.latching,
                        priority: same!(limit.priority, from_settings::Priority => to_settings::Priority: Low Medium High),
                        action: same!(limit.action, from_settings::Action => to_settings::Action: Alarm DropFeed Stop),
                    };
                });
            }
            let starts = &settings.limits.starts;
            all.limits.starts = to_settings::Starts {
                standstill_below: ppm(starts.standstill_below),
                shortest_coast_down: span(starts.shortest_coast_down),
                window: span(starts.window),
                inching_time: span(starts.inching_time),
                bypass_time: span(starts.bypass_time),
            };
            let heat = &settings.limits.slip_heat;
            all.limits.slip_heat =
                to_settings::SlipHeat { budget: Joules::new(heat.budget.get()), time_constant: span(heat.time_constant) };
            all
        }
    };
}

/// The landed core's words in the new one's.
pub mod forth {
    use slackside as new;
    use slackside_landed as old;

    inward!(old => new, old::judge::Condition => new::conditions::Condition);
}

/// The new core's words in the landed one's.
pub mod back {
    use slackside as new;
    use slackside_landed as old;

    inward!(new => old, new::conditions::Condition => old::judge::Condition);

    const fn state(state: new::alarm::AlarmState) -> old::judge::AlarmState {
        same!(state, new::alarm::AlarmState => old::judge::AlarmState:
            Normal Unacknowledged Acknowledged ReturnedUnacknowledged LatchedUnacknowledged LatchedAcknowledged Shelved Suppressed
            OutOfService)
    }

    /// A verdict of the new core in the landed one's words.
    ///
    /// # Panics
    /// If it says something the landed core cannot say.
    #[must_use]
    pub fn verdict(verdict: &new::verdict::Verdict) -> old::verdict::Verdict {
        use new::verdict::{Change as From, Refusal as FromRefusal};
        use old::verdict::{Change as To, Refusal as ToRefusal};
        let change = match verdict.change {
            From::Alarm { condition: what, from, to, value, setpoint, detail } => {
                To::Alarm { condition: condition(what), from: state(from), to: state(to), value, setpoint, detail }
            }
            From::Permit { permit, allowed, because } => To::Permit {
                permit: same!(permit, new::verdict::Permit => old::verdict::Permit: Run Feed),
                allowed,
                because: because.map(condition),
            },
            From::FirstOut(first) => To::FirstOut(first.map(condition)),
            From::Phase(phase) => To::Phase(same!(phase, new::verdict::Phase => old::verdict::Phase:
                Unsure Standstill Starting Running CoastDown Inching)),
            From::Accepted(by, what) => To::Accepted(origin(by), command(what)),
            From::Refused(by, what, refusal) => {
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
                To::Refused(origin(by), command(what), refusal)
            }
            From::ProofTest { passed } => To::ProofTest { passed },
        };
        old::verdict::Verdict { at: old::units::Micros::new(verdict.at.get()), change }
    }
}
