//! Is every mistake reported at its place, in words that help?

use boundwalk::diagnostic::Severity;
use boundwalk::load::{KINDS, load_path, load_text, load_texts};

mod load_cases;

use load_cases::{BASE, Case, cases};

/// Kinds that no text of one file can show; each is found by a test of its own below.
const ELSEWHERE: &[&str] = &[
    "check-incomplete",
    "link-leaves-folder",
    "no-segments",
    "no-toml-files",
    "not-utf8",
    "too-large",
    "too-many-problems",
    "unreadable-file",
];

/// Kinds that loading a text finds, without notes unless `wanted` is one.
fn found(text: &str, wanted: &str) -> Vec<&'static str> {
    let loaded = load_text("site.toml", text);
    loaded
        .problems
        .iter()
        .map(|problem| (problem.severity(), problem.kind.name))
        .filter(|(severity, name)| *severity > Severity::Note || *name == wanted)
        .map(|(_, name)| name)
        .collect()
}

fn check(case: &Case) {
    let text = case.site();
    let loaded = load_text("site.toml", &text);
    let listed: Vec<String> = loaded
        .problems
        .iter()
        .map(|problem| {
            let place = problem
                .span
                .map(|span| loaded.sources.place(span))
                .unwrap_or_default();
            format!(
                "{place} {}: {} ({})",
                problem.kind.name,
                problem.message,
                problem.help.clone().unwrap_or_default()
            )
        })
        .collect();
    let shown = format!("{}\n--- found:\n{}", case.text, listed.join("\n"));
    assert_eq!(
        found(&text, case.kind),
        [case.kind],
        "one problem and no other in\n{shown}"
    );
    let problem = loaded
        .problems
        .iter()
        .find(|problem| problem.kind.name == case.kind)
        .expect("just found");
    let (line, column) = case.place();
    let span = problem.span.expect("a place");
    assert_eq!(
        loaded.sources.place(span),
        format!("site.toml:{line}:{column}"),
        "{shown}"
    );
    assert!(
        problem.message.contains(case.message),
        "message should hold {:?} in\n{shown}",
        case.message
    );
    let help = problem.help.clone().unwrap_or_default();
    assert!(
        help.contains(case.help),
        "help should hold {:?} in\n{shown}",
        case.help
    );
    assert_eq!(
        loaded.site.is_none(),
        problem.severity() == Severity::Error,
        "{shown}"
    );
}

#[test]
fn every_mistake_is_reported_at_its_place_and_alone() {
    let mut failures = Vec::new();
    for case in cases() {
        if let Err(panic) = std::panic::catch_unwind(|| check(case)) {
            let text = panic
                .downcast_ref::<String>()
                .cloned()
                .unwrap_or_else(|| case.kind.to_owned());
            failures.push(text);
        }
    }
    assert!(
        failures.is_empty(),
        "{} cases failed:\n\n{}",
        failures.len(),
        failures.join("\n\n")
    );
}

#[test]
fn the_base_of_the_cases_is_sound() {
    let loaded = load_text("site.toml", BASE);
    assert_eq!(loaded.problems, []);
    assert!(loaded.site.is_some());
}

#[test]
fn every_kind_has_a_case() {
    for kind in KINDS {
        let here = cases().any(|case| case.kind == kind.name);
        assert!(
            here != ELSEWHERE.contains(&kind.name),
            "{} has a case in exactly one place",
            kind.name
        );
    }
    for case in cases() {
        assert!(
            KINDS.iter().any(|kind| kind.name == case.kind),
            "{} is no kind",
            case.kind
        );
    }
}

#[test]
fn all_mistakes_of_an_input_are_reported_at_once() {
    let text = format!(
        "{BASE}[services]\na = \"tcp/70000\"\nb = \"nope\"\n[addresses]\nc = \"10.0.0.1/8\"\n[zonse.x]\n"
    );
    assert_eq!(
        found(&text, ""),
        ["bad-port", "unknown-name", "host-bits", "unknown-key"]
    );
}

#[test]
fn after_a_mistake_of_syntax_only_certain_problems_are_listed() {
    // The lost segment makes the name in the need unknown: that must not be reported.
    let text = format!(
        "{BASE}[segments.cellar\nzone = \"inside\"\n[[needs]]\nfrom = \"cellar\"\nto = \"office\"\nservices = \"tcp/0x50\"\n"
    );
    let names: Vec<&str> = load_text("site.toml", &text)
        .problems
        .iter()
        .map(|problem| problem.kind.name)
        .collect();
    assert!(
        names.contains(&"toml-syntax") && names.contains(&"check-incomplete"),
        "{names:?}"
    );
    assert!(
        !names.contains(&"unknown-name") && !names.contains(&"missing-key"),
        "{names:?}"
    );
}

