//! Random rule sets in two spellings: a gateway of a site, and the packet filter of a kernel.
//!
//! Both are written from the same draft, item by item, so neither is translated from the other. A rule of
//! ours with several addresses and services becomes one kernel rule for each choice of one source, one
//! destination and one service, all with the same counter.

use std::fmt::Write;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use crate::random::Random;
use crate::simulator::Probe;

/// One spelling each.
#[derive(Clone)]
struct Service {
    ours: String,
    kernel: String,
    /// IPv4, IPv6.
    families: [bool; 2],
}

/// Addresses of one family, spelled alike in both languages.
#[derive(Clone)]
struct Item {
    text: String,
    four: bool,
    ends: [IpAddr; 2],
}

/// One rule.
struct Line {
    sources: Vec<Item>,
    destinations: Vec<Item>,
    services: Vec<Service>,
    action: &'static str,
    enabled: bool,
}

/// A rule set.
pub struct Draft {
    lines: Vec<Line>,
    default: &'static str,
}

/// Port numbers where ranges end.
const PORTS: [u16; 12] = [0, 1, 22, 53, 79, 80, 81, 443, 1023, 1024, 65534, 65535];

/// Types and codes where rules differ.
const MESSAGES: [(u8, u8); 8] = [
    (0, 0),
    (3, 0),
    (3, 1),
    (8, 0),
    (8, 1),
    (128, 0),
    (129, 0),
    (255, 255),
];

impl Draft {
    /// A rule set of up to `most` rules.
    pub fn new(random: &mut Random, most: usize) -> Self {
        // In a long list every rule is narrow, else the first few take everything.
        let addressed = if most < 20 { 60 } else { 92 };
        let lines = (0..random.between(1, most))
            .map(|_| line(random, addressed))
            .collect();
        let default = *random.pick(&["permit", "deny", "reject"]);
        Self { lines, default }
    }

    /// A site with one gateway between the segments `left` and `right`.
    pub fn site(&self) -> String {
        let mut text = String::from(SITE);
        writeln!(text, "[gateways.edge]\ndefault = \"{}\"", self.default).expect("a string");
        text.push_str(INTERFACES);
        for (number, line) in self.lines.iter().enumerate() {
            writeln!(text, "[[gateways.edge.rules]]\nname = \"rule {number}\"").expect("a string");
            list(
                &mut text,
                "source",
                line.sources.iter().map(|item| item.text.as_str()),
            );
            list(
                &mut text,
                "destination",
                line.destinations.iter().map(|item| item.text.as_str()),
            );
            list(
                &mut text,
                "services",
                line.services.iter().map(|service| service.ours.as_str()),
            );
            writeln!(
                text,
                "action = \"{}\"\nenabled = {}",
                line.action, line.enabled
            )
            .expect("a string");
        }
        text
    }

    /// The same for the kernel. What arrives is dropped after the rules have seen it leave, so that no
    /// answer of the kernel's own disturbs the counters; for the same reason "reject" drops here.
    pub fn kernel(&self) -> String {
        let mut counters = String::from("counter default {}\n");
        let mut chain = String::new();
        for (number, line) in self.lines.iter().enumerate() {
            writeln!(counters, "counter r{number} {{}}").expect("a string");
            for condition in line.conditions().iter().filter(|_| line.enabled) {
                let verdict = verdict(line.action);
                writeln!(chain, "{condition} counter name r{number} {verdict}").expect("a string");
            }
        }
        let default = verdict(self.default);
        format!(
            "table inet oracle {{\n{counters}\
             chain sent {{ type filter hook output priority 0; policy accept;\n{chain}\
             counter name default {default}\n}}\n\
             chain received {{ type filter hook input priority 0; policy drop; }}\n}}\n"
        )
    }

