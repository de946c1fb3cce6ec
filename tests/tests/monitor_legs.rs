//! The legs that exist: small and large, slow and fast, any target counts that differ between shafts, either polarity, the boot
//! alone. Each runs healthily without an alarm, and a belt that stalls stops it in time.

use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::{Checked, CountedEdges, Settings, Spacing, Targets};
use slackside::units::{Ppm, Span};
use slackside::verdict::Permit;
use slackside_tests::couple;
use slackside_tests::session::{at, dropped, given, merge, raised, verdicts};
use slackside_tests::wheels::{Wheel, Wheels};

const STALL: f64 = 20.0;

struct Leg {
    head: Option<u8>,
    boot: u8,
    ratio: f64,
    head_rpm: f64,
    edges: CountedEdges,
    begin_us: u64,
}

impl Leg {
    /// `None` where the settings refuse the leg: too few targets to see a loss of speed in time, or a rate that hum could fake.
    fn settings(&self) -> Option<Checked> {
        let mut settings = Settings::example();
        let machine = &mut settings.machine;
        let targets = |count| {
            let spacing = match self.edges {
                // A target fills a third of its pitch, so marks of both edges lie a third and two thirds of it apart.
                CountedEdges::Both => {
                    let pitch = 1_000_000 / i32::from(count);
                    Spacing::Uneven { closest: Ppm::new(pitch * 32 / 100), widest: Ppm::new(pitch * 68 / 100) }
                }
                _ => Spacing::Even { tolerance: Ppm::new(20_000) },
            };
            Targets { count, edges: self.edges, spacing, supervised: true }
        };
        machine.head_targets = self.head.map(targets);
        machine.boot_targets = Some(targets(self.boot));
        couple(machine, self.ratio, self.head_rpm / 60.0);
        machine.conditioning.minimum_width = Span::new(150);
        settings.limits.change(Condition::DeepUnderspeed, |limit| limit.on_delay = Span::from_millis(300));
        settings.check_for_bench().ok().filter(|settings| {
            settings.promptness(Condition::DeepUnderspeed).is_some_and(|promptness| promptness.keeps_the_code())
        })
    }

    fn inputs(&self, slip: &dyn Fn(f64) -> f64, seconds: f64) -> Vec<Input> {
        let speed = self.head_rpm / 60.0;
        let wheels = Wheels {
            head: self.head.map(|count| Wheel::with_spacing_error(u32::from(count), 0.01, 1).jittered(5.0)),
            boot: Some(Wheel::with_spacing_error(u32::from(self.boot), 0.01, 2).jittered(5.0)),
            ratio: self.ratio,
            head_speed: &|time| ((time - 1.0) / 2.0).clamp(0.0, 1.0) * speed,
            slip,
            begin_us: self.begin_us,
            seed: 3,
        };
        let drive =
            [at(self.begin_us, 0.0, Signal::DriveRunning(false)), at(self.begin_us, 1.0, Signal::DriveRunning(true))];
        merge(&[&drive, &wheels.edges(seconds), &[at(self.begin_us, seconds, Signal::Tick)]])
    }
}

fn legs() -> Vec<Leg> {
    let mut legs = Vec::new();
    let counts = [(1, 2), (2, 1), (1, 32), (32, 1), (3, 4), (4, 4), (8, 5), (17, 31), (32, 32)];
    for (index, (head, boot)) in counts.into_iter().enumerate() {
        for (other, ratio) in [0.6, 0.8, 1.0, 1.3, 1.8].into_iter().enumerate() {
            for head_rpm in [29.0, 61.0, 118.0, 200.0] {
                let edges = [CountedEdges::Rising, CountedEdges::Falling, CountedEdges::Both][(index + other) % 3];
                let begin_us = if other % 2 == 0 { 0 } else { (1 << 32) + 12_345 };
                legs.push(Leg { head: Some(head), boot, ratio, head_rpm, edges, begin_us });
                if head == boot || boot == 1 {
                    legs.push(Leg { head: None, boot, ratio, head_rpm, edges, begin_us });
                }
            }
        }
    }
    legs
}

#[test]
fn healthy_legs_are_left_alone_and_stalled_belts_are_stopped() {
    let mut tried = [0; 2];
    for leg in legs() {
        let Some(settings) = leg.settings() else { continue };
        let name = format!(
            "{:?} head and {} boot targets, {:?}, R {}, {} rpm",
            leg.head, leg.boot, leg.edges, leg.ratio, leg.head_rpm
        );
        let healthy = verdicts(&settings, &leg.inputs(&|_| 0.007, 45.0));
        assert_eq!(raised(&healthy), [], "{name}");
        assert_eq!((given(&healthy, Permit::Run), given(&healthy, Permit::Feed)), (1, 1), "{name}");
        assert_eq!(dropped(&healthy, Permit::Run), None, "{name}");

        let stalled = leg.inputs(&|time| if time < STALL { 0.007 } else { 1.0 }, 45.0);
        let last = stalled.iter().rfind(|input| matches!(input.signal, Signal::Edge(Shaft::Boot, _))).expect("edges");
        let verdicts = verdicts(&settings, &stalled);
        let stopped = dropped(&verdicts, Permit::Run);
        // The pitch bound at the setpoint of 14 %, the widest pitch, the delay, and 50 ms. The last edge may be of the other
        // polarity, up to two thirds of a pitch before or after the one that counts.
        let widest = if leg.edges == CountedEdges::Both { 0.68 } else { 1.02 };
        let pitch = widest / f64::from(leg.boot) / (leg.head_rpm / 60.0 * leg.ratio);
        let due = last.at.get() as f64 / 1e6 + pitch / 0.86 + 0.3 + 0.05;
        let stopped = stopped.unwrap_or_else(|| panic!("{name}: not stopped; {:?}", raised(&verdicts)));
        assert!(stopped.get() as f64 / 1e6 <= due, "{name}: {stopped:?}, due {due}; {:?}", raised(&verdicts));
        assert!(stopped.get() - leg.begin_us >= (STALL * 1e6) as u64, "{name}: {stopped:?}");
        assert_eq!(given(&verdicts, Permit::Run), 1, "{name}");
        tried[usize::from(leg.head.is_none())] += 1;
    }
    println!("{} legs with both shafts, {} with the boot alone", tried[0], tried[1]);
    assert!(tried[0] >= 100 && tried[1] >= 30, "{tried:?}");
}
