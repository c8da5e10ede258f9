//! Whole rule lists against decision diagrams: what each rule matches first, and
//! what the list lets through.

#[path = "oracles/diagrams.rs"]
mod diagrams;
#[path = "../benches/support/rules.rs"]
mod rules;

use boundwalk::packet::{
    Coverage, Field, IntervalSet, LineList, Mask, PacketBox, PacketSet, Region, RuleIndex,
    ServiceClasses, cover,
};
use diagrams::{Diagrams, and, not, or};
use num_bigint::BigUint;
use oxidd::BooleanFunction;
use oxidd::bdd::BDDFunction;
use rules::{Palette, Random, Rules};

/// A random list with its oracle: what each rule matches first.
struct Case {
    palette: Palette,
    rules: Rules,
    diagrams: Diagrams,
    first_matched: Vec<BDDFunction>,
}

impl Case {
    /// `kinds` prefixes, as many hosts, and as many services. The last rule of
    /// the list, which holds everything, is taken away: some packets shall be
    /// matched by none.
    fn new(seed: u64, interfaces: u32, count: usize, kinds: usize) -> Self {
        let mut random = Random::new(seed);
        let palette = Palette::new(&mut random, interfaces, kinds, kinds, kinds);
        let mut rules = palette.rules(&mut random, count + 1);
        rules.boxes.pop();
        rules.services.pop();
        let mut diagrams = Diagrams::new(&palette.space);
        let mut open = diagrams.constant(true);
        let mut first_matched = Vec::new();
        for packets in &rules.boxes {
            let rule = diagrams.of_box(packets);
            first_matched.push(and(&rule, &open));
            open = and(&open, &not(&rule));
        }
        first_matched.push(open);
        Self {
            palette,
            rules,
            diagrams,
            first_matched,
        }
    }

    /// Index and coverage; gives how many rules match nothing.
    fn check_coverage(&mut self) -> usize {
        let boxes = &self.rules.boxes;
        let index = RuleIndex::new(&self.palette.space, boxes);
        let mut idle = 0;
        for (number, packets) in boxes.iter().enumerate() {
            let matched = &self.first_matched[number];
            match cover(packets, boxes, &index, number, |_| true, 100_000) {
                Coverage::Witness(point) => {
                    assert_eq!(self.diagrams.lowest(matched), Some(point), "rule {number}");
                    assert!(self.diagrams.holds(matched, &point));
                    assert_eq!(index.first_match(&point), Some(number));
                }
                Coverage::Covered { by } => {
                    assert!(!matched.satisfiable(), "rule {number} matches something");
                    let mut rest = self.diagrams.of_box(packets);
                    for earlier in by {
                        assert!(earlier < number);
                        rest = and(&rest, &not(&self.diagrams.of_box(&boxes[earlier])));
                    }
                    assert!(!rest.satisfiable(), "rule {number} is not covered");
                    idle += 1;
                }
                Coverage::Unknown { examined } => panic!("rule {number}: {examined} cuts"),
            }
        }
        idle
    }

    /// The walk of everything: the pieces of each line, joined, are what it
    /// matches first.
    fn check_walk(&mut self) {
        let classes = ServiceClasses::new(&self.palette.services);
        let lines = self.palette.lines(&self.rules, &classes);
        let list = LineList::new(lines);
        let all = self.palette.space.full(Field::Source);
        let start = Region {
            source: all.clone(),
            destination: all,
            services: classes.all(),
        };
        let nothing = self.diagrams.constant(false);
        let mut decided = vec![nothing; list.len() + 1];
        let mut total = BigUint::ZERO;
        list.walk(
            &Mask::all(list.len()),
            start,
            usize::MAX,
            &mut |by, piece| {
                let place = by.unwrap_or(list.len());
                for services in classes.boxes(&piece.services) {
                    let packets = PacketBox::full(&self.palette.space)
                        .with(Field::Source, piece.source.clone())
                        .with(Field::Destination, piece.destination.clone())
                        .with(Field::Protocol, services.protocols)
                        .with(Field::SourcePort, services.source_ports)
                        .with(Field::DestinationPort, services.destination_ports);
                    total += packets.size();
                    decided[place] = or(&decided[place], &self.diagrams.of_box(&packets));
                }
            },
        )
        .expect("there is no limit");
        for (line, (found, expected)) in decided.iter().zip(&self.first_matched).enumerate() {
            assert!(found == expected, "line {line} of {}", list.len());
        }
        // Disjoint pieces: their sizes add up to everything.
        assert_eq!(total, PacketBox::full(&self.palette.space).size());
    }

