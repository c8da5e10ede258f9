//! One gateway, one packet, and which line decides: what published tables state.

use boundwalk::forwarding::{Network, Outcome, Packet, Sender, Stop, Trace, trace};
use boundwalk::load::load_text;
use boundwalk::model::{Action, Date, ICMP, ICMPV6, Protocol, SegmentId, Site, TCP, UDP};

/// A site that loads.
pub fn site(text: &str) -> Site {
    let loaded = load_text("table", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}\n{text}", loaded.problems))
}

/// A gateway between `left` and `right`, each with its prefixes, and its rules. What is not on the right is
/// beyond the left, so that any source may be tried from there.
pub fn between(left: &str, right: &str, default: &str, rules: &str) -> Site {
    site(&format!(
        r#"
[zones.outer]
trust = 10
[zones.inner]
trust = 80
[segments.left]
zone = "outer"
prefixes = [{left}]
external = true
[segments.right]
zone = "inner"
prefixes = [{right}]
[gateways.edge]
default = "{default}"
stateful = false
[gateways.edge.interfaces.left]
segment = "left"
addresses = [{}]
[gateways.edge.interfaces.right]
segment = "right"
addresses = [{}]
{rules}"#,
        last_hosts(left),
        last_hosts(right),
    ))
}

/// For each quoted prefix the last address but one, with the prefix's length, quoted.
fn last_hosts(prefixes: &str) -> String {
    let nets = prefixes.split(", ").map(|net| {
        net.trim_matches('"')
            .parse::<ipnet::IpNet>()
            .expect("a prefix")
    });
    let hosts = nets.map(|net| match net {
        ipnet::IpNet::V4(v4) => {
            let host = std::net::Ipv4Addr::from(u32::from(v4.broadcast()) - 1);
            format!("\"{host}/{}\"", v4.prefix_len())
        }
        ipnet::IpNet::V6(v6) => {
            let host = std::net::Ipv6Addr::from(u128::from(v6.broadcast()) - 1);
            format!("\"{host}/{}\"", v6.prefix_len())
        }
    });
    hosts.collect::<Vec<String>>().join(", ")
}

/// The packet of a line such as `tcp 10.0.0.1:40000 > 10.0.1.1:80`, `icmp 10.0.0.1 > 10.0.1.1 8/0` or
/// `gre 10.0.0.1 > 10.0.1.1`; IPv6 addresses with ports stand in brackets.
pub fn packet(line: &str) -> Packet {
    let words: Vec<&str> = line.split_whitespace().collect();
    let protocol = Protocol::named(words[0]).expect("a protocol");
    let (source, destination) = (words[1], words[3]);
    if protocol == TCP || protocol == UDP {
        let [source, destination] = [source, destination].map(|text| {
            let end: std::net::SocketAddr = text.parse().expect("address and port");
            (end.ip(), end.port())
        });
        return Packet {
            source: source.0,
            destination: destination.0,
            protocol,
            source_port: source.1,
            destination_port: destination.1,
        };
    }
    let destination_port = if protocol == ICMP || protocol == ICMPV6 {
        let (kind, code) = words[4].split_once('/').expect("type/code");
        u16::from_be_bytes([kind, code].map(|text| text.parse().expect("a number")))
    } else {
        0
    };
    let [source, destination] = [source, destination].map(|text| text.parse().expect("an address"));
    Packet {
        source,
        destination,
        protocol,
        source_port: 0,
        destination_port,
    }
}

/// Number of a segment.
pub fn segment(site: &Site, name: &str) -> SegmentId {
    site.segment_ids()
        .find(|&id| site.segment(id).name.value == name)
        .unwrap_or_else(|| panic!("no segment {name}"))
}

/// A site made ready, on a day on which nothing has expired.
pub fn network(site: &Site) -> Network<'_> {
    Network::new(site, Date::constant(2026, 4, 1))
}

/// The one walk of a packet that a device on a segment sends, whatever its source.
pub fn walk(network: &Network<'_>, from: &str, packet: &Packet) -> Trace {
    let sender = Sender::Segment(segment(network.site, from));
    let mut traces = trace(network, sender, packet);
    assert_eq!(traces.len(), 1, "one gateway, one way");
    traces.remove(0)
}

/// Which rule decides at the gateway, and what it does: `permit web`, `deny default`.
///
/// # Panics
/// Where no rule was asked, so that a packet lost on the way can't pass for a denied one.
pub fn verdict(network: &Network<'_>, from: &str, packet: &Packet) -> String {
    let traced = walk(network, from, packet);
    let decided = traced.steps.iter().find_map(|step| step.decision.as_ref());
    let decided = decided.unwrap_or_else(|| panic!("no rule was asked: {traced:?}"));
    let rules = &network.site.routers[0].filter().expect("a gateway").rules;
    let name = match decided.rule {
        Some(rule) => &rules[rule].name.value,
        None => "default",
    };
    let stopped = matches!(traced.outcome, Outcome::Stopped(Stop::Denied(_)));
    assert_eq!(stopped, decided.action != Action::Permit, "{traced:?}");
    format!("{} {name}", decided.action.word())
}

/// Every line of a table: `packet = verdict`.
pub fn check(site: &Site, from: &str, table: &[(&str, &str)]) {
    let network = network(site);
    for (line, expected) in table {
        assert_eq!(verdict(&network, from, &packet(line)), *expected, "{line}");
    }
}
