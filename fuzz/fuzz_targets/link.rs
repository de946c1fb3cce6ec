#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| slackside_tests::fuzz::link(data));
