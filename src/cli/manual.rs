//! `boundwalk manual`.

use std::io;
use std::path::PathBuf;

use clap::{Args, Command};
use clap_mangen::Man;

use super::output::Output;
use super::verdict::Verdict;
use super::write::put_text;

/// Print the manual as one page in roff, or write one page for each command into a folder.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    /// Write `boundwalk.1`, `boundwalk-matrix.1` and so on into this folder.
    #[arg(long, value_name = "FOLDER")]
    into: Option<PathBuf>,
}

const EXAMPLES: &str = "Examples:\n  \
    boundwalk manual > boundwalk.1\n  \
    boundwalk manual --into .\n\
    Read one with `man -l boundwalk.1`.";

pub(super) fn run(
    arguments: &Arguments,
    mut command: Command,
    output: &mut Output,
) -> io::Result<Verdict> {
    command.build();
    let Some(folder) = &arguments.into else {
        output.print(&whole(&command)?)?;
        return Ok(Verdict::Clean);
    };
    for (name, page) in pages(&command)? {
        if let Err(message) = put_text(&folder.join(format!("{name}.1")), &page) {
            return output.failed(&message);
        }
    }
    Ok(Verdict::Clean)
}

/// Commands with a page of their own.
fn described(command: &Command) -> impl Iterator<Item = &Command> {
    command
        .get_subcommands()
        .filter(|one| one.get_name() != "help")
}

fn pages(command: &Command) -> io::Result<Vec<(String, String)>> {
    let mut pages = vec![("boundwalk".to_owned(), page(command)?)];
    for one in described(command) {
        let name = format!("boundwalk-{}", one.get_name());
        let named = one.clone().name(name.clone());
        pages.push((name, page(&named)?));
    }
    Ok(pages)
}

fn page(command: &Command) -> io::Result<String> {
    let mut out = Vec::new();
    Man::new(command.clone()).render(&mut out)?;
    Ok(String::from_utf8_lossy(&out).into_owned())
}

/// All commands on one page, each with a heading.
fn whole(command: &Command) -> io::Result<String> {
    let mut out = Vec::new();
    Man::new(command.clone()).render(&mut out)?;
    for one in described(command) {
        let man = Man::new(one.clone());
        let title = format!(".SH \"BOUNDWALK {}\"\n", one.get_name().to_uppercase());
        out.extend(title.as_bytes());
        let mut part = Vec::new();
        man.render_description_section(&mut part)?;
        man.render_synopsis_section(&mut part)?;
        man.render_options_section(&mut part)?;
        man.render_extra_section(&mut part)?;
        // Sections of the whole page are those of commands; what is inside one stands below it.
        out.extend(
            String::from_utf8_lossy(&part)
                .replace(".SH ", ".SS ")
                .as_bytes(),
        );
    }
    Ok(String::from_utf8_lossy(&out).into_owned())
}
