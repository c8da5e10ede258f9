//! What others wrote: repositories, paths, pipes and places to write to that were made to do harm, or are merely odd.

#[path = "safety/closed.rs"]
mod closed;
#[path = "safety/found.rs"]
mod found;
#[path = "safety/names.rs"]
mod names;
#[path = "safety/places.rs"]
mod places;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "safety/reading.rs"]
mod reading;
#[path = "safety/repository.rs"]
mod repository;
#[path = "commands/run.rs"]
#[allow(
    dead_code,
    reason = "each test that shares this file uses a part of it"
)]
mod run;
#[path = "support/skipped.rs"]
mod skipped;
#[path = "safety/writing.rs"]
mod writing;