#[test]
fn a_site_needs_a_segment() {
    // That the zone has no segment either goes without saying, until there are segments.
    assert_eq!(found("[zones.a]\ntrust = 1\n", ""), ["no-segments"]);
    assert_eq!(found("", ""), ["no-segments"]);
    let nothing = load_texts(Vec::new());
    assert_eq!(nothing.problems[0].kind.name, "no-segments");
    assert!(nothing.site.is_none());
}

#[test]
fn two_files_must_not_describe_one_thing() {
    let second = "[zones.inside]\ntrust = 3\n".to_owned();
    let loaded = load_texts(vec![
        ("a.toml".to_owned(), BASE.to_owned()),
        ("b.toml".to_owned(), second),
    ]);
    let [problem] = loaded.problems.as_slice() else {
        panic!("{:?}", loaded.problems)
    };
    assert_eq!(problem.kind.name, "duplicate-name");
    assert_eq!(
        problem
            .span
            .map(|span| loaded.sources.place(span))
            .as_deref(),
        Some("b.toml:1:8")
    );
    assert_eq!(loaded.sources.place(problem.notes[0].span), "a.toml:2:8");
}

#[test]
fn problems_past_the_limit_are_counted() {
    let mut text = format!("{BASE}[services]\n");
    for number in 0..5000 {
        text.push_str(&format!("s{number} = \"tcp/70000\"\n"));
    }
    let loaded = load_text("site.toml", &text);
    assert_eq!(loaded.problems.len(), 4097);
    let last = loaded.problems.last().expect("a note");
    assert_eq!(last.kind.name, "too-many-problems");
    assert!(last.message.starts_with("904 more"), "{}", last.message);
    assert!(loaded.site.is_none());
}

#[test]
fn paths_that_hold_no_site() {
    let folder = tempfile::tempdir().expect("a folder");
    let only = |path: &std::path::Path| {
        let loaded = load_path(path);
        assert!(loaded.site.is_none());
        let [problem] = loaded.problems.as_slice() else {
            panic!("{:?}", loaded.problems)
        };
        (problem.kind.name, problem.message.clone())
    };
    assert_eq!(only(folder.path()).0, "no-toml-files");
    assert_eq!(
        only(&folder.path().join("missing.toml")).0,
        "unreadable-file"
    );
    let latin = folder.path().join("latin.toml");
    std::fs::write(&latin, b"[site]\nname = \"B\xfcro\"\n").expect("a file");
    let (kind, message) = only(&latin);
    assert_eq!(kind, "not-utf8");
    assert!(message.contains(":2:10: byte 0xfc"), "{message}");
    let large = folder.path().join("large.toml");
    std::fs::File::create(&large)
        .and_then(|file| file.set_len(65 * 1024 * 1024))
        .expect("a file");
    assert_eq!(only(&large).0, "too-large");
}

/// Groups of groups could otherwise fill any memory.
#[test]
fn groups_are_opened_only_so_far() {
    let mut text = format!("{BASE}[addresses]\nbase = [");
    for number in 0..4000 {
        text.push_str(&format!(
            "\"10.{}.{}.{}\",",
            number / 250,
            number % 250,
            number % 100 * 2
        ));
    }
    text.push_str("]\n");
    for number in 0..6000 {
        text.push_str(&format!("g{number} = [\"base\", \"10.200.0.0/16\"]\n"));
    }
    let loaded = load_text("site.toml", &text);
    let errors: Vec<&str> = loaded
        .problems
        .iter()
        .filter(|problem| problem.severity() == Severity::Error)
        .map(|problem| problem.kind.name)
        .collect();
    assert_eq!(errors, ["too-large"]);
}

/// Ranges of ports make much out of little text.
#[test]
fn ports_are_counted() {
    let mut text = BASE.to_owned();
    for number in 0..70 {
        text.push_str(&format!(
            "[switches.s{number}.ports]\n\"0-3999\" = {{ enabled = false }}\n"
        ));
    }
    assert_eq!(found(&text, ""), ["too-large"]);
}
