//! `laws::words` on any bytes: `cargo fuzz run words`.
#![no_main]

#[path = "../laws.rs"]
#[allow(dead_code)]
mod laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::words(data));
