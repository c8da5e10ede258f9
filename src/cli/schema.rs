//! `boundwalk schema`.

use std::io;

use clap::Args;

use super::output::Output;
use super::verdict::Verdict;

/// Print the JSON Schema (draft 2020-12) of the site file, for editors that complete and check as you type.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  boundwalk schema > site.schema.json")]
pub(super) struct Arguments {}

pub(super) fn run(output: &mut Output) -> io::Result<Verdict> {
    output.print(boundwalk_load::schema())?;
    Ok(Verdict::Clean)
}
