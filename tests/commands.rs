//! What a person at a prompt, a script and a spreadsheet get from the program, by running it.

#[path = "commands/change.rs"]
mod change;
#[path = "commands/csv_and_markdown.rs"]
mod csv_and_markdown;
#[path = "commands/draw.rs"]
mod draw;
#[path = "commands/examples.rs"]
mod examples;
#[path = "commands/exit_codes.rs"]
mod exit_codes;
#[path = "commands/filters.rs"]
mod filters;
#[path = "commands/findings.rs"]
mod findings;
#[path = "commands/goldens.rs"]
mod goldens;
#[path = "commands/hostile.rs"]
mod hostile;
#[path = "support/hostile_site.rs"]
mod hostile_site;
#[path = "commands/intent.rs"]
mod intent;
#[path = "commands/isolation.rs"]
mod isolation;
#[path = "commands/json.rs"]
mod json;
#[path = "commands/limits.rs"]
mod limits;
#[path = "commands/logs.rs"]
mod logs;
#[path = "commands/path.rs"]
mod path;
#[path = "commands/ports.rs"]
mod ports;
#[path = "commands/probes.rs"]
mod probes;
#[path = "commands/report.rs"]
mod report;
#[path = "commands/rules.rs"]
mod rules;
#[path = "commands/run.rs"]
mod run;
#[path = "commands/shells.rs"]
mod shells;
#[path = "../benches/support/sites.rs"]
mod sites;
#[path = "support/skipped.rs"]
mod skipped;
#[path = "commands/streams.rs"]
mod streams;
#[path = "commands/width.rs"]
mod width;
#[path = "commands/wild_text.rs"]
mod wild_text;
