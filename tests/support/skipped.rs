//! What is not tested where a program is missing.

/// Says what was not tested; fails in a run that must not skip anything.
#[expect(
    clippy::print_stderr,
    reason = "whoever runs the tests must see what was not tested"
)]
pub fn skip(program: &str, error: &std::io::Error) {
    assert!(
        std::env::var("BOUNDWALK_LAB").as_deref() != Ok("require"),
        "{program} is required: {error}"
    );
    eprintln!("SKIPPED what {program} would show: {error}");
}
