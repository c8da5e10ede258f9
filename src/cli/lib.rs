//! Floor 7: the commands. Each reads its arguments, asks the floors below, and writes what they answer.
//!
//! Results go to standard output and problems to standard error. Exit codes: 0 nothing found, 1 findings (or
//! a packet that does not arrive), 2 could not run. A reader that closes the pipe early changes none of them.

mod attributes;
mod browse;
mod bypass;
mod change;
mod clean;
mod completions;
mod compute;
mod draw;
mod expectations;
mod explain;
mod format;
mod gate;
mod git;
mod isolation;
mod manual;
mod matrix;
mod new;
mod output;
mod path;
mod ports;
mod privilege;
mod probes;
mod progress;
mod report;
mod review;
mod revision;
mod rules;
mod schema;
mod settings;
mod signals;
mod site;
mod summary;
mod threshold;
mod tighten;
mod unfinished;
mod verdict;
mod verify;
mod watch;
pub mod write;

pub use verdict::Verdict;

pub use output::Output;

use std::ffi::OsString;
use std::io::{self, Write};
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

use boundwalk_render::escape_invisible;

use output::{Colour, unless_closed};

/// Who can reach what on a segmented network: exact answers, with deciding rules and witness packets.
#[derive(Debug, Parser)]
#[command(name = "boundwalk", version, about, max_term_width = 100, after_help = AFTER_HELP)]
struct Arguments {
    /// When to colour.
    #[arg(
        long,
        global = true,
        value_name = "WHEN",
        default_value = "auto",
        display_order = 900
    )]
    color: Colour,
    #[command(subcommand)]
    command: Command,
}

const AFTER_HELP: &str = "Exit codes: 0 nothing found, 1 findings (for `path`: it does not arrive), 2 could \
    not run.\nThe answers are about the site file. They replace neither a security review nor a test of the \
    running network.";

#[derive(Debug, Subcommand)]
enum Command {
    /// Look at everything: problems of the file, findings, the matrix by zone, a summary.
    Review(review::Arguments),
    /// Look around on the terminal: matrix, flows, paths, findings, ports; follows each save.
    Browse(browse::Arguments),
    /// Show who can reach what.
    Matrix(matrix::Arguments),
    /// Find ways round the gateway, and what closes them.
    Bypass(bypass::Arguments),
    /// Prove that segments are isolated, or show what reaches them.
    Isolation(isolation::Arguments),
    /// Review the rules of gateways: which do nothing, which hide others, which permit too much.
    Rules(rules::Arguments),
    /// Hold what must be true, and what people need, against the site.
    Expectations(expectations::Arguments),
    /// Compare two versions: what opens, what closes, what breaks.
    Change(change::Arguments),
    /// Show what is permitted and nobody needs, and suggest tighter rules.
    Privilege(privilege::Arguments),
    /// Follow one packet, hop by hop.
    Path(path::Arguments),
    /// Explain a check: what it finds, why it matters, what to do; without a name, list all.
    Explain(explain::Arguments),
    /// Print worksheets to set switches by, and cables whose ends differ.
    Ports(ports::Arguments),
    /// Draw the site and the front panels of its switches.
    Draw(draw::Arguments),
    /// Write a report to hand over: one page with matrix, pictures, findings and certificates.
    Report(report::Arguments),
    /// Plan a test of the running network: few packets that touch all that matters.
    Probes(probes::Arguments),
    /// Hold the results of a test against the model.
    Verify(verify::Arguments),
    /// Write a commented starter site.
    New(new::Arguments),
    /// Print the JSON Schema of the site file, for editors.
    Schema(schema::Arguments),
    /// Print a completion script for a shell.
    Completions(completions::Arguments),
    /// Print the manual, or write a manual page for each command.
    Manual(manual::Arguments),
}

/// Runs the command line of this process.
pub fn main() -> ExitCode {
    match run(std::env::args_os()) {
        Verdict::Clean => ExitCode::SUCCESS,
        Verdict::Findings => ExitCode::from(1),
        Verdict::Failed => ExitCode::from(2),
    }
}

/// Runs a command line; the first item is the name of the program.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Verdict {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => return refuse(&error),
    };
    let mut output = Output::new(arguments.color);
    // The terminal is the view's own.
    if !matches!(arguments.command, Command::Browse(_)) {
        output.wait();
    }
    let result = match arguments.command {
        Command::Review(arguments) => review::run(&arguments, &mut output),
        Command::Browse(arguments) => browse::run(&arguments, &mut output),
        Command::Matrix(arguments) => matrix::run(&arguments, &mut output),
        Command::Bypass(arguments) => bypass::run(&arguments, &mut output),
        Command::Isolation(arguments) => isolation::run(&arguments, &mut output),
        Command::Rules(arguments) => rules::run(&arguments, &mut output),
        Command::Expectations(arguments) => expectations::run(&arguments, &mut output),
        Command::Change(arguments) => change::run(&arguments, &mut output),
        Command::Privilege(arguments) => privilege::run(&arguments, &mut output),
        Command::Path(arguments) => path::run(&arguments, &mut output),
        Command::Explain(arguments) => explain::run(&arguments, &mut output),
        Command::Ports(arguments) => ports::run(&arguments, &mut output),
        Command::Draw(arguments) => draw::run(&arguments, &mut output),
        Command::Report(arguments) => report::run(&arguments, &mut output),
        Command::Probes(arguments) => probes::run(&arguments, &mut output),
        Command::Verify(arguments) => verify::run(&arguments, &mut output),
        Command::New(arguments) => new::run(&arguments, &mut output),
        Command::Schema(_) => schema::run(&mut output),
        Command::Completions(arguments) => {
            completions::run(&arguments, Arguments::command(), &mut output)
        }
        Command::Manual(arguments) => manual::run(&arguments, Arguments::command(), &mut output),
    };
    finish(
        result.and_then(|verdict| output.flush().map(|()| verdict)),
        &mut output,
    )
}

/// Prints help, or what is wrong with a command line.
fn refuse(error: &clap::Error) -> Verdict {
    let failed = error.use_stderr();
    // The message repeats arguments as they are: where something in it could disturb the terminal or hide, it is shown without
    // colour and with everything escaped. Help that nobody reads to the end is no failure.
    let plain = error.render().to_string();
    let printed = if plain.lines().all(|line| escape_invisible(line) == line) {
        error.print()
    } else {
        let lines: Vec<String> = plain.lines().map(escape_invisible).collect();
        io::stderr().write_all(format!("{}\n", lines.join("\n")).as_bytes())
    };
    if failed || unless_closed(printed).is_err() {
        Verdict::Failed
    } else {
        Verdict::Clean
    }
}

fn finish(result: io::Result<Verdict>, output: &mut Output) -> Verdict {
    match result {
        Ok(verdict) => verdict,
        Err(error) => {
            // Nothing more can be done where standard error is closed as well.
            let _ = output.refuse(&format!("can't write the result: {error}"));
            Verdict::Failed
        }
    }
}
