//! Readers that go away: a verdict is none of their business.

use std::process::Stdio;

use crate::run::{DEMO, program, site, starter};

/// The exit code of a command whose standard output nobody reads.
fn unread(words: &[&str]) -> i32 {
    let mut child = program()
        .args(words)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    drop(child.stdout.take());
    child
        .wait()
        .expect("a child")
        .code()
        .expect("no signal ended it")
}

/// The same where somebody reads.
fn read(words: &[&str]) -> i32 {
    program()
        .args(words)
        .output()
        .expect("it starts")
        .status
        .code()
        .expect("no signal ended it")
}

#[test]
fn a_closed_pipe_changes_no_exit_code() {
    let (_folder, quiet) = site(starter());
    let quiet = quiet.to_str().expect("UTF-8");
    for format in ["text", "json", "markdown", "sarif", "junit"] {
        for site in [DEMO, quiet] {
            let words = ["review", site, "--format", format, "--today", "2026-11-25"];
            assert_eq!(unread(&words), read(&words), "{words:?}");
        }
        assert_eq!(unread(&["review", DEMO, "--format", format]), 1, "{format}");
    }
    for words in [
        vec!["bypass", DEMO],
        vec!["isolation", DEMO, "office"],
        vec!["rules", DEMO],
        vec!["expectations", DEMO],
        vec!["path", DEMO, "guest", "office", "ssh"],
        vec!["ports", DEMO],
        vec!["matrix", DEMO],
        vec!["matrix", DEMO, "--flows"],
        vec!["report", DEMO],
        vec!["review", "/nonexistent"],
    ] {
        assert_eq!(unread(&words), read(&words), "{words:?}");
    }
}

/// Whatever terminal standard error is on, the width of a page that goes into a file is 80, or what `COLUMNS` says.
#[test]
fn the_width_of_a_file_is_not_that_of_a_terminal() {
    let widest = |columns: Option<&str>| {
        let mut command = program();
        command.args(["explain", "rule-dead"]);
        match columns {
            Some(columns) => command.env("COLUMNS", columns),
            None => command.env_remove("COLUMNS"),
        };
        let out = command.output().expect("it starts").stdout;
        let text = String::from_utf8(out).expect("UTF-8");
        text.lines()
            .skip(2)
            .take(6)
            .map(|line| line.chars().count())
            .max()
            .unwrap_or(0)
    };
    assert!((70..=80).contains(&widest(None)), "{}", widest(None));
    assert!(
        (100..=120).contains(&widest(Some("120"))),
        "{}",
        widest(Some("120"))
    );
}
