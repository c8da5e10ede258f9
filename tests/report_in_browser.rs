//! The report in a real browser: does it ask for nothing, say everything, and work by mouse, key and ear?

#[path = "browser/client.rs"]
mod client;
#[path = "browser/contrast.rs"]
mod contrast;
#[path = "support/hostile_site.rs"]
mod hostile_site;
#[path = "pictures/made.rs"]
mod made;
#[path = "browser/page.rs"]
mod page;
#[path = "../benches/support/sites.rs"]
mod sites;
#[path = "support/skipped.rs"]
mod skipped;
