//! The library as C calls it: what it refuses, that it allows nothing it should not, and that its verdicts are the core's.
#![allow(clippy::undocumented_unsafe_blocks, reason = "tests call as C does, with pointers that are what they say")]

use core::ffi::c_void;
use core::ptr;

use slackside::Monitor;
use slackside::input::{Command, Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::OwnedPlan;
use slackside::settings::plan_check::Sound;
use slackside_c::*;
use slackside_desk::demo;

fn monitor() -> Box<SlacksideMonitor> {
    Box::new(SlacksideMonitor::ZERO)
}

fn plan() -> Vec<u8> {
    Settings::example().check().unwrap().plan().bytes().to_vec()
}

fn nothing() -> [u8; SLACKSIDE_RETAINED_BYTES] {
    let mut retained = [0; SLACKSIDE_RETAINED_BYTES];
    assert_eq!(unsafe { slackside_nothing_retained(retained.as_mut_ptr()) }, SlacksideResult::Ok);
    retained
}

fn started() -> Box<SlacksideMonitor> {
    let (mut it, plan, retained) = (monitor(), plan(), nothing());
    assert_eq!(unsafe { slackside_start(&mut *it, plan.as_ptr(), retained.as_ptr()) }, SlacksideResult::Ok);
    it
}

const TICK: SlacksideInput = SlacksideInput { at_us: 1, value: 0, kind: 0, which: 0 };

#[test]
fn a_zeroed_monitor_is_not_ready_and_allows_nothing() {
    let mut it = monitor();
    let (mut at, mut kept) = (7, [0; SLACKSIDE_RETAINED_BYTES]);
    unsafe {
        assert_eq!(slackside_permits(&*it), 0);
        assert_eq!(slackside_observe(&mut *it, &TICK, None, ptr::null_mut()), SlacksideResult::NotReady);
        assert_eq!(slackside_next_deadline(&*it, &mut at), SlacksideResult::NotReady);
        assert_eq!(slackside_retained(&*it, kept.as_mut_ptr()), SlacksideResult::NotReady);
        assert_eq!(slackside_permits(&*it), 0);
    }
    assert_eq!(at, 7);
}

#[test]
fn null_and_crooked_pointers_are_answered() {
    let mut it = started();
    let crooked = ptr::from_mut(&mut *it).cast::<u8>().wrapping_add(1).cast::<SlacksideMonitor>();
    let plan = plan();
    unsafe {
        for pointer in [ptr::null_mut(), crooked] {
            assert_eq!(slackside_permits(pointer), 0);
            assert_eq!(slackside_start(pointer, plan.as_ptr(), ptr::null()), SlacksideResult::BadPointer);
            assert_eq!(slackside_observe(pointer, &TICK, None, ptr::null_mut()), SlacksideResult::BadPointer);
            assert_eq!(slackside_next_deadline(pointer, ptr::null_mut()), SlacksideResult::BadPointer);
        }
        assert_eq!(slackside_observe(&mut *it, ptr::null(), None, ptr::null_mut()), SlacksideResult::BadPointer);
        assert_eq!(slackside_get_status(&*it, ptr::null_mut()), SlacksideResult::BadPointer);
        assert_eq!(slackside_start(&mut *it, ptr::null(), ptr::null()), SlacksideResult::BadPointer);
        assert_eq!(slackside_permits(&*it), 0, "a start that failed leaves it not ready");
    }
}

#[test]
fn a_damaged_plan_is_refused_and_what_is_not_retained_counts_as_tripped() {
    let (mut it, mut plan) = (monitor(), plan());
    let wait = SlacksideInput { at_us: 60_000_000, ..TICK };
    unsafe {
        assert_eq!(slackside_start(&mut *it, plan.as_ptr(), ptr::null()), SlacksideResult::Ok);
        slackside_observe(&mut *it, &wait, None, ptr::null_mut());
        assert_eq!(slackside_permits(&*it), 0, "nothing retained: somebody must look");
        for (retained, permits) in [(nothing(), 1), ([0x5A; SLACKSIDE_RETAINED_BYTES], 0)] {
            assert_eq!(slackside_start(&mut *it, plan.as_ptr(), retained.as_ptr()), SlacksideResult::Ok);
            slackside_observe(&mut *it, &TICK, None, ptr::null_mut());
            slackside_observe(&mut *it, &wait, None, ptr::null_mut());
            assert_eq!(slackside_permits(&*it) & 1, permits);
        }
        for at in 0..plan.len() {
            plan[at] ^= 0x10;
            let result = slackside_start(&mut *it, plan.as_ptr(), nothing().as_ptr());
            assert!(matches!(result, SlacksideResult::PlanBroken | SlacksideResult::NotAPlan), "byte {at}: {result:?}");
            assert_eq!(slackside_permits(&*it), 0);
            plan[at] ^= 0x10;
        }
    }
}

#[test]
fn no_bytes_as_input_do_harm() {
    let mut it = started();
    let mut chance = 1_u64;
    let mut taken = 0;
    for at in 0..20_000_u64 {
        chance = chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let value = if at % 3 == 0 { (chance >> 62) as i32 } else { (chance >> 20) as i32 };
        let input =
            SlacksideInput { at_us: at * 700, value, kind: (chance >> 56) as u8 & 31, which: (chance >> 50) as u8 & 7 };
        match unsafe { slackside_observe(&mut *it, &input, None, ptr::null_mut()) } {
            SlacksideResult::Ok => taken += 1,
            result => assert_eq!(result, SlacksideResult::BadInput, "{input:?}"),
        }
    }
    assert!(taken > 2_000, "{taken}");
}

/// An input as C says it; none for what the demo does not hold.
fn as_c(input: &Input) -> SlacksideInput {
    use SlacksideKind::*;
    let (kind, which, value) = match input.signal {
        Signal::Tick => (Tick, 0, 0),
        Signal::Edge(shaft, high) => (Edge, u8::from(shaft == Shaft::Boot), high.into()),
        Signal::Contact(place, state) => (Contact, place.index() as u8, state as i32),
        Signal::Line(shaft, state) => (Line, u8::from(shaft == Shaft::Boot), state as i32),
        Signal::DriveRunning(on) => (Drive, 0, on.into()),
        Signal::DrivePower(power) => (Power, 0, power.get() as i32),
        Signal::Command(_, Command::Acknowledge) => (Acknowledge, 0, 0),
        Signal::Command(_, Command::ResetButton(down)) => (Reset, 0, down.into()),
        Signal::Command(_, Command::BootCleared) => (BootCleared, 0, 0),
        other => panic!("the demo holds {other:?}"),
    };
    SlacksideInput { at_us: input.at.get(), value, kind: kind as u8, which }
}

unsafe extern "C" fn keep(user: *mut c_void, verdict: *const SlacksideVerdict) {
    unsafe { (*user.cast::<Vec<SlacksideVerdict>>()).push(*verdict) };
}

/// Every verdict of the demo, by the core itself.
fn by_core(inputs: &[Input]) -> Vec<SlacksideVerdict> {
    let plan = Settings::example().check().unwrap().plan();
    let mut monitor: Box<Monitor<OwnedPlan, 64>> = Box::new(Monitor::new());
    monitor.configure(Sound::new(OwnedPlan(plan)).unwrap(), &Retained::default()).unwrap();
    let mut verdicts = Vec::new();
    for input in inputs {
        monitor.observe(*input, &mut |verdict| verdicts.push(SlacksideVerdict::of(verdict)));
    }
    verdicts
}

#[test]
fn the_demo_has_the_same_verdicts_through_c() {
    let inputs = demo::inputs(&Settings::example().check().unwrap());
    let mut it = started();
    let mut verdicts: Vec<SlacksideVerdict> = Vec::new();
    for input in &inputs {
        let user = ptr::from_mut(&mut verdicts).cast();
        assert_eq!(unsafe { slackside_observe(&mut *it, &as_c(input), Some(keep), user) }, SlacksideResult::Ok);
    }
    let expected = by_core(&inputs);
    assert!(expected.len() > 20 && expected.iter().any(|it| it.change == SlacksideChange::Permit as u8 && it.to == 0));
    assert_eq!(verdicts, expected);
}

/// The header as cbindgen writes it from this code; `SLACKSIDE_WRITE_HEADER=1` writes it anew.
#[test]
#[cfg_attr(miri, ignore = "runs other programs")]
fn the_header_is_that_of_the_code() {
    let here = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut text = Vec::new();
    cbindgen::generate(here).expect("it can be read").write(&mut text);
    let text = String::from_utf8(text).unwrap();
    let path = here.join("include/slackside.h");
    if std::env::var_os("SLACKSIDE_WRITE_HEADER").is_some() {
        std::fs::write(&path, &text).unwrap();
    }
    assert_eq!(
        std::fs::read_to_string(&path).unwrap_or_default(),
        text,
        "SLACKSIDE_WRITE_HEADER=1 cargo test writes it"
    );
}

/// The example in C, compiled as C11 and its header as C++, gives the core's verdicts, line for line.
#[test]
#[cfg_attr(miri, ignore = "runs other programs")]
fn the_example_in_c_has_the_cores_verdicts() {
    use std::fmt::Write as _;
    use std::io::Write as _;
    use std::process::{Command, Stdio};
    let here = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = std::env::temp_dir().join(format!("slackside-c-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let run = |command: &mut Command| {
        let output = command.current_dir(here).output().expect("it runs");
        assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
    };
    let target = folder.join("target");
    // Without the sanitizer that these tests may themselves be built with: it has no place in what is run by the compiler.
    run(Command::new(env!("CARGO"))
        .env_remove("RUSTFLAGS")
        .args(["build", "--quiet", "--release", "--features", "std"])
        .arg("--target-dir")
        .arg(&target));
    let compiled = |name: &str, flags: &[&str]| {
        let program = folder.join(name);
        run(Command::new("cc")
            .args(["-std=c11", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Iinclude", "examples/leg.c"])
            .args(flags)
            .arg(target.join("release/libslackside_c.a"))
            .args(["-lpthread", "-ldl", "-lm", "-o"])
            .arg(&program));
        program
    };
    let program = compiled("leg", &[]);
    run(Command::new("c++").args([
        "-std=c++17",
        "-Wall",
        "-Werror",
        "-fsyntax-only",
        "-x",
        "c++",
        "include/slackside.h",
    ]));
    let inputs = demo::inputs(&Settings::example().check().unwrap());
    let plan_file = folder.join("plan.bin");
    std::fs::write(&plan_file, plan()).unwrap();
    let mut text = String::new();
    for input in &inputs {
        let it = as_c(input);
        let _ = writeln!(text, "{} {} {} {}", it.at_us, it.kind, it.which, it.value);
    }
    let hear = |command: &mut Command| {
        let mut child = command.arg(&plan_file).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        let (mut stdin, text) = (child.stdin.take().unwrap(), text.clone());
        let writer = std::thread::spawn(move || stdin.write_all(text.as_bytes()).unwrap());
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap();
        assert!(output.status.success(), "{command:?}: {}", output.status);
        String::from_utf8(output.stdout).unwrap()
    };
    let expected: String = by_core(&inputs).iter().fold(String::new(), |mut all, it| {
        let SlacksideVerdict { at_us, change, condition, from, to, value, value_known, setpoint } = it;
        let _ = writeln!(all, "{at_us} {change} {condition} {from} {to} {value} {value_known} {setpoint}");
        all
    });
    assert_eq!(hear(&mut Command::new(&program)), expected);
    // Once more with every access to memory looked at: what lies outside, what was never written, what is not given back.
    if Command::new("valgrind").arg("--version").output().is_ok() {
        let mut looked_at = Command::new("valgrind");
        looked_at.args(["--quiet", "--leak-check=full", "--error-exitcode=9"]).arg(&program);
        assert_eq!(hear(&mut looked_at), expected);
    } else {
        println!("valgrind is not installed: its memory is not looked at");
    }
    // And compiled with what looks at every access of C's own and at what C leaves undefined; the first find ends it.
    let sanitized = ["-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all"];
    let nothing = folder.join("nothing.c");
    std::fs::write(&nothing, "int main(void) { return 0; }\n").unwrap();
    let tried = Command::new("cc").args(sanitized).arg(&nothing).arg("-o").arg(folder.join("nothing")).output();
    if tried.is_ok_and(|output| output.status.success()) {
        assert_eq!(hear(&mut Command::new(compiled("leg-sanitized", &sanitized))), expected);
    } else {
        println!("this compiler has no sanitizers: C's own accesses are not looked at");
    }
    let _ = std::fs::remove_dir_all(&folder);
}
