//! The `boundwalk` command.
fn main() {}
