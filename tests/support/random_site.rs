//! Small random sites, as text: few addresses, many ways for them to meet.
//!
//! Everything that has surprised somebody about a network is likely here: several routers on a segment,
//! rings of default routes, one family filtered and the other not, transit links, hosts with two interfaces and routes of
//! their own, two interfaces on one segment, two subnets on one segment, public addresses inside and private ones
//! outside, a published address that a gateway further on rewrites and sends back.

#[path = "random_hairpin.rs"]
mod random_hairpin;
#[path = "random_routes.rs"]
mod random_routes;
#[path = "random_rules.rs"]
mod random_rules;

use std::fmt::Write;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use ipnet::IpNet;

use crate::random::Random;

use random_hairpin::Hairpin;

/// A segment that is being made.
pub struct Segment {
    pub name: String,
    pub zone: String,
    pub external: bool,
    pub prefixes: Vec<IpNet>,
    /// How many addresses of each prefix are given away.
    used: Vec<u128>,
}

/// An interface on the segment of that number.
#[derive(Clone)]
pub struct WiredInterface {
    pub segment: usize,
    pub addresses: Vec<IpNet>,
}

/// What a device does.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Gateway,
    Router,
    ForwardingHost,
    PlainHost,
}

/// A device that is being made.
pub struct Device {
    pub name: String,
    pub kind: Kind,
    pub interfaces: Vec<WiredInterface>,
}

/// A site that is being made.
pub struct Plan {
    pub random: Random,
    pub segments: Vec<Segment>,
    pub zones: Vec<String>,
    pub devices: Vec<Device>,
    pub hairpin: Option<Hairpin>,
}

/// The text of a site; the same for the same seed.
pub fn random_site(seed: u64) -> String {
    let mut random = Random::new(seed);
    let zones = (0..random.between(1, 3))
        .map(|number| format!("zone{number}"))
        .collect();
    let mut plan = Plan {
        random,
        segments: Vec::new(),
        zones,
        devices: Vec::new(),
        hairpin: None,
    };
    plan.add_segments();
    plan.add_devices();
    plan.hairpin = random_hairpin::draw(&mut plan);
    let mut text = String::new();
    plan.write_segments(&mut text);
    text.push_str(random_rules::NAMED_SERVICES);
    random_rules::write_groups(&mut plan, &mut text);
    for device in 0..plan.devices.len() {
        plan.write_device(device, &mut text);
    }
    text
}

impl Plan {
    fn add_segments(&mut self) {
        for number in 0..self.random.between(2, 5) {
            let external = number > 0 && self.random.percent(20);
            let (mut four, mut six) = (self.random.percent(85), self.random.percent(55));
            if !external && !four && !six {
                (four, six) = (true, self.random.percent(50));
            }
            let mut prefixes = Vec::new();
            if four {
                let length = *self.random.pick(&[28, 29, 29, 30, 30, 31]);
                let unusual = self.random.percent(if external { 25 } else { 12 });
                let last = 32 * number as u8;
                let address = match (external, unusual) {
                    (true, false) => Ipv4Addr::new(203, 0, 113, last),
                    (true, true) => Ipv4Addr::new(172, 20, 0, last),
                    (false, false) => Ipv4Addr::new(10, 0, 0, last),
                    (false, true) => Ipv4Addr::new(198, 51, 100, last),
                };
                prefixes.push(IpNet::new(address.into(), length).expect("a length for IPv4"));
                if !external && self.random.percent(20) {
                    let second = Ipv4Addr::new(10, 0, 1, last);
                    prefixes.push(IpNet::new(second.into(), 29).expect("a length for IPv4"));
                }
            }
            if six {
                let length = *self.random.pick(&[125, 125, 126, 127]);
                let block = if external {
                    0x2001_0db8
                } else {
                    0xfd00_0000_u128
                };
                let address = Ipv6Addr::from((block << 96) + (number as u128) * 0x20);
                prefixes.push(IpNet::new(address.into(), length).expect("a length for IPv6"));
            }
            self.segments.push(Segment {
                name: format!("seg{number}"),
                zone: self.random.pick(&self.zones).clone(),
                external,
                used: vec![0; prefixes.len()],
                prefixes,
            });
        }
    }

