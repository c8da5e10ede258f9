//! `boundwalk new`.

use std::io::{self, ErrorKind};
use std::path::PathBuf;

use clap::Args;

use super::output::Output;
use super::verdict::Verdict;
use super::write::{Reason, create};

/// Write a commented starter site: a small place with an office, guests and a server, ready to be changed.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  boundwalk new site.toml && boundwalk review site.toml")]
pub(super) struct Arguments {
    /// File to write; without it the starter goes to standard output. A file that exists is left alone.
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let starter = boundwalk_load::starter();
    let Some(file) = &arguments.file else {
        output.print(starter)?;
        return Ok(Verdict::Clean);
    };
    let written = create(file, starter);
    // What begins with a hyphen would be taken for an option.
    let shown = match file.to_string_lossy() {
        odd if odd.starts_with('-') => format!("./{odd}"),
        name => name.into_owned(),
    };
    // The advice is there to be pasted into a shell.
    let quoted =
        shlex::try_quote(&shown).map_or_else(|_| shown.clone(), std::borrow::Cow::into_owned);
    let (shown, quoted) = (
        boundwalk_render::escape_invisible(&shown),
        boundwalk_render::escape_invisible(&quoted),
    );
    match written {
        Ok(()) => {
            output.complain(&format!("wrote {shown}; next: boundwalk review {quoted}\n"))?;
            Ok(Verdict::Clean)
        }
        Err(Reason::Io(error)) if error.kind() == ErrorKind::AlreadyExists => {
            output.refuse(&format!(
                "{shown} exists and is left alone; name another file"
            ))?;
            Ok(Verdict::Failed)
        }
        Err(error) => {
            output.refuse(&format!("can't write {shown}: {error}"))?;
            Ok(Verdict::Failed)
        }
    }
}
