//! How much a run of the tests shall look at.

/// A number from the environment; what is usual where nothing, or no number, is given.
pub fn number(name: &str, usual: u64) -> u64 {
    let given = std::env::var(name).ok();
    given.and_then(|text| text.parse().ok()).unwrap_or(usual)
}
