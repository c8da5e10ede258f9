//! The packets that can cross a gateway, and their compact numbering.

use rustc_hash::FxHashSet;

use boundwalk_forwarding::{Device, FilterPlan, Network, Written};
use boundwalk_model::{
    Family, Filter, ICMP, ICMPV6, PerFamily, Router, RouterId, RuleParty, SourceCheck, TCP, UDP,
};
use boundwalk_packet::{ClassSet, Field, Interval, IntervalSet, PacketBox, Point, Region, Space};

use super::super::witness::{examples, witness};
use super::packet::RulePacket;
use super::ranks::{Piece, Pieces, Ranks};

/// What a gateway's rules stand on: which packets there are, and as which numbers.
#[derive(Debug)]
pub(super) struct PacketUniverse<'n> {
    pub(super) network: &'n Network<'n>,
    pub(super) router: &'n Router,
    devices: PerFamily<&'n Device>,
    pub(super) pieces: Pieces,
    pub(super) sources: Ranks,
    pub(super) destinations: Ranks,
    /// Interfaces without a strict check, in the order of their numbers as a field: the first is 1.
    unchecked: Vec<usize>,
    /// The number of each class: those that people know come first, so that they are chosen as witnesses.
    class_numbers: Vec<u32>,
    classes_by_number: Vec<usize>,
    /// For each interface, the sources that come in by it where the check is strict.
    behind: Vec<IntervalSet>,
    /// For each interface the destinations that leave by it; last those of the gateway itself.
    beyond: Vec<IntervalSet>,
    /// Sources that a loose check lets in; sources at all.
    routed: IntervalSet,
    any_source: IntervalSet,
    pub(super) any_destination: IntervalSet,
    pub(super) space: Space,
}

impl<'n> PacketUniverse<'n> {
    pub(super) fn new(network: &'n Network<'n>, id: RouterId, filter: &'n Filter) -> Self {
        let router = network.site.router(id);
        let devices = PerFamily::new(|family| {
            let plan = network.plan(family);
            plan.device(plan.router_index(id))
        });
        let pieces = Pieces::new(cuts(network, filter, devices));
        let pieces = pieces.repeated(|piece| ways_of(devices, piece).len());
        let facts = Facts::new(network, devices, &pieces);
        let zone = |interface: usize| {
            network
                .site
                .segment(router.interfaces[interface].segment)
                .zone
        };
        let place = |at: usize| {
            let way = facts.ways[at];
            let unused = (facts.nobody[at], way.is_none());
            (unused, way.map(zone), way, facts.looks[at])
        };
        let sources = Ranks::new(&pieces, |at, piece| (piece.family, place(at)));
        let destinations = Ranks::new(&pieces, |at, piece| {
            (piece.family, facts.own[at], place(at))
        });
        let mut unchecked: Vec<usize> = (0..router.interfaces.len())
            .filter(|&at| router.interfaces[at].source_check != SourceCheck::Strict)
            .collect();
        unchecked.sort_by_key(|&interface| (zone(interface), interface));
        let count = router.interfaces.len();
        let mut beyond = spread(&destinations, count, |at| {
            facts.ways[at].filter(|_| !facts.nobody[at] && !facts.own[at])
        });
        beyond.push(destinations.of(|at| facts.own[at] && !facts.nobody[at]));
        let last = pieces.all().len() as u128 - 1;
        let classes_by_number = classes_in_order(network);
        let mut class_numbers = vec![0; classes_by_number.len()];
        for (number, &class) in (0u32..).zip(&classes_by_number) {
            class_numbers[class] = number;
        }
        Self {
            class_numbers,
            classes_by_number,
            space: Space::new([
                unchecked.len() as u128,
                0,
                last,
                last,
                0,
                0,
                network.classes.len() as u128 - 1,
            ]),
            behind: spread(&sources, count, |at| {
                facts.ways[at].filter(|_| !facts.nobody[at])
            }),
            routed: sources.of(|at| facts.ways[at].is_some() && !facts.nobody[at]),
            any_source: sources.of(|at| !facts.nobody[at]),
            any_destination: beyond.iter().collect(),
            beyond,
            network,
            router,
            devices,
            pieces,
            sources,
            destinations,
            unchecked,
        }
    }

