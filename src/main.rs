//! The `boundwalk` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    boundwalk::cli::main()
}
