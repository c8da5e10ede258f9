//! A review as a gate: what counts, what is accepted or known, and the reports that servers read.

#[path = "gate/baseline.rs"]
mod baseline;
#[path = "gate/counts.rs"]
mod counts;
#[path = "gate/hostile.rs"]
mod hostile;
#[path = "gate/junit.rs"]
mod junit;
#[path = "gate/merge.rs"]
mod merge;
#[path = "gate/pipeline.rs"]
mod pipeline;
#[path = "gate/remarks.rs"]
mod remarks;
#[path = "commands/run.rs"]
#[allow(
    dead_code,
    reason = "each test that shares this file uses a part of it"
)]
mod run;
#[path = "gate/sarif.rs"]
mod sarif;
#[path = "gate/sites.rs"]
mod sites;
#[path = "support/skipped.rs"]
mod skipped;
