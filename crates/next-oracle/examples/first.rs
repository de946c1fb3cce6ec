//! scratch
use slackside_next::settings::plan_check::Sound;
use slackside_next_oracle::{
    cores::*,
    legs::{Frame, leg},
    translate,
};
use std::sync::Arc;
fn main() {
    let seed: u64 = std::env::args().nth(1).unwrap().parse().unwrap();
    let leg = leg(seed, Frame::ANY);
    let mut old = Box::new(slackside::Monitor::new());
    old.configure(&leg.make.settings, &Default::default());
    let p = Arc::new(checked(&leg.make.settings).unwrap().0.plan());
    let mut new = Box::new(slackside_next::Monitor::<Arc<_>>::new());
    new.configure(Sound::for_bench(p).unwrap(), &Default::default()).unwrap();
    let mut n = 0;
    let mut last = (0, 0);
    for i in &leg.inputs {
        old.observe(*i, &mut |_| {});
        new.observe(translate::forth::input(i), &mut |_| {});
        let (m, s) = (old.motion(), new.signals());
        for (k, a, b) in [("head", &m.head, &s.head), ("boot", &m.boot, &s.boot)] {
            let (ap, bp) = (
                a.pitch.map(|p| (p.time.get(), p.angle.get(), p.largest.get())).unwrap_or_default(),
                (b.pitch, b.pitch_angle, b.pitch_largest),
            );
            if ap.0 != bp.0 || ap.1.abs_diff(bp.1) > (1 << 20) || ap.2.abs_diff(bp.2) > (1 << 20) {
                if last == (a.edges, b.edges) {
                    continue;
                }
                last = (a.edges, b.edges);
                println!("{} {k} edges {} {} pitch {:?} {:?}", i.at.get(), a.edges, b.edges, ap, bp);
                n += 1;
                if n > 25 {
                    return;
                }
            }
        }
    }
}
