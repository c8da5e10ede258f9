//! The rules of one gateway, packet by packet: every packet that a few telling values make is checked, translated,
//! routed and run through the rules by the definitions, without sets.

use std::collections::BTreeSet;
use std::net::IpAddr;

use boundwalk::analysis::rules::{Part, RulePacket};
use boundwalk::model::{
    Action, AddressMatch, Date, Family, Filter, Prefix, Protocol, Router, Rule, RuleParty, Service,
    ServiceMatch, Site, SourceCheck, TranslationTarget, Via,
};

/// A packet as the rules see it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Seen {
    pub ingress: usize,
    /// `None`: for the gateway itself.
    pub egress: Option<usize>,
    pub source: IpAddr,
    pub destination: IpAddr,
    pub protocol: u8,
    pub source_port: u16,
    pub destination_port: u16,
    /// One bit for each active rule that names it.
    holders: u32,
}

impl Seen {
    /// Whether an active rule names it.
    pub fn named_by(&self, rule: usize) -> bool {
        self.holders >> rule & 1 == 1
    }

    /// The first of the rules but some that names it.
    pub fn first_but(&self, gone: &[usize]) -> Option<usize> {
        let left = gone
            .iter()
            .fold(self.holders, |left, rule| left & !(1 << rule));
        (left != 0).then(|| left.trailing_zeros() as usize)
    }
}

/// One gateway, and all packets that its rules can see among those that the values make.
pub struct RuleList<'s> {
    site: &'s Site,
    router: &'s Router,
    pub filter: &'s Filter,
    today: Date,
    pub packets: BTreeSet<Seen>,
}

impl<'s> RuleList<'s> {
    /// Enumerates the packets of the first gateway of a site.
    pub fn new(site: &'s Site, today: Date) -> Self {
        let router = &site.routers[0];
        let mut list = Self {
            site,
            router,
            filter: router.filter().expect("the first router filters"),
            today,
            packets: BTreeSet::new(),
        };
        let services = list.services();
        for family in Family::ALL {
            let addresses = list.addresses(family);
            for ingress in 0..router.interfaces.len() {
                for &source in &addresses {
                    if !list.may_arrive(ingress, source) {
                        continue;
                    }
                    for &destination in &addresses {
                        for &service in &services {
                            list.add(ingress, source, destination, service);
                        }
                    }
                }
            }
        }
        list
    }

    fn add(
        &mut self,
        ingress: usize,
        source: IpAddr,
        destination: IpAddr,
        (protocol, source_port, port): (u8, u16, u16),
    ) {
        if never_forwarded(destination) {
            return;
        }
        let before = (protocol, source_port, port);
        let (destination, port) = self.translated(ingress, source, destination, before);
        let Some(egress) = self.departure(destination) else {
            return;
        };
        let seen = Seen {
            ingress,
            egress,
            source,
            destination,
            protocol,
            source_port,
            destination_port: port,
            holders: 0,
        };
        self.packets.insert(self.held(seen));
    }

    /// The packet with the rules that name it.
    fn held(&self, seen: Seen) -> Seen {
        let holders = self
            .filter
            .rules
            .iter()
            .enumerate()
            .filter(|(_, rule)| self.matches(rule, &seen))
            .fold(0, |holders, (number, _)| holders | 1 << number);
        Seen { holders, ..seen }
    }

    /// The source check (RFC 3704 sections 2.2 and 2.4).
    fn may_arrive(&self, ingress: usize, source: IpAddr) -> bool {
        let way = self.route(source);
        !never_forwarded(source)
            && match self.router.interfaces[ingress].source_check {
                SourceCheck::Off => true,
                SourceCheck::Loose => matches!(way, Some(Some(_))),
                SourceCheck::Strict => way == Some(Some(ingress)),
            }
    }

    /// Longest match: `None` no route, `Some(None)` discarded.
    fn route(&self, address: IpAddr) -> Option<Option<usize>> {
        let mut best: Option<(u8, Option<usize>)> = None;
        let mut offer = |prefix: Prefix, way: Option<usize>| {
            let length = prefix.net().prefix_len();
            // Of equals the earlier one: on-link before static.
            if prefix.contains(address) && best.is_none_or(|(known, _)| length > known) {
                best = Some((length, way));
            }
        };
        for (number, interface) in self.router.interfaces.iter().enumerate() {
            for own in &interface.addresses {
                offer(own.value.prefix(), Some(number));
            }
        }
        for route in &self.router.routes {
            let way = match route.via {
                Via::NextHop { interface, .. } => Some(interface),
                Via::Discard => None,
            };
            offer(route.destination, way);
        }
        best.map(|(_, way)| way)
    }

