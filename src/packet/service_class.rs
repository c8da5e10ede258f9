//! The service space cut into classes that no given service tells apart.

use super::class_set::ClassSet;
use super::interval::Interval;
use super::interval_set::IntervalSet;
use super::partition::Partition;
use super::service::ServiceBox;

const LAST_PROTOCOL: u32 = 255;
const LAST_PORT: u32 = 65_535;

/// Protocols whose destination port field holds a message type and code: they
/// have no ports to exchange.
const MESSAGE_PROTOCOLS: [u128; 2] = [1, 58];

/// A partition of all (protocol, source port, destination port) triples, such
/// that each of the seeds it was made from is a union of classes.
///
/// Classes are products, numbered from 0 by protocol group, source part and
/// destination part, each in the order of its lowest value. Unions, meets and
/// differences of seeds are unions of classes too, so within one network all
/// work on services is work on [`ClassSet`]s.
#[derive(Clone, Debug)]
pub struct ServiceClasses {
    pub(super) protocols: Partition,
    /// One for each part of `protocols`, in the same order.
    pub(super) groups: Vec<Group>,
    /// By class. Invariant: none empty, disjoint, together everything.
    boxes: Vec<ServiceBox>,
}

/// The classes of one group of protocols.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub(super) sources: Partition,
    /// One for each part of `sources`, in the same order.
    pub(super) columns: Vec<Column>,
    /// Whether source and destination parts are the same in every column.
    square: bool,
}

/// The classes of one group of protocols and one part of source ports.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// The class of the first destination part; the others follow.
    first: usize,
    destinations: Partition,
}

impl ServiceClasses {
    /// Groups protocols by which seeds hold them, within a group source ports
    /// likewise, and within those destination ports likewise.
    ///
    /// Equal seeds count once. With `m` different seeds: about `m^2 / 64` steps
    /// for each pair of a protocol group and a source part. Without seeds there
    /// is one class.
    #[must_use]
    pub fn new(seeds: &[ServiceBox]) -> Self {
        let seeds = distinct(seeds.to_vec());
        Self::build(&seeds, |_, active| columns_by_source(active))
    }

    /// Like [`ServiceClasses::new`], and closed under exchanging source and
    /// destination ports, as needed to run replies through rules without memory.
    ///
    /// Seeds are joined with their exchanged counterparts, and within each group of
    /// protocols one partition serves both port fields: with `k` port parts in a
    /// group it has `k * k` classes. The message protocols (1 and 58) have no
    /// ports to exchange; they are kept apart from the others and cut as in
    /// `new`.
    #[must_use]
    pub fn symmetric(seeds: &[ServiceBox]) -> Self {
        Self::symmetric_but(seeds, &IntervalSet::empty())
    }

    /// The same, with some protocols cut as in `new`: their ports are never exchanged.
    #[must_use]
    pub fn symmetric_but(seeds: &[ServiceBox], kept: &IntervalSet) -> Self {
        let messages: IntervalSet = MESSAGE_PROTOCOLS.into_iter().map(Interval::point).collect();
        let messages = messages.union(kept);
        let whole = messages.intervals().iter().map(|&part| ServiceBox {
            protocols: [part].into_iter().collect(),
            ..ServiceBox::any()
        });
        let mut joined: Vec<ServiceBox> = whole.collect();
        for seed in seeds {
            let mut apart = seed.clone();
            apart.protocols = seed.protocols.intersection(&messages);
            let mut with_ports = seed.clone();
            with_ports.protocols = seed.protocols.difference(&messages);
            joined.extend([apart, with_ports.swapped(), with_ports]);
        }
        let seeds = distinct(joined);
        Self::build(&seeds, |protocol, active| {
            if messages.contains(protocol) {
                columns_by_source(active)
            } else {
                let ports = ports_of(active, |seed| &seed.source_ports);
                let columns = vec![ports.clone(); ports.len()];
                (ports, columns, true)
            }
        })
    }

    /// How many classes there are, at least 1.
    #[expect(clippy::len_without_is_empty, reason = "there is always a class")]
    #[must_use]
    pub fn len(&self) -> usize {
        self.boxes.len()
    }

    /// The set without classes.
    #[must_use]
    pub fn none(&self) -> ClassSet {
        ClassSet::none(self.len())
    }

    /// The set of all classes.
    #[must_use]
    pub fn all(&self) -> ClassSet {
        ClassSet::full(self.len())
    }

