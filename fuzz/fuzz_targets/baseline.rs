//! `laws::baseline` on any bytes: `cargo fuzz run baseline`.
#![no_main]

use boundwalk_fuzz::laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::baseline(data));
