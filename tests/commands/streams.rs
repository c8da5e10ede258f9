//! Results on standard output, problems on standard error, colour only where it is wanted.

use std::io::Read;
use std::process::Stdio;

use crate::run::{DEMO, about, demo, ended, program, site, starter, with_warning};
use crate::sites::{Size, large_site};

const ESCAPE: char = '\u{1b}';

#[test]
fn problems_go_to_standard_error_and_results_to_standard_output() {
    let (_folder, file) = site(with_warning());
    for (command, rest) in [
        ("review", ""),
        ("review", "--format json"),
        ("matrix", ""),
        ("matrix", "--format csv"),
        ("path", "desks internet https"),
    ] {
        let ran = about(&file, command, rest);
        assert!(!ran.out.is_empty(), "{ran:?}");
        // To a review it is a finding like any other.
        let (own, other) = match command {
            "review" => (&ran.out, &ran.err),
            _ => (&ran.err, &ran.out),
        };
        assert!(own.contains("zone-empty"), "{ran:?}");
        assert!(!other.contains("zone-empty"), "{ran:?}");
    }
}

#[test]
fn without_problems_nothing_is_said_on_standard_error() {
    for command in ["review", "matrix"] {
        assert_eq!(demo(command, "").err, "");
    }
    assert_eq!(demo("path", "guest office ssh").err, "");
}

#[test]
fn a_pipe_gets_no_colour_unless_asked_and_no_color_holds() {
    let (_folder, file) = site(with_warning());
    let file = file.to_str().expect("UTF-8");
    let coloured = |arguments: &[&str], variables: &[(&str, &str)]| {
        let mut command = program();
        command.args(["matrix", file]).args(arguments);
        let ran = ended(command.envs(variables.iter().copied()));
        let (out, err) = (ran.out.contains(ESCAPE), ran.err.contains(ESCAPE));
        assert_eq!(
            out, err,
            "both streams are alike: {arguments:?} {variables:?}"
        );
        out
    };
    assert!(!coloured(&[], &[]));
    assert!(coloured(&["--color", "always"], &[]));
    assert!(!coloured(&["--color", "never"], &[]));
    assert!(coloured(&[], &[("CLICOLOR_FORCE", "1")]));
    assert!(!coloured(
        &[],
        &[("CLICOLOR_FORCE", "1"), ("NO_COLOR", "1")]
    ));
    assert!(!coloured(&["--color", "never"], &[("CLICOLOR_FORCE", "1")]));
    // Who asks outright gets it.
    assert!(coloured(&["--color", "always"], &[("NO_COLOR", "1")]));
}

#[test]
fn documents_for_programs_are_never_coloured() {
    for format in ["json", "csv", "markdown"] {
        let ran = demo("matrix", &format!("--color always --format {format}"));
        assert!(!ran.out.contains(ESCAPE), "{format}");
    }
}

#[test]
fn colour_changes_nothing_but_colour() {
    let plain = |text: &str| {
        let mut parts = text.split(ESCAPE);
        let first = parts.next().unwrap_or_default().to_owned();
        parts.fold(first, |all, part| {
            all + part.split_once('m').expect("a colour sequence ends in m").1
        })
    };
    for rest in ["", "--by zone --flows"] {
        let coloured = demo("matrix", &format!("{rest} --color always")).out;
        assert_eq!(plain(&coloured), demo("matrix", rest).out);
    }
}

#[test]
fn a_reader_that_leaves_early_is_no_error() {
    let text = large_site(Size {
        rules: 20,
        segments: 100,
        dual: false,
        seed: 1,
    });
    let (_folder, large) = site(text);
    let large = large.to_str().expect("UTF-8");
    for arguments in [
        &["matrix", large, "--format", "csv", "--no-hostile"][..],
        &["matrix", DEMO, "--flows"],
        &["schema"],
        &["new"],
        &["--help"],
    ] {
        let mut command = program();
        command
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn().expect("the program starts");
        // One byte, then gone; the rest is more than a pipe holds in the first case.
        let mut stdout = child.stdout.take().expect("a pipe");
        stdout.read_exact(&mut [0]).expect("a byte");
        drop(stdout);
        let ended = child.wait_with_output().expect("it ends");
        assert_eq!(ended.status.code(), Some(0), "{arguments:?}");
        assert_eq!(String::from_utf8_lossy(&ended.stderr), "", "{arguments:?}");
    }
}

#[test]
fn a_reader_that_never_came_is_no_error_either() {
    let (_folder, file) = site(starter());
    let mut command = program();
    command
        .arg("review")
        .arg(&file)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let mut child = command.spawn().expect("the program starts");
    drop(child.stdout.take());
    let ended = child.wait_with_output().expect("it ends");
    assert_eq!(ended.status.code(), Some(0));
}
