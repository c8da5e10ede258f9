//! Does the slow, obvious simulator say what is so?
//!
//! The sites of `tests/cases` and a few written here, each with an answer reasoned by hand; most were seen in a stock
//! kernel too. So the oracle of layer 3 is held against something that is not the product.

#[path = "oracles/simulator.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod simulator;

use std::path::Path;

use boundwalk::load::load_text;
use boundwalk::model::{Date, ICMP, Protocol, SegmentId, Site, TCP, UDP};

use simulator::{Decision, Outcome, Probe, Simulator, Spot, Stance};

const TODAY: Date = Date::constant(2026, 11, 25);

/// A site of `tests/cases`, with more lines at its end.
fn case(name: &str, more: &str) -> Site {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases");
    let text = std::fs::read_to_string(folder.join(format!("{name}.toml"))).expect("a case");
    loaded(&(text + more))
}

fn loaded(text: &str) -> Site {
    let loaded = load_text("case", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems))
}

fn segment(site: &Site, name: &str) -> SegmentId {
    let mut all = site.segment_ids();
    let found = all.find(|&id| site.segment(id).name.value == name);
    found.unwrap_or_else(|| panic!("no segment {name}"))
}

/// A packet with the ports that clients use; an echo request for ICMP, whatever the port.
fn packet(protocol: Protocol, source: &str, destination: &str, port: u16) -> Probe {
    let echo = protocol == ICMP;
    Probe {
        source: source.parse().expect("an address"),
        destination: destination.parse().expect("an address"),
        protocol: protocol.0,
        source_port: if echo { 0 } else { 50_000 },
        destination_port: if echo { 8 * 256 } else { port },
    }
}

fn tcp(source: &str, destination: &str) -> Probe {
    packet(TCP, source, destination, 443)
}

fn udp(source: &str, destination: &str) -> Probe {
    packet(UDP, source, destination, 53)
}

fn echo(source: &str, destination: &str) -> Probe {
    packet(ICMP, source, destination, 0)
}

/// A way in words: `brewhouse by edge (office reads the brewhouse), historian: answered`.
fn shown(site: &Site, way: &Outcome) -> String {
    let place = match way.place {
        Spot::Segment(number) => &site.segments[number].name.value,
        Spot::Router(number) => &site.routers[number].name.value,
    };
    let hops = way.hops.iter().map(|hop| {
        let router = site.routers.get(hop.device);
        let Some(router) = router else {
            return site.hosts[hop.device - site.routers.len()]
                .name
                .value
                .clone();
        };
        let filter = router.filter();
        match (hop.decided, filter) {
            (Some(Decision::Rule(rule)), Some(filter)) => {
                format!("{} ({})", router.name.value, filter.rules[rule].name.value)
            }
            (Some(Decision::Default), _) => format!("{} (default)", router.name.value),
            _ => router.name.value.clone(),
        }
    });
    let hops: Vec<String> = hops.collect();
    let answered = if way.came_back {
        "answered"
    } else {
        "not answered"
    };
    format!("{place} by {}: {answered}", hops.join(", "))
}

/// Every way of a packet from a segment, in words.
fn ways(site: &Site, from: &str, stance: Stance, probe: Probe) -> Vec<String> {
    let simulator = Simulator::new(site, TODAY);
    let ways = simulator.send(segment(site, from), probe, stance);
    ways.iter().map(|way| shown(site, way)).collect()
}

fn configured(site: &Site, from: &str, probe: Probe) -> Vec<String> {
    ways(site, from, Stance::Configured, probe)
}

fn hostile(site: &Site, from: &str, probe: Probe) -> Vec<String> {
    ways(site, from, Stance::Hostile, probe)
}

const NOTHING: [&str; 0] = [];

#[test]
fn a_hosts_own_route_leads_round_the_gateway() {
    let site = case("own-route", "");
    let probe = tcp("10.44.10.11", "10.44.60.12");
    let way = ["brewhouse by historian: answered"];
    assert_eq!(configured(&site, "office", probe), way);
    let simulator = Simulator::new(&site, TODAY);
    let by_host = simulator.send_from_host(0, probe);
    assert_eq!(
        by_host,
        simulator.send(segment(&site, "office"), probe, Stance::Configured)
    );
    // A plain device sends by the gateway, which denies it.
    assert_eq!(
        configured(&site, "office", tcp("10.44.10.50", "10.44.60.12")),
        NOTHING
    );
    // And a plain receiver has no route by the historian: its answer is stopped.
    let plain = tcp("10.44.10.11", "10.44.60.50");
    assert_eq!(
        configured(&site, "office", plain),
        ["brewhouse by historian: not answered"]
    );
}

