//! `bypass` and `isolation` as a person runs them.

use serde_json::Value;

use crate::json::parsed;
use crate::run::{Ran, about, demo, site};

const DEMO_TEXT: &str = include_str!("../../policies/kettle-lane/site.toml");

/// The story of the README: the camera ports carry management as well.
fn edited() -> (tempfile::TempDir, std::path::PathBuf) {
    let old = "\"17-18\"  = { access = \"cameras\" }";
    let new = "\"17-18\"  = { untagged = \"cameras\", tagged = [\"management\"] }";
    assert_eq!(DEMO_TEXT.matches(old).count(), 1);
    site(DEMO_TEXT.replace(old, new))
}

fn no_line_is_too_long(ran: &Ran) {
    let long: Vec<&str> = ran
        .out
        .lines()
        .filter(|line| line.chars().count() > 80)
        .collect();
    assert!(long.is_empty(), "{long:?}");
}

#[test]
fn the_demo_is_isolated_by_design_and_has_no_way_round() {
    let isolation = demo("isolation", "");
    assert_eq!(isolation.code, 0, "{isolation:?}");
    assert!(isolation.out.starts_with("management: isolated by design"));
    assert!(isolation.out.contains("One fault away"));
    no_line_is_too_long(&isolation);
    let bypass = demo("bypass", "");
    assert_eq!(bypass.code, 0, "{bypass:?}");
    assert!(bypass.out.starts_with("No way round"));
}

/// What the README shows is what the program prints.
#[test]
fn the_story_of_the_read_me_file_is_true() {
    let (_folder, file) = edited();
    let isolation = about(&file, "isolation", "");
    let bypass = about(&file, "bypass", "");
    assert_eq!((isolation.code, bypass.code), (1, 1));
    let read_me = include_str!("../../README.md");
    let start = read_me
        .find("$ boundwalk isolation site.toml")
        .expect("the story");
    let story = read_me[start..].split("```").next().expect("a block");
    let printed = format!("{}{}", isolation.out, bypass.out);
    // Places name the file as it was given.
    let file = file.display().to_string();
    let printed = printed.replace(&file, "site.toml");
    let lines = story
        .lines()
        .filter(|line| !line.starts_with('$') && !line.is_empty() && *line != "...");
    for line in lines {
        let shown = line.trim();
        // A longer name of the file breaks lines elsewhere.
        let words: Vec<&str> = shown.split_whitespace().collect();
        let flat = printed.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(&words.join(" ")), "{shown}\n{printed}");
    }
}

#[test]
fn segments_are_named_or_claim_it() {
    assert_eq!(demo("isolation", "office").code, 1);
    let ran = demo("isolation", "office --no-distance");
    assert!(ran.out.starts_with("office: reachable"), "{ran:?}");
    assert!(ran.out.contains("through the rules"), "{ran:?}");
    let ran = demo("isolation", "managment");
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("did you mean `management`?"), "{ran:?}");
    assert_eq!(demo("isolation", "jump").code, 2, "a host is no segment");
    let (_folder, starter) = site(crate::run::starter());
    let ran = about(&starter, "isolation", "");
    assert_eq!(ran.code, 0);
    assert!(ran.out.contains("No segment claims"), "{ran:?}");
}

#[test]
fn a_certificate_and_a_counterexample_are_data() {
    let value = parsed(&demo("isolation", "--format json"));
    let management = &value["segments"][0];
    assert_eq!(management["verdict"], "isolated by design");
    let inside = management["certificate"]["inside"]
        .as_array()
        .expect("a list");
    assert_eq!(inside.len(), 4);
    assert!(
        management["distance"]["one_fault"]
            .as_array()
            .is_some_and(|faults| !faults.is_empty())
    );
    let (_folder, file) = edited();
    let value = parsed(&about(&file, "bypass", "--format json"));
    let first = &value["bypasses"][0];
    assert_eq!(
        (&first["from"], &first["to"]),
        (&"cameras".into(), &"management".into())
    );
    assert_eq!(first["tags"], Value::from(vec![90]));
    assert_eq!(
        first["opened_by"]["fact"],
        "core:17 is in VLAN 90 (management)"
    );
    let place = &first["opened_by"]["place"];
    let line = DEMO_TEXT
        .lines()
        .position(|line| line.starts_with("\"17-18\""))
        .expect("the line");
    assert_eq!(place["line"], line + 1);
    assert_eq!(
        value["closing"]["sets"][0].as_array().map(Vec::len),
        Some(2)
    );
}

#[test]
fn pairs_are_chosen_by_name() {
    let (_folder, file) = edited();
    let from = about(&file, "bypass", "--from cameras --to management");
    assert_eq!(from.code, 1);
    assert!(from.out.starts_with("1 of 1 ordered pairs"), "{from:?}");
    assert_eq!(about(&file, "bypass", "--from guest").code, 0);
    assert_eq!(about(&file, "bypass", "--from gest").code, 2);
}

#[test]
fn a_review_names_both() {
    let (_folder, file) = edited();
    let ran = about(&file, "review", "");
    assert_eq!(ran.code, 1);
    for check in ["bypass-open", "isolation-broken"] {
        assert!(ran.out.contains(check), "{check}: {}", ran.out);
    }
}