    fn add_devices(&mut self) {
        for number in 0..self.random.between(1, 3) {
            let kind = if self.random.percent(70) {
                Kind::Gateway
            } else {
                Kind::Router
            };
            self.add_device(format!("device{number}"), kind, 4);
        }
        for number in 0..self.random.below(4) {
            let kind = if self.random.percent(40) {
                Kind::ForwardingHost
            } else {
                Kind::PlainHost
            };
            self.add_device(format!("host{number}"), kind, 2);
        }
    }

    fn add_device(&mut self, name: String, kind: Kind, most: usize) {
        let several = if kind == Kind::PlainHost { 45 } else { 85 };
        let least = if self.random.percent(several) { 2 } else { 1 };
        let most = if least < most && kind == Kind::PlainHost {
            least
        } else {
            most
        };
        let count = self.random.between(least, most);
        let all: Vec<usize> = (0..self.segments.len()).collect();
        let chosen = self.random.some(&all, count);
        let mut interfaces: Vec<WiredInterface> = Vec::new();
        for segment in chosen {
            interfaces.push(self.interface(segment, interfaces.len()));
            if self.random.percent(10) {
                interfaces.push(self.interface(segment, interfaces.len()));
            }
        }
        self.devices.push(Device {
            name,
            kind,
            interfaces,
        });
    }

    fn interface(&mut self, segment: usize, index: usize) -> WiredInterface {
        let mut addresses = Vec::new();
        for prefix in 0..self.segments[segment].prefixes.len() {
            let count = [0, 1, 1, 1, 1, 1, 1, 1, 1, 2][self.random.below(10)];
            addresses.extend((0..count).filter_map(|_| self.segments[segment].give(prefix)));
            let wide = |net: &&mut IpNet| net.prefix_len() + 2 <= net.max_prefix_len();
            if let (true, Some(last)) = (self.random.percent(4), addresses.last_mut().filter(wide))
            {
                // Takes more for on-link than the segment has; the segments lie 32 addresses apart.
                *last = IpNet::new(last.addr(), last.prefix_len() - 1).expect("a shorter length");
            }
        }
        let six = |net: &IpNet| !net.addr().is_ipv4();
        if self.segments[segment].prefixes.iter().any(six) && self.random.percent(15) {
            let number = 16 * (self.devices.len() as u128 + 1) + index as u128;
            let address = Ipv6Addr::from((0xfe80_u128 << 112) + number);
            addresses.push(IpNet::new(address.into(), 64).expect("a length for IPv6"));
        }
        WiredInterface { segment, addresses }
    }

    fn write_segments(&mut self, text: &mut String) {
        for zone in &self.zones {
            writeln!(text, "[zones.{zone}]\ntrust = {}", self.random.below(101)).expect("a string");
        }
        for number in 0..self.segments.len() {
            let gateways = self.default_gateways(number);
            let segment = &self.segments[number];
            writeln!(
                text,
                "[segments.{}]\nzone = \"{}\"",
                segment.name, segment.zone
            )
            .expect("a string");
            list(text, "prefixes", &segment.prefixes);
            list(text, "default_gateway", &gateways);
            if segment.external {
                text.push_str("external = true\n");
                // A partner's network, of which nobody here has an address; or the office's, as the partner routes it.
                if self.random.percent(35) {
                    let partners = ["10.200.0.0/24", "10.0.0.0/24", "fdff::/64", "fd00::/96"];
                    let routes = self.random.some(&partners, 2);
                    list(text, "routes", &routes);
                }
            }
        }
    }

    /// Mostly none, so that any router will do.
    fn default_gateways(&mut self, segment: usize) -> Vec<IpAddr> {
        if self.random.percent(55) {
            return Vec::new();
        }
        let addresses: Vec<IpAddr> = self
            .devices
            .iter()
            .filter(|device| device.kind != Kind::PlainHost)
            .flat_map(|device| &device.interfaces)
            .filter(|interface| interface.segment == segment)
            .flat_map(|interface| &interface.addresses)
            .map(IpNet::addr)
            .filter(|&address| !is_link_local(address))
            .collect();
        let count = self.random.between(1, 2);
        self.random.some(&addresses, count)
    }

