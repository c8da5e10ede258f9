//! Worksheets of switches, and cables whose ends differ.

use std::fs;

use serde_json::Value;
use unicode_width::UnicodeWidthStr;

use crate::json::parsed;
use crate::run::{DAY, Ran, about, demo, ended, line, program, site, starter};

/// A switch whose port descriptions and cable labels are anything but words, and one that knows no VLANs.
pub const ODD: &str = r#"
[zones.brewing]
trust = 70
[segments.cellar]
zone = "brewing"
vlan = 61
prefixes = ["10.44.61.0/24"]
[segments."größe-北京"]
zone = "brewing"
vlan = 62
prefixes = ["10.44.62.0/24"]
[switches.core]
description = "<b>|*bold*"
[switches.core.ports]
"p1/0/1" = { access = "cellar", description = "=1+1" }
"p1/0/2,p1/0/3" = { tagged = ["cellar", "größe-北京", 100, 101, 102] }
"p1/0/10,p1/0/9" = { access = "cellar" }
"p1/0/4,p1/0/5" = { access = "cellar" }
[switches."-plain"]
vlan_aware = false
[switches."-plain".ports]
"1-3" = {}
[hosts.kettle]
[[hosts.kettle.interfaces]]
addresses = ["10.44.61.7"]
port = "core:p1/0/1"
[[links]]
ends = ["core:p1/0/9", "core:p1/0/10"]
label = "@loop"
[[links]]
ends = ["core:p1/0/2", "-plain:1"]
[[links]]
ends = ["core:p1/0/4", "-plain:2"]
"#;

fn text<'v>(value: &'v Value, key: &str) -> &'v str {
    value[key].as_str().expect("text")
}

fn records(ran: &Ran) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_reader(ran.out.as_bytes());
    let owned = |record: csv::StringRecord| record.iter().map(str::to_owned).collect();
    let records = reader.records();
    records
        .map(|record| owned(record.expect("as long as the header")))
        .collect()
}

/// The demo's taproom switch lacks VLAN 10 on its uplink: the one difference of the site.
#[test]
fn differences_are_findings() {
    let ran = demo("ports", "");
    assert_eq!(ran.code, 1, "{ran:?}");
    let told = "- core:25 carries VLAN 10 office, taproom:8 does not\n";
    assert!(ran.out.contains(told), "{}", ran.out);
    for switch in ["core", "taproom"] {
        assert_eq!(demo("ports", &format!("--switch {switch}")).code, 1);
    }
    let ran = demo("ports", "--switch floor,taproom-ap");
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.out.contains("both ends agree"));
    assert!(!ran.out.contains("core: "), "only what was asked for");
}

#[test]
fn what_can_not_be_shown_is_refused() {
    let ran = demo("ports", "--switch flor");
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(ran.err.contains("did you mean `floor`?"), "{}", ran.err);
    let (_folder, file) = site(starter());
    let ran = about(&file, "ports", "");
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(ran.err.contains("describes no switch"), "{}", ran.err);
}

#[test]
fn every_format_has_every_port() {
    let value = parsed(&demo("ports", "--format json"));
    let ports: Vec<(&str, &str)> = value["switches"]
        .as_array()
        .expect("a list")
        .iter()
        .flat_map(|switch| {
            switch["ports"]
                .as_array()
                .expect("a list")
                .iter()
                .map(move |port| (text(switch, "name"), text(port, "name")))
        })
        .collect();
    assert_eq!(ports.len(), 28 + 1 + 8 + 3 + 8, "with the LAG");
    let csv = records(&demo("ports", "--format csv"));
    let named: Vec<(&str, &str)> = csv.iter().map(|row| (&*row[0], &*row[1])).collect();
    assert_eq!(named, ports);
    let markdown = demo("ports", "--format markdown").out;
    let rows = markdown.lines().filter(|line| line.starts_with("| "));
    assert_eq!(rows.count(), ports.len() + 4, "a header for each switch");
}

