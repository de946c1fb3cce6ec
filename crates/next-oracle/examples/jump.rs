//! scratch
use slackside_next::{Monitor, input::*, retained::Retained, settings::plan_check::Sound, units::Micros};
use slackside_next_oracle::{
    cores,
    legs::{Frame, leg},
    random::Random,
    translate::forth,
};
use std::sync::Arc;
fn main() {
    let mut worst = vec![];
    for n in 0..150u64 {
        let l = leg(n, Frame { begin_us: Some(0), seconds: Some(60.0) });
        let (c, is) = cores::checked(&l.make.settings).unwrap();
        let p = Arc::new(c.plan());
        let sound = if is { Sound::new(p) } else { Sound::for_bench(p) }.unwrap();
        let mut m = Box::new(Monitor::<Arc<_>>::new());
        m.configure(sound, &Retained::default()).unwrap();
        let ins: Vec<Input> = l.inputs.iter().map(forth::input).collect();
        let mut r = Random(n * 77 + 1);
        let cut = r.next_u64() as usize % ins.len();
        for i in &ins[..cut] {
            m.observe(*i, &mut |_| {});
        }
        let mut k = 0u64;
        let from = m.newest().get();
        while let Some(d) = m.next_deadline().filter(|d| d.get() < from + (1 << 36)) {
            m.observe(Input::new(d, Signal::Tick), &mut |_| {});
            k += 1;
            if k > 3_000_000 {
                break;
            }
        }
        worst.push((k, n, (m.newest().get() - from) / 1_000_000));
    }
    worst.sort();
    worst.reverse();
    for w in &worst[..12] {
        println!("{w:?}");
    }
}