    /// A packet from left to right at or beside the ends of what some rules say.
    pub fn probe(&self, random: &mut Random) -> Probe {
        let four = random.percent(60);
        let one = random.pick(&self.lines);
        let other = if random.percent(70) {
            one
        } else {
            random.pick(&self.lines)
        };
        let source = address(random, &one.sources, four, 0);
        let destination = address(random, &other.destinations, four, 1);
        let icmp = if four { 1 } else { 58 };
        let protocol = *random.pick(&[icmp, icmp, 6, 6, 6, 17, 17, 17, 47, 132]);
        let (source_port, destination_port) = match protocol {
            47 => (0, 0),
            _ if protocol == icmp => {
                let &(kind, code) = random.pick(&MESSAGES);
                (0, u16::from_be_bytes([kind, code]))
            }
            _ => (port(random), port(random)),
        };
        Probe {
            source,
            destination,
            protocol,
            source_port,
            destination_port,
        }
    }
}

impl Line {
    /// One kernel condition for each choice of source, destination and service.
    fn conditions(&self) -> Vec<String> {
        let sources = choices(&self.sources, "saddr");
        let destinations = choices(&self.destinations, "daddr");
        let any = Service {
            ours: String::new(),
            kernel: String::new(),
            families: [true, true],
        };
        let services = if self.services.is_empty() {
            vec![any]
        } else {
            self.services.clone()
        };
        let mut conditions = Vec::new();
        for (source, source_families) in &sources {
            for (destination, destination_families) in &destinations {
                for service in &services {
                    let possible = (0..2).any(|family| {
                        source_families[family]
                            && destination_families[family]
                            && service.families[family]
                    });
                    if possible {
                        conditions.push(format!("{source} {destination} {}", service.kernel));
                    }
                }
            }
        }
        conditions
    }
}

fn choices(items: &[Item], field: &str) -> Vec<(String, [bool; 2])> {
    if items.is_empty() {
        return vec![(String::new(), [true, true])];
    }
    let spelled = items.iter().map(|item| {
        let family = if item.four { "ip" } else { "ip6" };
        (
            format!("{family} {field} {}", item.text),
            [item.four, !item.four],
        )
    });
    spelled.collect()
}

fn line(random: &mut Random, addressed: usize) -> Line {
    let families = *random.pick(&[&[true][..], &[false], &[true, false]]);
    let mut sides = [Vec::new(), Vec::new()];
    for (side, items) in sides.iter_mut().enumerate() {
        if random.percent(addressed) {
            items.extend(families.iter().map(|&four| item(random, side, four)));
            if random.percent(25) {
                items.push(item(random, side, families[0]));
            }
        }
    }
    let count = *random.pick(&[0, 1, 1, 1, 2, 3]);
    let services = (0..count).map(|_| service(random, families)).collect();
    let [sources, destinations] = sides;
    let action = *random.pick(&["permit", "permit", "deny", "reject"]);
    Line {
        sources,
        destinations,
        services,
        action,
        enabled: random.percent(92),
    }
}

/// An address, a prefix or a range among the first 256 of a side.
fn item(random: &mut Random, side: usize, four: bool) -> Item {
    let low = random.between(1, 250) as u32;
    let at = |number| near(side, four, number);
    match random.below(4) {
        0 => Item {
            text: at(low).to_string(),
            four,
            ends: [at(low), at(low)],
        },
        1 => {
            let high = random.between(low as usize, 255) as u32;
            // The kernel's language refuses a range of one address.
            let text = if low == high {
                at(low).to_string()
            } else {
                format!("{}-{}", at(low), at(high))
            };
            Item {
                text,
                four,
                ends: [at(low), at(high)],
            }
        }
        _ => {
            let free = random.between(1, 7) as u32;
            let size = 1_u32 << free;
            let first = low / size * size;
            let length = if four { 32 - free } else { 128 - free };
            Item {
                text: format!("{}/{length}", at(first)),
                four,
                ends: [at(first), at(first + size - 1)],
            }
        }
    }
}

fn service(random: &mut Random, families: &[bool]) -> Service {
    let both = |ours: String, kernel: String| Service {
        ours,
        kernel,
        families: [true, true],
    };
    let name = *random.pick(&["tcp", "tcp", "udp", "sctp"]);
    match random.below(9) {
        0 => both("any".into(), String::new()),
        1 => both("protocol/47".into(), "meta l4proto 47".into()),
        2 => both(name.into(), format!("meta l4proto {name}")),
        3 if families == [true] => message(random, "icmp", [true, false]),
        3 if families == [false] => message(random, "icmpv6", [false, true]),
        4 => {
            let (low, high) = range(random);
            both(
                format!("{name}/any from {low}-{high}"),
                format!("{name} sport {}", spell(low, high)),
            )
        }
        5 | 6 => {
            let ((low, high), (first, last)) = (range(random), range(random));
            let ours = format!("{name}/{low}-{high} from {first}-{last}");
            let kernel = format!(
                "{name} dport {} {name} sport {}",
                spell(low, high),
                spell(first, last)
            );
            both(ours, kernel)
        }
        _ => {
            let port = *random.pick(&PORTS);
            both(format!("{name}/{port}"), format!("{name} dport {port}"))
        }
    }
}