#[test]
fn json_tells_what_is_set_and_plugged_in() {
    let value = parsed(&demo("ports", "--switch core --format json"));
    assert_eq!(value["document"], "boundwalk-ports");
    assert_eq!(value["version"], 1);
    let ports = &value["switches"][0]["ports"];
    let port = |name: &str| {
        let mut all = ports.as_array().expect("a list").iter();
        all.find(|port| port["name"] == name).expect("such a port")
    };
    let console = port("13");
    assert_eq!(console["mode"], "access");
    assert_eq!(console["pvid"], 90);
    assert_eq!(console["untagged"], serde_json::json!([90]));
    assert_eq!(console["ingress_filter"], true);
    assert_eq!(console["accepts"], "untagged");
    assert_eq!(console["attached"][0]["kind"], "host");
    assert_eq!(console["attached"][0]["port"], "eth0");
    let uplink = port("uplink");
    assert_eq!(uplink["mode"], "mixed");
    assert_eq!(uplink["lag"]["members"], serde_json::json!(["27", "28"]));
    assert_eq!(uplink["lag"]["lacp"], "active");
    assert_eq!(uplink["attached"][0]["device"], "edge");
    assert_eq!(uplink["attached"][0]["label"], "green");
    let interfaces = &uplink["attached"][0]["interfaces"];
    assert_eq!(interfaces.as_array().map(Vec::len), Some(8));
    assert_eq!(port("27")["member_of"], "uplink");
    assert_eq!(port("19")["mode"], "off");
    let difference = &value["differences"][0];
    assert_eq!(difference["kind"], "vlans-at-one-end");
    assert_eq!(
        difference["ends"],
        serde_json::json!(["core:25", "taproom:8"])
    );
    assert_eq!(difference["vlans"], serde_json::json!([10]));
}

#[test]
fn no_field_of_a_worksheet_is_a_formula_and_markup_stays_text() {
    let (_folder, file) = site(ODD);
    let csv = records(&about(&file, "ports", "--format csv"));
    let formula = |field: &&String| field.starts_with(['=', '+', '-', '@']);
    let found: Vec<&String> = csv.iter().flatten().filter(formula).collect();
    assert!(found.is_empty(), "{found:?}");
    for disarmed in ["'=1+1", "'@loop", "'-plain"] {
        let there = csv.iter().flatten().any(|field| field == disarmed);
        assert!(there, "{disarmed}: {csv:?}");
    }
    let markdown = about(&file, "ports", "--format markdown").out;
    assert!(markdown.contains("&lt;b&gt;\\|\\*bold\\*"), "{markdown}");
}

#[test]
fn ports_stand_as_on_the_front() {
    let (_folder, file) = site(ODD);
    let csv = records(&about(&file, "ports", "--switch core --format csv"));
    let names: Vec<&str> = csv.iter().map(|row| &*row[1]).collect();
    let front = ["1", "2", "3", "4", "5", "9", "10"].map(|number| format!("p1/0/{number}"));
    assert_eq!(names, front);
}

#[test]
fn worksheets_fit_terminals_of_any_width() {
    let (_folder, odd) = site(ODD);
    let many = "[switches.big.ports]\n\"1-500\" = { access = \"cellar\" }\n";
    let (_other, big) = site(format!("{ODD}{many}"));
    for file in [std::path::Path::new(crate::run::DEMO), &odd, &big] {
        for columns in [40, 80, 120, 200] {
            let mut command = program();
            command.arg("ports").arg(file).args(DAY);
            let ran = ended(command.env("COLUMNS", columns.to_string()));
            assert!(ran.code < 2, "{ran:?}");
            for line in ran.out.lines() {
                assert!(line.width() <= columns, "{columns}: {line}");
            }
        }
    }
    let ran = about(&big, "ports", "--switch big");
    assert!(ran.out.lines().any(|line| line.starts_with("500 ")));
}

#[test]
fn a_broken_site_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("site.toml");
    fs::write(&file, "nonsense").expect("a file");
    let value = parsed(&about(&file, "ports", "--format json"));
    assert_eq!(value["document"], "boundwalk-problems");
    assert_eq!(about(&file, "draw", "").code, 2);
    assert!(line("ports --help").out.contains("Exit code"));
}
