//! One gateway with a long random rule list, as text.

use std::fmt::Write;

use crate::random::Random;

/// Segments: two of a zone, two prefixes on one, one beyond which is everything.
const HEAD: &str = r#"
[zones.near]
trust = 60
[zones.far]
trust = 40
[zones.world]
trust = 0
[segments.desks]
zone = "near"
prefixes = ["10.1.0.0/24"]
[segments.benches]
zone = "near"
prefixes = ["10.2.0.0/25", "10.2.1.0/26"]
[segments.racks]
zone = "far"
prefixes = ["10.3.0.0/22"]
[segments.uplink]
zone = "world"
prefixes = ["203.0.113.0/29"]
routes = ["10.0.0.0/8"]
external = true
[gateways.edge]
default = "DEFAULT"
[gateways.edge.interfaces.desks]
segment = "desks"
addresses = ["10.1.0.1/24"]
[gateways.edge.interfaces.benches]
segment = "benches"
addresses = ["10.2.0.1/25", "10.2.1.1/26"]
[gateways.edge.interfaces.racks]
segment = "racks"
addresses = ["10.3.0.1/22"]
[gateways.edge.interfaces.uplink]
segment = "uplink"
addresses = ["203.0.113.2/29"]
[[gateways.edge.routes]]
to = "0.0.0.0/0"
via = "203.0.113.1"
interface = "uplink"
"#;

/// Segment, its zone, and what to draw from: first address and number of addresses.
const PLACES: [(&str, &str, u32, usize); 5] = [
    ("desks", "near", 0x0a01_0000, 256),
    ("benches", "near", 0x0a02_0000, 128),
    ("benches", "near", 0x0a02_0100, 64),
    ("racks", "far", 0x0a03_0000, 1024),
    ("uplink", "world", 0xc633_6400, 256),
];
const SERVICES: [&str; 12] = [
    "tcp/22",
    "tcp/80",
    "tcp/443",
    "tcp/8000-8100",
    "tcp/1024-65535",
    "tcp/any from 20",
    "udp/53",
    "udp/1000-2000",
    "udp",
    "icmp/8",
    "icmp",
    "protocol/47",
];

/// A site whose gateway has so many rules.
pub fn random_list(seed: u64, rules: usize, default: &str) -> String {
    let mut random = Random::new(seed);
    let mut text = HEAD.replace("DEFAULT", default);
    for number in 0..rules {
        write_rule(&mut random, number, &mut text);
    }
    text
}

fn write_rule(random: &mut Random, number: usize, text: &mut String) {
    let action = *random.pick(&["permit", "permit", "deny", "reject"]);
    writeln!(
        text,
        "[[gateways.edge.rules]]\nname = \"rule {number}\"\naction = \"{action}\""
    )
    .expect("a string");
    // Seldom every address on one side, never on both: else a few rules would hide all others.
    let everything = random.below(16);
    let keys = [("from", "source"), ("to", "destination")];
    for (side, (party, key)) in keys.into_iter().enumerate() {
        let &(segment, zone, first, size) = random.pick(&PLACES);
        match random.below(10) {
            0..3 => {}
            3 if side == 1 => text.push_str("to = [\"gateway\", \"racks\"]\n"),
            3..6 => writeln!(text, "{party} = [\"{zone}\"]").expect("a string"),
            _ => writeln!(text, "{party} = [\"{segment}\"]").expect("a string"),
        }
        if everything != side {
            let addresses = addresses(random, first, size);
            writeln!(text, "{key} = [\"{addresses}\"]").expect("a string");
        }
    }
    let count = random.between(1, 2);
    let services: Vec<String> = random
        .some(&SERVICES, count)
        .iter()
        .map(|service| format!("\"{service}\""))
        .collect();
    if !random.percent(6) {
        writeln!(text, "services = [{}]", services.join(", ")).expect("a string");
    }
    if random.percent(3) {
        text.push_str("enabled = false\n");
    }
}

/// One address, a range, or a prefix that may reach beyond its segment.
fn addresses(random: &mut Random, first: u32, size: usize) -> String {
    let low = first + random.below(size) as u32;
    let dotted = |address: u32| std::net::Ipv4Addr::from(address);
    match random.below(4) {
        0 => dotted(low).to_string(),
        1 => format!("{}-{}", dotted(low), dotted(low + random.below(60) as u32)),
        _ => {
            let length = random.between(22, 32) as u32;
            let mask = u32::MAX << (32 - length);
            format!("{}/{length}", dotted(low & mask))
        }
    }
}
