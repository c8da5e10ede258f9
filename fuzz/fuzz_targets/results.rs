//! `laws::results` on any bytes: `cargo fuzz run results`.
#![no_main]

#[path = "../laws.rs"]
#[allow(dead_code)]
mod laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::results(data));
