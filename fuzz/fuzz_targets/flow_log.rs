//! `laws::flow_log` on any bytes: `cargo fuzz run flow_log`.
#![no_main]

#[path = "../edits.rs"]
#[allow(dead_code, reason = "each target runs its law")]
mod edits;
#[path = "../laws.rs"]
#[allow(dead_code, reason = "each target runs its law")]
mod laws;
#[path = "../../tests/support/random.rs"]
#[allow(dead_code, reason = "each target uses its part")]
mod random;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::flow_log(data));
