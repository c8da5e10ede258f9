//! `laws::load_site` on any bytes: `cargo fuzz run load_site`.
#![no_main]

#[path = "../laws.rs"]
#[allow(dead_code)]
mod laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::load_site(data));
