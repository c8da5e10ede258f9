//! Do published rules about addresses hold: where blocks end, what a link may hold, which sources pass?
//!
//! Addresses are quoted as their sources have them.

#[path = "support/table.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod table;

use boundwalk::forwarding::{Outcome, Stop};
use boundwalk::load::load_text;
use boundwalk::model::Site;

use table::{between, network, packet, site, verdict, walk};

/// Whether a rule for sources in `block` takes a packet from each address.
fn taken_by(block: &str, sources: &[&str]) -> Vec<bool> {
    let rule = format!(
        "[[gateways.edge.rules]]\nname = \"block\"\nsource = [{block}]\naction = \"deny\"\n\
         [[gateways.edge.routes]]\nto = \"0.0.0.0/0\"\nvia = \"198.51.100.1\"\n\
         [[gateways.edge.routes]]\nto = \"::/0\"\nvia = \"2001:db8::1\"\n"
    );
    let left = "\"198.51.100.0/24\", \"2001:db8::/64\"";
    let site = between(
        left,
        "\"203.0.113.0/24\", \"2001:db8:1::/64\"",
        "permit",
        &rule,
    );
    let network = network(&site);
    let verdicts = sources.iter().map(|source| {
        let line = if source.contains(':') {
            format!("udp [{source}]:4000 > [2001:db8:1::9]:53")
        } else {
            format!("udp {source}:4000 > 203.0.113.9:53")
        };
        verdict(&network, "left", &packet(&line)) == "deny block"
    });
    verdicts.collect()
}

/// RFC 1918 section 3: where the three private blocks start and end.
#[test]
fn rfc_1918_blocks_end_where_the_rfc_says() {
    let blocks = "\"10.0.0.0/8\", \"172.16.0.0/12\", \"192.168.0.0/16\"";
    let inside = [
        "10.0.0.0",
        "10.255.255.255",
        "172.16.0.0",
        "172.31.255.255",
        "192.168.0.0",
        "192.168.255.255",
    ];
    let outside = [
        "9.255.255.255",
        "11.0.0.0",
        "172.15.255.255",
        "172.32.0.0",
        "192.167.255.255",
        "192.169.0.0",
    ];
    assert_eq!(taken_by(blocks, &inside), [true; 6]);
    assert_eq!(taken_by(blocks, &outside), [false; 6]);
}

/// RFC 4193 section 3.1: unique local addresses are fc00::/7, those assigned locally fd00::/8.
#[test]
fn rfc_4193_blocks_end_where_the_rfc_says() {
    let last = "fdff:ffff:ffff:ffff:ffff:ffff:ffff:ffff";
    let before = "fbff:ffff:ffff:ffff:ffff:ffff:ffff:ffff";
    let addresses = [before, "fc00::", "fcff::1", "fd00::", last, "fe00::"];
    assert_eq!(
        taken_by("\"fc00::/7\"", &addresses),
        [false, true, true, true, true, false]
    );
    assert_eq!(
        taken_by("\"fd00::/8\"", &addresses),
        [false, false, false, true, true, false]
    );
}

/// Whether a router may have an address, with the segment's length, on a segment with one prefix.
fn may_have(prefix: &str, address: &str) -> bool {
    let text = format!(
        "[zones.plant]\ntrust = 50\n[segments.link]\nzone = \"plant\"\nprefixes = [\"{prefix}\"]\n\
         [routers.floor.interfaces.link]\nsegment = \"link\"\naddresses = [\"{address}\"]\n"
    );
    load_text("link", &text).site.is_some()
}

/// RFC 3021 section 2.1: both addresses of a /31 are hosts'; a /30 has two of four.
#[test]
fn rfc_3021_both_addresses_of_a_link_are_hosts() {
    let of_31 = ["192.0.2.0/31", "192.0.2.1/31", "192.0.2.2/31"];
    assert_eq!(
        of_31.map(|address| may_have("192.0.2.0/31", address)),
        [true, true, false]
    );
    let of_30 = [
        "192.0.2.0/30",
        "192.0.2.1/30",
        "192.0.2.2/30",
        "192.0.2.3/30",
        "192.0.2.4/30",
    ];
    assert_eq!(
        of_30.map(|address| may_have("192.0.2.0/30", address)),
        [false, true, true, false, false]
    );
    assert!(may_have("192.0.2.8/32", "192.0.2.8/32"));
}

