//! Service classes and the walk of a region through a rule list, against
//! membership point by point.

use std::sync::Arc;

use std::collections::BTreeMap;

use boundwalk::packet::{
    ClassSet, CutSet, CutSide, CutWalk, Interval, IntervalSet, Line, LineList, Mask, Region,
    ServiceBox, ServiceClasses, TooManyPieces,
};
use num_bigint::BigUint;
use proptest::prelude::*;

// ---- services with ports up to 6; port 7 stands for all from there on

const PROTOCOLS: [u8; 6] = [0, 1, 6, 17, 58, 200];
const PORTS: std::ops::RangeInclusive<u16> = 0..=7;
const REST: u16 = 7;

fn weight(port: u16) -> u32 {
    if port == REST {
        65_536 - u32::from(REST)
    } else {
        1
    }
}

fn triples() -> Vec<(u8, u16, u16)> {
    let mut all = Vec::new();
    for protocol in PROTOCOLS {
        for source in PORTS {
            all.extend(PORTS.map(|destination| (protocol, source, destination)));
        }
    }
    all
}

fn ports(bits: u32) -> IntervalSet {
    let held = PORTS.filter(|port| bits >> port & 1 == 1).map(|port| {
        let high = if port == REST { 65_535 } else { port };
        Interval::new(port.into(), high.into()).expect("no port is above the last")
    });
    held.collect()
}

fn any_ports() -> impl Strategy<Value = IntervalSet> {
    prop_oneof![Just(255), 1u32..=255].prop_map(ports)
}

fn any_protocols() -> impl Strategy<Value = IntervalSet> {
    let chosen = prop::sample::subsequence(PROTOCOLS.to_vec(), 1..4);
    let chosen = chosen.prop_map(|p| p.into_iter().map(|p| Interval::point(p.into())).collect());
    prop_oneof![1 => Just(IntervalSet::range(0, 255)), 4 => chosen]
}

fn any_service() -> impl Strategy<Value = ServiceBox> {
    (any_protocols(), any_ports(), any_ports()).prop_map(|(protocols, source, destination)| {
        ServiceBox {
            protocols,
            source_ports: source,
            destination_ports: destination,
        }
    })
}

fn any_services(most: usize) -> impl Strategy<Value = Vec<ServiceBox>> {
    prop::collection::vec(any_service(), 1..most)
}

fn holds(services: &[ServiceBox], (p, s, d): (u8, u16, u16)) -> bool {
    services.iter().any(|service| service.contains(p, s, d))
}

fn has(classes: &ServiceClasses, set: &ClassSet, (p, s, d): (u8, u16, u16)) -> bool {
    set.contains(classes.class_of(p, s, d))
}

