//! What one gateway's rule list permits between two parties, as decision diagrams.

use std::collections::BTreeMap;

use boundwalk::analysis::Endpoint;
use boundwalk::forwarding::Network;
use boundwalk::model::{
    Action, AddressMatch, Family, Filter, RouterId, Rule, RuleParty as Side, SegmentId, Service,
    Site,
};
use boundwalk::packet::{Field, IntervalSet, PacketBox, Region, Space};
use oxidd::BooleanFunction;
use oxidd::bdd::BDDFunction;

use crate::diagrams::{Diagrams, and, not, or};

/// The gateway itself.
pub const GATEWAY: Endpoint = Endpoint::Device(RouterId(0));

/// What a list permits between two parties, by the rule that decides.
pub type Permitted = BTreeMap<Option<usize>, BDDFunction>;

/// A site of one gateway, read rule by rule.
pub struct PairDiagrams<'s> {
    pub site: &'s Site,
    pub network: &'s Network<'s>,
    filter: &'s Filter,
    space: Space,
    pub diagrams: Diagrams,
}

impl<'s> PairDiagrams<'s> {
    pub fn new(site: &'s Site, network: &'s Network<'s>) -> Self {
        let space = Space::ipv4(1);
        Self::with(site, network, Diagrams::new(&space))
    }

    /// With diagrams that are there already, so that those of two sites can be compared.
    pub fn with(site: &'s Site, network: &'s Network<'s>, diagrams: Diagrams) -> Self {
        Self {
            site,
            network,
            filter: site.routers[0].filter().expect("it is a gateway"),
            space: Space::ipv4(1),
            diagrams,
        }
    }

    /// Every packet from the addresses of one party to those of another.
    pub fn between(&mut self, from: Endpoint, to: Endpoint) -> BDDFunction {
        let (from, to) = (self.addresses(from), self.addresses(to));
        let source = self.diagrams.of_set(Field::Source, &from);
        and(&source, &self.diagrams.of_set(Field::Destination, &to))
    }

    pub fn permitted(&mut self, from: Endpoint, to: Endpoint, all: &BDDFunction) -> Permitted {
        let mut open = all.clone();
        let mut permitted = Permitted::new();
        for (number, rule) in self.filter.rules.iter().enumerate() {
            if !rule.enabled || !self.is_between(rule, from, to) {
                continue;
            }
            let matched = and(&open, &self.of_rule(rule));
            if rule.action.value == Action::Permit && matched.satisfiable() {
                permitted.insert(Some(number), matched.clone());
            }
            open = and(&open, &not(&matched));
        }
        if self.filter.default.value == Action::Permit && open.satisfiable() {
            permitted.insert(None, open);
        }
        permitted
    }

    fn is_between(&self, rule: &Rule, from: Endpoint, to: Endpoint) -> bool {
        let names = |sides: &Option<Vec<Side>>, party: Endpoint| {
            let Some(sides) = sides else { return true };
            sides.iter().any(|side| match (*side, party) {
                (Side::Gateway, party) => party == GATEWAY,
                (Side::Segment(one), Endpoint::Segment(other)) => one == other,
                (Side::Zone(zone), Endpoint::Segment(other)) => {
                    self.site.segment(other).zone == zone
                }
                _ => false,
            })
        };
        names(&rule.from, from) && names(&rule.to, to)
    }

    fn of_rule(&mut self, rule: &Rule) -> BDDFunction {
        let mut matched = self.diagrams.constant(false);
        let listed = rule.services.as_ref().map(|list| &list.services);
        for service in listed.unwrap_or(&vec![Service::Any]) {
            let packets = service_box(&self.space, service);
            matched = or(&matched, &self.diagrams.of_box(&packets));
        }
        let sides = [
            (Field::Source, &rule.source),
            (Field::Destination, &rule.destination),
        ];
        for (field, list) in sides {
            if let Some(AddressMatch { set, .. }) = list {
                matched = and(&matched, &self.diagrams.of_set(field, &set.v4));
            }
        }
        matched
    }

    pub fn of_region(&mut self, region: &Region) -> BDDFunction {
        let mut packets = self.diagrams.constant(false);
        for services in self.network.classes.boxes(&region.services) {
            let part = PacketBox::full(&self.space)
                .with(Field::Source, region.source.clone())
                .with(Field::Destination, region.destination.clone())
                .with(Field::Protocol, services.protocols)
                .with(Field::SourcePort, services.source_ports)
                .with(Field::DestinationPort, services.destination_ports);
            packets = or(&packets, &self.diagrams.of_box(&part));
        }
        packets
    }

    /// The gateway's own; those of a segment's prefixes without them; beyond, all that is of no segment
    /// and not private.
    fn addresses(&self, party: Endpoint) -> IntervalSet {
        let own = self.site.routers[0].own_addresses().v4;
        let prefixes = |segment: SegmentId| self.site.segment(segment).addresses().v4;
        match party {
            Endpoint::Segment(segment) if self.site.segment(segment).external => {
                let segments = self.site.segment_ids();
                let inside = segments.filter(|&other| other != segment).map(prefixes);
                let nobody = [(0, 0x00ff_ffff), (0x7f00_0000, 0x7fff_ffff)];
                let nobody = nobody
                    .into_iter()
                    .chain([(0xa9fe_0000, 0xa9fe_ffff), (0xe000_0000, 0xffff_ffff)])
                    .map(|(low, high)| IntervalSet::range(low, high));
                let all = IntervalSet::range(0, u128::from(u32::MAX));
                // Nobody out there routes a private address (RFC 1918, RFC 6598).
                let private = [
                    (0x0a00_0000, 0x0aff_ffff),
                    (0x6440_0000, 0x647f_ffff),
                    (0xac10_0000, 0xac1f_ffff),
                    (0xc0a8_0000, 0xc0a8_ffff),
                ];
                let private = private.map(|(low, high)| IntervalSet::range(low, high));
                let known: IntervalSet = self
                    .site
                    .segment(segment)
                    .routes
                    .iter()
                    .filter(|route| route.value.family() == Family::V4)
                    .map(|route| route.value.interval())
                    .collect();
                let known = known.union(&prefixes(segment));
                let private = private.map(|set| set.difference(&known));
                let left = inside
                    .chain(nobody)
                    .chain(private)
                    .fold(all, |left, set| left.difference(&set));
                left.difference(&own)
            }
            Endpoint::Segment(segment) => prefixes(segment).difference(&own),
            _ => own,
        }
    }
}

fn service_box(space: &Space, service: &Service) -> PacketBox {
    let all = PacketBox::full(space);
    let of = |protocol: u8| {
        let protocol = IntervalSet::point(u128::from(protocol));
        all.clone().with(Field::Protocol, protocol)
    };
    match service {
        Service::Any => all,
        Service::Whole(protocol) => of(protocol.0),
        Service::Ports {
            protocol,
            source,
            destination,
        } => of(protocol.0)
            .with(Field::SourcePort, source.clone())
            .with(Field::DestinationPort, destination.clone()),
        Service::Message {
            protocol,
            kind,
            code,
        } => {
            let first = u128::from(*kind) * 256;
            let codes = code.map_or((0, 255), |code| (code, code));
            let range = (first + u128::from(codes.0), first + u128::from(codes.1));
            of(protocol.0).with(Field::DestinationPort, IntervalSet::range(range.0, range.1))
        }
    }
}