    pub(super) fn device(&self, family: Family) -> &'n Device {
        self.devices[family]
    }

    pub(super) fn filter(&self, family: Family) -> Option<&'n FilterPlan> {
        self.device(family).filter.as_ref()
    }

    /// The places where packets may arrive, for interfaces by number: (entry, sources) as up to three products.
    pub(super) fn arriving(&self, interfaces: &[usize]) -> Vec<(IntervalSet, IntervalSet)> {
        let check = |at: usize| self.router.interfaces[at].source_check;
        // The gateway itself sends nothing that its rules see.
        let strict = interfaces
            .iter()
            .filter(|&&at| at < self.router.interfaces.len())
            .filter(|&&at| check(at) == SourceCheck::Strict);
        let strict = strict.map(|&at| &self.behind[at]).collect();
        let mut places = vec![(IntervalSet::point(0), strict)];
        for (kind, sources) in [
            (SourceCheck::Loose, &self.routed),
            (SourceCheck::Off, &self.any_source),
        ] {
            let entries = self
                .unchecked
                .iter()
                .enumerate()
                .filter(|&(_, at)| check(*at) == kind && interfaces.contains(at))
                .map(|(number, _)| Interval::point(number as u128 + 1));
            places.push((entries.collect(), sources.clone()));
        }
        places.retain(|(entries, sources)| !entries.is_empty() && !sources.is_empty());
        places
    }

    /// Where packets that come in by an interface arrive: 0 stands for all those that check sources strictly.
    pub(super) fn entry(&self, interface: usize) -> u128 {
        let mut unchecked = self.unchecked.iter();
        let place = unchecked.position(|&at| at == interface);
        place.map_or(0, |number| number as u128 + 1)
    }

    /// The destinations that leave by interfaces, by number; one past the last stands for the gateway itself.
    pub(super) fn leaving(&self, interfaces: &[usize]) -> IntervalSet {
        interfaces.iter().map(|&at| &self.beyond[at]).collect()
    }

    /// Interfaces that a list of parties names, one past the last for the gateway itself; `None`: all of them.
    pub(super) fn named(&self, parties: Option<&[RuleParty]>) -> Vec<usize> {
        let numbered = self.router.interfaces.iter().enumerate();
        let Some(parties) = parties else {
            return (0..=self.router.interfaces.len()).collect();
        };
        let site = self.network.site;
        let mut named: Vec<usize> = numbered
            .filter(|(_, interface)| {
                parties.iter().any(|party| match *party {
                    RuleParty::Zone(zone) => site.segment(interface.segment).zone == zone,
                    RuleParty::Segment(segment) => interface.segment == segment,
                    RuleParty::Gateway => false,
                })
            })
            .map(|(number, _)| number)
            .collect();
        if parties.contains(&RuleParty::Gateway) {
            named.push(self.router.interfaces.len());
        }
        named
    }

    /// The numbers of a set of classes.
    pub(super) fn classes(&self, set: &ClassSet) -> IntervalSet {
        set.iter()
            .map(|class| u128::from(self.class_numbers[class]))
            .map(Interval::point)
            .collect()
    }

    /// The classes of a set of numbers.
    pub(super) fn class_set(&self, numbers: &IntervalSet) -> ClassSet {
        let mut set = self.network.classes.none();
        numbers
            .intervals()
            .iter()
            .flat_map(|part| part.low()..=part.high())
            .for_each(|number| set.insert(self.classes_by_number[number as usize]));
        set
    }

    /// A box of this space.
    pub(super) fn product(
        &self,
        entries: IntervalSet,
        sources: IntervalSet,
        destinations: IntervalSet,
        classes: IntervalSet,
    ) -> PacketBox {
        let zero = IntervalSet::point(0);
        PacketBox::new([
            entries,
            zero.clone(),
            sources,
            destinations,
            zero.clone(),
            zero,
            classes,
        ])
    }

    pub(super) fn all_classes(&self) -> IntervalSet {
        self.space.full(Field::DestinationPort)
    }

    /// Every packet that can arrive and leave, before translations: boxes of each family.
    pub(super) fn everything(&self) -> Vec<PacketBox> {
        let interfaces: Vec<usize> = (0..self.router.interfaces.len()).collect();
        let mut boxes = Vec::new();
        for family in Family::ALL {
            let all = |ranks: &Ranks| ranks.of_addresses(&self.pieces, family, &family.full());
            let destinations = self.any_destination.intersection(&all(&self.destinations));
            for (entries, sources) in self.arriving(&interfaces) {
                let sources = sources.intersection(&all(&self.sources));
                boxes.push(self.product(
                    entries,
                    sources,
                    destinations.clone(),
                    self.all_classes(),
                ));
            }
        }
        boxes.retain(|packets| !packets.is_empty());
        boxes
    }

    /// Interfaces by which packets of a box arrive, ascending.
    pub(super) fn arrived_by(&self, packets: &PacketBox) -> Vec<usize> {
        let entries = packets.field(Field::Ingress).intervals().iter();
        let mut interfaces = Vec::new();
        for entry in entries.flat_map(|part| part.low()..=part.high()) {
            match entry {
                0 => {
                    let behind = self.behind.iter().enumerate();
                    let sources = packets.field(Field::Source);
                    let these = behind.filter(|(_, behind)| behind.overlaps(sources));
                    interfaces.extend(these.map(|(interface, _)| interface));
                }
                entry => interfaces.push(self.unchecked[entry as usize - 1]),
            }
        }
        interfaces.sort_unstable();
        interfaces
    }

    /// Interfaces by which packets of a box leave, ascending; one past the last for the gateway itself.
    pub(super) fn left_by(&self, packets: &PacketBox) -> Vec<usize> {
        let beyond = self.beyond.iter().enumerate();
        let destinations = packets.field(Field::Destination);
        beyond
            .filter(|(_, beyond)| beyond.overlaps(destinations))
            .map(|(interface, _)| interface)
            .collect()
    }

    /// The interface that packets like a point arrive by.
    fn ingress(&self, point: &Point) -> usize {
        match point.get(Field::Ingress) {
            0 => {
                let piece = self.pieces.all()[self.sources.piece(point.get(Field::Source))];
                way_of(self.devices, &piece).unwrap_or_default()
            }
            entry => self.unchecked[entry as usize - 1],
        }
    }

    pub(super) fn packet(&self, point: &Point) -> RulePacket {
        let source = self.pieces.all()[self.sources.piece(point.get(Field::Source))];
        let destination = self.pieces.all()[self.destinations.piece(point.get(Field::Destination))];
        let device = self.device(source.family);
        let plan = self.network.plan(source.family);
        let mut services = self.network.classes.none();
        services.insert(self.classes_by_number[point.get(Field::DestinationPort) as usize]);
        let region = Region {
            source: source.addresses.into(),
            destination: destination.addresses.into(),
            services,
        };
        let packet = witness(self.network, plan, &region).expect("no part of a point is empty");
        let for_itself = device.own.contains(destination.addresses.low());
        let egress = way_of(self.devices, &destination);
        RulePacket {
            ingress: self.ingress(point),
            egress: egress.filter(|_| !for_itself),
            packet,
        }
    }
}

