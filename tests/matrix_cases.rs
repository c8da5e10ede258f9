//! Cells of small sites, worked out by hand: what random sites show too seldom.

use boundwalk::analysis::{
    By, Cell, Extent, Families, HostileReach, Matrix, Question, Reading, find_party,
};
use boundwalk::checks::CHECKS;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, Site};

const TODAY: Date = Date::constant(2026, 4, 1);

/// Two segments and a gateway between them; the cases add to it.
const BASE: &str = r#"
[zones.inside]
trust = 60
[segments.left]
zone = "inside"
prefixes = ["10.0.0.0/28"]
[segments.right]
zone = "inside"
prefixes = ["10.0.1.0/28", "fd00:0:0:1::/64"]
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.left]
segment = "left"
addresses = ["10.0.0.1/28"]
[gateways.edge.interfaces.right]
segment = "right"
addresses = ["10.0.1.1/28", "fd00:0:0:1::1/64", "fe80::1/64"]
"#;

const PUBLISHED: &str = r#"
[[gateways.edge.destination_translations]]
name = "published"
destination = ["198.51.100.80"]
services = ["tcp/443"]
to_address = "10.0.1.9"
to_port = 8443
"#;

const PAGES: &str = r#"
[[gateways.edge.rules]]
name = "pages"
destination = ["10.0.1.9"]
services = ["tcp/8443"]
action = "permit"
"#;

fn site(parts: &[&str]) -> Site {
    let loaded = load_text("case", &parts.concat());
    let problems = format!("{:#?}", loaded.problems);
    loaded.site.expect(&problems)
}

/// The cell of two parties.
fn cell(network: &Network<'_>, by: By, family: Family, from: &str, to: &str) -> Cell {
    let question = Question::all(by, family, true);
    let matrix = Matrix::new(network, &question, &mut |_, _| {});
    let place = |list: &[_], name| {
        let known = find_party(network.site, name);
        let place = list.iter().position(|party| known.contains(party));
        place.expect("a party of the matrix")
    };
    Cell::clone(&matrix.cells[place(&matrix.rows, from)][place(&matrix.columns, to)])
}

fn larger(cell: &Cell) -> bool {
    matches!(cell.hostile, HostileReach::Larger(_))
}

/// A hostile host takes its neighbour's address; for a whole segment that is nothing new.
#[test]
fn a_host_may_forge_its_neighbour() {
    let hosts = r#"
[hosts.one]
[[hosts.one.interfaces]]
segment = "left"
addresses = ["10.0.0.5/28"]
[hosts.other]
[[hosts.other.interfaces]]
segment = "right"
addresses = ["10.0.1.9/28"]
"#;
    let neighbour = "source = [\"10.0.0.7\"]\n";
    let site = site(&[BASE, PAGES, neighbour, hosts]);
    let network = Network::new(&site, TODAY);
    let of_host = cell(&network, By::Host, Family::V4, "one", "other");
    assert!(of_host.some.is_empty() && larger(&of_host));
    let of_segment = cell(&network, By::Segment, Family::V4, "left", "right");
    assert_eq!(of_segment.some.count(), 1);
    assert_eq!(of_segment.hostile, HostileReach::Same);
}

/// Nor do plain devices have the gateway's address.
#[test]
fn a_gateway_may_be_forged() {
    let own = "source = [\"10.0.0.1\"]\n";
    let site = site(&[BASE, PAGES, own]);
    let network = Network::new(&site, TODAY);
    let cell = cell(&network, By::Segment, Family::V4, "left", "right");
    assert!(cell.some.is_empty() && larger(&cell));
}

/// The published address is one of the world's own, as far as the routes tell; it is tried all the same.
#[test]
fn what_is_published_is_reached_from_beyond() {
    let world = r#"
[zones.outside]
trust = 0
[segments.world]
zone = "outside"
prefixes = ["203.0.113.0/29"]
external = true
[gateways.edge.interfaces.world]
segment = "world"
addresses = ["203.0.113.2/29"]
[[gateways.edge.routes]]
to = "0.0.0.0/0"
via = "203.0.113.1"
interface = "world"
"#;
    let site = site(&[BASE, PAGES, PUBLISHED, world]);
    let network = Network::new(&site, TODAY);
    let cell = cell(&network, By::Segment, Family::V4, "world", "right");
    let sent = [443, 8443].map(|port| network.classes.class_of(6, 50_000, port));
    assert_eq!(cell.some.iter().collect::<Vec<_>>(), sent);
}

