//! Names for ports: which of many names a set of ports holds, and what is left then.

use boundwalk_packet::{Interval, IntervalSet};

/// Destination ports (or messages) of one protocol, whatever the source port.
pub(super) type Ports = Vec<(u8, IntervalSet)>;

/// Names, each for the ports of some protocols, in the order in which they are taken.
#[derive(Debug)]
pub(super) struct PortNames {
    names: Vec<PortName>,
    grids: Vec<Grid>,
}

#[derive(Debug)]
struct PortName {
    name: String,
    ports: Ports,
    /// Its parts, as runs of one grid.
    runs: Vec<Run>,
}

/// Some parts of a grid in a row.
#[derive(Debug)]
struct Run {
    grid: usize,
    first: usize,
    end: usize,
}

/// The ports of one protocol, cut where some name begins or ends.
#[derive(Debug)]
struct Grid {
    protocol: u8,
    /// Where each part begins; the first is 0.
    starts: Vec<u128>,
}

impl Grid {
    fn new(protocol: u8, names: &[(String, Ports)]) -> Self {
        let ports = names.iter().flat_map(|(_, ports)| ports);
        let own = ports.filter(|(known, _)| *known == protocol);
        let cuts = own.flat_map(|(_, set)| set.intervals());
        let cuts = cuts.flat_map(|part| [part.low(), part.high() + 1]);
        let mut starts: Vec<u128> = std::iter::once(0).chain(cuts).collect();
        starts.sort_unstable();
        starts.dedup();
        Self { protocol, starts }
    }

    /// The parts wholly within an interval.
    fn within(&self, interval: Interval) -> std::ops::Range<usize> {
        let first = self.starts.partition_point(|&start| start < interval.low());
        // A part ends where the next begins; the last has no end.
        let ends = &self.starts[1..];
        let end = ends.partition_point(|&end| end <= interval.high() + 1);
        first..end.max(first)
    }
}

impl PortNames {
    pub(super) fn new(names: Vec<(String, Ports)>) -> Self {
        let mut protocols: Vec<u8> = names
            .iter()
            .flat_map(|(_, ports)| ports.iter().map(|(protocol, _)| *protocol))
            .collect();
        protocols.sort_unstable();
        protocols.dedup();
        let grids: Vec<Grid> = protocols
            .into_iter()
            .map(|protocol| Grid::new(protocol, &names))
            .collect();
        let runs = |ports: &Ports| {
            let mut runs = Vec::new();
            for (protocol, set) in ports {
                let grid = grids.partition_point(|grid| grid.protocol < *protocol);
                runs.extend(set.intervals().iter().map(|&part| {
                    let within = grids[grid].within(part);
                    Run {
                        grid,
                        first: within.start,
                        end: within.end,
                    }
                }));
            }
            runs
        };
        let names = names.into_iter().map(|(name, ports)| PortName {
            runs: runs(&ports),
            name,
            ports,
        });
        Self {
            names: names.collect(),
            grids,
        }
    }

    /// The names with their ports.
    pub(super) fn iter(&self) -> impl Iterator<Item = (&str, &Ports)> {
        self.names.iter().map(|one| (one.name.as_str(), &one.ports))
    }

    /// Takes out of `left` what names cover; a name is taken where all of it is left. O(parts of the names, and those of
    /// `left` times a logarithm).
    pub(super) fn take(&self, left: &mut Ports) -> Vec<String> {
        let mut held: Vec<Vec<bool>> = self
            .grids
            .iter()
            .map(|grid| {
                let mut held = vec![false; grid.starts.len()];
                let own = left.iter().filter(|(known, _)| *known == grid.protocol);
                for &part in own.flat_map(|(_, ports)| ports.intervals()) {
                    held[grid.within(part)].fill(true);
                }
                held
            })
            .collect();
        let mut taken: Vec<(u8, Interval)> = Vec::new();
        let mut named = Vec::new();
        for one in &self.names {
            let mut runs = one.runs.iter();
            if !runs.all(|run| held[run.grid][run.first..run.end].iter().all(|held| *held)) {
                continue;
            }
            for run in &one.runs {
                held[run.grid][run.first..run.end].fill(false);
            }
            for (protocol, ports) in &one.ports {
                taken.extend(ports.intervals().iter().map(|&part| (*protocol, part)));
            }
            named.push(one.name.clone());
        }
        for (protocol, ports) in left {
            let own = taken.iter().filter(|(known, _)| known == protocol);
            *ports = ports.difference(&own.map(|&(_, part)| part).collect());
        }
        named
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Takes names one by one, as the definition has it.
    fn by_definition(names: &[(String, Ports)], left: &mut Ports) -> Vec<String> {
        let mut named = Vec::new();
        for (name, ports) in names {
            let held = |(protocol, wanted): &(u8, IntervalSet)| {
                let mut left = left.iter();
                left.any(|(known, ports)| known == protocol && wanted.is_subset(ports))
            };
            if !ports.iter().all(held) {
                continue;
            }
            for (protocol, wanted) in ports {
                let own = left.iter_mut().filter(|(known, _)| known == protocol);
                own.for_each(|(_, ports)| *ports = ports.difference(wanted));
            }
            named.push(name.clone());
        }
        named
    }

    fn set() -> impl Strategy<Value = IntervalSet> {
        let part = (0u128..20, 0u128..4).prop_map(|(low, more)| (low, low + more));
        let near = prop::collection::vec(part, 1..4);
        let end = prop::option::of(Just((65_530, 65_535)));
        (near, end).prop_map(|(parts, end)| {
            let parts = parts.into_iter().chain(end);
            parts
                .filter_map(|(low, high)| Interval::new(low, high))
                .collect()
        })
    }

    fn ports() -> impl Strategy<Value = Ports> {
        let tcp = set().prop_map(|set| vec![(6, set)]);
        let both = (set(), set()).prop_map(|(tcp, udp)| vec![(6, tcp), (17, udp)]);
        prop_oneof![tcp, both]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn names_are_taken_as_if_one_by_one(
            names in prop::collection::vec(ports(), 0..8),
            left in ports(),
        ) {
            let number = |(at, ports): (usize, Ports)| (at.to_string(), ports);
            let names: Vec<(String, Ports)> = names.into_iter().enumerate().map(number).collect();
            let (mut one, mut other) = (left.clone(), left);
            let expected = by_definition(&names, &mut one);
            prop_assert_eq!(PortNames::new(names).take(&mut other), expected);
            prop_assert_eq!(one, other);
        }
    }
}
