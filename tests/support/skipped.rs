//! What is not tested where a program is missing.

use std::fmt::Display;

/// Says what was not tested; fails in a run that must not skip anything (`BOUNDWALK_LAB=require`).
#[expect(
    clippy::print_stderr,
    reason = "whoever runs the tests must see what was not tested"
)]
pub fn skip(program: &str, reason: &dyn Display) {
    assert!(
        std::env::var("BOUNDWALK_LAB").as_deref() != Ok("require"),
        "{program} is required: {reason}"
    );
    eprintln!("SKIPPED what {program} would show: {reason}");
}
