//! Names that hide something, look like others, or have no end.

use crate::run::{about, site, starter};

/// Kinds of characters that show nothing or change what is shown.
const UNSEEN: [(&str, char); 9] = [
    ("zero width", '\u{200b}'),
    ("joiner", '\u{200d}'),
    ("direction", '\u{202e}'),
    ("isolate", '\u{2067}'),
    ("tag", '\u{e0061}'),
    ("filler", '\u{3164}'),
    ("half-width filler", '\u{ffa0}'),
    ("unassigned", '\u{378}'),
    ("private", '\u{e000}'),
];

/// Every place of the starter that takes a name, with a text in it.
fn named(text: &str) -> Vec<String> {
    [
        ("[zones.office]", format!("[zones.\"{text}\"]")),
        ("[segments.desks]", format!("[segments.\"{text}\"]")),
        ("[gateways.edge]", format!("[gateways.\"{text}\"]")),
    ]
    .into_iter()
    .filter(|(old, _)| starter().contains(old))
    .map(|(old, new)| starter().replace(old, &new))
    .chain([
        format!("{}\n[zones.\"{text}\"]\ntrust = 5\n", starter()),
        starter().replace(
            "[addresses]",
            &format!("[addresses]\n\"{text}\" = [\"10.20.10.7\"]"),
        ),
        starter().replace("[services]", &format!("[services]\n\"{text}\" = \"tcp/7\"")),
        format!("{}\n[hosts.\"{text}\"]\n", starter()),
        format!("{}\n[switches.\"{text}\"]\n", starter()),
        format!(
            "{}\n[switches.s.ports]\n\"{text}\" = {{ access = \"desks\" }}\n",
            starter()
        ),
        format!(
            "{}\n[[gateways.edge.rules]]\nname = \"{text}\"\naction = \"deny\"\n",
            starter()
        ),
        format!(
            "{}\n[[needs]]\nname = \"{text}\"\nfrom = \"desks\"\nto = \"internet\"\n",
            starter()
        ),
    ])
    .collect()
}

#[test]
fn what_shows_nothing_is_refused_wherever_a_name_stands() {
    for (what, unseen) in UNSEEN {
        for text in named(&format!("a{unseen}b")) {
            let (_folder, file) = site(&text);
            let ran = about(&file, "matrix", "");
            assert_eq!(ran.code, 2, "{what}: {ran:?}");
            assert!(
                ran.err.contains("U+") || ran.err.contains("\\u{"),
                "{what}: {ran:?}"
            );
            assert!(!ran.err.contains(unseen), "{what}: {ran:?}");
        }
    }
}

#[test]
fn names_that_look_alike_are_named_with_both_places() {
    let latin_and_cyrillic = format!(
        "{}\n[zones.scanner]\ntrust = 1\n[zones.\"sc\u{430}nner\"]\ntrust = 1\n",
        starter()
    );
    let (_folder, file) = site(latin_and_cyrillic);
    let ran = about(&file, "review", "--format json --fail-on never");
    let value: serde_json::Value = serde_json::from_str(&ran.out).expect("JSON");
    let mut findings = value["findings"].as_array().expect("a list").iter();
    let found = findings
        .find(|one| one["check"] == "names-look-alike")
        .expect("the two zones");
    let lines = starter().lines().count() as u64;
    assert_eq!(found["place"]["line"].as_u64(), Some(lines + 4));
    assert_eq!(found["notes"][0]["place"]["line"].as_u64(), Some(lines + 2));
}

#[test]
fn a_text_without_end_is_cut_in_messages() {
    let endless = format!("a{}", "\u{301}".repeat(1_000_000));
    for text in named(&endless) {
        let (_folder, file) = site(&text);
        for (command, rest) in [
            ("matrix", ""),
            ("review", "--format json"),
            ("review", "--format sarif"),
        ] {
            let ran = about(&file, command, rest);
            assert_eq!(ran.code, 2);
            let marks = format!("{}{}", ran.err, ran.out);
            let marks = marks.chars().filter(|&c| c == '\u{301}').count();
            assert!(marks < 1_000, "{command} {rest}: {marks} marks");
            assert!(ran.err.len() < 20_000, "{command} {rest}");
        }
    }
}