proptest! {
    #[test]
    fn seeds_are_unions_of_classes(seeds in any_services(7), symmetric in any::<bool>()) {
        let classes = if symmetric { ServiceClasses::symmetric(&seeds) } else { ServiceClasses::new(&seeds) };
        for class in 0..classes.len() {
            let triples = classes.class_box(class);
            prop_assert!(!triples.is_empty());
            for seed in &seeds {
                prop_assert!(triples.is_subset(seed) || !triples.overlaps(seed));
            }
        }
        for (p, s, d) in triples() {
            let class = classes.class_of(p, s, d);
            let holders = (0..classes.len()).filter(|c| classes.class_box(*c).contains(p, s, d));
            prop_assert_eq!(Vec::from_iter(holders), [class]);
        }
        for seed in &seeds {
            let set = classes.of(std::slice::from_ref(seed));
            for triple in triples() {
                prop_assert_eq!(has(&classes, &set, triple), holds(std::slice::from_ref(seed), triple));
            }
        }
    }

    #[test]
    fn within_a_column_classes_are_as_coarse_as_can_be(seeds in any_services(5)) {
        // Destinations told apart with equal protocol and source: some seed must.
        let classes = ServiceClasses::new(&seeds);
        for (p, s, d) in triples() {
            for other in PORTS {
                let together = classes.class_of(p, s, d) == classes.class_of(p, s, other);
                let alike = seeds.iter().all(|x| x.contains(p, s, d) == x.contains(p, s, other));
                prop_assert_eq!(together, alike, "{} {} {} {}", p, s, d, other);
            }
        }
    }

    #[test]
    fn boxes_give_the_set_back(seeds in any_services(6), taken in any::<u64>()) {
        let classes = ServiceClasses::new(&seeds);
        let mut set = classes.none();
        (0..classes.len()).filter(|c| taken >> (c % 64) & 1 == 1).for_each(|c| set.insert(c));
        let boxes = classes.boxes(&set);
        prop_assert_eq!(classes.of(&boxes), set.clone());
        prop_assert!(boxes.len() <= set.count());
        for triple in triples() {
            let times = boxes.iter().filter(|b| b.contains(triple.0, triple.1, triple.2)).count();
            prop_assert_eq!(times, usize::from(has(&classes, &set, triple)));
        }
    }

    #[test]
    fn translated_ports_agree_point_by_point(
        seeds in any_services(5),
        taken in any_services(3),
        port in 0u16..7,
    ) {
        let rewritten = taken.iter().map(|service| ServiceBox {
            protocols: service.protocols.clone(),
            destination_ports: IntervalSet::point(port.into()),
            ..ServiceBox::any()
        });
        let all: Vec<ServiceBox> = seeds.iter().chain(&taken).cloned().chain(rewritten).collect();
        let classes = ServiceClasses::new(&all);
        let within = classes.of(&taken);
        let set = classes.of(&seeds);
        let from = set.intersection(&within);
        let image = classes.with_destination_port(&from, port);
        let before = classes.before_destination_port(&set, &within, port);
        for (p, s, d) in triples() {
            let comes = d == port && PORTS.into_iter().any(|d| has(&classes, &from, (p, s, d)));
            prop_assert_eq!(has(&classes, &image, (p, s, d)), comes);
            let receivers = holds(&taken, (p, s, d)) && holds(&seeds, (p, s, port));
            prop_assert_eq!(has(&classes, &before, (p, s, d)), receivers);
        }
    }

    #[test]
    fn exchanged_ports_agree_point_by_point(seeds in any_services(6)) {
        let classes = ServiceClasses::symmetric(&seeds);
        let set = classes.of(&seeds[..seeds.len().div_ceil(2)]);
        let image = classes.swapped(&set);
        for (p, s, d) in triples() {
            let comes = p != 1 && p != 58 && has(&classes, &set, (p, d, s));
            prop_assert_eq!(has(&classes, &image, (p, s, d)), comes);
        }
        prop_assert_eq!(classes.swapped(&classes.swapped(&image)), image);
    }

    #[test]
    fn sizes_count_the_fields_a_protocol_has(seeds in any_services(5)) {
        let (with_ports, messages) = (protocols(&[6, 17]), protocols(&[1, 58]));
        let classes = ServiceClasses::new(&seeds);
        let set = classes.of(&seeds);
        let mut expected = 0u64;
        for p in 0..=255u8 {
            let held = |s: u16, d: u16| holds(&seeds, (p, s, d));
            let pairs = PORTS.flat_map(|s| PORTS.map(move |d| (s, d)));
            expected += match p {
                6 | 17 => pairs
                    .filter(|(s, d)| held(*s, *d))
                    .map(|(s, d)| u64::from(weight(s)) * u64::from(weight(d)))
                    .sum(),
                1 | 58 => PORTS
                    .filter(|d| PORTS.into_iter().any(|s| held(s, *d)))
                    .map(|d| u64::from(weight(d)))
                    .sum(),
                _ => u64::from(pairs.into_iter().any(|(s, d)| held(s, d))),
            };
        }
        prop_assert_eq!(classes.size(&set, &with_ports, &messages), BigUint::from(expected));
    }
}