    /// What the list lets through when every third rule denies, as a set.
    fn check_permitted(&mut self) {
        let denies = |number: usize| number.is_multiple_of(3);
        let mut permitted = PacketSet::empty();
        for (number, packets) in self.rules.boxes.iter().enumerate().rev() {
            let rule = PacketSet::from_box(packets.clone());
            permitted = permitted.difference(&rule);
            if !denies(number) {
                permitted = permitted.union(&rule);
            }
        }
        let mut expected = self.diagrams.constant(false);
        for (number, matched) in self.first_matched.iter().enumerate() {
            if number < self.rules.boxes.len() && !denies(number) {
                expected = or(&expected, matched);
            }
        }
        assert_eq!(permitted.size(), self.diagrams.size(&expected));
        assert_eq!(permitted.witness(), self.diagrams.lowest(&expected));
        for set in [permitted.merged(), permitted] {
            let mut found = self.diagrams.constant(false);
            for packets in set.boxes() {
                found = or(&found, &self.diagrams.of_box(packets));
            }
            assert!(found == expected);
        }
    }
}

#[test]
fn short_lists_agree_in_all_ways() {
    for seed in 0..20 {
        let mut case = Case::new(seed, 1, 25, 4);
        case.check_coverage();
        case.check_walk();
        case.check_permitted();
        let mut case = Case::new(seed, 4, 25, 4);
        case.check_coverage();
        case.check_permitted();
    }
}

#[test]
fn middling_lists_agree_with_index_and_walk() {
    let mut idle = 0;
    for seed in 100..103 {
        let mut case = Case::new(seed, 1, 200, 10);
        idle += case.check_coverage();
        case.check_walk();
    }
    assert!(idle > 20, "only {idle} rules matched nothing: too easy");
}

#[test]
fn long_lists_agree_with_index_and_walk() {
    let mut case = Case::new(1000, 1, 1000, 20);
    let idle = case.check_coverage();
    assert!(idle > 50 && idle < 950, "{idle} rules matched nothing");
    case.check_walk();
}

#[test]
fn long_lists_between_interfaces_agree_with_index() {
    let mut case = Case::new(1001, 4, 1000, 20);
    let idle = case.check_coverage();
    assert!(idle > 20 && idle < 980, "{idle} rules matched nothing");
}

#[test]
fn the_oracle_knows_a_set_it_was_told() {
    // The oracle itself, against sums done by hand.
    let mut random = Random::new(7);
    let space = Palette::new(&mut random, 2, 1, 0, 1).space;
    let mut diagrams = Diagrams::new(&space);
    let ports = IntervalSet::range(80, 1000);
    let packets = PacketBox::full(&space).with(Field::DestinationPort, ports);
    let known = diagrams.of_box(&packets);
    assert_eq!(
        diagrams.size(&known),
        BigUint::from(921u32) << (2 + 64 + 8 + 16)
    );
    let lowest = diagrams.lowest(&known).expect("a set of many");
    assert_eq!(lowest.get(Field::DestinationPort), 80);
    assert!(diagrams.holds(&known, &lowest.with(Field::DestinationPort, 1000)));
    assert!(!diagrams.holds(&known, &lowest.with(Field::DestinationPort, 1001)));
    assert!(!diagrams.holds(&known, &lowest.with(Field::DestinationPort, 79)));
}