fn message(random: &mut Random, name: &str, families: [bool; 2]) -> Service {
    let (kind, code) = *random.pick(&MESSAGES);
    let whole = if name == "icmp" {
        "meta nfproto ipv4 meta l4proto 1"
    } else {
        "meta nfproto ipv6 meta l4proto 58"
    };
    let (ours, kernel) = match random.below(3) {
        0 => (name.to_owned(), whole.to_owned()),
        1 => (format!("{name}/{kind}"), format!("{name} type {kind}")),
        _ => (
            format!("{name}/{kind}/{code}"),
            format!("{name} type {kind} {name} code {code}"),
        ),
    };
    Service {
        ours,
        kernel,
        families,
    }
}

fn range(random: &mut Random) -> (u16, u16) {
    let (one, other) = (*random.pick(&PORTS), *random.pick(&PORTS));
    (one.min(other), one.max(other))
}

fn spell(low: u16, high: u16) -> String {
    if low == high {
        low.to_string()
    } else {
        format!("{low}-{high}")
    }
}

/// At or beside an end of some item of the family, else anywhere near.
fn address(random: &mut Random, items: &[Item], four: bool, side: usize) -> IpAddr {
    let fitting: Vec<&Item> = items.iter().filter(|item| item.four == four).collect();
    if fitting.is_empty() {
        return near(side, four, random.below(64) as u32);
    }
    let chosen = *random.pick(&fitting);
    let end = *random.pick(&chosen.ends);
    // Not below the segment's first address.
    shifted(end, random.below(3) as u32).max(near(side, four, 0))
}

fn port(random: &mut Random) -> u16 {
    let end = *random.pick(&PORTS);
    [end.saturating_sub(1), end, end.saturating_add(1)][random.below(3)]
}

fn verdict(action: &str) -> &'static str {
    if action == "permit" { "accept" } else { "drop" }
}

fn list<'a>(text: &mut String, key: &str, items: impl Iterator<Item = &'a str>) {
    let quoted: Vec<String> = items.map(|item| format!("\"{item}\"")).collect();
    if !quoted.is_empty() {
        writeln!(text, "{key} = [{}]", quoted.join(", ")).expect("a string");
    }
}

/// The address of that number on the left (0) or right (1) segment.
fn near(side: usize, four: bool, number: u32) -> IpAddr {
    if four {
        return Ipv4Addr::from(0x0a40_0000 + ((side as u32) << 16) + number).into();
    }
    Ipv6Addr::from((0xfd00_u128 << 112) + ((side as u128 + 1) << 64) + u128::from(number)).into()
}

/// One before the address, itself, or one after it.
fn shifted(address: IpAddr, step: u32) -> IpAddr {
    match address {
        IpAddr::V4(v4) => Ipv4Addr::from(u32::from(v4) + step - 1).into(),
        IpAddr::V6(v6) => Ipv6Addr::from(u128::from(v6) + u128::from(step) - 1).into(),
    }
}

const SITE: &str = r#"[zones.brewery]
trust = 50
[segments.left]
zone = "brewery"
prefixes = ["10.64.0.0/16", "fd00:0:0:1::/64"]
[segments.right]
zone = "brewery"
prefixes = ["10.65.0.0/16", "fd00:0:0:2::/64"]
"#;

const INTERFACES: &str = r#"[gateways.edge.interfaces.left]
segment = "left"
addresses = ["10.64.255.254/16", "fd00:0:0:1::ffff/64"]
[gateways.edge.interfaces.right]
segment = "right"
addresses = ["10.65.255.254/16", "fd00:0:0:2::ffff/64"]
"#;