#[test]
fn a_hosts_own_default_gateway_leads_round_the_gateway() {
    let site = case("own-gateway", "");
    let (by_host, plain) = (
        tcp("10.44.10.11", "10.44.60.12"),
        tcp("10.44.10.50", "10.44.60.12"),
    );
    assert_eq!(
        configured(&site, "office", by_host),
        ["brewhouse by old: answered"]
    );
    assert_eq!(configured(&site, "office", plain), NOTHING);
    assert_eq!(
        hostile(&site, "office", plain),
        ["brewhouse by old: answered"]
    );
}

#[test]
fn a_host_answers_for_its_far_address() {
    let site = case("far-address", "");
    let far = tcp("10.44.10.11", "10.44.60.13");
    assert_eq!(
        configured(&site, "office", far),
        ["brewhouse by historian: answered"]
    );
    // It does not route: the kettle behind it is not reached.
    assert_eq!(
        configured(&site, "office", tcp("10.44.10.11", "10.44.60.12")),
        NOTHING
    );
    let forged = tcp("10.44.10.50", "10.44.60.13");
    assert_eq!(configured(&site, "office", forged), NOTHING);
    assert_eq!(
        hostile(&site, "office", forged),
        ["brewhouse by historian: answered"]
    );
}

#[test]
fn a_hostile_camera_reaches_the_recorders_server_address() {
    let site = case("two-homes", "");
    let probe = tcp("10.44.70.66", "10.44.30.20");
    assert_eq!(
        hostile(&site, "cameras", probe),
        ["servers by recorder: answered"]
    );
    assert_eq!(configured(&site, "cameras", probe), NOTHING);
}

#[test]
fn a_stateful_gateway_that_sees_one_direction_stops_tcp_only() {
    for (name, target) in [
        ("half-open", "10.44.60.12"),
        ("half-open-router", "10.44.60.12"),
    ] {
        let site = case(name, "");
        let way = |answer: &str| {
            [format!(
                "brewhouse by edge (office reads the brewhouse): {answer}"
            )]
        };
        for source in ["10.44.10.11", "10.44.10.50"] {
            let tcp = configured(&site, "office", tcp(source, target));
            assert_eq!(tcp, way("not answered"), "{name}");
            let udp = configured(&site, "office", udp(source, target));
            assert_eq!(udp, way("answered"), "{name}");
            let echo = configured(&site, "office", echo(source, target));
            assert_eq!(echo, way("answered"), "{name}");
        }
        let other = configured(
            &site,
            "office",
            packet(Protocol(47), "10.44.10.11", target, 0),
        );
        assert_eq!(other, way("answered"), "{name}");
    }
    // A plain device of the brewhouse answers by the gateway.
    let site = case("half-open", "");
    let plain = configured(&site, "office", tcp("10.44.10.11", "10.44.60.50"));
    assert_eq!(
        plain,
        ["brewhouse by edge (office reads the brewhouse): answered"]
    );
}

#[test]
fn both_interfaces_on_one_wire_are_tried() {
    for name in ["two-on-wire-1", "two-on-wire-2"] {
        let site = case(name, "");
        let (office, probe) = (segment(&site, "office"), tcp("10.44.10.11", "10.44.60.12"));
        // As the file puts the interfaces on segments, there is one way, and it is denied.
        assert_eq!(configured(&site, "office", probe), NOTHING, "{name}");
        // As the ports are set, the guest interface is on the office's wire too.
        let cabled = Simulator::cabled(&site, TODAY, &[(0, 1, office)]);
        let ways = cabled.send(office, probe, Stance::Configured);
        let ways: Vec<String> = ways.iter().map(|way| shown(&site, way)).collect();
        assert_eq!(ways, ["brewhouse by edge (default): answered"], "{name}");
    }
}