fn protocols(numbers: &[u8]) -> IntervalSet {
    numbers
        .iter()
        .map(|p| Interval::point((*p).into()))
        .collect()
}

fn to_port(low: u128, high: u128) -> ServiceBox {
    ServiceBox {
        destination_ports: IntervalSet::range(low, high),
        ..ServiceBox::any()
    }
}

/// Atomic predicates of four port ranges, by enumeration of the ports: classes of packets that no predicate tells apart
/// (*Atomic Predicates for Network Verification*, 2013).
#[test]
fn four_port_ranges_have_five_atoms() {
    let seeds = [
        to_port(0, 1023),
        to_port(80, 80),
        to_port(443, 443),
        to_port(80, 89),
    ];
    let classes = ServiceClasses::new(&seeds);
    let ports = |class| classes.class_box(class).destination_ports.size();
    let mut sizes: Vec<BigUint> = (0..classes.len()).map(ports).collect();
    sizes.sort();
    assert_eq!(sizes, [1u32, 1, 9, 1013, 64_512].map(BigUint::from));
    let none = IntervalSet::empty();
    let all = classes.size(&classes.all(), &IntervalSet::point(6), &none);
    assert_eq!(all, (BigUint::from(1u32) << 32) + 255u32);
}

#[test]
fn the_whole_is_one_readable_box() {
    let seeds = [to_port(80, 80), to_port(0, 1023)];
    for classes in [
        ServiceClasses::new(&seeds),
        ServiceClasses::symmetric(&seeds),
    ] {
        assert_eq!(classes.boxes(&classes.all()), [ServiceBox::any()]);
        assert_eq!(classes.of(&[ServiceBox::any()]), classes.all());
    }
    assert_eq!(ServiceClasses::new(&[]).len(), 1);
}

#[test]
#[should_panic(expected = "symmetric partition")]
fn exchanging_ports_wants_a_symmetric_partition() {
    let classes = ServiceClasses::new(&[to_port(80, 80)]);
    let _ = classes.swapped(&classes.all());
}

#[test]
#[cfg(debug_assertions)]
#[should_panic(expected = "not a union of classes")]
fn a_set_that_cuts_a_class_is_refused() {
    let _ = ServiceClasses::new(&[to_port(80, 80)]).of(&[to_port(80, 81)]);
}

// ---- the walk, over addresses up to 5 and five classes

const TOP: u128 = 5;

/// Destination ports 0, 1, 2, 3 and the rest.
fn five_classes() -> ServiceClasses {
    let seeds: Vec<ServiceBox> = (0..4).map(|port| to_port(port, port)).collect();
    let classes = ServiceClasses::new(&seeds);
    assert_eq!(classes.len(), 5);
    classes
}

fn class_set(bits: u32) -> ClassSet {
    let mut set = five_classes().none();
    (0..5)
        .filter(|class| bits >> class & 1 == 1)
        .for_each(|class| set.insert(class));
    set
}

fn addresses(bits: u32) -> IntervalSet {
    (0..=TOP as u32)
        .filter(|value| bits >> value & 1 == 1)
        .map(|value| Interval::point(value.into()))
        .collect()
}

fn any_or(bits: impl Strategy<Value = u32>) -> impl Strategy<Value = Option<u32>> {
    prop::option::weighted(0.8, bits)
}

fn any_line() -> impl Strategy<Value = Line> {
    let interfaces = || any_or(1u32..8);
    let hosts = || any_or(0u32..64);
    (
        interfaces(),
        interfaces(),
        hosts(),
        hosts(),
        any_or(1u32..32),
    )
        .prop_map(|(i, e, s, d, c)| Line {
            ingress: i.map(addresses).map(Arc::new),
            egress: e.map(addresses).map(Arc::new),
            source: s.map(addresses),
            destination: d.map(addresses),
            services: c.map(class_set).map(Arc::new),
        })
}