    /// The classes that make up the union of `services`.
    ///
    /// Exact when that union is a union of classes, as it is for everything made
    /// from seeds; debug builds check it. One step per service, group of
    /// protocols and source part, and one per run of ports that is held.
    #[must_use]
    pub fn of(&self, services: &[ServiceBox]) -> ClassSet {
        let mut set = self.none();
        for (group, protocol) in self.groups.iter().zip(self.protocols.samples()) {
            let mut active: Vec<&ServiceBox> = services.iter().collect();
            active.retain(|service| service.protocols.contains(protocol));
            if active.is_empty() {
                continue;
            }
            for (column, source) in group.columns.iter().zip(group.sources.samples()) {
                let held = active
                    .iter()
                    .filter(|s| s.source_ports.contains(source))
                    .flat_map(|service| service.destination_ports.intervals());
                for &ports in held {
                    column
                        .parts_within(ports)
                        .for_each(|class| set.insert(class));
                }
            }
        }
        debug_assert!(self.is_union(services, &set), "not a union of classes");
        set
    }

    /// The class that holds the triple; three binary searches.
    #[must_use]
    pub fn class_of(&self, protocol: u8, source_port: u16, destination_port: u16) -> usize {
        let group = &self.groups[self.protocols.part_of(protocol.into())];
        let column = &group.columns[group.sources.part_of(source_port.into())];
        column.class_of(destination_port)
    }

    /// The triples of one class.
    ///
    /// # Panics
    /// When there is no such class.
    #[must_use]
    pub fn class_box(&self, class: usize) -> &ServiceBox {
        &self.boxes[class]
    }

    /// The image of `set` under a translation that writes `port` into the
    /// destination port: each class goes to the class with the same protocols
    /// and source ports that holds `port`.
    ///
    /// Exact when the services the translation takes, and their protocols with
    /// every source port and `port` alone, were among the seeds, and `set` lies
    /// in those services. `before` and `after` are then both unions of classes.
    #[must_use]
    pub fn with_destination_port(&self, set: &ClassSet, port: u16) -> ClassSet {
        let hit = |column: &&Column| column.classes().any(|class| set.contains(class));
        self.collect(self.columns().filter(hit).map(|c| c.class_of(port)))
    }

    /// The classes of `within` whose image under
    /// [`ServiceClasses::with_destination_port`] lies in `set`.
    #[must_use]
    pub fn before_destination_port(
        &self,
        set: &ClassSet,
        within: &ClassSet,
        port: u16,
    ) -> ClassSet {
        let receivers = |column: &&Column| set.contains(column.class_of(port));
        let columns = self.columns().filter(receivers);
        self.collect(
            columns
                .flat_map(Column::classes)
                .filter(|class| within.contains(*class)),
        )
    }

    /// The classes with source and destination ports exchanged.
    ///
    /// Classes of the message protocols (1 and 58) are left out: what answers
    /// what is for the caller to say. On a set without them, twice gives the set
    /// itself.
    ///
    /// # Panics
    /// When the partition was not made by [`ServiceClasses::symmetric`].
    #[must_use]
    pub fn swapped(&self, set: &ClassSet) -> ClassSet {
        let mut image = self.none();
        for (group, protocol) in self.groups.iter().zip(self.protocols.samples()) {
            if MESSAGE_PROTOCOLS.contains(&protocol) {
                continue;
            }
            let mut classes = group.columns.iter().flat_map(|column| column.classes());
            if !classes.any(|class| set.contains(class)) {
                continue;
            }
            assert!(group.square, "exchanging ports wants a symmetric partition");
            for (source, column) in group.columns.iter().enumerate() {
                for class in column.classes().filter(|class| set.contains(*class)) {
                    image.insert(group.columns[class - column.first].first + source);
                }
            }
        }
        image
    }

    /// Whether the partition lets ports be exchanged in all of a set, as [`Self::swapped`] does.
    #[must_use]
    pub fn can_swap(&self, set: &ClassSet) -> bool {
        let samples = self.protocols.samples();
        let mut groups = self.groups.iter().zip(samples);
        groups.all(|(group, protocol)| {
            let mut classes = group.columns.iter().flat_map(|column| column.classes());
            group.square
                || MESSAGE_PROTOCOLS.contains(&protocol)
                || !classes.any(|class| set.contains(class))
        })
    }

    /// `cut` gives, for a group of protocols (by one of them) and the seeds that
    /// hold it, the source parts, the destination parts for each of those, and
    /// whether they are all the same.
    fn build(
        seeds: &[ServiceBox],
        cut: impl Fn(u128, &[&ServiceBox]) -> (Partition, Vec<Partition>, bool),
    ) -> Self {
        let protocols = Partition::new(seeds.iter().map(|s| &s.protocols), LAST_PROTOCOL);
        let mut groups = Vec::new();
        let mut boxes = Vec::new();
        for (number, sample) in protocols.samples().enumerate() {
            let holds = |seed: &&ServiceBox| seed.protocols.contains(sample);
            let active: Vec<&ServiceBox> = seeds.iter().filter(holds).collect();
            let (sources, destinations, square) = cut(sample, &active);
            let mut columns = Vec::new();
            for (source, destinations) in destinations.into_iter().enumerate() {
                let first = boxes.len();
                boxes.extend((0..destinations.len()).map(|destination| ServiceBox {
                    protocols: protocols.part(number).clone(),
                    source_ports: sources.part(source).clone(),
                    destination_ports: destinations.part(destination).clone(),
                }));
                columns.push(Column {
                    first,
                    destinations,
                });
            }
            groups.push(Group {
                sources,
                columns,
                square,
            });
        }
        Self {
            protocols,
            groups,
            boxes,
        }
    }

