//! scratch
use slackside_next::{Monitor, input::*, retained::Retained, settings::plan_check::Sound, units::Micros};
use slackside_next_oracle::{
    cores,
    legs::{Frame, leg},
    random::Random,
    translate::forth,
};
use std::sync::{Arc, Mutex, mpsc};
fn main() {
    for n in 0..400u64 {
        let (tx, rx) = mpsc::channel();
        let state = Arc::new(Mutex::new(String::new()));
        let s2 = state.clone();
        std::thread::spawn(move || {
            let l = leg(n % 64, Frame { begin_us: Some(0), seconds: Some(30.0) });
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
            let sparse = n % 2 == 0;
            let part_no = (n / 4) % 3;
            let mut k = 0;
            m.parts_mut(&mut |part| {
                if true {
                    for b in part.iter_mut() {
                        if !sparse || r.chance(0.02) {
                            *b = r.next_u64() as u8;
                        }
                    }
                }
                k += 1;
                let _ = part_no;
            });
            *s2.lock().unwrap() = format!("newest after noise {:?} due {:?}", m.newest(), m.next_deadline());
            let at = if n % 3 == 0 {
                0
            } else if n % 3 == 1 {
                1u64 << 40
            } else {
                r.next_u64()
            };
            for (j, i) in ins.iter().take(400).enumerate() {
                *s2.lock().unwrap() = format!(
                    "input {j} at {} newest {:?} due {:?}",
                    i.at.get().saturating_add(at),
                    m.newest(),
                    m.next_deadline()
                );
                m.observe(Input::new(Micros::new(i.at.get().saturating_add(at)), i.signal), &mut |_| {});
            }
            for late in [1u64 << 32, 1 << 42, u64::MAX] {
                *s2.lock().unwrap() = format!("late {late} newest {:?} due {:?}", m.newest(), m.next_deadline());
                m.observe(Input::new(Micros::new(late), Signal::Tick), &mut |_| {});
            }
            tx.send(()).unwrap();
        });
        match rx.recv_timeout(std::time::Duration::from_secs(4)) {
            Ok(()) => {}
            Err(e) => println!("{n} {e:?} {}", state.try_lock().map(|s| s.clone()).unwrap_or_default()),
        }
    }
}