/// The lines that are not absent.
fn present(lines: usize, absent: u16) -> Mask {
    let mut candidates = Mask::none(lines);
    (0..lines)
        .filter(|n| absent >> n & 1 == 0)
        .for_each(|n| candidates.insert(n));
    candidates
}

fn region(source: u32, destination: u32, services: u32) -> Region {
    Region {
        source: addresses(source),
        destination: addresses(destination),
        services: class_set(services),
    }
}

fn all_places() -> impl Iterator<Item = (u128, u128, usize)> {
    (0..=TOP).flat_map(|s| (0..=TOP).flat_map(move |d| (0..5).map(move |c| (s, d, c))))
}

/// Where a line matches by its own words, for addresses and services.
fn in_line(line: &Line, s: u128, d: u128, c: usize) -> bool {
    line.source.as_ref().is_none_or(|set| set.contains(s))
        && line.destination.as_ref().is_none_or(|set| set.contains(d))
        && line.services.as_ref().is_none_or(|set| set.contains(c))
}

proptest! {
    #[test]
    fn every_packet_is_decided_once_by_its_first_line(
        lines in prop::collection::vec(any_line(), 0..12),
        absent in any::<u16>(),
        (source, destination, services) in (0u32..64, 0u32..64, 0u32..32),
    ) {
        let list = LineList::new(lines.clone());
        let candidates = present(lines.len(), absent);
        let start = region(source, destination, services);
        let mut told = Vec::new();
        list.walk(&candidates, start.clone(), usize::MAX, &mut |by, piece| told.push((by, piece)))
            .expect("there is no limit");
        for (s, d, c) in all_places() {
            let found: Vec<Option<usize>> = told.iter().filter(|(_, piece)| piece.contains(s, d, c)).map(|(by, _)| *by).collect();
            let first = candidates.iter().find(|n| in_line(&lines[*n], s, d, c));
            let expected = if start.contains(s, d, c) { vec![first] } else { vec![] };
            prop_assert_eq!(found, expected, "at {} {} {}", s, d, c);
        }
        prop_assert!(told.iter().all(|(_, piece)| !piece.is_empty()));
    }

    /// Sets that were cut for the list give the same pieces in the same order, and meet the same limit.
    #[test]
    fn a_walk_on_cut_sets_tells_the_same(
        lines in prop::collection::vec(any_line(), 0..12),
        absent in any::<u16>(),
        (source, destination, services) in (0u32..64, 0u32..64, 0u32..32),
        limit in 1usize..12,
    ) {
        let list = LineList::new(lines.clone());
        let candidates = present(lines.len(), absent);
        let start = region(source, destination, services);
        for limit in [limit, usize::MAX] {
            let mut told = Vec::new();
            let walked = list.walk(&candidates, start.clone(), limit, &mut |by, piece| told.push((by, piece)));
            let cut = told_by_cut(&list, &candidates, &start, limit);
            prop_assert_eq!(&cut, &(told, walked));
        }
    }

    #[test]
    fn masks_and_walk_find_the_first_match_of_each_place(
        lines in prop::collection::vec(any_line(), 0..12),
        (ingress, egress) in (0u32..4, 0u32..4),
    ) {
        let list = LineList::new(lines);
        let all = IntervalSet::range(0, TOP);
        let mut candidates = list.from_ingress(ingress).and(&list.to_egress(egress));
        candidates.and_assign(&list.from_source(&all));
        candidates.and_assign(&list.to_destination(&all));
        let start = Region { source: all.clone(), destination: all, services: class_set(31) };
        let mut deciding = BTreeMap::new();
        list.walk(&candidates, start, usize::MAX, &mut |by, piece| {
            let inside = all_places().filter(|(s, d, c)| piece.contains(*s, *d, *c));
            deciding.extend(inside.map(|place| (place, by)));
        })
        .expect("there is no limit");
        for (s, d, c) in all_places() {
            let first = list.first_match(ingress, egress, s, d, c);
            prop_assert_eq!(deciding[&(s, d, c)], first);
        }
    }

    #[test]
    fn masks_hold_the_lines_that_overlap(
        lines in prop::collection::vec(any_line(), 0..12),
        asked in 0u32..64,
    ) {
        let list = LineList::new(lines.clone());
        let asked = addresses(asked);
        let expected = |field: fn(&Line) -> &Option<IntervalSet>| {
            let meets = |set: &Option<IntervalSet>| match set {
                Some(set) => set.overlaps(&asked),
                None => !asked.is_empty(),
            };
            Vec::from_iter((0..lines.len()).filter(|n| meets(field(&lines[*n]))))
        };
        let found: Vec<usize> = list.from_source(&asked).iter().collect();
        prop_assert_eq!(found, expected(|line| &line.source));
        let found: Vec<usize> = list.to_destination(&asked).iter().collect();
        prop_assert_eq!(found, expected(|line| &line.destination));
    }
}

