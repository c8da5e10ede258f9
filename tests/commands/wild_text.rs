//! Text from files and from command lines must not steer the terminal on which it is shown.

use crate::run::{Ran, about, run, site, starter};

/// Escape sequences, control characters of both sets, and marks that turn the direction of text.
const WILD: [&str; 7] = [
    "\u{1b}[31m",
    "\u{7}",
    "\u{9b}2J",
    "\u{202e}",
    "\u{2066}",
    "\u{200f}",
    "\u{feff}",
];

fn harmless(ran: &Ran) {
    let wild = |c: char| {
        (c.is_control() && !matches!(c, '\n' | '\r' | '\t'))
            || matches!(
                c,
                '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}'
            )
            || matches!(
                c,
                '\u{2066}'..='\u{2069}' | '\u{feff}' | '\u{2028}' | '\u{2029}'
            )
    };
    for text in [&ran.out, &ran.err] {
        let found: Vec<char> = text.chars().filter(|&c| wild(c)).collect();
        assert!(found.is_empty(), "{found:?} in {text:?}");
    }
}

/// As a TOML string, with and without escapes.
fn spelled(text: &str) -> [String; 2] {
    let escapes = text.chars().map(|c| format!("\\U{:08x}", c as u32));
    [text.to_owned(), escapes.collect()]
}

#[test]
fn names_with_control_characters_are_refused_and_shown_escaped() {
    // A byte order mark in free text is odd, but neither control nor direction: the last is let in there.
    for wild in &WILD[..WILD.len() - 1] {
        for (number, wild) in spelled(wild).iter().enumerate() {
            for text in [
                starter().replace("My site", &format!("My{wild}site")),
                starter().replace("[zones.guests]", &format!("[zones.\"gue{wild}sts\"]")),
                starter().replace("web for all", &format!("web{wild}for all")),
                starter().replace("\"printers\"", &format!("\"print{wild}ers\"")),
                format!("\"k{wild}y\" = 1\n{}", starter()),
            ] {
                let (_folder, file) = site(&text);
                for command in ["review", "matrix"] {
                    let ran = about(&file, command, "");
                    harmless(&ran);
                    assert_eq!(ran.code, 2, "spelling {number}: {ran:?}\n{text}");
                    assert!(ran.err.contains("site.toml:"), "{ran:?}");
                }
            }
        }
    }
}

#[test]
fn remarks_may_hold_anything_that_toml_lets_in_and_are_shown_escaped() {
    for wild in ["\u{9b}2J", "\u{202e}", "\u{200f}"] {
        let remark = format!("default = \"denied\" # {wild}");
        let (_folder, file) = site(starter().replace("default = \"deny\"", &remark));
        let ran = about(&file, "review", "");
        assert!(ran.err.contains("denied"), "{ran:?}");
        harmless(&ran);
    }
}

#[test]
fn arguments_are_shown_escaped() {
    let (folder, file) = site(starter());
    let file = file.to_str().expect("UTF-8");
    for wild in WILD {
        let name = format!("x{wild}y");
        let option = format!("--{name}");
        let missing = folder.path().join(&name);
        let missing = missing.to_str().expect("UTF-8");
        for arguments in [
            &[name.as_str()][..],
            &[option.as_str()],
            &["review", missing],
            &["review", file, "--today", &name],
            &["matrix", file, "--from", &name],
            &["ports", file, "--switch", &name],
            &["matrix", file, "--service", &name],
            &["path", file, &name, "desks", "https"],
            &["path", file, "desks", "internet", &name],
            &["path", file, "desks", "internet", "https", "--from", &name],
        ] {
            let ran = run(arguments);
            assert_eq!(ran.code, 2, "{arguments:?}");
            assert!(ran.err.contains("error"), "{ran:?}");
            harmless(&ran);
        }
        if !wild.contains('\u{7}') {
            harmless(&run(["new", missing]));
        }
    }
}
