//! The emulated board: a plan and inputs from the host's files through the monitor, verdicts back to a file.
#![no_std]
#![no_main]

use cortex_m_rt::{entry, exception};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside_firmware::host::{Failure, exit, finish};
use slackside_firmware::play::{Inputs, Verdicts, plan};

type Monitor = slackside::Monitor<&'static Plan>;

fn run(monitor: &mut Monitor) -> Result<(), Failure> {
    let plan = plan()?;
    #[cfg(feature = "log")]
    slackside_firmware::log::open()?;
    #[cfg(feature = "log")]
    defmt::info!("leg {=str}, plan {=u32:08X}", plan.leg_name(), plan.identity());
    // A bench's plan is no leg's.
    let sound = Sound::new(plan).or_else(|_| Sound::for_bench(plan)).map_err(|_| Failure::Settings)?;
    monitor.configure(sound, &Retained::default()).map_err(|_| Failure::Settings)?;
    let mut inputs = Inputs::open()?;
    let mut verdicts = Verdicts::create()?;
    while let Some(input) = inputs.next()? {
        monitor.observe(input, &mut |verdict| {
            #[cfg(feature = "log")]
            log(verdict);
            verdicts.push(verdict);
        });
    }
    verdicts.finish()
}

/// Permits and first-outs; the rest is in the verdict stream.
#[cfg(feature = "log")]
fn log(verdict: &slackside::verdict::Verdict) {
    use slackside::verdict::Change;
    if matches!(verdict.change, Change::Permit { .. } | Change::FirstOut(_)) {
        defmt::info!("{=u64} us: {}", verdict.at.get(), verdict.change);
    }
}

// ANCHOR: entry
#[entry]
fn main() -> ! {
    // `entry` makes this static local and hands it out once.
    static mut MONITOR: Monitor = Monitor::new();
    finish(run(MONITOR))
}
// ANCHOR_END: entry

#[exception]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    exit(Failure::Fault as u32)
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    exit(Failure::Panic as u32)
}
