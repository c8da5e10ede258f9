//! `laws::answers` on any bytes: `cargo fuzz run answers`.
#![no_main]

use boundwalk_fuzz::laws;
use boundwalk_fuzz::mutator::mutate;

libfuzzer_sys::fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    mutate(data, size, most, seed)
});

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::answers(data));
