//! Ways round the gateway worked out by hand, and how each is closed.
//!
//! The outcomes with frames are those of a stock kernel with a VLAN-aware bridge and 802.1Q interfaces, seen by
//! experiment; `tests/kernel_lab.rs` repeats them.

use boundwalk::analysis::{
    Bypass, Closing, Counterpart, Direction, IsolationVerdict, Setting, bypasses, closing,
    isolation, origin_name,
};
use boundwalk::forwarding::{Network, Origin};
use boundwalk::load::load_text;
use boundwalk::model::{Date, RouterId, SegmentId, Site};

const TODAY: Date = Date::constant(2026, 11, 25);

/// Office, brewhouse and guest behind one gateway; switch `core` with the gateway, switch `floor` behind it.
const HEAD: &str = r#"
[zones.business]
trust = 50
[zones.production]
trust = 70
[zones.guest]
trust = 10
[segments.office]
zone = "business"
vlan = 10
prefixes = "10.44.10.0/24"
[segments.guest]
zone = "guest"
vlan = 20
prefixes = "10.44.20.0/24"
[segments.brewhouse]
zone = "production"
vlan = 60
prefixes = "10.44.60.0/24"
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
port = "1"
vlan = 10
addresses = "10.44.10.1"
[gateways.edge.interfaces.guest]
segment = "guest"
port = "1"
vlan = 20
addresses = "10.44.20.1"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
port = "1"
vlan = 60
addresses = "10.44.60.1"
[switches.core.ports]
"up" = { tagged = ["office", "guest", "brewhouse"] }
"1" = { access = "office" }
"2" = { access = "guest" }
"3" = { access = "brewhouse" }
PORTS
[[links]]
ends = ["core:up", "edge:1"]
"#;

/// The site with more ports on `core`, and more besides.
fn site(ports: &str, text: &str) -> Site {
    let head = HEAD.replace("PORTS", ports);
    let loaded = load_text("site.toml", &format!("{head}{text}"));
    let problems = loaded.problems;
    loaded.site.unwrap_or_else(|| panic!("{problems:#?}"))
}

/// Ways round as `from -> to`, with `=` for both ways, `t` for tags needed, and how to close them.
fn found(ports: &str, text: &str) -> (Vec<String>, Vec<Vec<String>>) {
    let site = site(ports, text);
    let network = Network::new(&site, TODAY);
    let all = |_: Origin, _: Origin| true;
    let pairs = bypasses(&network, &all);
    let shown = pairs.iter().map(|pair| shown(&network, pair)).collect();
    let closing = closing(&network, &pairs, &all);
    let sets = closing.map_or_else(Vec::new, |closing: Closing| {
        assert!(closing.smallest);
        let name = |setting: &Setting| setting.fact(&site);
        closing
            .sets
            .iter()
            .map(|set| set.iter().map(name).collect())
            .collect()
    });
    (shown, sets)
}

fn shown(network: &Network<'_>, pair: &Bypass) -> String {
    let name = |origin| origin_name(network.site, &network.fabric, origin);
    let arrow = if pair.two_way == Some(true) {
        "=>"
    } else {
        "->"
    };
    let tags = "t".repeat(pair.way.sent().len());
    format!("{} {arrow} {} {tags}", name(pair.from), name(pair.to))
        .trim_end()
        .to_owned()
}

#[test]
fn a_well_set_switch_has_none() {
    let (pairs, closing) = found("", "");
    assert!(pairs.is_empty() && closing.is_empty(), "{pairs:?}");
}

#[test]
fn native_vlans_that_differ_join_two_segments_both_ways() {
    let (pairs, closing) = found(
        "9 = { access = \"office\" }",
        r#"
[switches.floor.ports]
"9" = { access = "brewhouse" }
"1" = { access = "brewhouse" }
[[links]]
ends = ["core:9", "floor:9"]
"#,
    );
    assert_eq!(pairs, ["office => brewhouse", "brewhouse => office"]);
    // Either end: a port that filters on arrival takes nothing in once it is off the VLAN.
    let ends = [
        ["core:9 is in VLAN 10 (office)"],
        ["floor:9 is in VLAN 60 (brewhouse)"],
    ];
    assert_eq!(closing, ends);
}

#[test]
fn two_tags_hop_over_a_native_vlan_one_way() {
    let (pairs, closing) = found(
        r#""9" = { untagged = "office", tagged = ["brewhouse"] }"#,
        r#"
[switches.floor.ports]
"9" = { untagged = "office", tagged = ["brewhouse"] }
"1" = { access = "brewhouse" }
[[links]]
ends = ["core:9", "floor:9"]
"#,
    );
    assert_eq!(pairs, ["office -> brewhouse tt"]);
    // No office is needed behind that cable: carrying it tagged closes the hop, and so does taking it off.
    let off = ["core:9 is in VLAN 10 (office)"];
    assert_eq!(closing, [off, ["core:9 sends VLAN 10 (office) untagged"]]);
}

