//! `laws::words` on any bytes: `cargo fuzz run words`.
#![no_main]

use boundwalk_fuzz::laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::words(data));