/// Only a forged source gets the translation, and only the translation is closed to plain devices.
#[test]
fn a_forged_source_may_be_translated() {
    let others = "source = [\"192.0.2.7\"]\n";
    for (limit, more) in [(others, true), ("", false)] {
        let site = site(&[BASE, PAGES, PUBLISHED, limit]);
        let network = Network::new(&site, TODAY);
        let cell = cell(&network, By::Segment, Family::V4, "left", "right");
        assert_eq!(cell.some.count(), if more { 1 } else { 2 });
        assert_eq!(larger(&cell), more);
    }
}

/// No plain device of the left segment has an IPv6 address, a hostile one takes any: its zone must tell.
#[test]
fn a_segment_without_addresses_has_hostile_devices() {
    let open = BASE.replace("\"deny\"", "\"permit\"");
    let site = site(&[&open]);
    let network = Network::new(&site, TODAY);
    let of = |by, from| cell(&network, by, Family::V6, from, "edge");
    let left = of(By::Segment, "left");
    assert_eq!(left.reading, Reading::NoAddresses);
    assert!(larger(&left) && !larger(&of(By::Segment, "right")));
    let zone = of(By::Zone, "inside");
    assert_eq!(zone.reading, Reading::Pair);
    assert!(larger(&zone));
}

/// An address of one link only does not count among those that everything must reach.
#[test]
fn everything_reaches_a_gateway_with_a_link_local_address() {
    let open = BASE.replace("\"deny\"", "\"permit\"");
    let site = site(&[&open]);
    let network = Network::new(&site, TODAY);
    let cell = cell(&network, By::Segment, Family::V6, "right", "edge");
    assert!(cell.everything());
}

/// A packet that got a source of one link only goes no further than that link.
#[test]
fn a_translation_may_write_what_is_not_forwarded() {
    let relay = r#"
[segments.near]
zone = "inside"
prefixes = ["fd00:0:0:2::/64"]
[segments.middle]
zone = "inside"
prefixes = ["10.0.2.0/28"]
[gateways.first]
default = "permit"
[gateways.first.interfaces.near]
segment = "near"
addresses = ["fd00:0:0:2::1/64"]
[gateways.first.interfaces.middle]
segment = "middle"
addresses = ["fe80::1/64"]
[[gateways.first.routes]]
to = "fd00:0:0:1::/64"
via = "fe80::2"
interface = "middle"
[routers.second.interfaces.middle]
segment = "middle"
addresses = ["fe80::2/64"]
[routers.second.interfaces.right]
segment = "right"
addresses = ["fd00:0:0:1::2/64"]
"#;
    let hidden = r#"
[[gateways.first.source_translations]]
name = "hidden"
to = ["middle"]
to_address = "interface"
"#;
    for (translation, open) in [("", true), (hidden, false)] {
        let site = site(&[BASE, relay, translation]);
        let network = Network::new(&site, TODAY);
        let cell = cell(&network, By::Segment, Family::V6, "near", "right");
        assert_eq!((cell.everything(), cell.some.is_empty()), (open, !open));
    }
}

/// The gateway takes both addresses of a host for on-link at one interface; only one of them is there.
#[test]
fn a_host_takes_what_is_for_the_foot_it_comes_to() {
    let wide = r#"
[zones.inside]
trust = 60
[segments.start]
zone = "inside"
prefixes = ["10.0.2.0/28"]
[segments.low]
zone = "inside"
prefixes = ["10.0.0.0/28"]
[segments.high]
zone = "inside"
prefixes = ["10.0.0.16/28"]
[routers.wide.interfaces.start]
segment = "start"
addresses = ["10.0.2.1/28"]
[routers.wide.interfaces.high]
segment = "high"
addresses = ["10.0.0.17/27"]
[hosts.one]
[[hosts.one.interfaces]]
segment = "start"
addresses = ["10.0.2.5/28"]
[hosts.both]
[[hosts.both.interfaces]]
segment = "low"
addresses = ["10.0.0.5/28"]
[[hosts.both.interfaces]]
segment = "high"
addresses = ["10.0.0.20/28"]
"#;
    let site = site(&[wide]);
    let network = Network::new(&site, TODAY);
    let cell = cell(&network, By::Host, Family::V4, "one", "both");
    assert_eq!(*cell.some, network.classes.all());
    assert!(cell.every.is_empty());
}

