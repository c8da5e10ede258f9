//! Sets of service classes put back into words: few boxes, and their size.

use num_bigint::BigUint;
use rustc_hash::FxHashMap;

use super::class_set::ClassSet;
use super::interval_set::IntervalSet;
use super::service::ServiceBox;
use super::service_class::ServiceClasses;

impl ServiceClasses {
    /// Few, readable, disjoint boxes that together are `set`: destination ports
    /// are joined first, then source ports, then protocols.
    #[must_use]
    pub fn boxes(&self, set: &ClassSet) -> Vec<ServiceBox> {
        let mut all = Joined::default();
        for (number, group) in self.groups.iter().enumerate() {
            let mut by_destination = Joined::default();
            for (source, column) in group.columns.iter().enumerate() {
                let destinations = column.held(set);
                if !destinations.is_empty() {
                    by_destination.add(destinations, group.sources.part(source));
                }
            }
            for (destinations, sources) in by_destination.in_order {
                all.add((sources, destinations), self.protocols.part(number));
            }
        }
        let finish = |((source_ports, destination_ports), protocols)| ServiceBox {
            protocols,
            source_ports,
            destination_ports,
        };
        all.in_order.into_iter().map(finish).collect()
    }

    /// How many triples `set` holds, told apart only in fields that a protocol
    /// has: protocols in `with_ports` count source and destination ports, those
    /// in `messages` the destination field, all others once.
    ///
    /// The two sets of protocols should be disjoint; `with_ports` wins.
    #[must_use]
    pub fn size(
        &self,
        set: &ClassSet,
        with_ports: &IntervalSet,
        messages: &IntervalSet,
    ) -> BigUint {
        let messages = messages.difference(with_ports);
        let mut total = BigUint::ZERO;
        for (number, group) in self.groups.iter().enumerate() {
            let protocols = self.protocols.part(number);
            let (mut pairs, mut codes) = (BigUint::ZERO, IntervalSet::empty());
            for (source, column) in group.columns.iter().enumerate() {
                let destinations = column.held(set);
                pairs += group.sources.part(source).size() * destinations.size();
                codes = codes.union(&destinations);
            }
            if codes.is_empty() {
                continue;
            }
            let portless = protocols.difference(with_ports).difference(&messages);
            total += protocols.intersection(with_ports).size() * pairs;
            total += protocols.intersection(&messages).size() * codes.size();
            total += portless.size();
        }
        total
    }
}

/// Sets joined under equal keys, keys in the order of their first coming.
struct Joined<K> {
    in_order: Vec<(K, IntervalSet)>,
    places: FxHashMap<K, usize>,
}

impl<K: Clone + Eq + std::hash::Hash> Joined<K> {
    fn add(&mut self, key: K, set: &IntervalSet) {
        match self.places.get(&key) {
            Some(place) => {
                let joined = &mut self.in_order[*place].1;
                *joined = joined.union(set);
            }
            None => {
                self.places.insert(key.clone(), self.in_order.len());
                self.in_order.push((key, set.clone()));
            }
        }
    }
}

impl<K> Default for Joined<K> {
    fn default() -> Self {
        Self {
            in_order: Vec::new(),
            places: FxHashMap::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn to_port(protocol: u128, low: u128, high: u128) -> ServiceBox {
        ServiceBox {
            protocols: IntervalSet::point(protocol),
            source_ports: IntervalSet::range(0, 65_535),
            destination_ports: IntervalSet::range(low, high),
        }
    }

    #[test]
    fn equal_ports_of_two_protocols_make_one_box() {
        let seeds = [to_port(6, 53, 53), to_port(17, 53, 53), to_port(6, 80, 89)];
        let classes = ServiceClasses::new(&seeds);
        let boxes = classes.boxes(&classes.of(&seeds[..2]));
        assert_eq!(boxes.len(), 1);
        assert!(boxes[0].contains(6, 9, 53) && boxes[0].contains(17, 9, 53));
        // With other ports on one side the two protocols stay apart.
        assert_eq!(classes.boxes(&classes.of(&seeds)).len(), 2);
    }

    #[test]
    fn each_protocol_counts_in_its_own_way() {
        let seeds = [
            to_port(6, 80, 89),
            to_port(1, 2048, 2303),
            to_port(50, 0, 65_535),
        ];
        let classes = ServiceClasses::new(&seeds);
        let size = |seed: &ServiceBox| {
            let set = classes.of(std::slice::from_ref(seed));
            classes.size(&set, &IntervalSet::point(6), &IntervalSet::point(1))
        };
        let sizes = [655_360u32, 256, 1].map(BigUint::from);
        assert_eq!([size(&seeds[0]), size(&seeds[1]), size(&seeds[2])], sizes);
    }

    #[test]
    fn a_protocol_in_both_lists_counts_by_its_ports() {
        let seeds = [to_port(6, 80, 89)];
        let classes = ServiceClasses::new(&seeds);
        let tcp = IntervalSet::point(6);
        let size = classes.size(&classes.of(&seeds), &tcp, &tcp);
        assert_eq!(size, BigUint::from(655_360u32));
    }
}
