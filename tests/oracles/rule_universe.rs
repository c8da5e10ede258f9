//! All packets that matter at a drafted gateway, one by one: which interface, which source, which destination, which
//! service; checked, translated, routed and held against the rules by the definitions.
//!
//! It reads the draft, not the site made from it, and has neither sets of addresses nor classes of services: an
//! address stands for those around it because the ends of everything that the draft names are taken, and what is next
//! to them. A packet then is the set of rules that name it, one bit each, which is all that a question about rules
//! can depend on.

use std::collections::{BTreeMap, BTreeSet};

use super::rule_draft::{Draft, Drawn, Item, Line, PAST, Service};

/// A packet before it is translated, and as the rules see it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Packet {
    pub ingress: usize,
    pub six: bool,
    pub source: u128,
    pub destination: u128,
    pub protocol: u8,
    pub source_port: u16,
    pub port: u16,
}

/// What is not forwarded (RFC 6890 section 2.2; multicast by RFC 5771 and RFC 4291 section 2.7).
const NEVER: [(bool, u128, u128); 7] = [
    (false, 0, 0x00ff_ffff),
    (false, 0x7f00_0000, 0x7fff_ffff),
    (false, 0xa9fe_0000, 0xa9fe_ffff),
    (false, 0xe000_0000, 0xffff_ffff),
    (true, 0, 1),
    (true, 0xfe80 << 112, (0xfec0 << 112) - 1),
    (true, 0xff << 120, u128::MAX),
];

/// One drafted gateway and the packets at its rules.
pub struct Universe<'d> {
    draft: &'d Draft,
    addresses: [Vec<u128>; 2],
    services: Vec<(u8, u16, u16)>,
    /// One packet for each set of rules that name one.
    pub seen: BTreeMap<u64, Packet>,
    /// How many packets there were.
    pub count: usize,
}

impl<'d> Universe<'d> {
    pub fn new(draft: &'d Draft) -> Self {
        let mut all = Self {
            addresses: [false, true].map(|six| addresses(draft, six)),
            services: services(draft),
            seen: BTreeMap::new(),
            count: 0,
            draft,
        };
        for six in [false, true] {
            let addresses = all.addresses[usize::from(six)].clone();
            for ingress in 0..draft.legs.len() {
                let mut sources = addresses.clone();
                sources.retain(|&source| all.let_in(ingress, six, source));
                for source in sources {
                    for &destination in &addresses {
                        all.send(ingress, six, source, destination);
                    }
                }
            }
        }
        all
    }

    /// One packet of each service.
    fn send(&mut self, ingress: usize, six: bool, source: u128, destination: u128) {
        for (protocol, source_port, port) in self.services.clone() {
            let sent = Packet {
                ingress,
                six,
                source,
                destination,
                protocol,
                source_port,
                port,
            };
            if !never(six, destination)
                && let Some((seen, egress)) = self.at_the_rules(sent)
            {
                self.count += 1;
                self.seen.entry(self.holders(&seen, egress)).or_insert(seen);
            }
        }
    }

    /// The packet after translation and where it leaves; `None`: nowhere.
    fn at_the_rules(&self, sent: Packet) -> Option<(Packet, Option<usize>)> {
        let seen = self.translated(sent);
        Some((seen, self.departure(seen.six, seen.destination)?))
    }

    /// The source check of an interface (RFC 3704 sections 2.2 and 2.4).
    fn let_in(&self, ingress: usize, six: bool, source: u128) -> bool {
        if never(six, source) {
            return false;
        }
        match (self.draft.legs[ingress].check, self.way(six, source)) {
            ("off", _) => true,
            ("loose", way) => way.is_some(),
            (_, way) => way == Some(ingress),
        }
    }

    /// The interface that the longest prefix leads to; of two alike, the one that is on-link.
    fn way(&self, six: bool, address: u128) -> Option<usize> {
        let mut best: Option<(u128, Option<usize>)> = None;
        let mut offer = |item: &Item, way: Option<usize>| {
            let width = item.high - item.low;
            if within(item, six, address) && best.is_none_or(|(narrowest, _)| width < narrowest) {
                best = Some((width, way));
            }
        };
        for (number, leg) in self.draft.legs.iter().enumerate() {
            leg.own
                .iter()
                .for_each(|(prefix, _)| offer(prefix, Some(number)));
        }
        for route in &self.draft.routes {
            offer(&route.to, route.via.map(|(leg, _)| leg));
        }
        best?.1
    }