/// RFC 6164 section 6: a router may have either address of a /127, where there is no Subnet-Router anycast
/// address; RFC 4291 section 2.6.1: on longer links interface identifier zero is that address.
#[test]
fn rfc_6164_both_addresses_of_a_link_are_routers() {
    let of_127 = ["2001:db8::a/127", "2001:db8::b/127", "2001:db8::c/127"];
    assert_eq!(
        of_127.map(|address| may_have("2001:db8::a/127", address)),
        [true, true, false]
    );
    let of_64 = [
        "2001:db8::/64",
        "2001:db8::1/64",
        "2001:db8::ffff:ffff:ffff:ffff/64",
    ];
    assert_eq!(
        of_64.map(|address| may_have("2001:db8::/64", address)),
        [false, true, true]
    );
}

/// A router with a network at one interface and the default route at another, both with the same check.
fn checked(check: &str, network: &str, own: &str) -> Site {
    site(&format!(
        r#"
[zones.world]
trust = 0
[zones.customer]
trust = 50
[segments.eth0]
zone = "customer"
prefixes = ["{network}"]
[segments.eth1]
zone = "world"
prefixes = ["198.51.100.0/24"]
external = true
[segments.eth2]
zone = "customer"
prefixes = ["203.0.113.0/24"]
[routers.edge.interfaces.eth0]
segment = "eth0"
addresses = ["{own}"]
source_check = "{check}"
[routers.edge.interfaces.eth1]
segment = "eth1"
addresses = ["198.51.100.2/24"]
source_check = "{check}"
[routers.edge.interfaces.eth2]
segment = "eth2"
addresses = ["203.0.113.1/24"]
[[routers.edge.routes]]
to = "0.0.0.0/0"
via = "198.51.100.1"
"#
    ))
}

/// Whether a packet to a third network, arriving from a segment with some source, is forwarded.
fn forwarded(site: &Site, from: &str, source: &str) -> bool {
    let line = format!("udp {source}:4000 > 203.0.113.9:53");
    match walk(&network(site), from, &packet(&line)).outcome {
        Outcome::Delivered(_) => true,
        Outcome::Stopped(Stop::SourceCheck) => false,
        other => panic!("neither forwarded nor stopped by the source check: {other:?}"),
    }
}

/// RFC 3704 section 2, strict and loose reverse path forwarding. Loose checking that ignores the default
/// route (section 2.5) is not in the model, so that column of the RFC is not tried.
#[test]
fn rfc_3704_strict_and_loose() {
    let of = |check: &str| {
        let site = checked(check, "10.0.0.0/24", "10.0.0.1/24");
        let cases = [
            ("eth0", "10.0.0.5"),
            ("eth1", "10.0.0.5"),
            ("eth0", "192.0.2.9"),
            ("eth1", "192.0.2.9"),
        ];
        cases.map(|(from, source)| forwarded(&site, from, source))
    };
    assert_eq!(of("strict"), [true, false, false, true]);
    assert_eq!(of("loose"), [true, true, true, true]);
    assert_eq!(of("off"), [true, true, true, true]);
}

/// RFC 2827 section 3: router 2 lets in from the customer 204.69.207.0/24 nothing but its own addresses.
#[test]
fn rfc_2827_customer_network() {
    let site = checked("strict", "204.69.207.0/24", "204.69.207.1/24");
    let sources = [
        "204.69.207.0",
        "204.69.207.9",
        "204.69.207.255",
        "204.69.206.255",
        "204.69.208.0",
        "10.0.0.1",
    ];
    let passed = sources.map(|source| forwarded(&site, "eth0", source));
    assert_eq!(passed, [true, true, true, false, false, false]);
}
