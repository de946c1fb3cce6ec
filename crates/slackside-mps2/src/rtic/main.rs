//! The core under RTIC 2: sensors in an interrupt above everything, a software task that judges below it. A trace of the host turns the leg
//! (`cargo xtask frameworks`); on a board of one's own the interrupt is a pin's or a capture unit's.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
#![no_std]
#![no_main]

mod mono;

#[rtic::app(device = slackside_mps2::device, peripherals = false, dispatchers = [GPIO0])]
mod app {
    use core::sync::atomic::{AtomicBool, Ordering};

    use heapless::spsc::{Consumer, Producer, Queue};
    use rtic_time::Timebase;
    use rtic_time::timer_queue::TimerQueueBackend;
    use slackside::Monitor;
    use slackside::input::{Input, Shaft, Signal};
    use slackside::retained::Retained;
    use slackside::settings::plan::Plan;
    use slackside::settings::plan_check::Sound;
    use slackside_mps2::field::{self, Field};
    use slackside_mps2::outputs::{Outputs, ROUND};
    use slackside_mps2::{clock, host, watchdog};

    use crate::mono::{Alarm, Instant, Mono};

    /// The queue was full: edges are missing.
    static LOST: AtomicBool = AtomicBool::new(false);

    #[shared]
    struct Shared {}

    #[local]
    struct Local {
        field: Field,
        caught: Producer<'static, Input>,
        seen: Consumer<'static, Input>,
        monitor: &'static mut Monitor<&'static Plan>,
        outputs: &'static mut Outputs,
    }

    #[init(local = [
        plan: Plan = Plan::blank(),
        trace: [u8; 256 * 1024] = [0; 256 * 1024],
        queue: Queue<Input, 256> = Queue::new(),
        core: Monitor<&'static Plan> = Monitor::new(),
        relays: Outputs = Outputs::new(),
    ])]
    fn init(cx: init::Context) -> (Shared, Local) {
        let init::LocalResources { plan, trace, queue, core: monitor, relays: outputs, .. } = cx.local;
        // The plan where it lies, held against every rule; and what survived the last loss of power, here nothing. A monitor without a
        // plan allows nothing.
        if let Ok(sound) = Sound::new(host::plan(plan)) {
            let _ = monitor.configure(sound, &Retained::default());
        }
        clock::start();
        Alarm::timer_queue().initialize(Alarm);
        watchdog::start();
        let (caught, seen) = queue.split();
        let field = Field::new(host::read_file(c"inputs.bin", trace));
        let _ = judge::spawn();
        (Shared {}, Local { field, caught, seen, monitor, outputs })
    }

    /// A sensor or a contact has changed: into the queue with it.
    #[task(binds = TIMER0, priority = 3, local = [field, caught])]
    fn sense(cx: sense::Context) {
        while let Some(input) = cx.local.field.captured() {
            if cx.local.caught.enqueue(input).is_err() {
                LOST.store(true, Ordering::SeqCst);
            }
        }
    }

    /// Round after round: what was seen, in the order of time; a tick; the outputs. Then sleep, no later than something falls due.
    #[task(priority = 1, local = [seen, monitor, outputs])]
    async fn judge(cx: judge::Context) {
        let judge::LocalResources { seen, monitor, outputs, .. } = cx.local;
        loop {
            // Read first, with no interrupt held up: whatever came before this is in the queue.
            let (now, is_over) = (clock::now(), field::is_over());
            while let Some(input) = seen.dequeue() {
                monitor.observe(input, &mut |verdict| outputs.tell(verdict));
            }
            if is_over {
                outputs.switch(monitor);
                outputs.end();
            }
            let mut observe = |signal| monitor.observe(Input::new(now, signal), &mut |verdict| outputs.tell(verdict));
            if LOST.swap(false, Ordering::SeqCst) {
                observe(Signal::EdgesLost(Shaft::Head));
                observe(Signal::EdgesLost(Shaft::Boot));
            }
            observe(Signal::Tick);
            outputs.switch(monitor);
            let round = now.after(ROUND);
            let wake = monitor.next_deadline().map_or(round, |due| due.min(round));
            Mono::delay_until(Instant::from_ticks(wake.get())).await;
        }
    }

    /// The alarm rings: RTIC's own queue knows for whom.
    #[task(binds = DUAL_TIMER, priority = 2)]
    fn alarm(_: alarm::Context) {
        // SAFETY: this is the alarm's interrupt.
        unsafe { Alarm::timer_queue().on_monotonic_interrupt() }
    }
}