type Told = (Vec<(Option<usize>, Region)>, Result<(), TooManyPieces>);

fn told_by_cut(list: &LineList, candidates: &Mask, start: &Region, limit: usize) -> Told {
    let source = CutSet::new(list, CutSide::Source, &start.source);
    let destination = CutSet::new(list, CutSide::Destination, &start.destination);
    let mut told = Vec::new();
    // A walk before it leaves nothing behind.
    let mut walk = CutWalk::default();
    for _ in 0..2 {
        told.clear();
        let sets = (&source, &destination);
        let walked = walk.walk(
            list,
            candidates,
            sets,
            &start.services,
            limit,
            &mut |by, piece| {
                let mut services = start.services.difference(&start.services);
                services.add_bits(piece.services);
                let piece = Region {
                    source: source.addresses(piece.source),
                    destination: destination.addresses(piece.destination),
                    services,
                };
                told.push((by, piece));
            },
        );
        if walked.is_err() {
            return (told, walked);
        }
    }
    (told, Ok(()))
}

/// More parts than a word has bits, up to the highest address.
#[test]
fn a_walk_on_long_cut_sets_tells_the_same() {
    let top = u128::MAX;
    let host = |n: u128| IntervalSet::point(top - 2 * n);
    let lines: Vec<Line> = (0..200)
        .map(|n| Line {
            source: (n % 3 != 0).then(|| host(n)),
            destination: (n % 5 != 0).then(|| host(n / 2)),
            services: Some(Arc::new(class_set(1 << (n % 5)))),
            ..Line::default()
        })
        .collect();
    let list = LineList::new(lines);
    let start = Region {
        source: IntervalSet::range(top - 500, top),
        destination: IntervalSet::range(top - 300, top),
        services: class_set(31),
    };
    let all = Mask::all(200);
    let mut told = Vec::new();
    let walked = list.walk(&all, start.clone(), usize::MAX, &mut |by, piece| {
        told.push((by, piece));
    });
    assert!(told.len() > 200);
    assert_eq!(told_by_cut(&list, &all, &start, usize::MAX), (told, walked));
}

#[test]
fn a_walk_stops_at_its_limit() {
    // Each line takes one class at one address pair: open pieces pile up.
    let line = |n: u32| Line {
        source: Some(addresses(1 << n)),
        destination: Some(addresses(1 << n)),
        services: Some(Arc::new(class_set(1))),
        ..Line::default()
    };
    let list = LineList::new((0..6).map(line).collect());
    let start = Region {
        source: addresses(63),
        destination: addresses(63),
        services: class_set(31),
    };
    let walk = |limit| list.walk(&Mask::all(6), start.clone(), limit, &mut |_, _| ());
    assert_eq!(walk(5), Err(TooManyPieces { limit: 5 }));
    assert_eq!(walk(20), Ok(()));
}