/// One of two ways is closed, the other carries every packet.
#[test]
fn one_open_way_is_enough() {
    let detour = r#"
[segments.near]
zone = "inside"
prefixes = ["10.0.3.0/28"]
default_gateway = ["10.0.3.6"]
[segments.middle]
zone = "inside"
prefixes = ["10.0.2.0/28"]
[hosts.relay]
forwards = "routes"
[[hosts.relay.interfaces]]
segment = "middle"
addresses = ["10.0.2.6/28"]
[[hosts.relay.interfaces]]
segment = "near"
addresses = ["10.0.3.6/28"]
[hosts.picky]
[[hosts.picky.interfaces]]
segment = "middle"
addresses = ["10.0.2.7/28"]
[[hosts.picky.routes]]
to = "10.0.1.10/32"
discard = true
[hosts.shelf]
[[hosts.shelf.interfaces]]
segment = "right"
addresses = ["10.0.1.9/28", "10.0.1.10/28"]
[gateways.edge.interfaces.middle]
segment = "middle"
addresses = ["10.0.2.1/28"]
[routers.open.interfaces.middle]
segment = "middle"
addresses = ["10.0.2.2/28"]
[routers.open.interfaces.right]
segment = "right"
addresses = ["10.0.1.2/28"]
"#;
    let site = site(&[BASE, PAGES, detour]);
    let network = Network::new(&site, TODAY);
    let of_segment = |from| cell(&network, By::Segment, Family::V4, from, "right");
    assert!(of_segment("near").everything());
    // Plain devices get everything through; one described host does not.
    let middle = of_segment("middle");
    assert!(*middle.some == network.classes.all() && middle.every.is_empty());
    let of_host = |from, to| cell(&network, By::Host, Family::V4, from, to);
    assert!(of_host("relay", "shelf").everything());
    // To one of its two addresses this one can't send at all.
    let picky = of_host("picky", "shelf");
    assert!(!picky.some.is_empty() && picky.every.is_empty());
}

/// A sender whose address is rewritten to one that leads nowhere gets no answer, its neighbours do.
#[test]
fn a_translated_flow_is_answered_by_itself() {
    let hidden = r#"
[[gateways.edge.source_translations]]
name = "hidden"
source = ["10.0.0.7"]
to_address = "203.0.113.200"
"#;
    // Replies go by a router that knows the way to the left segment only.
    let other_way = r#"
[routers.other.interfaces.right]
segment = "right"
addresses = ["10.0.1.2/28"]
[[routers.other.routes]]
to = "10.0.0.0/28"
via = "10.0.1.1"
interface = "right"
"#;
    let place = "\"fd00:0:0:1::/64\"]\n";
    let gateway = format!("{place}default_gateway = [\"10.0.1.2\"]\n");
    let open = BASE
        .replace("\"deny\"", "\"permit\"")
        .replacen(place, &gateway, 1);
    for (translation, answered) in [(hidden, Extent::Some), ("", Extent::All)] {
        let site = site(&[&open, translation, other_way]);
        let network = Network::new(&site, TODAY);
        let cell = cell(&network, By::Segment, Family::V4, "left", "right");
        assert_eq!(cell.two_way, answered);
    }
}

/// Unclaimed ports stand in a matrix only where something passes, which may be in one family: each cell must stand with
/// its own sender and target all the same.
#[test]
fn cells_of_both_families_stand_with_their_own_parties() {
    let mut unlike = 0;
    for check in CHECKS.iter().map(|registered| registered.check) {
        let site = site(&[check.fires]);
        let network = Network::new(&site, TODAY);
        let matrices = Family::ALL.map(|family| {
            let question = Question::all(By::Zone, family, true);
            Matrix::new(&network, &question, &mut |_, _| {})
        });
        let parties = |matrix: &Matrix| (matrix.rows.clone(), matrix.columns.clone());
        unlike += usize::from(parties(&matrices[0]) != parties(&matrices[1]));
        let both = Families::new(&matrices);
        let mut seen = 0;
        for (row, from) in both.rows.iter().enumerate() {
            for (column, to) in both.columns.iter().enumerate() {
                for (matrix, cell) in both.cells(row, column) {
                    let at = matrix.rows.iter().position(|party| party == from);
                    let to = matrix.columns.iter().position(|party| party == to);
                    let own = &matrix.cells[at.expect("a sender")][to.expect("a target")];
                    assert!(std::ptr::eq(cell, own), "{}: {from:?}", check.name);
                    seen += 1;
                }
            }
        }
        let all = matrices
            .iter()
            .map(|matrix| matrix.rows.len() * matrix.columns.len());
        assert_eq!(seen, all.sum::<usize>(), "{}", check.name);
    }
    assert!(unlike > 0, "no example has unclaimed ports in one family");
}