/// Two interfaces of a gateway in the office, of which only the second lets a packet of the office in.
const TWO_IN_THE_OFFICE: &str = r#"
[zones.business]
trust = 50
[segments.office]
zone = "business"
prefixes = ["10.44.10.0/24", "fd44:0:0:10::/64"]
[segments.brewhouse]
zone = "business"
prefixes = ["10.44.60.0/24", "fd44:0:0:60::/64"]
[gateways.edge]
default = "permit"
[gateways.edge.interfaces.first]
segment = "office"
addresses = ["10.44.10.1/24", "fd44:0:0:10::1/64"]
[gateways.edge.interfaces.second]
segment = "office"
addresses = ["10.44.10.2/24"]
source_check = "strict"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
addresses = ["10.44.60.1/24", "fd44:0:0:60::1/64"]
"#;

#[test]
fn an_ipv4_address_is_answered_for_by_each_interface_and_an_ipv6_address_by_its_own() {
    let swapped = TWO_IN_THE_OFFICE.replace("source_check = \"strict\"\n", "");
    let swapped = swapped.replace(
        "addresses = [\"10.44.10.1/24\", \"fd44:0:0:10::1/64\"]",
        "addresses = [\"10.44.10.1/24\", \"fd44:0:0:10::1/64\"]\nsource_check = \"loose\"",
    );
    for text in [TWO_IN_THE_OFFICE, swapped.as_str()] {
        let site = loaded(text);
        let (four, six) = (
            tcp("10.44.10.9", "10.44.60.9"),
            tcp("fd44:0:0:10::9", "fd44:0:0:60::9"),
        );
        // The second interface fails the strict check; the first is tried all the same.
        let way = ["brewhouse by edge (default): answered"];
        assert_eq!(configured(&site, "office", four), way);
        assert_eq!(configured(&site, "office", six), way);
    }
    // With the check on the interface that has the IPv6 address, and its route by the other, only IPv4 gets in.
    let checked = TWO_IN_THE_OFFICE
        .replace("source_check = \"strict\"\n", "")
        .replace(
            "[gateways.edge.interfaces.first]",
            "[gateways.edge.interfaces.first]\nsource_check = \"strict\"",
        )
        + "[[gateways.edge.routes]]\nto = \"10.44.10.8/29\"\nvia = \"10.44.10.77\"\ninterface = \"second\"\n"
        + "[[gateways.edge.routes]]\nto = \"fd44:0:0:10::8/125\"\nvia = \"fd44:0:0:10::77\"\ninterface = \"second\"\n";
    let site = loaded(&checked);
    let (four, six) = (
        tcp("10.44.10.9", "10.44.60.9"),
        tcp("fd44:0:0:10::9", "fd44:0:0:60::9"),
    );
    let in_by_the_second = ["brewhouse by edge (default): not answered"];
    assert_eq!(configured(&site, "office", four), in_by_the_second);
    assert_eq!(configured(&site, "office", six), NOTHING);
}

#[test]
fn a_translation_to_an_interface_takes_the_address_of_the_targets_subnet() {
    let site = case("masq-two-addresses", "");
    let simulator = Simulator::new(&site, TODAY);
    for (destination, source) in [("10.44.71.12", "10.44.71.1"), ("10.44.70.5", "10.44.70.1")] {
        let probe = tcp("10.44.10.11", destination);
        let ways = simulator.send(segment(&site, "office"), probe, Stance::Configured);
        let [way] = ways.as_slice() else {
            panic!("{ways:?}")
        };
        assert_eq!(way.arrived.source.to_string(), source);
        assert!(way.came_back, "{destination}");
    }
}

#[test]
fn a_packet_from_the_receivers_own_address_is_dropped() {
    let site = case("forged-own", "");
    let to = |source: &str, destination: &str| hostile(&site, "office", tcp(source, destination));
    for (source, destination) in [
        ("10.44.60.12", "10.44.60.12"), // the kettle
        ("10.44.60.99", "10.44.60.99"), // a plain device
        ("10.44.60.1", "10.44.60.1"),   // the gateway
        ("10.44.10.1", "10.44.60.1"),   // the gateway, another address of its own
    ] {
        assert_eq!(to(source, destination), NOTHING, "{source} {destination}");
    }
    // Others arrive; the answer stays in the brewhouse.
    let forged = ["brewhouse by edge (default): not answered"];
    assert_eq!(to("10.44.60.13", "10.44.60.12"), forged);
    assert_eq!(
        to("10.44.10.66", "10.44.60.1"),
        ["edge by edge (default): answered"]
    );
}

