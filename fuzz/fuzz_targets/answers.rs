//! `laws::answers` on any bytes: `cargo fuzz run answers`.
#![no_main]

#[path = "../edits.rs"]
#[allow(dead_code, reason = "each target runs its law")]
mod edits;
#[path = "../grown.rs"]
mod grown;
#[path = "../laws.rs"]
#[allow(dead_code, reason = "each target runs its law")]
mod laws;
#[path = "../mutator.rs"]
mod mutator;
#[path = "../../tests/support/random.rs"]
#[allow(dead_code, reason = "each target uses its part")]
mod random;

libfuzzer_sys::fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    mutator::mutate(data, size, most, seed)
});
libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::answers(data));
