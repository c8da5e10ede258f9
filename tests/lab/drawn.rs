//! Random small sites with wiring mistakes, as text; some with hosts that go ways of their own.

use std::fmt::Write;

use crate::random::Random;

/// Segments of `sites/head.toml` that have a VLAN.
const VLANS: [(&str, u16); 6] = [
    ("office", 10),
    ("guest", 20),
    ("servers", 30),
    ("published", 40),
    ("brewhouse", 60),
    ("management", 90),
];

/// What rules name; messages of ICMP only where hosts go ways of their own.
const MORE_SERVICES: [&str; 10] = [
    "\"tcp/80\"",
    "\"tcp/22\"",
    "\"udp/53\"",
    "\"udp/500-600\"",
    "\"tcp\"",
    "\"icmp/8\", \"icmpv6/128\"",
    "\"icmp/3\", \"icmpv6/1\"",
    "\"icmp/11/0\", \"icmpv6/3/0\"",
    "\"icmp/13\"",
    "\"icmp\", \"icmpv6\"",
];

/// A segment by name and number.
type Vlan = (&'static str, u16);

struct Draw<'r> {
    random: &'r mut Random,
    /// VLANs in use.
    vlans: Vec<Vlan>,
    /// Those with an interface on the gateway.
    routed: Vec<Vlan>,
    /// Behind a second router, if there is one: its near and its far segment.
    behind: Option<(Vlan, Vlan)>,
    /// Both families.
    both: bool,
    /// Hosts have routes, next hops and second interfaces of their own, a second gateway has rules, ports are free.
    own_ways: bool,
    /// Hosts that route between two interfaces: each of their segments, and their number.
    homes: Vec<(Vlan, usize)>,
    /// Lines of the ports of each switch, and how many access ports are used.
    ports: Vec<String>,
    used: Vec<usize>,
    links: String,
    hosts: String,
}

/// The devices of one site. With `own_ways` hosts go ways of their own.
pub fn site(random: &mut Random, own_ways: bool) -> String {
    let count = random.between(3, 4);
    let vlans = random.some(&VLANS, count);
    let unrouted = random.below(vlans.len());
    let routed: Vec<Vlan> = if random.percent(50) {
        vlans
            .iter()
            .copied()
            .enumerate()
            .filter(|(at, _)| *at != unrouted)
            .map(|(_, vlan)| vlan)
            .collect()
    } else {
        vlans.clone()
    };
    let behind = (routed.len() < vlans.len() && random.percent(60))
        .then(|| (*random.pick(&routed), vlans[unrouted]));
    let switches = random.between(2, 3);
    let both = random.percent(35);
    let mut draw = Draw {
        random,
        vlans,
        routed,
        behind,
        both,
        own_ways,
        homes: Vec::new(),
        ports: vec![String::new(); switches],
        used: vec![0; switches],
        links: String::new(),
        hosts: String::new(),
    };
    draw.trunks();
    let gateway = draw.gateway();
    let router = draw.router();
    for number in 0..draw.random.between(4, 6) {
        draw.host(number);
    }
    if own_ways {
        draw.free_ports();
    }
    let mut text = gateway + &router;
    for (number, ports) in draw.ports.iter().enumerate() {
        write!(text, "[switches.sw{number}.ports]\n{ports}").expect("a string");
    }
    text + &draw.links + &draw.hosts
}