    fn columns(&self) -> impl Iterator<Item = &Column> {
        self.groups.iter().flat_map(|group| &group.columns)
    }

    fn collect(&self, classes: impl Iterator<Item = usize>) -> ClassSet {
        let mut set = self.none();
        classes.for_each(|class| set.insert(class));
        set
    }

    /// Whether the services hold the classes of `set` in whole and nothing else.
    fn is_union(&self, services: &[ServiceBox], set: &ClassSet) -> bool {
        self.boxes.iter().enumerate().all(|(class, triples)| {
            let mut meeting = services.iter().filter(|s| s.overlaps(triples));
            if !set.contains(class) {
                return meeting.next().is_none();
            }
            let rest = meeting.fold(vec![triples.clone()], |rest, service| {
                rest.iter().flat_map(|r| r.difference(service)).collect()
            });
            rest.is_empty()
        })
    }
}

impl Column {
    fn class_of(&self, port: u16) -> usize {
        self.first + self.destinations.part_of(port.into())
    }

    /// The classes that hold some of these destination ports.
    fn parts_within(&self, ports: Interval) -> impl Iterator<Item = usize> + '_ {
        let narrow =
            |value: u128| u32::try_from(value).map_or(LAST_PORT, |value| value.min(LAST_PORT));
        let parts = self
            .destinations
            .parts_within(narrow(ports.low()), narrow(ports.high()));
        parts.map(|part| self.first + part)
    }

    fn classes(&self) -> std::ops::Range<usize> {
        self.first..self.first + self.destinations.len()
    }

    /// The destination ports of the column's classes in `set`.
    pub(super) fn held(&self, set: &ClassSet) -> IntervalSet {
        self.destinations
            .union(|part| set.contains(self.first + part))
    }
}

fn distinct(mut seeds: Vec<ServiceBox>) -> Vec<ServiceBox> {
    seeds.retain(|seed| !seed.is_empty());
    seeds.sort_unstable();
    seeds.dedup();
    seeds
}

/// Source parts by the seeds, destination parts by the seeds that hold those.
fn columns_by_source(active: &[&ServiceBox]) -> (Partition, Vec<Partition>, bool) {
    let sources = ports_of(active, |seed| &seed.source_ports);
    let column = |sample| {
        let holders = active.iter().filter(|s| s.source_ports.contains(sample));
        ports_of(&holders.copied().collect::<Vec<_>>(), |s| {
            &s.destination_ports
        })
    };
    let columns = sources.samples().map(column).collect();
    (sources, columns, false)
}

fn ports_of(seeds: &[&ServiceBox], ports: impl Fn(&ServiceBox) -> &IntervalSet) -> Partition {
    Partition::new(seeds.iter().map(|seed| ports(seed)), LAST_PORT)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn to_port(protocol: u128, port: u128) -> ServiceBox {
        ServiceBox {
            protocols: IntervalSet::point(protocol),
            destination_ports: IntervalSet::point(port),
            ..ServiceBox::any()
        }
    }

    #[test]
    fn classes_are_what_the_seeds_tell_apart() {
        assert_eq!(ServiceClasses::new(&[]).len(), 1);
        // The port, the other ports of its protocol, the other protocols.
        let classes = ServiceClasses::new(&[to_port(6, 80)]);
        assert_eq!(classes.len(), 3);
        assert_eq!(classes.all().count(), 3);
        assert_eq!(classes.of(&[to_port(6, 80)]).count(), 1);
        assert_eq!(classes.class_of(6, 1, 79), classes.class_of(6, 2, 81));
        assert_ne!(classes.class_of(6, 1, 80), classes.class_of(6, 1, 81));
        assert_eq!(classes.class_of(1, 0, 0), classes.class_of(17, 9, 9));
    }

    #[test]
    fn protocols_with_messages_stay_apart_where_ports_are_exchanged() {
        let classes = ServiceClasses::symmetric(&[to_port(6, 80)]);
        // Either port may be the seed's: four classes of TCP, one of each other group of protocols.
        assert_ne!(classes.class_of(6, 80, 1), classes.class_of(6, 1, 1));
        assert_ne!(classes.class_of(6, 80, 1), classes.class_of(6, 1, 80));
        let [other, message, more] = [2, 1, 58].map(|protocol| classes.class_of(protocol, 0, 0));
        assert!(other != message && other != more);
    }
}
