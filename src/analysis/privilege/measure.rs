//! Sizes of what is permitted and of what of it is used.

use num_bigint::BigUint;

use boundwalk_forwarding::Network;
use boundwalk_model::{Family, PerFamily, Protocol};
use boundwalk_packet::{ClassSet, IntervalSet, Region};

/// How much is permitted and how much of it is used, of one kind of thing.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Axis {
    /// How many are permitted.
    pub permitted: BigUint,
    /// How many of them are used.
    pub used: BigUint,
}

/// The size of a set of packets, told apart by its fields.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Measure {
    /// Source addresses, IPv4 and IPv6.
    pub sources: PerFamily<Axis>,
    /// Destination addresses, IPv4 and IPv6, as they are sent.
    pub destinations: PerFamily<Axis>,
    /// Services: protocols with their destination ports or messages.
    pub services: Axis,
    /// Packets: addresses times addresses times services, source ports counted too.
    pub packets: Axis,
}

impl Axis {
    /// How many binary digits too wide: the logarithm of permitted to used, where nothing is used that of all
    /// permitted. 0 for what is used as a whole.
    pub fn excess_bits(&self) -> u64 {
        if self.permitted == self.used {
            0
        } else {
            (self.permitted.bits() + 1).saturating_sub(self.used.bits().max(1))
        }
    }
}

/// Protocols with source and destination ports, or messages.
pub(super) fn triples(network: &Network<'_>, services: &ClassSet) -> BigUint {
    let (ports, messages) = (Protocol::with_ports(), Protocol::with_messages());
    network.classes.size(services, &ports, &messages)
}

/// Protocols with destination ports, or messages; what only source ports tell apart counts each.
pub(super) fn services(network: &Network<'_>, set: &ClassSet) -> BigUint {
    let (ports, messages) = (Protocol::with_ports(), Protocol::with_messages());
    let numbered = ports.union(&messages);
    let boxes = network.classes.boxes(set);
    let sizes = boxes.iter().map(|shape| {
        let plain = shape.protocols.difference(&numbered).size();
        let numbered = shape.protocols.intersection(&numbered).size();
        plain + numbered * shape.destination_ports.size()
    });
    sizes.sum()
}

/// The fields of a set of packets of one family, each by itself.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Projection {
    pub source: IntervalSet,
    pub destination: IntervalSet,
    pub services: ClassSet,
}

impl Projection {
    /// Nothing yet, of each family.
    pub(super) fn none(network: &Network<'_>) -> PerFamily<Self> {
        PerFamily::new(|_| Self {
            source: IntervalSet::empty(),
            destination: IntervalSet::empty(),
            services: network.classes.none(),
        })
    }

    pub(super) fn add(&mut self, region: &Region) {
        if !region.source.is_subset(&self.source) {
            self.source = self.source.union(&region.source);
        }
        if !region.destination.is_subset(&self.destination) {
            self.destination = self.destination.union(&region.destination);
        }
        self.services.union_with(&region.services);
    }
}

/// The services of both families.
pub(super) fn all_services(of: &PerFamily<Projection>) -> ClassSet {
    of[Family::V4].services.union(&of[Family::V6].services)
}

/// Adds all fields of one set of packets to those of another.
pub(super) fn widen(mine: &mut PerFamily<Projection>, theirs: &PerFamily<Projection>) {
    for family in Family::ALL {
        let (mine, theirs) = (&mut mine[family], &theirs[family]);
        mine.source = mine.source.union(&theirs.source);
        mine.destination = mine.destination.union(&theirs.destination);
        mine.services.union_with(&theirs.services);
    }
}
