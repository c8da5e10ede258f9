//! `laws::flow_log` on any bytes: `cargo fuzz run flow_log`.
#![no_main]

use boundwalk_fuzz::laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::flow_log(data));