/// The interfaces by which packets may leave for the addresses of a piece, or come from them.
fn ways_of(devices: PerFamily<&Device>, piece: &Piece) -> Vec<usize> {
    let device = devices[piece.family];
    device.routes.interfaces(piece.addresses.low())
}

/// That of the copy that a piece is; `None`: no route, or a discarding one.
fn way_of(devices: PerFamily<&Device>, piece: &Piece) -> Option<usize> {
    ways_of(devices, piece).get(piece.copy).copied()
}

/// Classes of TCP and UDP first, then those of other messages and protocols; within each in their own order, so that
/// ports in a row stay together.
fn classes_in_order(network: &Network<'_>) -> Vec<usize> {
    let mut classes: Vec<usize> = (0..network.classes.len()).collect();
    classes.sort_by_key(|&class| {
        let protocols = &network.classes.class_box(class).protocols;
        let known = [TCP, UDP, ICMP, ICMPV6]
            .map(|protocol| u128::from(protocol.0))
            .iter()
            .position(|&protocol| protocols.contains(protocol));
        known.unwrap_or(usize::MAX)
    });
    classes
}

/// What is true of each piece.
struct Facts {
    /// The interface that it is routed to.
    ways: Vec<Option<usize>>,
    nobody: Vec<bool>,
    own: Vec<bool>,
    looks: Vec<Looks>,
}

