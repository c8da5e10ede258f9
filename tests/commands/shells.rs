//! Completion scripts and manual pages: do shells and `man` take them, do they know every command?

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use crate::run::{line, run};

/// Commands as the help lists them.
fn commands() -> Vec<String> {
    let help = line("--help").out;
    let (_, list) = help.split_once("Commands:").expect("a list of commands");
    let names = list.lines().skip(1).take_while(|line| !line.is_empty());
    let names: Vec<String> = names
        .filter_map(|line| line.strip_prefix("  "))
        .filter(|line| !line.starts_with(' '))
        .filter_map(|line| line.split_whitespace().next())
        .map(str::to_owned)
        .collect();
    assert!(names.len() > 20, "{names:?}");
    names
}

/// The same without that of the parser, which has no page and no completions of its own.
fn own_commands() -> impl Iterator<Item = String> {
    commands().into_iter().filter(|command| command != "help")
}

/// Runs a program on a script; `None` where it is missing.
fn ran(program: &str, arguments: &[&str]) -> Option<Output> {
    let started = Command::new(program)
        .args(arguments)
        .stdin(Stdio::null())
        .output();
    match started {
        Ok(output) => Some(output),
        Err(error) => {
            crate::skipped::skip(program, &error);
            None
        }
    }
}

#[test]
fn a_shell_completes_commands_and_options() {
    let script = line("completions bash");
    assert_eq!(script.code, 0, "{script:?}");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("boundwalk.bash");
    fs::write(&file, &script.out).expect("a script");
    let file = file.to_str().expect("UTF-8");
    // What the shell would offer for a line, one word each.
    let offered = |words: &str, word: &str| {
        let text = format!(
            "source {file}; COMP_WORDS=({words} {word}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1)); \
             _boundwalk boundwalk '{word}' ''; printf '%s\\n' \"${{COMPREPLY[@]}}\""
        );
        let output = ran("bash", &["-c", &text])?;
        assert!(output.status.success(), "{output:?}");
        Some(String::from_utf8(output.stdout).expect("UTF-8"))
    };
    let Some(all) = offered("boundwalk", "''") else {
        return;
    };
    for command in commands() {
        assert!(all.lines().any(|line| line == command), "{command}: {all}");
    }
    let Some(some) = offered("boundwalk report", "--fa") else {
        return;
    };
    assert_eq!(some.trim(), "--fail-on");
}

#[test]
fn each_shell_has_a_script() {
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = line(&format!("completions {shell}"));
        assert_eq!((script.code, script.err.as_str()), (0, ""), "{shell}");
        for command in own_commands() {
            assert!(script.out.contains(command.as_str()), "{shell}: {command}");
        }
    }
    assert_eq!(line("completions nonesuch").code, 2);
}

/// A manual page as people read it; `None` where `man` is missing.
fn page(file: &Path) -> Option<String> {
    let file = file.to_str().expect("UTF-8");
    let output = ran("man", &["--warnings", "-l", file])?;
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && errors.is_empty(), "{errors}");
    let text = String::from_utf8_lossy(&output.stdout);
    // Bold and underlined letters are written twice, with a backspace between.
    let mut plain = String::new();
    for character in text.chars() {
        match character {
            '\u{8}' => {
                plain.pop();
            }
            other => plain.push(other),
        }
    }
    Some(plain)
}

#[test]
fn there_is_a_manual_page_for_each_command() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().to_str().expect("UTF-8");
    let ran = run(["manual", "--into", into]);
    assert_eq!(ran.code, 0, "{ran:?}");
    for command in own_commands() {
        let file = folder.path().join(format!("boundwalk-{command}.1"));
        let Some(text) = page(&file) else {
            return;
        };
        assert!(text.contains(&format!("boundwalk-{command}")), "{text}");
        for part in ["NAME", "SYNOPSIS", "OPTIONS"] {
            assert!(text.contains(part), "{command}: {text}");
        }
    }
    let Some(first) = page(&folder.path().join("boundwalk.1")) else {
        return;
    };
    assert!(first.contains("boundwalk-report(1)"), "{first}");
    let whole = folder.path().join("whole.1");
    fs::write(&whole, line("manual").out).expect("a page");
    let whole = page(&whole).expect("man was there before");
    for command in own_commands() {
        let heading = format!("BOUNDWALK {}", command.to_uppercase());
        assert!(whole.contains(&heading), "{heading}: {whole}");
    }
}
