//! `change` where only a hostile device notices something.

use serde_json::Value;

use crate::json::parsed;
use crate::run::{Ran, about, site};

/// Two segments on one switch; the management is reached by nobody.
const SITE: &str = r#"
[zones.business]
trust = 50
[zones.management]
trust = 90
[segments.office]
zone = "business"
vlan = 10
prefixes = ["10.44.10.0/24"]
[segments.management]
zone = "management"
vlan = 90
prefixes = ["10.44.90.0/24"]
isolated = true
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
port = "1"
addresses = ["10.44.10.1/24"]
source_check = "strict"
[switches.core.ports]
"1" = { access = "office" }
"2" = { access = "office" }
"3" = { access = "management" }
[[links]]
ends = ["core:1", "edge:1"]
"#;

/// The same with a port that lets any tag in.
fn unfiltered() -> String {
    let port = "\"2\" = { untagged = [\"office\"], pvid = 10, ingress_filter = false }";
    SITE.replace("\"2\" = { access = \"office\" }", port)
}

/// From one site to another.
fn change(old: &str, new: &str, options: &str) -> Ran {
    let (folder, file) = site(old);
    let proposed = folder.path().join("proposed.toml");
    std::fs::write(&proposed, new).expect("a file");
    about(
        &file,
        "change",
        &format!("{} --no-findings {options}", proposed.display()),
    )
}

#[test]
fn what_opens_for_a_hostile_device_only_is_told_in_every_form() {
    let ran = change(SITE, &unfiltered(), "");
    assert_eq!(ran.code, 1, "{ran:?}");
    let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    for told in [
        "switch port core:2 changed (ingress_filter, accept)",
        "Opens For a hostile device, beyond that: office -> management, IPv4",
        "Ways round the gateway: - office -> management: for a hostile device, one-way",
        "Isolation: - management: was isolated by design",
        "Closes nothing",
        "for a hostile device it opens more for 1 pair and closes more for 0 pairs",
        "ways round the gateway: 1 new, 0 gone; isolation: worse for 2 segments, better for 0 segments",
    ] {
        assert!(flat.contains(told), "{told}: {}", ran.out);
    }
    assert!(!flat.contains("no effect"), "{}", ran.out);
    let page = change(SITE, &unfiltered(), "--format markdown").out;
    for told in [
        "For a hostile device, beyond that:",
        "way round the gateway, office -&gt; management: for a hostile device",
        "isolation of management: was isolated by design",
    ] {
        let plain = told.replace("&gt;", ">");
        let escaped = page.replace("\\>", ">").replace("&gt;", ">");
        assert!(escaped.contains(&plain), "{told}: {page}");
    }
    let page = change(SITE, &unfiltered(), "--format html").out;
    for told in [
        "For a hostile device, beyond that",
        "Ways round the gateway",
        "h+ ",
    ] {
        assert!(page.contains(told), "{told}");
    }
    assert!(page.contains("href=\"#h0\"") && page.contains("id=\"h0\""));
}

#[test]
fn the_document_holds_what_opens_for_a_hostile_device() {
    let value = parsed(&change(SITE, &unfiltered(), "--format json"));
    assert_eq!(value["no_effect"], false);
    assert_eq!(value["complete"], true);
    assert_eq!(value["limit"], Value::Null);
    for empty in [
        "opened",
        "closed",
        "closed_for_hostile",
        "ways_round_closed",
    ] {
        assert_eq!(value[empty], serde_json::json!([]), "{empty}");
    }
    let pair = &value["opened_for_hostile"][0];
    assert_eq!(pair["from"], "office");
    assert_eq!(pair["to"], "management");
    assert_eq!(pair["flows"][0]["passes_by"], serde_json::json!([]));
    let way = &value["ways_round_opened"][0];
    assert_eq!(
        (&way["from_kind"], &way["two_way"]),
        (&"segment".into(), &false.into())
    );
    let isolation = &value["isolation"][0];
    assert_eq!(isolation["segment"], "management");
    assert_eq!(isolation["trend"], "worse");
    assert_eq!(isolation["before"]["verdict"], "isolated by design");
    assert_eq!(isolation["after"]["verdict"], "reachable");
}

#[test]
fn a_gate_stays_shut_for_what_opens_for_a_hostile_device() {
    for (what, there, back) in [
        ("never", 0, 0),
        ("worse", 1, 0),
        ("opened", 1, 0),
        ("any", 1, 1),
    ] {
        let option = format!("--fail-on {what}");
        assert_eq!(change(SITE, &unfiltered(), &option).code, there, "{what}");
        assert_eq!(
            change(&unfiltered(), SITE, &option).code,
            back,
            "{what}, back"
        );
        assert_eq!(change(SITE, SITE, &option).code, 0, "{what}, the same");
    }
}