/// How well an address serves as a witness, the best first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Looks {
    /// It is one that examples use.
    Example,
    Plain,
    /// The gateway's own, or the first or last of a prefix.
    Odd,
}

impl Facts {
    fn new(network: &Network<'_>, devices: PerFamily<&Device>, pieces: &Pieces) -> Self {
        let mut facts = Self {
            ways: Vec::with_capacity(pieces.all().len()),
            nobody: Vec::with_capacity(pieces.all().len()),
            own: Vec::with_capacity(pieces.all().len()),
            looks: Vec::with_capacity(pieces.all().len()),
        };
        for piece in pieces.all() {
            let device = devices[piece.family];
            let low = piece.addresses.low();
            facts.ways.push(way_of(devices, piece));
            let plan = network.plan(piece.family);
            facts.nobody.push(plan.nobody.contains(low));
            facts.own.push(device.own.contains(low));
            let odd = device.own.contains(low)
                || plan.edges.contains(low) && low == piece.addresses.high();
            facts
                .looks
                .push(match examples(piece.family).contains(low) {
                    true => Looks::Example,
                    false if odd => Looks::Odd,
                    false => Looks::Plain,
                });
        }
        facts
    }
}

/// Ranks by the number that each piece belongs to, for numbers below `count`.
fn spread(
    ranks: &Ranks,
    count: usize,
    belongs: impl Fn(usize) -> Option<usize>,
) -> Vec<IntervalSet> {
    let mut parts: Vec<Vec<Interval>> = vec![Vec::new(); count];
    for rank in 0..ranks.len() as u128 {
        if let Some(number) = belongs(ranks.piece(rank)) {
            parts[number].push(Interval::point(rank));
        }
    }
    parts.into_iter().map(IntervalSet::from_iter).collect()
}

/// Where the addresses of each family must be cut.
fn cuts(
    network: &Network<'_>,
    filter: &Filter,
    devices: PerFamily<&Device>,
) -> PerFamily<Vec<Interval>> {
    let translated = filter
        .destination_translations
        .iter()
        .chain(&filter.source_translations)
        .flat_map(|line| [&line.source, &line.destination]);
    let fields: Vec<_> = filter
        .rules
        .iter()
        .filter(|rule| rule.active(network.today))
        .flat_map(|rule| [&rule.source, &rule.destination])
        .chain(translated)
        .flatten()
        .collect();
    PerFamily::new(|family| {
        let device = devices[family];
        let mut cuts: Vec<Interval> = Vec::new();
        let mut seen: FxHashSet<&IntervalSet> = FxHashSet::default();
        for field in &fields {
            let set = field.set.of(family);
            if seen.insert(set) {
                cuts.extend_from_slice(set.intervals());
            }
        }
        cuts.extend(device.routes.cuts());
        cuts.extend_from_slice(device.own.intervals());
        cuts.extend_from_slice(network.plan(family).nobody.intervals());
        cuts.extend_from_slice(examples(family).intervals());
        let segments = network.plan(family).segments.iter();
        cuts.extend(segments.flat_map(|segment| segment.addresses.intervals()));
        for line in device.filter.iter().flat_map(|filter| &filter.arrivals) {
            if let Written::Address(address) = line.written {
                cuts.push(Interval::point(address));
            }
        }
        cuts
    })
}