    /// `Some(None)`: the gateway itself.
    fn departure(&self, six: bool, destination: u128) -> Option<Option<usize>> {
        let mut own = self.draft.legs.iter().flat_map(|leg| &leg.own);
        if own.any(|(_, own)| within(own, six, destination)) {
            Some(None)
        } else {
            self.way(six, destination).map(Some)
        }
    }

    /// The first line that matches says what becomes of a packet.
    fn translated(&self, sent: Packet) -> Packet {
        let line = self
            .draft
            .lines
            .iter()
            .find(|line| self.rewrites(line, &sent));
        let Some(target) = line.and_then(|line| line.target.as_ref()) else {
            return sent;
        };
        Packet {
            destination: target.low,
            port: line.and_then(|line| line.port).unwrap_or(sent.port),
            ..sent
        }
    }

    fn rewrites(&self, line: &Line, sent: &Packet) -> bool {
        line.enabled
            && line
                .target
                .as_ref()
                .is_none_or(|target| target.six == sent.six)
            && self.party(&line.from, Some(sent.ingress))
            && any_within(&line.source, sent.six, sent.source)
            && any_within(&line.destination, sent.six, sent.destination)
            && serves(&line.services, sent)
    }

    /// Whether a list of parties names an interface; `None`: the gateway itself.
    fn party(&self, parties: &[String], at: Option<usize>) -> bool {
        let names = |party: &String| match at {
            None => party == "gateway",
            Some(at) => {
                let leg = &self.draft.legs[at];
                [
                    format!("segment:{}", leg.segment),
                    format!("zone:{}", leg.zone),
                ]
                .contains(party)
            }
        };
        parties.is_empty() || parties.iter().any(names)
    }

    /// One bit for each rule that names a packet.
    fn holders(&self, seen: &Packet, egress: Option<usize>) -> u64 {
        let naming = self.draft.rules.iter().enumerate().filter(|(_, rule)| {
            is_on(rule)
                && self.party(&rule.from, Some(seen.ingress))
                && self.party(&rule.to, egress)
                && any_within(&rule.source, seen.six, seen.source)
                && any_within(&rule.destination, seen.six, seen.destination)
                && serves(&rule.services, seen)
        });
        naming.fold(0, |bits, (number, _)| bits | 1 << number)
    }

    /// The rules that name a packet which is said to get to the rules and leave by an interface; an error if it
    /// does not.
    pub fn look(&self, said: &Packet, egress: Option<usize>) -> Result<u64, String> {
        let claim = |holds: bool, what: &str| holds.then_some(()).ok_or(format!("{said:?} {what}"));
        claim(
            self.let_in(said.ingress, said.six, said.source),
            "is not let in",
        )?;
        let leaves = self.departure(said.six, said.destination);
        claim(
            leaves == Some(egress),
            &format!("leaves by {leaves:?}, not {egress:?}"),
        )?;
        claim(
            self.comes_about(said),
            "is nothing that a translation leaves",
        )?;
        Ok(self.holders(said, egress))
    }

    fn comes_about(&self, said: &Packet) -> bool {
        let addresses = &self.addresses[usize::from(said.six)];
        let mut destinations = addresses.iter().chain([&said.destination]);
        destinations.any(|&destination| {
            let mut ports = self
                .services
                .iter()
                .map(|service| service.2)
                .chain([said.port]);
            !never(said.six, destination)
                && ports.any(|port| {
                    self.translated(Packet {
                        destination,
                        port,
                        ..*said
                    }) == *said
                })
        })
    }

    /// What is done where some rules are gone, one bit each.
    pub fn verdict(&self, holders: u64, gone: u64) -> &'static str {
        match first(holders & !gone) {
            Some(rule) => self.draft.rules[rule].action,
            None => self.draft.default,
        }
    }

    /// Whether everything is decided alike where some rules are gone.
    pub fn same_without(&self, gone: u64) -> bool {
        let mut seen = self.seen.keys();
        seen.all(|&holders| self.verdict(holders, gone) == self.verdict(holders, 0))
    }
}

