//! `rules` as a person runs it.

use std::fs;

use serde_json::Value;

use crate::json::parsed;
use crate::run::{Ran, about, demo, site, starter};

const DEMO_TEXT: &str = include_str!("../../policies/kettle-lane/site.toml");

fn no_line_is_too_long(ran: &Ran) {
    // Excerpts of the file are as wide as the file, and a title names a place as it is.
    let long: Vec<&str> = ran
        .out
        .lines()
        .skip(1)
        .filter(|line| !line.contains(" | ") && !line.contains("-->"))
        .filter(|line| line.chars().count() > 80)
        .collect();
    assert!(long.is_empty(), "{long:?}");
}

#[test]
fn the_demo_has_an_overview_then_findings() {
    let ran = demo("rules", "");
    assert_eq!(ran.code, 1, "{ran:?}");
    for line in [
        "      45  rules ",
        "       1  no match ",
        "       1  dead ",
        "       2  repeated ",
        "       3  redundant ",
        "      10  too wide ",
        "     126  complexity ",
    ] {
        assert!(ran.out.contains(line), "{line}: {}", ran.out);
    }
    let (overview, findings) = ran.out.split_once("Findings").expect("a heading");
    assert!(
        overview.contains("pairs of interfaces; mistakes")
            && findings.contains("warning[rule-dead]")
    );
    assert!(findings.contains("What this rests on"));
    no_line_is_too_long(&ran);
}

#[test]
fn one_rule_tells_what_it_decides_and_who_hides_it() {
    let ran = demo("rules", "--rule 29");
    assert!(
        ran.out
            .starts_with("edge rule 29: \"brewmaster tunes the controllers\"")
    );
    for told in [
        "before it, 27 \"shift report: mash side\", 28 \"shift report: cellar",
        "No smaller set of such rules does.",
        "IPv4: 50.0 % by 27",
        "nothing is left",
    ] {
        assert!(ran.out.contains(told), "{told}: {}", ran.out);
    }
    no_line_is_too_long(&ran);
    let by_name = site(DEMO_TEXT);
    let named = about(&by_name.1, "rules", "--rule accounts");
    assert!(
        named
            .out
            .contains("Without it nothing changes; that rests on 24"),
        "{named:?}"
    );
    let wide = demo("rules", "--rule 17");
    for told in [
        "all of 19 \"office printer stays at home\"",
        "cameras -> internet (IPv4)",
    ] {
        assert!(wide.out.contains(told), "{told}: {}", wide.out);
    }
}

#[test]
fn what_is_not_there_is_refused_with_the_nearest_name() {
    for (arguments, words) in [
        ("--rule acounts", "did you mean \"accounts\"?"),
        ("--rule 46", "there is no rule \"46\""),
        ("--rule 0", "there is no rule \"0\""),
        ("egde", "did you mean `edge`?"),
        ("--clean --format csv", "text, markdown or json"),
        ("--write", "--clean"),
    ] {
        let ran = demo("rules", arguments);
        assert_eq!(ran.code, 2, "{arguments}: {ran:?}");
        assert!(
            ran.err.contains(words) && ran.out.is_empty(),
            "{arguments}: {ran:?}"
        );
    }
}

