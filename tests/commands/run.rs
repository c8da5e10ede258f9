//! Running the program as others do: no terminal, 80 columns, nothing of the caller's taste.

use std::ffi::OsStr;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

/// The demo site, and the day for which it is described.
pub const DEMO: &str = "policies/kettle-lane";
pub const DAY: [&str; 2] = ["--today", "2026-11-25"];

/// How a run ended.
#[derive(Debug)]
pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

/// The program, in the folder of the package.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_boundwalk"));
    command.current_dir(env!("CARGO_MANIFEST_DIR"));
    command.env("COLUMNS", "80").stdin(Stdio::null());
    for variable in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "TERM"] {
        command.env_remove(variable);
    }
    command
}

pub fn run<S: AsRef<OsStr>>(arguments: impl IntoIterator<Item = S>) -> Ran {
    ended(program().args(arguments))
}

/// A command line as one writes it, without quotes.
pub fn line(text: &str) -> Ran {
    run(text.split_whitespace())
}

/// A command about the demo site on its day: the words behind the name of the site.
pub fn demo(command: &str, rest: &str) -> Ran {
    let words = [command, DEMO].into_iter().chain(rest.split_whitespace());
    run(words.chain(DAY))
}

pub fn ended(command: &mut Command) -> Ran {
    let Output {
        status,
        stdout,
        stderr,
    } = command.output().expect("the program starts");
    let text = |bytes| String::from_utf8(bytes).expect("output is UTF-8");
    Ran {
        code: status.code().expect("no signal ended it"),
        out: text(stdout),
        err: text(stderr),
    }
}

/// A folder with a site file in it, and the path of the file.
pub fn site(text: impl AsRef<[u8]>) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("site.toml");
    fs::write(&file, text).expect("a site file");
    (folder, file)
}

/// A command about a site file: the words behind the name of the file.
pub fn about(file: &std::path::Path, command: &str, rest: &str) -> Ran {
    let file = file.to_str().expect("a path in UTF-8");
    let words = [command, file].into_iter().chain(rest.split_whitespace());
    run(words.chain(DAY))
}

/// The site that `new` writes.
pub fn starter() -> &'static str {
    boundwalk::load::starter()
}

/// The starter with a zone that nobody lives in: a warning.
pub fn with_warning() -> String {
    format!("{}\n[zones.attic]\ntrust = 5\n", starter())
}

/// Two segments and a gateway: what stands in `gateway` are its settings and rules.
pub fn two_segments(gateway: &str) -> String {
    format!(
        r#"
[zones.brewing]
trust = 70
[zones.desks]
trust = 50
[segments.cellar]
zone = "brewing"
prefixes = ["10.44.61.0/24"]
[segments.books]
zone = "desks"
prefixes = ["10.44.11.0/24"]
[gateways.edge]
{gateway}
[gateways.edge.interfaces.cellar]
segment = "cellar"
addresses = ["10.44.61.1/24"]
[gateways.edge.interfaces.books]
segment = "books"
addresses = ["10.44.11.1/24"]
[[gateways.edge.rules]]
name = "books look"
from = "books"
to = "cellar"
services = "https"
action = "permit"
"#
    )
}
