//! What the fuzz targets share: the laws, and how a site is changed.

pub mod edits;
pub mod grown;
pub mod laws;
pub mod mutator;
#[path = "../tests/support/random.rs"]
#[allow(dead_code, reason = "each user uses its part")]
pub mod random;