    fn write_device(&mut self, number: usize, text: &mut String) {
        let (name, kind) = (self.devices[number].name.clone(), self.devices[number].kind);
        let table = match kind {
            Kind::Gateway => "gateways",
            Kind::Router => "routers",
            Kind::ForwardingHost | Kind::PlainHost => "hosts",
        };
        writeln!(text, "[{table}.{name}]").expect("a string");
        match kind {
            Kind::Gateway => {
                let open = self.hairpin.as_ref().is_some_and(|pin| pin.is_in(number));
                let closed = if open { "permit" } else { "deny" };
                let default = *self.random.pick(&["permit", closed, closed, "reject"]);
                writeln!(text, "default = \"{default}\"").expect("a string");
            }
            Kind::ForwardingHost => text.push_str("forwards = \"routes\"\n"),
            // Frames that a host bridges are the business of the simulator of layer 2.
            Kind::PlainHost if self.random.percent(20) => text.push_str("forwards = \"no\"\n"),
            Kind::Router | Kind::PlainHost => {}
        }
        let rewrites = self
            .hairpin
            .as_ref()
            .is_some_and(|pin| pin.balancer == number);
        let stateful = kind == Kind::Gateway && (rewrites || self.random.percent(75));
        if kind == Kind::Gateway {
            writeln!(text, "stateful = {stateful}").expect("a string");
        }
        if matches!(kind, Kind::ForwardingHost | Kind::PlainHost) {
            random_routes::write_default_gateway(self, number, text);
        }
        self.write_feet(number, text);
        random_routes::write_routes(self, number, &format!("{table}.{name}"), text);
        if kind == Kind::Gateway {
            random_rules::write_rules(self, number, text);
        }
        if stateful {
            random_rules::write_translations(self, number, text);
        }
    }

    fn write_feet(&mut self, number: usize, text: &mut String) {
        let (name, kind) = (self.devices[number].name.clone(), self.devices[number].kind);
        for (index, interface) in self.devices[number]
            .interfaces
            .clone()
            .into_iter()
            .enumerate()
        {
            let segment = &self.segments[interface.segment].name;
            match kind {
                Kind::Gateway => writeln!(text, "[gateways.{name}.interfaces.if{index}]"),
                Kind::Router => writeln!(text, "[routers.{name}.interfaces.if{index}]"),
                _ => writeln!(text, "[[hosts.{name}.interfaces]]"),
            }
            .expect("a string");
            writeln!(text, "segment = \"{segment}\"").expect("a string");
            list(text, "addresses", &interface.addresses);
            if matches!(kind, Kind::Gateway | Kind::Router) {
                let check = *self.random.pick(&["off", "off", "loose", "strict"]);
                writeln!(text, "source_check = \"{check}\"").expect("a string");
            }
        }
    }
}

impl Segment {
    /// The next free host address of a prefix, with the prefix's length.
    pub fn give(&mut self, prefix: usize) -> Option<IpNet> {
        let net = self.prefixes[prefix];
        let size = 1_u128 << (net.max_prefix_len() - net.prefix_len());
        // RFC 3021 and RFC 6164: both addresses of a point-to-point link are hosts'.
        let (first, end) = if size == 2 { (0, 2) } else { (1, size - 1) };
        let offset = first + self.used[prefix];
        if end <= offset {
            return None;
        }
        self.used[prefix] += 1;
        IpNet::new(add(net.addr(), offset), net.prefix_len()).ok()
    }
}

/// Whether an address is valid on one link only (RFC 4291 section 2.5.6).
pub fn is_link_local(address: IpAddr) -> bool {
    matches!(address, IpAddr::V6(v6) if v6.segments()[0] == 0xfe80)
}

/// The address so many further on.
pub fn add(address: IpAddr, offset: u128) -> IpAddr {
    match address {
        IpAddr::V4(v4) => Ipv4Addr::from(u32::from(v4).wrapping_add(offset as u32)).into(),
        IpAddr::V6(v6) => Ipv6Addr::from(u128::from(v6).wrapping_add(offset)).into(),
    }
}

/// A key with a list of strings; nothing where the list is empty.
pub fn list<T: std::fmt::Display>(text: &mut String, key: &str, items: &[T]) {
    if !items.is_empty() {
        let quoted: Vec<String> = items.iter().map(|item| format!("\"{item}\"")).collect();
        writeln!(text, "{key} = [{}]", quoted.join(", ")).expect("a string");
    }
}
