//! Small random gateways as drafts: plain values that are written as a site file and, apart from that, read by the
//! oracle. Neither is made from the other.

use std::net::IpAddr;

use super::random::Random;

/// Addresses of one family, as the site file spells them and from the first to the last.
#[derive(Clone, Debug)]
pub struct Item {
    pub text: String,
    pub six: bool,
    pub low: u128,
    pub high: u128,
}

/// A service, as the site file spells it.
#[derive(Clone, Copy, Debug)]
pub struct Service {
    pub text: &'static str,
    pub protocol: u8,
    /// Only source ports from here to there.
    pub from: (u16, u16),
    /// Destination ports, or 256 × type + code of a message.
    pub to: (u16, u16),
}

/// An interface and the segment behind it.
#[derive(Clone, Debug)]
pub struct Leg {
    pub segment: &'static str,
    pub zone: &'static str,
    pub external: bool,
    /// Prefix and address of each family that it has.
    pub own: Vec<(Item, Item)>,
    /// `strict`, `loose` or `off`.
    pub check: &'static str,
}

/// A static route; `None`: discarded.
#[derive(Clone, Debug)]
pub struct Route {
    pub to: Item,
    pub via: Option<(usize, &'static str)>,
}

/// A destination translation; no target: what it matches stays as it is.
#[derive(Clone, Debug)]
pub struct Line {
    pub from: Vec<String>,
    pub source: Vec<Item>,
    pub destination: Vec<Item>,
    pub services: Vec<Service>,
    pub target: Option<Item>,
    pub port: Option<u16>,
    pub enabled: bool,
}

/// A rule. An empty list does not limit.
#[derive(Clone, Debug)]
pub struct Drawn {
    pub from: Vec<String>,
    pub to: Vec<String>,
    pub source: Vec<Item>,
    pub destination: Vec<Item>,
    pub services: Vec<Service>,
    pub action: &'static str,
    pub enabled: bool,
    /// The last day, before or after today.
    pub expires: Option<&'static str>,
}

/// One gateway.
#[derive(Clone, Debug)]
pub struct Draft {
    pub default: &'static str,
    pub legs: Vec<Leg>,
    pub routes: Vec<Route>,
    pub lines: Vec<Line>,
    pub rules: Vec<Drawn>,
}

/// The first day on which a rule that ended the day before is off.
pub const PAST: &str = "2026-03-31";
/// A day that has not come.
pub const AHEAD: &str = "2026-04-01";

const ZONES: [&str; 3] = ["red", "blue", "outside"];

const ADDRESSES: [&str; 22] = [
    "10.0.0.0/29",
    "10.0.0.0/30",
    "10.0.0.4/30",
    "10.0.0.2",
    "10.0.0.2-10.0.0.5",
    "10.0.0.4-10.0.1.3",
    "10.0.1.0/29",
    "10.0.1.2",
    "10.0.1.2-10.0.2.2",
    "10.0.2.0/30",
    "10.0.2.1",
    "10.0.0.0/8",
    "10.0.9.0/30",
    "10.0.1.1",
    "198.51.100.0/24",
    "198.51.100.7",
    "203.0.113.2",
    "0.0.0.0/0",
    "fd00:0:0:1::/126",
    "fd00::2-fd00::3",
    "fd00::/16",
    "2001:db8:9::/48",
];

const SERVICES: [Service; 13] = [
    of("tcp/80", 6, (80, 80)),
    of("tcp/80-84", 6, (80, 84)),
    of("tcp/85-90", 6, (85, 90)),
    of("tcp/80-90", 6, (80, 90)),
    of("tcp/1-65535", 6, (1, 65_535)),
    of("tcp", 6, (0, 65_535)),
    of("tcp/8080", 6, (8080, 8080)),
    of("udp/53", 17, (53, 53)),
    of("icmp/8", 1, (0x800, 0x8ff)),
    of("icmp/3/4", 1, (0x304, 0x304)),
    of("icmpv6", 58, (0, 65_535)),
    of("protocol/47", 47, (0, 65_535)),
    Service {
        text: "tcp/80-90 from 1024-65535",
        protocol: 6,
        from: (1024, 65_535),
        to: (80, 90),
    },
];

const fn of(text: &'static str, protocol: u8, to: (u16, u16)) -> Service {
    Service {
        text,
        protocol,
        from: (0, 65_535),
        to,
    }
}

/// Reads an address, a prefix or a range.
pub fn item(text: &str) -> Item {
    let value = |text: &str| match text.parse::<IpAddr>().expect("an address") {
        IpAddr::V4(four) => (false, u128::from(u32::from(four))),
        IpAddr::V6(six) => (true, u128::from(six)),
    };
    let (six, low, high) = match (text.split_once('/'), text.split_once('-')) {
        (Some((first, length)), _) => {
            let (six, low) = value(first);
            let length: u32 = length.parse().expect("a length");
            let free = if six { 128 } else { 32 } - length;
            // All of IPv6 has no size that fits.
            let size = 1u128.checked_shl(free).unwrap_or(0);
            (six, low, low | size.wrapping_sub(1))
        }
        (None, Some((first, last))) => (value(first).0, value(first).1, value(last).1),
        (None, None) => (value(text).0, value(text).1, value(text).1),
    };
    Item {
        text: text.to_owned(),
        six,
        low,
        high,
    }
}

impl Draft {
    /// A gateway with up to so many rules.
    pub fn new(random: &mut Random, most: usize) -> Self {
        let legs = legs(random);
        let segments: Vec<String> = legs
            .iter()
            .map(|leg| format!("segment:{}", leg.segment))
            .collect();
        let mut parties = segments.clone();
        for zone in ZONES {
            if legs.iter().any(|leg| leg.zone == zone) {
                parties.push(format!("zone:{zone}"));
            }
        }
        let lines = if random.percent(45) {
            random.between(1, 3)
        } else {
            0
        };
        let mut rules: Vec<Drawn> = (0..random.between(2, most.max(2)))
            .map(|_| rule(random, &parties))
            .collect();
        repeat(random, &mut rules);
        Self {
            default: *random.pick(&["deny", "permit", "reject"]),
            routes: routes(random, &legs),
            lines: (0..lines).map(|_| line(random, &segments)).collect(),
            legs,
            rules,
        }
    }
}

fn legs(random: &mut Random) -> Vec<Leg> {
    let zones = random.between(1, 3);
    let mut legs = Vec::new();
    let known = [
        ("net0", "10.0.0.0/29", "10.0.0.1", "fd00::/126", "fd00::1"),
        (
            "net1",
            "10.0.1.0/29",
            "10.0.1.1",
            "fd00:0:0:1::/126",
            "fd00:0:0:1::1",
        ),
        (
            "net2",
            "10.0.2.0/30",
            "10.0.2.1",
            "fd00:0:0:2::/126",
            "fd00:0:0:2::1",
        ),
    ];
    for (segment, prefix, own, prefix_six, own_six) in known.into_iter().take(random.between(1, 3))
    {
        let six = random
            .percent(35)
            .then(|| (item(prefix_six), item(own_six)));
        let four = (item(prefix), item(own));
        legs.push(leg(
            random,
            segment,
            zones,
            [four].into_iter().chain(six).collect(),
        ));
    }
    let six = random
        .percent(25)
        .then(|| (item("2001:db8:1::/126"), item("2001:db8:1::2")));
    let four = (item("203.0.113.0/29"), item("203.0.113.2"));
    legs.push(leg(
        random,
        "world",
        zones,
        [four].into_iter().chain(six).collect(),
    ));
    legs
}

fn leg(random: &mut Random, segment: &'static str, zones: usize, own: Vec<(Item, Item)>) -> Leg {
    Leg {
        segment,
        zone: ZONES[random.below(zones)],
        external: segment == "world",
        own,
        check: random.pick::<&str>(&["strict", "strict", "loose", "off"]),
    }
}

fn routes(random: &mut Random, legs: &[Leg]) -> Vec<Route> {
    let world = legs.len() - 1;
    let mut routes = Vec::new();
    let mut offer = |chance, to: &str, via| {
        if random.percent(chance) {
            routes.push(Route { to: item(to), via });
        }
    };
    offer(75, "0.0.0.0/0", Some((world, "203.0.113.1")));
    offer(35, "10.0.0.0/8", None);
    offer(30, "10.0.9.0/30", Some((0, "10.0.0.2")));
    offer(15, "198.51.100.0/28", None);
    offer(15, "10.0.0.4/31", None);
    if legs[world].own.len() == 2 {
        offer(70, "::/0", Some((world, "2001:db8:1::1")));
    }
    offer(20, "fd00::/16", None);
    routes
}

fn line(random: &mut Random, segments: &[String]) -> Line {
    let ports = random.percent(55);
    let service = *random.pick(&[SERVICES[0], SERVICES[3], SERVICES[12], SERVICES[6]]);
    let six = random.percent(20);
    let targets = if six {
        ["fd00::2", "fd00::3", "fd00:0:0:1::2"]
    } else {
        ["10.0.0.2", "10.0.1.2", "10.0.0.3"]
    };
    let given = if six {
        ["fd00::/126", "fd00::3", "2001:db8:1::2", "fd00:0:0:1::2"]
    } else {
        ["203.0.113.2", "10.0.0.0/29", "198.51.100.7", "10.0.1.2"]
    };
    let target = random
        .percent(75)
        .then(|| item(random.pick::<&str>(&targets)));
    let source = if six { "fd00::/16" } else { "10.0.0.0/30" };
    Line {
        from: if random.percent(50) {
            random.some(segments, 1)
        } else {
            Vec::new()
        },
        source: if random.percent(20) {
            vec![item(source)]
        } else {
            Vec::new()
        },
        destination: vec![item(random.pick::<&str>(&given))],
        services: if ports { vec![service] } else { Vec::new() },
        port: (ports && target.is_some() && random.percent(50)).then_some(8080),
        target,
        enabled: random.percent(92),
    }
}

fn rule(random: &mut Random, parties: &[String]) -> Drawn {
    let side = |random: &mut Random, own: bool| {
        let mut parties = parties.to_vec();
        if own {
            parties.push("gateway".to_owned());
        }
        let count = random.between(1, 2);
        if random.percent(45) {
            random.some(&parties, count)
        } else {
            Vec::new()
        }
    };
    let (from, to) = (side(random, false), side(random, true));
    let addresses = |random: &mut Random| {
        let count = *random.pick(&[1, 1, 1, 2, 3]);
        let texts = if random.percent(55) {
            random.some(&ADDRESSES, count)
        } else {
            Vec::new()
        };
        texts.into_iter().map(item).collect::<Vec<Item>>()
    };
    let (source, destination) = (addresses(random), addresses(random));
    let count = *random.pick(&[0, 1, 1, 2, 3]);
    Drawn {
        from,
        to,
        source,
        destination,
        services: random.some(&SERVICES, count),
        action: random.pick::<&str>(&["permit", "permit", "deny", "reject"]),
        enabled: random.percent(94),
        expires: random.percent(12).then(|| *random.pick(&[PAST, AHEAD])),
    }
}

/// At times a rule once more further down, whole or in halves before it, so that much is dead.
fn repeat(random: &mut Random, rules: &mut Vec<Drawn>) {
    if random.percent(35) {
        let mut again = random.pick(rules).clone();
        if random.percent(50) {
            again.action = *random.pick(&["permit", "deny", "reject"]);
        }
        rules.push(again);
    }
    if random.percent(50) {
        let whole = random.pick(rules).clone();
        let at = if random.percent(60) { 0 } else { rules.len() };
        let group = halves(random, whole);
        rules.splice(at..at, group);
    }
}

/// Two rules that together name what a third one names, in sources, in services or in zones.
fn halves(random: &mut Random, mut whole: Drawn) -> Vec<Drawn> {
    whole.enabled = true;
    let mut parts = [whole.clone(), whole.clone()];
    match random.below(3) {
        0 => {
            let halves = *random.pick(&[
                ["10.0.0.0/30", "10.0.0.4/30"],
                ["10.0.0.4-10.0.1.3", "10.0.0.0-10.0.0.5"],
            ]);
            whole.source = vec![item("10.0.0.0/29")];
            for (part, half) in parts.iter_mut().zip(halves) {
                part.source = vec![item(half)];
            }
        }
        1 => {
            whole.services = vec![SERVICES[3]];
            parts[0].services = vec![SERVICES[1]];
            parts[1].services = vec![SERVICES[2]];
        }
        _ => {
            whole.from = vec!["zone:red".to_owned()];
            parts[0].from = vec!["segment:net0".to_owned(), "segment:net1".to_owned()];
            parts[1].from = vec!["segment:net2".to_owned(), "segment:world".to_owned()];
        }
    }
    let [first, second] = parts;
    vec![first, second, whole]
}
