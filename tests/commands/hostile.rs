//! Texts that would do harm if they were anything but text, through every command in every form.
//!
//! The page is judged in a browser and pictures by their geometry elsewhere; here each form is read by a reader
//! of its own kind, and must say what was written.

use std::path::Path;

use serde_json::Value;

use crate::hostile_site::{HOSTILE, with_text};
use crate::run::{DEMO, Ran, about, run, site};

/// The demo with a text in every place that takes one.
fn wild(text: &str) -> String {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(DEMO)
        .join("site.toml");
    let demo = std::fs::read_to_string(file).expect("the demo");
    with_text(&demo, text).0
}

/// The command with its options; it may find something, but it must run.
fn told(file: &Path, command: &str) -> String {
    let (name, rest) = command.split_once(' ').unwrap_or((command, ""));
    let ran: Ran = about(file, name, rest);
    assert!(ran.code != 2, "{command}: {}", ran.err);
    ran.out
}

/// Tells a judge what each command says of the demo with each of the texts.
fn each(commands: &[&str], judge: impl Fn(&str, &str, &str)) {
    for text in HOSTILE {
        let (_folder, file) = site(wild(text));
        for command in commands {
            judge(text, command, &told(&file, command));
        }
    }
}

/// Everything that a document says, keys left out.
fn strings(value: &Value, out: &mut String) {
    match value {
        Value::String(text) => {
            out.push_str(text);
            out.push('\n');
        }
        Value::Array(items) => items.iter().for_each(|item| strings(item, out)),
        Value::Object(fields) => fields.values().for_each(|field| strings(field, out)),
        _ => {}
    }
}

#[test]
fn documents_say_it_as_it_was_written() {
    let commands = [
        "review --format json",
        "review --format sarif",
        "rules --format json",
        "expectations --format json",
        "privilege --format json",
        "probes --format json",
        "ports --format json",
    ];
    each(&commands, |text, command, out| {
        let value: Value = serde_json::from_str(out).expect("JSON");
        let mut said = String::new();
        strings(&value, &mut said);
        assert!(said.contains(text), "{command}: {text}");
    });
}

#[test]
fn tables_for_spreadsheets_keep_their_columns_and_start_no_formula() {
    let commands = [
        "rules --format csv",
        "ports --format csv",
        "probes --format csv",
        "matrix --format csv",
    ];
    each(&commands, |text, command, out| {
        let mut reader = csv::Reader::from_reader(out.as_bytes());
        let mut fields = 0;
        for record in reader.records() {
            for field in &record.expect("as many columns as the first line") {
                let formula = field.starts_with(['=', '@', '\t', '\r']);
                assert!(!formula, "{command}: {field}");
                fields += usize::from(field.contains(text));
            }
        }
        let names = !command.starts_with("matrix") && !command.starts_with("probes");
        assert!(fields > 0 || !names, "{command}: {text}");
    });
}

/// Pipes of a line of a table that begin a cell.
fn pipes(line: &str) -> usize {
    let mut count = 0;
    let mut escaped = false;
    for character in line.chars() {
        count += usize::from(character == '|' && !escaped);
        escaped = character == '\\' && !escaped;
    }
    count
}

#[test]
fn tables_of_pages_keep_their_columns_and_hold_no_markup() {
    let commands = [
        "review --format markdown",
        "matrix --format markdown",
        "rules --format markdown",
        "expectations --format markdown",
        "privilege --format markdown",
        "probes --format markdown",
        "ports --format markdown",
    ];
    each(&commands, |text, command, out| {
        let mut columns = None;
        for line in out.lines() {
            if !line.starts_with('|') {
                columns = None;
                continue;
            }
            let found = pipes(line);
            assert_eq!(*columns.get_or_insert(found), found, "{command}: {line}");
        }
        for tag in ["<script", "<img", "<b>", "<!--"] {
            assert!(!out.contains(tag), "{command}: {tag} of {text}");
        }
        // A bracket behind a backslash is none (CommonMark, backslash escapes).
        let link = out.match_indices("](javascript:");
        let open = link.filter(|(at, _)| !out[..*at].ends_with('\\'));
        assert_eq!(open.count(), 0, "{command}: a link");
    });
}

#[test]
fn a_terminal_shows_it_and_nothing_else_happens() {
    for text in HOSTILE {
        let (_folder, file) = site(wild(text));
        for command in [
            "review --all",
            "matrix --flows",
            "rules --all",
            "expectations",
            "privilege",
            "probes",
            "ports",
            "draw",
            "isolation",
            "bypass",
            "path office internet https",
        ] {
            let out = told(&file, command);
            let bad = |c: char| c.is_control() && c != '\n';
            assert!(!out.contains(bad), "{command}: {text}");
            assert!(!out.is_empty(), "{command}");
        }
        let long = text.split(' ').map(str::len).max() > Some(60);
        let out = told(&file, "rules --all");
        assert!(
            long || out.contains(text.split(' ').next().unwrap_or(text)),
            "{out}"
        );
    }
}

#[test]
fn names_of_things_take_letters_and_digits_only() {
    for text in HOSTILE
        .iter()
        .filter(|text| !text.chars().all(char::is_alphanumeric))
    {
        let quoted = text.replace('\\', "\\\\").replace('"', "\\\"");
        for place in [
            "[zones.\"@\"]\ntrust = 1\n",
            "[segments.\"@\"]\nzone = \"office\"\nprefixes = [\"10.44.99.0/24\"]\n",
            "[hosts.\"@\"]\n",
            "[switches.\"@\".ports]\n\"1\" = {}\n",
            "[switches.x.ports]\n\"@\" = {}\n",
            "[services]\n\"@\" = \"tcp/1\"\n",
            "[addresses]\n\"@\" = [\"10.44.99.1\"]\n",
        ] {
            let (_folder, file) = site(place.replace('@', &quoted));
            let file = file.to_str().expect("UTF-8");
            let ran = run(["review", file]);
            assert_eq!(ran.code, 2, "{place}: {text}");
            assert!(ran.err.contains("bad-name"), "{place}: {}", ran.err);
        }
    }
}
