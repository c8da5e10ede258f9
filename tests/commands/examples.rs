//! Do the examples in help pages and read-me files run as they stand?

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::run::{ended, line, program, run, site};

/// What the examples of commands about switches speak of.
const SWITCHES: &str = "[switches.core.ports]\n\"1-4\" = { access = 10 }\n[switches.floor.ports]\n\"1-4\" = { access = 10 }\n";

/// A repository with the files of a folder in its first revision.
fn committed(folder: &Path) {
    for words in ["init --quiet", "add .", "commit --quiet --message first"] {
        let mut git = Command::new("git");
        git.current_dir(folder);
        git.args([
            "-c",
            "user.name=nobody",
            "-c",
            "user.email=nobody@example.net",
        ]);
        let ran = ended(git.args(words.split(' ')));
        assert_eq!(ran.code, 0, "{words}: {ran:?}");
    }
}

#[cfg(unix)]
#[test]
fn each_example_of_a_help_page_runs_on_the_starter_site() {
    let binary = Path::new(env!("CARGO_BIN_EXE_boundwalk"));
    let search = std::env::var("PATH").unwrap_or_default();
    let search = format!("{}:{search}", binary.parent().expect("a folder").display());
    for command in [
        "review",
        "matrix",
        "path",
        "bypass",
        "isolation",
        "rules",
        "expectations",
        "privilege",
        "probes",
        "verify",
        "explain",
        "report",
        "draw",
        "ports",
        "change",
        "completions",
        "manual",
        "new",
        "schema",
    ] {
        let help = line(&format!("{command} --help")).out;
        let (_, examples) = help.split_once("Example").expect("examples");
        let examples: Vec<&str> = examples
            .lines()
            .filter(|line| line.starts_with("  boundwalk "))
            .collect();
        assert!(!examples.is_empty(), "{help}");
        for example in examples {
            let folder = tempfile::tempdir().expect("a folder");
            if command != "new" {
                let starter = boundwalk::load::starter();
                let text = if ["draw", "ports"].contains(&command) {
                    format!("{starter}\n{SWITCHES}")
                } else {
                    starter.to_owned()
                };
                fs::write(folder.path().join("site.toml"), text).expect("a file");
            }
            if command == "change" {
                let proposed = boundwalk::load::starter();
                fs::write(folder.path().join("proposed.toml"), proposed).expect("a file");
                committed(folder.path());
            }
            let mut shell = Command::new("sh");
            shell
                .args(["-c", example])
                .current_dir(folder.path())
                .env("PATH", &search);
            let ran = ended(&mut shell);
            // A packet of an example may be one that does not arrive, and a segment one that is not isolated.
            let may_find = ["path", "isolation", "privilege"].contains(&command);
            let good = ran.code == 0 || (may_find && ran.code == 1);
            // What comes straight from `probes` has nothing filled in, as the help says.
            let unfilled = command == "verify" && ran.code == 2 && ran.err.contains("fill in");
            let good = good && !ran.err.contains("error");
            assert!(good || unfilled, "{example}: {ran:?}");
        }
    }
}

fn read_me_files() -> Vec<PathBuf> {
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let folders = fs::read_dir(examples).expect("a folder");
    let mut files: Vec<PathBuf> = folders
        .map(|folder| folder.expect("an entry").path().join("README.md"))
        .filter(|file| file.exists())
        .collect();
    files.sort();
    files
}

/// A line `boundwalk … # exit code 1` is to end so; without the remark, with 0.
#[test]
fn each_command_of_the_examples_ends_as_it_says() {
    let files = read_me_files();
    assert!(files.len() >= 4, "{files:?}");
    for file in files {
        let text = fs::read_to_string(&file).expect("a read-me file");
        let commands: Vec<&str> = text
            .lines()
            .filter_map(|line| line.strip_prefix("    boundwalk "))
            .collect();
        assert!(!commands.is_empty(), "{}", file.display());
        for command in commands {
            let (words, remark) = command.split_once('#').unwrap_or((command, ""));
            let wanted: i32 = remark
                .trim()
                .strip_prefix("exit code ")
                .map(|rest| &rest[..1])
                .unwrap_or("0")
                .parse()
                .expect("a number");
            let ran = line(words);
            assert_eq!(ran.code, wanted, "{command}: {ran:?}");
            assert_eq!(ran.err, "", "{command}");
        }
    }
}

#[test]
fn the_site_of_the_read_me_file_loads_without_a_word() {
    let read_me = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let text = fs::read_to_string(read_me).expect("a read-me file");
    let (_, rest) = text.split_once("```toml\n").expect("a site");
    let (_folder, file) = site(rest.split_once("```").expect("its end").0);
    let ran = run([
        "review".as_ref(),
        file.as_os_str(),
        "--fail-on".as_ref(),
        "warning".as_ref(),
    ]);
    assert_eq!(ran.code, 0, "{ran:?}");
    let ran = ended(
        program()
            .arg("path")
            .arg(&file)
            .args(["office", "internet", "https"]),
    );
    assert_eq!(ran.code, 0, "{ran:?}");
}
