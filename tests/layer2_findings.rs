//! What checks and worksheets say of layer 2 is what frames do: sites by hand, and random fabrics.
//!
//! By hand: the brewery's bottling hall, where somebody has put a small switch without VLANs, and isolated ports.

use boundwalk::analysis::{Cabling, Difference, LinkMismatch, differences};
use boundwalk::checks::run;
use boundwalk::diagnostic::Finding;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

const SEGMENTS: &str = r#"
[zones.business]
trust = 50
[zones.production]
trust = 60
[segments.office]
zone = "business"
vlan = 10
prefixes = ["10.44.10.0/24"]
[segments.brewhouse]
zone = "production"
vlan = 60
prefixes = ["10.44.60.0/24"]
[segments.cellar]
zone = "production"
vlan = 70
prefixes = ["10.44.70.0/24"]
"#;

fn site(text: &str) -> Site {
    let loaded = load_text("site.toml", &format!("{SEGMENTS}{text}"));
    let problems = loaded.problems;
    loaded
        .site
        .unwrap_or_else(|| panic!("{problems:#?}\n{text}"))
}

fn network(site: &Site) -> Network<'_> {
    Network::new(site, Date::constant(2026, 11, 25))
}

/// Messages of one check.
fn said(site: &Site, check: &str) -> Vec<String> {
    run(&network(site))
        .into_iter()
        .filter(|finding: &Finding| finding.check.name == check)
        .map(|finding| finding.message)
        .collect()
}

/// What differs at the cables of a site.
fn unlike(site: &Site) -> Vec<LinkMismatch> {
    let network = network(site);
    let cabling = Cabling::new(site, &network.fabric);
    let found: Vec<Difference<'_>> = differences(site, &cabling);
    found.into_iter().map(|one| one.what).collect()
}

/// Two switches; a trunk with an untagged VLAN between them.
fn hall(first: &str, trunk: &str) -> String {
    format!(
        r#"
[switches.hall.ports]
"1" = {{ access = "office"{first} }}
"2" = {{ untagged = "office", tagged = ["brewhouse"]{trunk} }}
[switches.kettle.ports]
"1" = {{ untagged = "office", tagged = ["brewhouse"] }}
"2" = {{ access = "brewhouse" }}
[[links]]
ends = ["hall:2", "kettle:1"]
"#
    )
}

#[test]
fn no_tag_hops_between_ports_that_are_isolated_from_each_other() {
    let isolated = ", isolated = true";
    for (first, trunk, hops) in [
        ("", "", true),
        (isolated, "", true),
        ("", isolated, true),
        (isolated, isolated, false),
    ] {
        let site = site(&hall(first, trunk));
        let found = said(&site, "two-tag-hop");
        assert_eq!(!found.is_empty(), hops, "{first} {trunk}: {found:?}");
        if hops {
            assert_eq!(
                found,
                [
                    "hall:2: sends VLAN 10 (office) untagged: a tag below it may lead on into VLAN 60 (brewhouse)"
                ]
            );
        }
    }
}