/// The first rule of a set.
pub fn first(holders: u64) -> Option<usize> {
    (holders != 0).then(|| holders.trailing_zeros() as usize)
}

/// Whether a rule is enabled and has not expired.
pub fn is_on(rule: &Drawn) -> bool {
    rule.enabled && rule.expires != Some(PAST)
}

fn within(item: &Item, six: bool, address: u128) -> bool {
    item.six == six && item.low <= address && address <= item.high
}

fn any_within(items: &[Item], six: bool, address: u128) -> bool {
    items.is_empty() || items.iter().any(|item| within(item, six, address))
}

fn never(six: bool, address: u128) -> bool {
    let mut blocks = NEVER.iter();
    blocks.any(|&(of_six, low, high)| of_six == six && (low..=high).contains(&address))
}

/// ICMP belongs to IPv4, ICMPv6 to IPv6.
fn serves(services: &[Service], packet: &Packet) -> bool {
    let speaks = |protocol| match protocol {
        1 => !packet.six,
        58 => packet.six,
        _ => true,
    };
    services.is_empty()
        || services.iter().any(|service| {
            service.protocol == packet.protocol
                && speaks(service.protocol)
                && (service.from.0..=service.from.1).contains(&packet.source_port)
                && (service.to.0..=service.to.1).contains(&packet.port)
        })
}

/// The ends of everything that a draft names, what is next to them, and a stranger.
fn addresses(draft: &Draft, six: bool) -> Vec<u128> {
    let ruled = draft
        .rules
        .iter()
        .flat_map(|rule| rule.source.iter().chain(&rule.destination));
    let written = draft.lines.iter().flat_map(|line| {
        line.source
            .iter()
            .chain(&line.destination)
            .chain(&line.target)
    });
    let own = draft
        .legs
        .iter()
        .flat_map(|leg| &leg.own)
        .flat_map(|(prefix, own)| [prefix, own]);
    let routed = draft.routes.iter().map(|route| &route.to);
    let named = ruled
        .chain(written)
        .chain(own)
        .chain(routed)
        .filter(|item| item.six == six)
        .map(|item| (item.low, item.high));
    let never = NEVER
        .iter()
        .filter(|block| block.0 == six)
        .map(|&(_, low, high)| (low, high));
    let stranger = if six {
        0x2001_0db8_0077 << 80
    } else {
        0xc000_024d
    };
    let top = if six { u128::MAX } else { u128::from(u32::MAX) };
    let mut all = BTreeSet::new();
    for (low, high) in named.chain(never).chain([(stranger, stranger), (0, top)]) {
        all.extend([
            low.saturating_sub(1),
            low,
            high,
            high.saturating_add(1).min(top),
        ]);
    }
    all.into_iter().collect()
}

/// A sample of each service: the ends of what is named, and what is next to them.
fn services(draft: &Draft) -> Vec<(u8, u16, u16)> {
    let rules = draft.rules.iter().flat_map(|rule| &rule.services);
    let lines = draft.lines.iter().flat_map(|line| &line.services);
    let mut all = BTreeSet::from([
        (1, 0, 0),
        (6, 0, 0),
        (17, 0, 0),
        (47, 0, 0),
        (58, 0, 0),
        (89, 0, 0),
    ]);
    let near = |(low, high): (u16, u16)| [low.saturating_sub(1), low, high, high.saturating_add(1)];
    for service in rules.chain(lines) {
        if service.protocol == 47 {
            continue;
        }
        for source in near(service.from) {
            all.extend(near(service.to).map(|port| (service.protocol, source, port)));
        }
    }
    for port in draft.lines.iter().filter_map(|line| line.port) {
        all.extend([0, 1024].map(|source| (6, source, port)));
    }
    // Messages have no source port.
    all.retain(|&(protocol, source, _)| source == 0 || !matches!(protocol, 1 | 58));
    all.into_iter().collect()
}