    /// Where a packet leaves: `None` not at all, `Some(None)` the gateway itself.
    fn departure(&self, destination: IpAddr) -> Option<Option<usize>> {
        let mut own = self.router.interfaces.iter().flat_map(|one| &one.addresses);
        if own.any(|own| own.value.address() == destination) {
            return Some(None);
        }
        self.route(destination)?.map(Some)
    }

    fn translated(
        &self,
        ingress: usize,
        source: IpAddr,
        destination: IpAddr,
        service: (u8, u16, u16),
    ) -> (IpAddr, u16) {
        for line in &self.filter.destination_translations {
            let family_fits = match line.target {
                TranslationTarget::Address(to) => Family::of(to) == Family::of(destination),
                _ => true,
            };
            let matches = line.enabled
                && family_fits
                && self.named(&line.parties, Some(ingress))
                && holds(&line.source, source)
                && holds(&line.destination, destination)
                && serves(&line.services, service, Family::of(source));
            if matches {
                return match line.target {
                    TranslationTarget::Address(to) => (to, line.port.unwrap_or(service.2)),
                    _ => (destination, service.2),
                };
            }
        }
        (destination, service.2)
    }

    fn named(&self, parties: &Option<Vec<RuleParty>>, interface: Option<usize>) -> bool {
        let Some(parties) = parties else {
            return true;
        };
        parties.iter().any(|party| match (*party, interface) {
            (RuleParty::Gateway, None) => true,
            (RuleParty::Segment(segment), Some(at)) => {
                self.router.interfaces[at].segment == segment
            }
            (RuleParty::Zone(zone), Some(at)) => {
                self.site.segment(self.router.interfaces[at].segment).zone == zone
            }
            _ => false,
        })
    }

    fn matches(&self, rule: &Rule, packet: &Seen) -> bool {
        let service = (packet.protocol, packet.source_port, packet.destination_port);
        rule.active(self.today)
            && self.named(&rule.from, Some(packet.ingress))
            && self.named(&rule.to, packet.egress)
            && holds(&rule.source, packet.source)
            && holds(&rule.destination, packet.destination)
            && serves(&rule.services, service, Family::of(packet.source))
    }

    /// What is done with a packet where some rules are gone.
    pub fn verdict(&self, gone: &[usize], packet: &Seen) -> Action {
        let decider = packet.first_but(gone);
        decider.map_or(self.filter.default.value, |rule| {
            self.filter.rules[rule].action.value
        })
    }

    /// The packets that a rule names.
    pub fn of_rule(&self, rule: usize) -> Vec<Seen> {
        self.packets
            .iter()
            .copied()
            .filter(|packet| packet.named_by(rule))
            .collect()
    }

    /// A packet that the engine shows, checked to be one that the rules can see.
    pub fn shown(&self, shown: &RulePacket) -> Seen {
        let packet = shown.packet;
        let seen = Seen {
            ingress: shown.ingress,
            egress: shown.egress,
            source: packet.source,
            destination: packet.destination,
            protocol: packet.protocol.0,
            source_port: packet.source_port,
            destination_port: packet.destination_port,
            holders: 0,
        };
        let seen = self.held(seen);
        assert!(
            self.may_arrive(seen.ingress, seen.source),
            "{seen:?} may arrive"
        );
        assert_eq!(
            self.departure(seen.destination),
            Some(seen.egress),
            "{seen:?} leaves"
        );
        assert!(
            self.comes_about(&seen),
            "{seen:?} is what a translation leaves"
        );
        seen
    }

    /// Whether some packet looks like this after destination translation.
    fn comes_about(&self, seen: &Seen) -> bool {
        let own = (seen.protocol, seen.source_port, seen.destination_port);
        let same = self.translated(seen.ingress, seen.source, seen.destination, own);
        if same == (seen.destination, seen.destination_port) {
            return true;
        }
        let family = Family::of(seen.source);
        let mut ports: Vec<u16> = self.services().iter().map(|service| service.2).collect();
        ports.push(seen.destination_port);
        let mut addresses = self.addresses(family);
        addresses.push(seen.destination);
        addresses.iter().any(|&address| {
            ports.iter().any(|&port| {
                let service = (seen.protocol, seen.source_port, port);
                let after = self.translated(seen.ingress, seen.source, address, service);
                !never_forwarded(address) && after == (seen.destination, seen.destination_port)
            })
        })
    }

