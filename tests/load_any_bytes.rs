//! Does any text at all come through without a panic and with places inside it?

use boundwalk::diagnostic::{Severity, Sources, Span};
use boundwalk::load::{Loaded, load_text, starter};
use proptest::prelude::*;

mod load_cases;

/// Laws of every load, whatever the text.
fn check(loaded: &Loaded) {
    let failed = loaded
        .problems
        .iter()
        .any(|problem| problem.severity() == Severity::Error);
    assert_eq!(
        loaded.site.is_none(),
        failed,
        "a site comes out exactly when there is no error"
    );
    for problem in &loaded.problems {
        assert!(
            !problem.message.is_empty() && !problem.message.contains('\n'),
            "{:?}",
            problem.message
        );
        let notes = problem.notes.iter().map(|note| note.span);
        problem
            .span
            .into_iter()
            .chain(notes)
            .for_each(|span| check_span(&loaded.sources, span));
    }
    let placed: Vec<Span> = loaded
        .problems
        .iter()
        .filter_map(|problem| problem.span)
        .collect();
    assert!(
        placed.is_sorted_by_key(|span| (span.file, span.start)),
        "by file and position"
    );
}

fn check_span(sources: &Sources, span: Span) {
    let text = sources.get(span.file).expect("a text of the input").text();
    assert!(
        text.get(span.start as usize..span.end as usize).is_some(),
        "{span:?} in {} bytes",
        text.len()
    );
}

/// A sound text of many parts.
fn good() -> String {
    let more = r#"
[switches.core]
lags.uplink = { ports = ["27", "28"], lacp = "active" }
[switches.core.ports]
"1-8" = { access = "desks" }
"uplink" = { tagged = ["desks", 20] }
[[hosts.historian.interfaces]]
addresses = ["10.20.10.20"]
port = "core:7"
[routers.floor.interfaces.a]
segment = "desks"
addresses = ["10.20.10.2/24"]
"#;
    format!("{}{more}", starter())
}

/// A change of a text: at a place, so many characters go and some others come.
#[derive(Clone, Debug)]
enum Change {
    Delete {
        at: usize,
        length: usize,
    },
    Copy {
        from: usize,
        length: usize,
        to: usize,
    },
    Insert {
        at: usize,
        text: String,
    },
    Swap {
        line: usize,
        other: usize,
    },
}

fn change() -> impl Strategy<Value = Change> {
    let at = 0..5_000usize;
    let pieces = prop::sample::select(vec![
        "[",
        "]",
        "\"",
        "= ",
        "{",
        "}",
        ",",
        "\n",
        ".",
        "true",
        "0",
        "-1",
        "4095",
        "99999999999999999999",
        "[[needs]]\n",
        "name",
        "x.y.z = 1\n",
        "[zones.a]\ntrust=1\n",
        "\u{202e}",
        "ä",
        "'''",
        "2026-02-30",
        "\u{0}",
        "fd00::/8",
        "any",
        "10.20.10.1",
        "10.20.10.1-10.20.10.0",
        "tcp/1-0",
        "gateway",
        "desks",
        "core:1",
        "[gateways.edge.rules]\n",
        "# ",
    ]);
    let texts = prop_oneof![
        pieces.prop_map(str::to_owned),
        "\\PC{0,12}",
        "[a-z_]{1,9} = [0-9]{1,3}\n"
    ];
    prop_oneof![
        (at.clone(), 0..80usize).prop_map(|(at, length)| Change::Delete { at, length }),
        (at.clone(), 0..120usize, at.clone()).prop_map(|(from, length, to)| Change::Copy {
            from,
            length,
            to
        }),
        (at, texts).prop_map(|(at, text)| Change::Insert { at, text }),
        (0..200usize, 0..200usize).prop_map(|(line, other)| Change::Swap { line, other }),
    ]
}

fn apply(text: &str, change: &Change) -> String {
    let mut characters: Vec<char> = text.chars().collect();
    let clip = |at: usize| at.min(characters.len());
    match change {
        Change::Delete { at, length } => {
            let range = clip(*at)..clip(at + length);
            characters.drain(range);
        }
        Change::Copy { from, length, to } => {
            let copied: Vec<char> = characters[clip(*from)..clip(from + length)].to_vec();
            let to = clip(*to);
            characters.splice(to..to, copied);
        }
        Change::Insert { at, text } => {
            let at = clip(*at);
            characters.splice(at..at, text.chars());
        }
        Change::Swap { line, other } => {
            let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
            let count = lines.len().max(1);
            if !lines.is_empty() {
                lines.swap(line % count, other % count);
            }
            return lines.concat();
        }
    }
    characters.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn changed_sites(changes in prop::collection::vec(change(), 1..6)) {
        let text = changes.iter().fold(good(), |text, change| apply(&text, change));
        check(&load_text("site.toml", &text));
    }

    #[test]
    fn any_text(text in "\\PC{0,200}") {
        check(&load_text("site.toml", &text));
    }
}

#[test]
fn the_good_text_is_good() {
    let loaded = load_text("site.toml", &good());
    check(&loaded);
    assert!(loaded.site.is_some(), "{:?}", loaded.problems);
}

#[test]
fn every_case_of_the_error_tests() {
    for case in load_cases::cases() {
        check(&load_text("site.toml", &case.site()));
    }
}

/// Every prefix of a text: what an editor sees while somebody types.
#[test]
fn every_beginning_of_a_good_text() {
    let text = good();
    for (end, _) in text.char_indices().step_by(3) {
        check(&load_text("site.toml", &text[..end]));
    }
}