#[test]
fn a_rewritten_packet_is_another_one_and_makes_no_loop() {
    for name in ["rewritten-loop", "rewritten-no-loop"] {
        let site = case(name, "");
        let way = "brewhouse by edge (default), core (default), balancer (default), core (default)";
        let unanswered = [format!("{way}: not answered")];
        for probe in [
            tcp("10.44.20.5", "192.0.2.10"),
            udp("10.44.20.5", "192.0.2.10"),
        ] {
            assert_eq!(configured(&site, "guest", probe), unanswered, "{name}");
        }
    }
    // The balancer writes its own address as the source: the answer comes back to it. `edge` gets it from `balancer`
    // directly, so `core` sees one direction only of what it passed to the balancer: TCP stops there.
    let published =
        "[[gateways.balancer.source_translations]]\nname = \"own\"\nto_address = \"interface\"\n";
    let site = case("rewritten-loop", published);
    let ask = |probe| {
        let ways = configured(&site, "guest", probe);
        ways.iter()
            .map(|way| way.ends_with(": answered"))
            .collect::<Vec<_>>()
    };
    assert_eq!(ask(udp("10.44.20.5", "192.0.2.10")), [true]);
    assert_eq!(ask(tcp("10.44.20.5", "192.0.2.10")), [false]);
    // By the interface of its own, `core` sees every packet in both directions: its two states are undone in turn.
    let site = case("rewritten-no-loop", published);
    let ask = |probe| {
        configured(&site, "guest", probe)
            .iter()
            .map(|way| way.ends_with(": answered"))
            .collect::<Vec<_>>()
    };
    assert_eq!(ask(tcp("10.44.20.5", "192.0.2.10")), [true]);
}

#[test]
fn what_leaves_by_the_wan_is_out_there_and_a_private_destination_is_lost() {
    let site = case("out-of-the-wan", "");
    for stance in [Stance::Configured, Stance::Hostile] {
        let management = tcp("10.44.10.5", "10.44.90.2");
        assert_eq!(ways(&site, "office", stance, management), NOTHING);
        for lost in ["192.168.7.7", "172.31.0.1", "100.64.0.1", "10.200.0.1"] {
            assert_eq!(
                ways(&site, "office", stance, tcp("10.44.10.5", lost)),
                NOTHING
            );
        }
        for arrives in ["198.51.100.7", "203.0.113.3", "172.32.0.1", "100.128.0.1"] {
            let ways = ways(&site, "office", stance, tcp("10.44.10.5", arrives));
            let way = ["internet by edge (office on the web): not answered"];
            assert_eq!(ways, way, "{arrives}");
        }
    }
}

#[test]
fn the_internet_does_not_answer_a_private_source() {
    let out = tcp("10.44.10.5", "198.51.100.7");
    let way = |answer: &str| [format!("internet by edge (office on the web): {answer}")];
    let site = case("no-translation", "");
    assert_eq!(configured(&site, "office", out), way("not answered"));
    let translated = r#"
[[gateways.edge.source_translations]]
name = "behind the gateway"
to = ["internet"]
to_address = "interface"
"#;
    let site = case("no-translation", translated);
    assert_eq!(configured(&site, "office", out), way("answered"));
    // Who may send out there: public addresses that no segment inside has, never private ones.
    let simulator = Simulator::new(&site, TODAY);
    let lives = |address: &str| {
        let address = address.parse().expect("an address");
        simulator.lives_on(segment(&site, "internet"), address)
    };
    assert!(lives("198.51.100.7") && lives("203.0.113.3"));
    assert!(!lives("10.44.10.5") && !lives("10.200.0.1") && !lives("192.168.1.1"));
}

#[test]
fn a_partners_network_answers_where_it_is_routed() {
    let site = case("partner-network", "");
    let simulator = Simulator::new(&site, TODAY);
    let way = |answer: &str| [format!("partner by edge (office to the partner): {answer}")];
    assert_eq!(
        configured(&site, "office", tcp("10.44.10.5", "10.77.3.3")),
        way("not answered")
    );
    assert_eq!(
        configured(&site, "office", tcp("10.44.10.20", "10.77.3.3")),
        way("answered")
    );
    // What the partner does not route is lost there as anywhere outside.
    assert_eq!(
        configured(&site, "office", tcp("10.44.10.20", "10.78.3.3")),
        NOTHING
    );
    let lives = |address: &str| {
        let address = address.parse().expect("an address");
        simulator.lives_on(segment(&site, "partner"), address)
    };
    assert!(lives("10.77.3.3") && !lives("10.78.3.3") && !lives("10.44.10.20"));
    // A described host there answers by its own routes, whatever the partner routes; a plain device does not.
    let relay = "[hosts.relay]\ndefault_gateway = [\"203.0.113.10\"]\n[[hosts.relay.interfaces]]\naddresses = [\"203.0.113.12\"]\n";
    let with_relay = case("partner-network", relay);
    let to = |destination| configured(&with_relay, "office", tcp("10.44.10.5", destination));
    assert_eq!(to("203.0.113.12"), way("answered"));
    assert_eq!(to("203.0.113.13"), way("not answered"));
    // Its packets come in; the rules deny them.
    assert_eq!(
        configured(&site, "partner", tcp("10.77.3.3", "10.44.10.20")),
        NOTHING
    );
}