    /// The lowest and the highest address of everything that the site names, and their neighbours.
    fn addresses(&self, family: Family) -> Vec<IpAddr> {
        let mut ends: BTreeSet<u128> = BTreeSet::from([0, family.top()]);
        let mut add = |low: u128, high: u128| {
            ends.extend([low, high]);
            ends.extend(low.checked_sub(1));
            ends.extend(high.checked_add(1).filter(|&next| next <= family.top()));
        };
        let rules = self.filter.rules.iter();
        let lines = self.filter.destination_translations.iter();
        let fields = rules
            .flat_map(|rule| [&rule.source, &rule.destination])
            .chain(
                lines
                    .clone()
                    .flat_map(|line| [&line.source, &line.destination]),
            );
        for field in fields.flatten() {
            for part in field.set.of(family).intervals() {
                add(part.low(), part.high());
            }
        }
        for part in family.never_forwarded().intervals() {
            add(part.low(), part.high());
        }
        for own in self.router.interfaces.iter().flat_map(|one| &one.addresses) {
            if own.value.family() == family {
                let (prefix, value) = (own.value.prefix().interval(), own.value.address());
                add(prefix.low(), prefix.high());
                add(Family::value(value), Family::value(value));
            }
        }
        for route in &self.router.routes {
            if route.destination.family() == family {
                add(
                    route.destination.interval().low(),
                    route.destination.interval().high(),
                );
            }
        }
        for line in lines {
            if let TranslationTarget::Address(to) = line.target
                && Family::of(to) == family
            {
                add(Family::value(to), Family::value(to));
            }
        }
        ends.into_iter()
            .map(|value| family.address(value))
            .collect()
    }

    /// Protocols with ports at the ends of everything that the site names, and their neighbours.
    fn services(&self) -> Vec<(u8, u16, u16)> {
        let mut found = BTreeSet::from([(47, 0, 0), (6, 9, 0), (17, 9, 0), (1, 0, 0), (58, 0, 0)]);
        let rules = self.filter.rules.iter().flat_map(|rule| &rule.services);
        let lines = self.filter.destination_translations.iter();
        let named = rules.chain(lines.clone().flat_map(|line| &line.services));
        for service in named.flat_map(|list| &list.services) {
            match service {
                Service::Ports {
                    protocol,
                    destination,
                    ..
                } => {
                    for part in destination.intervals() {
                        let (low, high) = (part.low() as u16, part.high() as u16);
                        let near = [low.saturating_sub(1), low, high, high.saturating_add(1)];
                        found.extend(near.map(|port| (protocol.0, 9, port)));
                    }
                }
                Service::Message { protocol, kind, .. } => {
                    let first = u16::from(*kind) * 256;
                    found.extend([first, first + 1].map(|code| (protocol.0, 0, code)));
                }
                Service::Whole(Protocol(number)) => {
                    found.insert((*number, 0, 0));
                }
                Service::Any => {}
            }
        }
        for port in lines.filter_map(|line| line.port) {
            found.extend([port - 1, port, port + 1].map(|port| (6, 9, port)));
        }
        found.into_iter().collect()
    }
}

/// Whether a part holds a packet.
pub fn in_part(part: &Part, packet: &Seen, class: usize, itself: usize) -> bool {
    let value = Family::value;
    part.family == Family::of(packet.source)
        && part.ingress.contains(&packet.ingress)
        && part.egress.contains(&packet.egress.unwrap_or(itself))
        && part
            .region
            .contains(value(packet.source), value(packet.destination), class)
}

fn never_forwarded(address: IpAddr) -> bool {
    let family = Family::of(address);
    family.never_forwarded().contains(Family::value(address))
}

fn holds(field: &Option<AddressMatch>, address: IpAddr) -> bool {
    field
        .as_ref()
        .is_none_or(|field| field.set.contains(address))
}

fn serves(
    list: &Option<ServiceMatch>,
    (protocol, source_port, port): (u8, u16, u16),
    family: Family,
) -> bool {
    let Some(list) = list else {
        return true;
    };
    list.services.iter().any(|service| match service {
        Service::Any => true,
        // ICMP belongs to IPv4, ICMPv6 to IPv6.
        Service::Whole(own) => own.0 == protocol && speaks(protocol, family),
        Service::Ports {
            protocol: own,
            source,
            destination,
        } => {
            own.0 == protocol
                && source.contains(source_port.into())
                && destination.contains(port.into())
        }
        Service::Message {
            protocol: own,
            kind,
            code,
        } => {
            own.0 == protocol
                && speaks(protocol, family)
                && u16::from(*kind) == port >> 8
                && code.is_none_or(|code| u16::from(code) == port & 0xff)
        }
    })
}

fn speaks(protocol: u8, family: Family) -> bool {
    match protocol {
        1 => family == Family::V4,
        58 => family == Family::V6,
        _ => true,
    }
}
