//! Which random cases a run of the tests looks at.

use std::ops::Range;

/// The seeds of this run: `usual` many from 0. `BOUNDWALK_SITES=20000` looks at more, `BOUNDWALK_FIRST_SITE=7` begins
/// there: a failure names its seed, and both together repeat it.
pub fn seeds(usual: u64) -> Range<u64> {
    let number = |name| std::env::var(name).ok()?.parse::<u64>().ok();
    let first = number("BOUNDWALK_FIRST_SITE").unwrap_or(0);
    first..first + number("BOUNDWALK_SITES").unwrap_or(usual)
}
