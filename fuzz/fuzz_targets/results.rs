//! `laws::results` on any bytes: `cargo fuzz run results`.
#![no_main]

use boundwalk_fuzz::laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::results(data));