/// States of all rules in three formats, and findings, are the same.
#[test]
fn formats_agree() {
    let value = parsed(&demo("rules", "--format json"));
    assert_eq!(value["document"], "boundwalk-rules");
    let gateway = &value["gateways"][0];
    let rules = gateway["rules"].as_array().expect("rules");
    let csv = demo("rules", "--format csv").out;
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let records: Vec<csv::StringRecord> =
        reader.records().map(|one| one.expect("a record")).collect();
    assert_eq!((rules.len(), records.len()), (45, 45));
    for (rule, record) in rules.iter().zip(&records) {
        assert_eq!(record[1], rule["number"].to_string());
        assert_eq!(record[2], *rule["name"].as_str().expect("a name"));
        assert_eq!(record[4], *rule["state"].as_str().expect("a state"));
    }
    let count = |state: &str| rules.iter().filter(|rule| rule["state"] == state).count();
    for (state, column) in [
        ("dead", "dead"),
        ("repeated", "repeated"),
        ("redundant", "redundant"),
        ("no match", "no_match"),
        ("off", "off"),
    ] {
        assert_eq!(gateway["counts"][column], count(state), "{state}");
    }
    let findings = value["findings"].as_array().expect("findings").len();
    let markdown = demo("rules", "--format markdown").out;
    let listed = markdown.lines().filter(|line| {
        ["error", "warning", "note"]
            .iter()
            .any(|word| line.starts_with(&format!("- **{word}**")))
    });
    assert_eq!(listed.count(), findings);
    let named: Value = parsed(&demo("rules", "--rule 17 --format json"));
    assert_eq!(
        (&named["document"], &named["rule"]["number"]),
        (&"boundwalk-rule".into(), &17.into())
    );
    assert!(named["opens"].as_array().expect("cells").len() > 3);
}

#[test]
fn a_shorter_list_is_shown_then_written_and_then_there_is_nothing_to_do() {
    let (_folder, file) = site(DEMO_TEXT);
    let shown = about(&file, "rules", "--clean");
    assert_eq!(shown.code, 1, "{shown:?}");
    assert!(
        shown
            .out
            .starts_with("edge: 42 of 45 rules are left. Verdicts are identical")
    );
    assert!(shown.out.contains("-name = \"servers fetch updates\""));
    assert_eq!(fs::read_to_string(&file).expect("the file"), DEMO_TEXT);
    let written = about(&file, "rules", "--clean --write");
    assert_eq!(written.code, 0, "{written:?}");
    let text = fs::read_to_string(&file).expect("the file");
    for gone in [
        "servers fetch updates",
        "name = \"accounts\"",
        "brewmaster tunes",
    ] {
        assert!(!text.contains(gone), "{gone}");
    }
    for left in [
        "# --- Office and servers",
        "office printer stays at home",
        "point of sale: nothing else",
    ] {
        assert!(text.contains(left), "{left}");
    }
    let again = about(&file, "rules", "--clean");
    assert_eq!(again.code, 0, "{again:?}");
    assert!(
        again
            .out
            .starts_with("edge: there is nothing to clean in its 42 rules.")
    );
}

/// Neighbours that differ in one list become one rule.
#[test]
fn neighbours_are_joined() {
    let mut text = String::from(boundwalk::load::starter());
    for (name, service) in [
        ("first", "tcp/8001"),
        ("second", "tcp/8002"),
        ("third", "tcp/8003"),
    ] {
        text.push_str(&format!(
            "\n[[gateways.edge.rules]]\nname = \"{name}\"\nfrom = [\"office\"]\nto = [\"internet\"]\n\
             services = [\"{service}\"]\naction = \"permit\"\nreason = \"orders\"\nowner = \"IT\"\n"
        ));
    }
    let (_folder, file) = site(&text);
    let shown = about(&file, "rules", "--clean --format json");
    let value = parsed(&shown);
    let merged = &value["gateways"][0]["merged"];
    assert_eq!(merged.as_array().map(Vec::len), Some(1), "{value}");
    assert_eq!(merged[0]["field"], "services");
    let patch = value["patch"].as_str().expect("a patch");
    assert!(
        patch.contains("+services = [\"tcp/8001\", \"tcp/8002\", \"tcp/8003\"]"),
        "{patch}"
    );
    let written = about(&file, "rules", "--clean --write");
    assert_eq!(written.code, 0, "{written:?}");
    let after = fs::read_to_string(&file).expect("the file");
    assert!(after.contains("\"tcp/8003\"") && !after.contains("\"second\""));
}

#[test]
fn the_starter_site_has_clean_rules() {
    let (_folder, file) = site(starter());
    let ran = about(&file, "rules", "");
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("Findings\n\n  None."), "{}", ran.out);
}
