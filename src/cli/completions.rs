//! `boundwalk completions`.

use std::io;

use clap::Args;
use clap_complete::Shell;

use super::output::Output;
use super::verdict::Verdict;

/// Print a completion script: commands, options and their values at a press of the tab key.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    /// Which shell.
    #[arg(value_name = "SHELL")]
    shell: Shell,
}

const EXAMPLES: &str = "Examples:\n  \
    boundwalk completions bash > boundwalk.bash\n  \
    boundwalk completions zsh > _boundwalk\n  \
    boundwalk completions fish > boundwalk.fish\n\
    Put the file where your shell looks: for bash into ~/.local/share/bash-completion/completions (as\n\
    `boundwalk`), for zsh into a folder of $fpath, for fish into ~/.config/fish/completions.";

pub(super) fn run(
    arguments: &Arguments,
    mut command: clap::Command,
    output: &mut Output,
) -> io::Result<Verdict> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, "boundwalk", &mut script);
    output.print(&String::from_utf8_lossy(&script))?;
    Ok(Verdict::Clean)
}
