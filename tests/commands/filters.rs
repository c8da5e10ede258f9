//! Showing a part of a matrix.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::json::parsed;
use crate::run::{about, demo, site, two_segments};

fn matrix(rest: &str) -> Value {
    parsed(&demo("matrix", &format!("{rest} --format json")))
}

fn names(value: &Value) -> Vec<&str> {
    value
        .as_array()
        .expect("a list")
        .iter()
        .map(|item| item["name"].as_str().expect("a name"))
        .collect()
}

fn cells(value: &Value) -> &[Value] {
    value["cells"].as_array().expect("a list")
}

#[test]
fn senders_and_targets_are_chosen_by_zone_segment_and_gateway() {
    let value = matrix("--from guest,business --to brewhouse --to edge");
    assert_eq!(
        names(&value["rows"]),
        ["office", "guest", "servers", "cameras"]
    );
    assert_eq!(names(&value["columns"]), ["brewhouse", "edge"]);
    assert_eq!(cells(&value).len(), 4 * 2 * 2);

    let value = matrix("--by zone --from zone:guest");
    assert_eq!(names(&value["rows"]), ["guest"]);
    assert_eq!(names(&value["columns"]).len(), 8);
}

/// A cell with the rules that its document lists for it.
fn with_rules(document: &Value, cell: &Value) -> Value {
    let mut cell = cell.clone();
    let places = cell["rules"].as_array().expect("a list").iter();
    let rule = |at: &Value| document["rules"][at.as_u64().expect("a place") as usize].clone();
    cell["rules"] = places.map(rule).collect::<Vec<Value>>().into();
    cell
}

#[test]
fn a_part_says_what_the_whole_says() {
    let whole = matrix("");
    let part = matrix("--from published,guest --to servers,edge");
    for cell in cells(&part) {
        let same = |other: &&Value| {
            ["from", "to", "family"]
                .iter()
                .all(|key| other[*key] == cell[*key])
        };
        let mut cells = cells(&whole).iter();
        let other = cells.find(same).expect("the same pair");
        assert_eq!(with_rules(&whole, other), with_rules(&part, cell));
    }
}

#[test]
fn hosts_are_rows_when_asked_for_or_named() {
    let by_host = matrix("--by host");
    assert_eq!(by_host["by"], "host");
    assert_eq!(names(&by_host["rows"]).len(), 23);
    let value = matrix("--from jump --to hmi");
    assert_eq!(value["by"], "host");
    assert_eq!(
        (names(&value["rows"]), names(&value["columns"])),
        (vec!["jump"], vec!["hmi"])
    );
    assert!(
        cells(&value)
            .iter()
            .any(|cell| cell["state"] == "everything")
    );
    let value = matrix("--by host --from point-of-sale");
    assert_eq!(names(&value["rows"]), ["till-1", "till-2", "card-terminal"]);
}

#[test]
fn one_family_is_shown_alone() {
    for (option, family) in [("--ipv4", "IPv4"), ("--ipv6", "IPv6")] {
        let value = matrix(option);
        assert_eq!(cells(&value).len(), 110);
        assert!(cells(&value).iter().all(|cell| cell["family"] == family));
    }
}

#[test]
fn services_narrow_what_is_shown() {
    // Who reaches a login on the gateway or anywhere else: read off the rules by eye.
    let value = matrix("--service ssh --ipv4 --from office,point-of-sale,published,coldstore");
    let open: BTreeSet<(&str, &str)> = cells(&value)
        .iter()
        .filter(|cell| cell["state"] == "services")
        .map(|cell| {
            (
                cell["from"].as_str().expect("text"),
                cell["to"].as_str().expect("text"),
            )
        })
        .collect();
    let expected = [
        ("office", "edge"),
        ("point-of-sale", "servers"),
        ("published", "servers"),
    ];
    assert_eq!(open, BTreeSet::from(expected));
    for cell in cells(&value)
        .iter()
        .filter(|cell| cell["state"] == "services")
    {
        assert_eq!(cell["services"], serde_json::json!(["secure-shell"]));
    }

    let several = "--ipv4 --from published --to servers";
    let ports = |value: &Value| cells(value)[0]["services"].clone();
    let listed = matrix(&format!("--service tcp/22,3389 {several}"));
    assert_eq!(
        ports(&listed),
        serde_json::json!(["secure-shell", "remote-desktop"])
    );
    let repeated = matrix(&format!("--service ssh --service remote-desktop {several}"));
    assert_eq!(ports(&repeated), ports(&listed));
    let none = matrix(&format!("--service plc {several}"));
    assert_eq!(cells(&none)[0]["state"], "nothing");
}

#[test]
fn two_way_leaves_out_what_gets_no_reply() {
    for (gateway, kept) in [
        ("default = \"deny\"", "services"),
        ("default = \"deny\"\nstateful = false", "nothing"),
    ] {
        let (_folder, file) = site(two_segments(gateway));
        let rest = "--from books --to cellar --format json";
        let all = parsed(&about(&file, "matrix", rest));
        assert_eq!(cells(&all)[0]["state"], "services");
        let two_way = parsed(&about(&file, "matrix", &format!("{rest} --two-way")));
        assert_eq!(cells(&two_way)[0]["state"], kept, "{gateway}");
    }
}

#[test]
fn without_the_hostile_comparison_nothing_is_said_of_it() {
    let value = matrix("--no-hostile");
    assert!(
        cells(&value)
            .iter()
            .all(|cell| cell["hostile_reaches_more"].is_null())
    );
    let text = demo("matrix", "--no-hostile").out;
    assert!(!text.contains("hostile device among the senders"), "{text}");
}

#[test]
fn names_that_lead_nowhere_are_refused_with_a_hint() {
    for (rest, why) in [
        ("--from gest", "did you mean `guest`?"),
        ("--to histroian", "did you mean `historian`?"),
        (
            "--from nobody-of-that-name",
            "no zone, segment, host or gateway",
        ),
        ("--from guest,", "no zone, segment, host or gateway ``"),
        ("--service htps", "did you mean `https`?"),
        ("--service tcp/70000", "70000"),
        ("--service ,", "names no service"),
        ("--from edge", "not modelled"),
        ("--by zone --from jump", "--from names no zone"),
        ("--by zone --to jump", "--to names no zone"),
        ("--by segment --from jump", "--from names no segment"),
    ] {
        let ran = demo("matrix", rest);
        assert_eq!(ran.code, 2, "{rest}");
        assert!(
            ran.err.contains(why) && ran.out.is_empty(),
            "{rest}: {ran:?}"
        );
    }
    let (_folder, file) = site(two_segments("default = \"deny\""));
    let ran = about(&file, "matrix", "--by host");
    assert!(
        ran.code == 2 && ran.err.contains("describes no host"),
        "{ran:?}"
    );
}
