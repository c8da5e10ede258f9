//! What the fuzzer does to a site: every second time what it does to any bytes, else a change by the grammar of sites.

use std::sync::LazyLock;

use boundwalk::checks::CHECKS;
use boundwalk::load::starter;

use crate::grown::Parts;
use crate::random::Random;

static PARTS: LazyLock<Parts> = LazyLock::new(|| {
    let examples = CHECKS.iter().map(|registered| registered.check.fires);
    Parts::new(examples.chain([starter()]))
});

/// Changes `data`, of which `size` bytes are used and `most` may be; says how many are then.
pub fn mutate(data: &mut [u8], size: usize, most: usize, seed: u32) -> usize {
    let mut random = Random::new(u64::from(seed));
    let grown = match random.percent(50) {
        true => PARTS.grown(&mut random, &String::from_utf8_lossy(&data[..size])),
        false => None,
    };
    match grown {
        Some(text) if text.len() <= most => {
            data[..text.len()].copy_from_slice(text.as_bytes());
            text.len()
        }
        _ => libfuzzer_sys::fuzzer_mutate(data, size, most),
    }
}
