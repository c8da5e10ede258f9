//! Do edits of rules change what they shall, and leave every other byte as it is?

#[path = "rule_edits/cases.rs"]
mod cases;
#[path = "rule_edits/demo.rs"]
mod demo;
#[path = "rule_edits/disk.rs"]
mod disk;
#[path = "rule_edits/field_cases.rs"]
mod field_cases;
#[path = "support/random.rs"]
mod random;
#[path = "rule_edits/random_edits.rs"]
mod random_edits;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "support/seeds.rs"]
mod seeds;
#[path = "support/skipped.rs"]
mod skipped;
#[path = "rule_edits/sprinkled.rs"]
mod sprinkled;
#[path = "rule_edits/support.rs"]
mod support;
