//! Pictures: can others read them, is every text inside its box, is everything drawn that the site has?

#[path = "../benches/support/fabrics.rs"]
mod fabrics;
#[path = "pictures/geometry.rs"]
mod geometry;
#[path = "pictures/graphs.rs"]
mod graphs;
#[path = "support/hostile_site.rs"]
mod hostile_site;
#[path = "pictures/made.rs"]
mod made;
#[path = "pictures/overlaps.rs"]
mod overlaps;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_fabric.rs"]
mod random_fabric;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "support/skipped.rs"]
mod skipped;