/// The answer takes another way, past a second stateful gateway.
const ANSWER_ELSEWHERE: &str = r#"
[zones.business]
trust = 50
[segments.office]
zone = "business"
prefixes = ["10.44.10.0/24"]
[segments.brewhouse]
zone = "business"
prefixes = ["10.44.60.0/24"]
[routers.old.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24"]
[routers.old.interfaces.brewhouse]
segment = "brewhouse"
addresses = ["10.44.60.1/24"]
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
addresses = ["10.44.10.2/24"]
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
addresses = ["10.44.60.2/24"]
[[gateways.edge.rules]]
name = "answers"
from = ["brewhouse"]
services = ["udp/50000", "tcp/50000", "icmp/0"]
action = "permit"
[hosts.clerk]
default_gateway = ["10.44.10.1"]
[[hosts.clerk.interfaces]]
addresses = ["10.44.10.11/24"]
[hosts.kettle]
default_gateway = ["10.44.60.2"]
[[hosts.kettle.interfaces]]
addresses = ["10.44.60.12/24"]
"#;

#[test]
fn an_answer_passes_a_gateway_that_does_not_know_it_by_a_rule_of_its_own() {
    let answered = |site: &Site, probe| {
        let simulator = Simulator::new(site, TODAY);
        let ways = simulator.send_from_host(0, probe);
        let [way] = ways.as_slice() else {
            panic!("{ways:?}")
        };
        assert_eq!(way.hops.len(), 1);
        way.came_back
    };
    let (source, destination) = ("10.44.10.11", "10.44.60.12");
    let site = loaded(ANSWER_ELSEWHERE);
    assert!(answered(&site, udp(source, destination)));
    // An echo reply without a request begins no flow.
    assert!(!answered(&site, echo(source, destination)));
    // An answer without a connection is none; a gateway without state lets it pass.
    assert!(!answered(&site, tcp(source, destination)));
    let stateless =
        ANSWER_ELSEWHERE.replace("[gateways.edge]", "[gateways.edge]\nstateful = false");
    assert!(answered(&loaded(&stateless), tcp(source, destination)));
    // Denied, or rewritten on the way: not answered.
    let denied = ANSWER_ELSEWHERE.replace("action = \"permit\"", "action = \"deny\"");
    assert!(!answered(&loaded(&denied), udp(source, destination)));
    let rewritten =
        "[[gateways.edge.source_translations]]\nname = \"own\"\nto_address = \"interface\"\n";
    let rewritten = loaded(&format!("{ANSWER_ELSEWHERE}{rewritten}"));
    assert!(!answered(&rewritten, udp(source, destination)));
}

#[test]
fn packets_that_go_in_circles_arrive_nowhere() {
    let circle = r#"
[zones.business]
trust = 50
[segments.office]
zone = "business"
prefixes = ["10.44.10.0/24"]
[segments.transit]
zone = "business"
prefixes = ["10.44.99.0/24"]
[routers.a.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24"]
[routers.a.interfaces.transit]
segment = "transit"
addresses = ["10.44.99.1/24"]
[[routers.a.routes]]
to = "default"
via = "10.44.99.2"
[routers.b.interfaces.transit]
segment = "transit"
addresses = ["10.44.99.2/24"]
[[routers.b.routes]]
to = "default"
via = "10.44.99.1"
"#;
    let site = loaded(circle);
    assert_eq!(
        hostile(&site, "office", tcp("10.44.10.9", "198.51.100.7")),
        NOTHING
    );
    assert_eq!(
        hostile(&site, "office", tcp("10.44.10.9", "10.44.99.9")),
        ["transit by a: answered"]
    );
}
