//! What a limit left open is said in every form, and processors change no byte.

use std::fs;

use crate::run::{DAY, DEMO, demo, ended, program};

/// Says that something is unknown, as the forms say it.
fn says_so(text: &str) -> bool {
    [
        "a limit was met",
        "answer-unknown",
        "not fully explored",
        "unknown",
        "\"complete\": false",
    ]
    .iter()
    .any(|words| text.contains(words))
}

#[test]
fn a_limit_that_was_met_is_said_in_every_form() {
    for (command, rest) in [
        ("matrix", ""),
        ("matrix", "--flows"),
        ("matrix", "--format markdown"),
        ("matrix", "--format csv"),
        ("matrix", "--format json"),
        ("review", ""),
        ("review", "--format markdown"),
        ("review", "--format json"),
        ("review", "--format sarif"),
        ("review", "--format junit"),
        ("expectations", ""),
        ("expectations", "--format markdown"),
        ("expectations", "--format json"),
        ("change", "policies/kettle-lane/proposed"),
        ("change", "policies/kettle-lane/proposed --format markdown"),
        ("change", "policies/kettle-lane/proposed --format html"),
        ("change", "policies/kettle-lane/proposed --format json"),
        ("probes", ""),
        ("probes", "--format markdown"),
        ("probes", "--format json"),
    ] {
        let exact = demo(command, rest);
        let ran = demo(command, &format!("{rest} --effort 1"));
        assert!(ran.code < 2, "{command} {rest}: {}", ran.err);
        assert!(
            says_so(&ran.out),
            "{command} {rest} says nothing of a limit"
        );
        assert_ne!(exact.out, ran.out, "{command} {rest}");
    }
}

/// A page goes to a file.
#[test]
fn a_limit_that_was_met_is_said_in_the_report() {
    let folder = tempfile::tempdir().expect("a folder");
    let page = folder.path().join("page.html");
    let path = page.to_str().expect("a path in UTF-8");
    let ran = demo("report", &format!("--effort 1 -o {path}"));
    assert!(ran.code < 2, "{}", ran.err);
    let page = fs::read_to_string(&page).expect("a page");
    assert!(says_so(&page) && page.contains("answer-unknown"));
}

#[test]
fn nothing_is_unknown_within_the_usual_effort() {
    for rest in ["", "--format markdown", "--format json"] {
        let ran = demo("review", rest);
        assert!(!ran.out.contains("answer-unknown"), "{rest}");
        assert!(!ran.out.contains("\"complete\": false"), "{rest}");
    }
}

#[test]
fn an_effort_of_nothing_is_refused() {
    for effort in ["0", "-1", "some", "99999999999"] {
        let ran = demo("matrix", &format!("--effort={effort}"));
        assert_eq!(ran.code, 2, "{effort}");
        assert!(ran.err.contains("--effort"), "{}", ran.err);
    }
}

#[test]
fn processors_change_no_byte() {
    for words in [
        "matrix --by segment --format json",
        "matrix --flows",
        "review --format json",
        "change policies/kettle-lane/proposed --format json",
        "isolation --format json",
        "report",
    ] {
        let mut words = words.split_whitespace();
        let command = words.next().expect("a command");
        let rest: Vec<&str> = words.chain(DAY).collect();
        let [one, four] = ["1", "4"].map(|processors| {
            let mut program = program();
            program.args([command, DEMO]).args(&rest);
            ended(program.env("RAYON_NUM_THREADS", processors)).out
        });
        assert!(one.len() > 100 && one == four, "{command}");
    }
}