impl Draw<'_> {
    fn link(&mut self, one: &str, other: &str) {
        writeln!(self.links, "[[links]]\nends = [\"{one}\", \"{other}\"]").expect("a string");
    }

    fn port(&mut self, switch: usize, name: &str, settings: &str) {
        writeln!(self.ports[switch], "{name} = {{ {settings} }}").expect("a string");
    }

    /// A tree of switches.
    fn trunks(&mut self) {
        for switch in 1..self.ports.len() {
            let upper = self.random.below(switch);
            let native = self
                .random
                .percent(50)
                .then(|| *self.random.pick(&self.vlans));
            let names = [format!("2{switch}"), "20".to_owned()];
            for (end, name) in [upper, switch].into_iter().zip(&names) {
                let settings = self.trunk(native);
                self.port(end, name, &settings);
            }
            let [one, other] = names;
            self.link(&format!("sw{upper}:{one}"), &format!("sw{switch}:{other}"));
        }
    }

    /// Settings of one end of a trunk, now and then wrong.
    fn trunk(&mut self, native: Option<Vlan>) -> String {
        let mut native = native;
        let mut tagged = self.vlans.clone();
        if self.random.percent(20) {
            native = Some(*self.random.pick(&self.vlans));
        }
        if self.random.percent(25) {
            let lost = self.random.below(tagged.len());
            tagged.remove(lost);
        }
        tagged.retain(|vlan| Some(*vlan) != native);
        let names: Vec<String> = tagged
            .iter()
            .map(|(name, _)| format!("\"{name}\""))
            .collect();
        let tagged = format!("tagged = [{}]", names.join(", "));
        match native {
            Some((name, number)) if self.random.percent(20) => {
                format!(
                    "pvid = {number}, untagged = [\"{name}\"], {tagged}, ingress_filter = false"
                )
            }
            Some((name, _)) => format!("untagged = \"{name}\", {tagged}"),
            None => tagged,
        }
    }

    /// Settings of a port for devices of a VLAN, now and then wrong.
    fn access(&mut self, (name, number): Vlan) -> String {
        let (other, strange) = *self.random.pick(&self.vlans);
        let filter = self.random.percent(70);
        let mut text = match self.random.below(12) {
            0 => format!("pvid = {strange}, untagged = [\"{name}\"], ingress_filter = {filter}"),
            1 if other != name => {
                format!(
                    "pvid = {number}, untagged = [\"{name}\", \"{other}\"], ingress_filter = {filter}"
                )
            }
            2 if other != name => format!("untagged = \"{name}\", tagged = [\"{other}\"]"),
            3 => format!(
                "pvid = {number}, untagged = [\"{name}\"], ingress_filter = {filter}, accept = \"all\""
            ),
            4 => format!("access = \"{other}\""),
            _ => format!("access = \"{name}\""),
        };
        if self.random.percent(12) {
            text.push_str(", isolated = true");
        }
        text
    }

    /// A new access port of any switch, by its full name.
    fn plug(&mut self, vlan: Vlan) -> String {
        let switch = self.random.below(self.ports.len());
        self.used[switch] += 1;
        let name = self.used[switch].to_string();
        let settings = self.access(vlan);
        self.port(switch, &name, &settings);
        format!("sw{switch}:{name}")
    }

    fn addresses(&self, number: u16, last: u16, prefix: bool) -> String {
        let (four, six) = if prefix { ("/24", "/64") } else { ("", "") };
        let mut text = format!("\"10.44.{number}.{last}{four}\"");
        if self.both {
            write!(text, ", \"fd44:0:0:{number}::{last}{six}\"").expect("a string");
        }
        text
    }

    fn gateway(&mut self) -> String {
        let default = *self.random.pick(&["permit", "deny", "deny", "reject"]);
        let stateful = self.random.percent(80);
        let mut text = format!("[gateways.edge]\ndefault = \"{default}\"\nstateful = {stateful}\n");
        let untagged = self
            .random
            .percent(40)
            .then(|| *self.random.pick(&self.routed));
        for &(name, number) in &self.routed.clone() {
            writeln!(
                text,
                "[gateways.edge.interfaces.{name}]\nsegment = \"{name}\"\nport = \"trunk\""
            )
            .expect("a string");
            if untagged != Some((name, number)) {
                writeln!(text, "vlan = {number}").expect("a string");
            }
            writeln!(text, "addresses = [{}]", self.addresses(number, 1, true)).expect("a string");
            if self.random.percent(20) {
                text.push_str("source_check = \"strict\"\n");
            }
        }
        if let Some(((_, near), (_, far))) = self.behind {
            text.push_str(&self.route(
                "gateways.edge",
                &format!("10.44.{far}.0/24"),
                &format!("10.44.{near}.2"),
            ));
            if self.both {
                text.push_str(&self.route(
                    "gateways.edge",
                    &format!("fd44:0:0:{far}::/64"),
                    &format!("fd44:0:0:{near}::2"),
                ));
            }
        }
        for number in 0..self.random.between(2, 7) {
            text.push_str(&self.rule("edge", number));
        }
        let settings = match untagged {
            Some(native) => {
                let rest: Vec<Vlan> = self.vlans.clone();
                let rest: Vec<String> = rest
                    .into_iter()
                    .filter(|vlan| *vlan != native)
                    .map(|(name, _)| format!("\"{name}\""))
                    .collect();
                format!(
                    "untagged = \"{}\", tagged = [{}]",
                    native.0,
                    rest.join(", ")
                )
            }
            None => self.trunk(None),
        };
        self.port(0, "24", &settings);
        self.link("sw0:24", "edge:trunk");
        text
    }

    fn route(&self, device: &str, to: &str, via: &str) -> String {
        format!("[[{device}.routes]]\nto = \"{to}\"\nvia = \"{via}\"\n")
    }

    fn rule(&mut self, gateway: &str, number: usize) -> String {
        let action = *self.random.pick(&["permit", "permit", "deny", "reject"]);
        let mut text = format!(
            "[[gateways.{gateway}.rules]]\nname = \"rule {number}\"\naction = \"{action}\"\n"
        );
        for side in ["from", "to"] {
            let party = match self.random.below(10) {
                0..=4 => self.random.pick(&self.routed).0,
                5 if side == "to" => "gateway",
                _ => continue,
            };
            writeln!(text, "{side} = [\"{party}\"]").expect("a string");
        }
        for side in ["source", "destination"] {
            if self.random.percent(25) {
                let (_, number) = *self.random.pick(&self.vlans);
                let item = match self.random.below(3) {
                    0 => format!("10.44.{number}.0/24"),
                    1 => format!("10.44.{number}.10-10.44.{number}.12"),
                    _ => format!("10.44.{number}.{}", self.random.between(10, 15)),
                };
                let six = format!(", \"fd44:0:0:{number}::/64\"");
                let six = if self.both && self.random.percent(60) {
                    six
                } else {
                    String::new()
                };
                writeln!(text, "{side} = [\"{item}\"{six}]").expect("a string");
            }
        }
        if self.random.percent(50) {
            let count = self.random.between(1, 2);
            let some = if self.own_ways {
                self.random.some(&MORE_SERVICES, count)
            } else {
                self.random.some(&MORE_SERVICES[..5], count)
            };
            writeln!(text, "services = [{}]", some.join(", ")).expect("a string");
        }
        text
    }

    fn router(&mut self) -> String {
        let Some((near, far)) = self.behind else {
            return String::new();
        };
        let kind = if self.own_ways && self.random.percent(50) {
            "gateways"
        } else {
            "routers"
        };
        let mut text = String::new();
        if kind == "gateways" {
            let default = *self.random.pick(&["permit", "permit", "deny"]);
            let stateful = self.random.percent(85);
            writeln!(
                text,
                "[gateways.cellar]\ndefault = \"{default}\"\nstateful = {stateful}"
            )
            .expect("a string");
        }
        for (port, ((name, number), last)) in [(near, 2), (far, 1)].into_iter().enumerate() {
            writeln!(
                text,
                "[{kind}.cellar.interfaces.{name}]\nsegment = \"{name}\"\nport = \"{port}\"\naddresses = [{}]",
                self.addresses(number, last, true)
            )
            .expect("a string");
            let there = self.plug((name, number));
            self.link(&there, &format!("cellar:{port}"));
        }
        let device = format!("{kind}.cellar");
        text.push_str(&self.route(&device, "0.0.0.0/0", &format!("10.44.{}.1", near.1)));
        if self.both {
            text.push_str(&self.route(&device, "::/0", &format!("fd44:0:0:{}::1", near.1)));
        }
        if kind == "gateways" {
            for number in 0..self.random.between(1, 3) {
                text.push_str(&self.cellar_rule(number, near, far));
            }
        }
        text
    }

    /// A rule between the two segments of the second gateway.
    fn cellar_rule(&mut self, number: usize, near: Vlan, far: Vlan) -> String {
        let routed = std::mem::replace(&mut self.routed, vec![near, far]);
        let text = self.rule("cellar", number);
        self.routed = routed;
        text
    }

    fn host(&mut self, number: usize) {
        let home = *self.random.pick(&self.vlans);
        let mut text = format!("[hosts.host{number}]\n");
        let often = if self.own_ways { 45 } else { 15 };
        let second = self
            .random
            .percent(often)
            .then(|| *self.random.pick(&self.vlans));
        // Two interfaces on one wire only where hosts go ways of their own.
        let second = second.filter(|vlan| self.own_ways || *vlan != home);
        let routes = second.is_some() && self.random.percent(50);
        if routes {
            text.push_str("forwards = \"routes\"\n");
        }
        let served = self.routed.contains(&home) || self.behind.is_some_and(|(_, far)| far == home);
        let next_hop = self.next_hop(home, number);
        // With two interfaces on one wire a next hop must name one of them.
        let by = if second == Some(home) {
            "interface = \"1\"\n"
        } else {
            ""
        };
        let default = next_hop.or(served.then_some(1));
        if let Some(last) = default.filter(|_| by.is_empty()) {
            writeln!(
                text,
                "default_gateway = [{}]",
                self.addresses(home.1, last, false)
            )
            .expect("a string");
        }
        let mut interfaces: Vec<(Vlan, u16)> = vec![(home, 10 + number as u16)];
        interfaces.extend(second.map(|vlan| {
            if vlan == home {
                (vlan, 110 + number as u16)
            } else {
                (vlan, 10 + number as u16)
            }
        }));
        for &(vlan, last) in &interfaces {
            let port = self.plug(vlan);
            let addresses = self.addresses(vlan.1, last, false);
            writeln!(
                text,
                "[[hosts.host{number}.interfaces]]\nport = \"{port}\"\nsegment = \"{}\"\naddresses = [{addresses}]",
                vlan.0
            )
            .expect("a string");
        }
        if self.own_ways {
            if let Some(last) = default.filter(|_| !by.is_empty()) {
                let device = format!("hosts.host{number}");
                let hop = format!("10.44.{}.{last}", home.1);
                text.push_str(&(self.route(&device, "0.0.0.0/0", &hop) + by));
            }
            text.push_str(&self.own_route(home, second, number, by));
            if routes && by.is_empty() {
                let both = interfaces.iter().map(|(vlan, _)| (*vlan, number));
                self.homes.extend(both);
            }
        }
        self.hosts.push_str(&text);
    }

    /// Now and then a host that routes, instead of the gateway.
    fn next_hop(&mut self, home: Vlan, number: usize) -> Option<u16> {
        let near = self.neighbours(home, number);
        let takes = !near.is_empty() && self.random.percent(30);
        takes.then(|| *self.random.pick(&near))
    }

    /// Hosts that route on a segment, by the last part of their address.
    fn neighbours(&self, home: Vlan, number: usize) -> Vec<u16> {
        self.homes
            .iter()
            .filter(|(vlan, host)| *vlan == home && *host != number)
            .map(|(_, host)| 10 + *host as u16)
            .collect()
    }

    /// A route to another segment, by some device on the host's own.
    fn own_route(&mut self, home: Vlan, second: Option<Vlan>, number: usize, by: &str) -> String {
        let others: Vec<Vlan> = self
            .vlans
            .iter()
            .copied()
            .filter(|vlan| *vlan != home && Some(*vlan) != second)
            .collect();
        if self.random.percent(50) || others.is_empty() {
            return String::new();
        }
        let (_, to) = *self.random.pick(&others);
        let mut hops = self.neighbours(home, number);
        let [near, far] = [
            self.behind.map(|(near, _)| near),
            self.behind.map(|(_, far)| far),
        ];
        hops.extend((near == Some(home)).then_some(2));
        hops.extend((far == Some(home) || self.routed.contains(&home)).then_some(1));
        if hops.is_empty() {
            return String::new();
        }
        let hop = *self.random.pick(&hops);
        let device = format!("hosts.host{number}");
        let four = self.route(
            &device,
            &format!("10.44.{to}.0/24"),
            &format!("10.44.{}.{hop}", home.1),
        ) + by;
        let six = self.route(
            &device,
            &format!("fd44:0:0:{to}::/64"),
            &format!("fd44:0:0:{}::{hop}", home.1),
        ) + by;
        if self.both { four + &six } else { four }
    }

    /// Ports with nothing in them: as they come from the factory, of a VLAN that nobody knows, or forgotten.
    fn free_ports(&mut self) {
        for switch in 0..self.ports.len() {
            for name in ["31", "32"] {
                if self.random.percent(60) {
                    let settings = match self.random.below(4) {
                        0 => String::new(),
                        1 => "pvid = 77, untagged = [77]".to_owned(),
                        2 => "pvid = 1, untagged = [1], ingress_filter = false".to_owned(),
                        _ => {
                            let vlan = *self.random.pick(&self.vlans);
                            self.access(vlan)
                        }
                    };
                    self.port(switch, name, &settings);
                }
            }
        }
    }
}