/// The switch behind the trunk carries the VLAN, but no port for devices is in it.
#[test]
fn a_tag_that_leads_to_no_device_is_no_hop() {
    let behind = |port: &str| {
        let text = hall("", "").replace(r#""2" = { access = "brewhouse" }"#, port);
        said(&site(&text), "two-tag-hop").len()
    };
    assert_eq!(behind(r#""2" = { access = "brewhouse" }"#), 1);
    assert_eq!(behind(r#""2" = { access = "office" }"#), 0);
    assert_eq!(
        behind(r#""2" = { access = "brewhouse", enabled = false }"#),
        0
    );
    // Whoever sits there expects tags, and the file knows of nobody.
    assert_eq!(behind(r#""2" = { tagged = ["brewhouse"] }"#), 0);
}

/// Two ports of the hall's switch, both plugged into one switch without VLANs.
fn joined(two: &str) -> String {
    format!(
        r#"
[switches.hall.ports]
"1" = {{ access = "brewhouse" }}
"2" = {{ {two} }}
[switches.bench]
vlan_aware = false
[switches.bench.ports]
"1-3" = {{}}
[[links]]
ends = ["hall:1", "bench:1"]
[[links]]
ends = ["hall:2", "bench:2"]
"#
    )
}

#[test]
fn a_switch_without_vlans_that_joins_two_segments_is_found_at_the_ports_that_feed_it() {
    let site = site(&joined(r#"access = "cellar""#));
    assert_eq!(
        said(&site, "segments-joined"),
        [
            "hall:1: sends VLAN 60 (brewhouse) to bench, which knows no VLANs, and hall:2 takes that into VLAN 70 \
             (cellar)",
            "hall:2: sends VLAN 70 (cellar) to bench, which knows no VLANs, and hall:1 takes that into VLAN 60 \
             (brewhouse)",
        ]
    );
    let joins: Vec<(u16, u16)> = unlike(&site)
        .into_iter()
        .filter_map(|what| match what {
            LinkMismatch::Joins(0, vlan, _, into) => Some((vlan.get(), into.get())),
            _ => None,
        })
        .collect();
    assert_eq!(joins, [(60, 70), (70, 60)]);
}

#[test]
fn what_is_no_join_of_segments_is_called_none() {
    for two in [
        r#"access = "brewhouse""#,
        r#"enabled = false"#,
        // Neither end of the bench takes what the other sends.
        r#"tagged = ["cellar"]"#,
        // Its own PVID is wrong: `pvid-not-untagged`.
        r#"pvid = "cellar", untagged = ["brewhouse"]"#,
    ] {
        let site = site(&joined(two));
        assert_eq!(said(&site, "segments-joined"), [""; 0], "{two}");
        let joins = |what: &LinkMismatch| matches!(what, LinkMismatch::Joins(..));
        assert!(!unlike(&site).iter().any(joins), "{two}");
    }
    let wrong = site(&joined(r#"pvid = "cellar", untagged = ["brewhouse"]"#));
    assert_eq!(said(&wrong, "pvid-not-untagged").len(), 1);
}

/// Isolated ports of the bench do not reach each other.
#[test]
fn isolated_ports_join_nothing() {
    let text = joined(r#"access = "cellar""#)
        .replace(r#""1-3" = {}"#, "\"1-2\" = { isolated = true }\n\"3\" = {}");
    assert_eq!(said(&site(&text), "segments-joined"), [""; 0]);
}

/// A switch without VLANs alone in the hall, with hosts of two segments and no port of another switch.
#[test]
fn hosts_of_two_segments_on_a_switch_without_vlans_are_found() {
    let text = r#"
[switches.bench]
vlan_aware = false
[switches.bench.ports]
"1-2" = {}
[hosts.scales]
[[hosts.scales.interfaces]]
segment = "brewhouse"
port = "bench:1"
[hosts.pump]
[[hosts.pump.interfaces]]
segment = "cellar"
port = "bench:2"
"#;
    let found = said(&site(text), "segments-joined");
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(
        found[0].contains("is on bench with pump:") && found[0].ends_with("which is on cellar"),
        "{found:?}"
    );
    let alike = text.replace("cellar", "brewhouse");
    assert_eq!(said(&site(&alike), "segments-joined"), [""; 0]);
}

/// A case of the folder of cases, with parts of its text replaced.
fn case(name: &str, edits: &[(&str, &str)]) -> Site {
    let path = format!("{}/tests/cases/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let mut text = std::fs::read_to_string(&path).expect(&path);
    for (old, new) in edits {
        assert!(text.contains(old), "{name}: {old}");
        text = text.replace(old, new);
    }
    let loaded = load_text(name, &text);
    let problems = format!("{:#?}", loaded.problems);
    loaded.site.expect(&problems)
}

/// Whom a check speaks of.
fn subjects(site: &Site, check: &str) -> Vec<String> {
    run(&network(site))
        .into_iter()
        .filter(|finding| finding.check.name == check)
        .flat_map(|finding| finding.subjects)
        .collect()
}

#[test]
fn switches_without_vlans_are_found_at_both_ports_that_feed_them() {
    let ports = |name| subjects(&case(name, &[]), "segments-joined");
    assert_eq!(ports("hub"), ["core:1", "core:2"]);
    assert_eq!(ports("dumb-switch"), ["core:3", "cellar:7"]);
    // Hosts on either side are where they should be.
    for name in ["hub", "dumb-switch"] {
        assert_eq!(subjects(&case(name, &[]), "host-off-segment"), [""; 0]);
    }
}

#[test]
fn isolated_ports_have_neither_a_hop_nor_a_way_round() {
    let site = case("isolated-ports", &[]);
    assert_eq!(subjects(&site, "two-tag-hop"), [""; 0]);
    assert_eq!(subjects(&site, "bypass-open"), [""; 0]);
}

/// A claim of isolation and the hop into its VLAN are found together or not at all.
#[test]
fn hops_and_isolation_tell_one_story() {
    let core_port = ("\"5\" = { access = 1 }", "\"5\" = { enabled = false }");
    let cellar_port = ("\"7\" = { access = 1 }", "\"7\" = { enabled = false }");
    for (edits, hopping) in [
        (&[][..], vec!["core:7", "cellar:8"]),
        (&[cellar_port][..], vec!["core:7"]),
        (&[core_port][..], vec!["cellar:8"]),
        (&[core_port, cellar_port][..], vec![]),
    ] {
        let site = case("vlan1-everywhere", edits);
        let into = |found: &String| found.contains("90 (management)");
        let hops = said(&site, "two-tag-hop");
        assert!(hops.iter().all(into), "{hops:?}");
        assert_eq!(subjects(&site, "two-tag-hop"), hopping);
        assert_eq!(
            subjects(&site, "isolation-broken").len(),
            usize::from(!hopping.is_empty())
        );
    }
}