#[test]
fn an_open_port_with_a_second_vlan_is_a_way_with_a_tag() {
    let ports = "4 = { untagged = \"office\", tagged = [\"brewhouse\"] }";
    let (pairs, closing) = found(ports, "");
    assert_eq!(pairs, ["office => brewhouse t", "brewhouse => office"]);
    assert_eq!(closing, [["core:4 is in VLAN 60 (brewhouse)"]]);
}

#[test]
fn a_host_on_two_segments_is_a_way_whether_it_routes_or_not() {
    let ports = "4 = { access = \"office\" }\n5 = { access = \"brewhouse\" }";
    let host = |forwards: &str| {
        format!(
            r#"
[hosts.historian]
forwards = "{forwards}"
[[hosts.historian.interfaces]]
addresses = "10.44.10.9"
port = "core:4"
[[hosts.historian.interfaces]]
addresses = "10.44.60.9"
port = "core:5"
"#
        )
    };
    // It answers for the address of its other interface (RFC 1122 section 3.3.4.2, weak host model).
    let off = [
        ["historian has an address on office as well"],
        ["historian has an address on brewhouse as well"],
    ];
    let (pairs, closing) = found(ports, &host("no"));
    assert_eq!(pairs, ["office => brewhouse", "brewhouse => office"]);
    assert_eq!(closing, off);
    let (pairs, closing) = found(ports, &host("routes"));
    assert_eq!(pairs, ["office => brewhouse", "brewhouse => office"]);
    assert_eq!(closing, off, "without forwarding it still answers");
    let (pairs, closing) = found(ports, &host("bridges"));
    assert_eq!(pairs, ["office => brewhouse", "brewhouse => office"]);
    let both = off.map(|[address]| ["historian bridges", address]);
    assert_eq!(closing, both, "without bridging it still answers");
}

#[test]
fn a_router_without_rules_is_a_way() {
    let (pairs, closing) = found(
        r#""4" = { access = "office" }
"5" = { access = "brewhouse" }"#,
        r#"
[routers.hall.interfaces]
office = { segment = "office", port = "1", addresses = "10.44.10.2/24" }
brewhouse = { segment = "brewhouse", port = "2", addresses = "10.44.60.2/24" }
[[links]]
ends = ["core:4", "hall:1"]
[[links]]
ends = ["core:5", "hall:2"]
"#,
    );
    assert_eq!(pairs, ["office => brewhouse", "brewhouse => office"]);
    assert_eq!(closing, [["hall forwards without rules"]]);
}

#[test]
fn a_wrong_pvid_leaks_one_way() {
    let ports = "4 = { pvid = 10, untagged = [60], accept = \"untagged\" }";
    let (pairs, closing) = found(ports, "");
    // What sits there sends into the office and hears the brewhouse.
    assert_eq!(pairs, ["brewhouse -> office"]);
    assert!(
        closing.contains(&vec!["core:4 is in VLAN 60 (brewhouse)".to_owned()]),
        "{closing:?}"
    );
}

#[test]
fn an_unaware_switch_between_two_vlans_joins_them() {
    let (pairs, _) = found(
        r#""4" = { access = "office" }
"5" = { access = "brewhouse" }"#,
        r#"
[switches.closet]
vlan_aware = false
[switches.closet.ports]
"1-3" = {}
[[links]]
ends = ["core:4", "closet:1"]
[[links]]
ends = ["core:5", "closet:2"]
"#,
    );
    assert_eq!(pairs, ["office => brewhouse", "brewhouse => office"]);
}

#[test]
fn pairs_of_one_zone_are_no_bypass() {
    let text = HEAD.replace("zone = \"production\"", "zone = \"business\"");
    let text = text.replace("[zones.production]\ntrust = 70\n", "");
    let ports = "4 = { untagged = \"office\", tagged = [\"brewhouse\"] }";
    let loaded = load_text("site.toml", &text.replace("PORTS", ports));
    let site = loaded.site.expect("loads");
    assert!(bypasses(&Network::new(&site, TODAY), &|_, _| true).is_empty());
}

/// The gateway's port is in no VLAN 60 and does not filter: what the gateway sends gets in, nothing gets out.
#[test]
fn a_gateway_that_is_heard_one_way_ends_isolation_by_design() {
    let head = HEAD.replace("PORTS", "").replace(
        "\"up\" = { tagged = [\"office\", \"guest\", \"brewhouse\"] }",
        "\"up\" = { pvid = \"none\", tagged = [\"office\", \"guest\"], ingress_filter = false }",
    );
    let loaded = load_text("site.toml", &head);
    let site = loaded.site.expect("loads");
    let network = Network::new(&site, TODAY);
    let brewhouse = site
        .segments
        .iter()
        .position(|segment| segment.name.value == "brewhouse");
    let IsolationVerdict::ByRule { contacts, .. } =
        isolation(&network, SegmentId(brewhouse.expect("there")))
    else {
        panic!("the gateway reaches it, and its rules deny everything");
    };
    let met: Vec<(Direction, Counterpart)> = contacts
        .iter()
        .map(|contact| (contact.direction, contact.met))
        .collect();
    assert_eq!(met, [(Direction::Into, Counterpart::Router(RouterId(0)))]);
}
