//! `browse` on a real terminal, and `review --watch`: keys, sizes, saves, and that the screen is given back.

#[path = "terminal/ending.rs"]
mod ending;
#[path = "pictures/made.rs"]
#[allow(dead_code, reason = "only the sites are needed here")]
mod made;
#[path = "terminal/screen.rs"]
mod screen;
#[path = "support/skipped.rs"]
mod skipped;
#[path = "terminal/view.rs"]
mod view;
#[path = "terminal/watch.rs"]
mod watch;
