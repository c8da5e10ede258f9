//! Longest match, prepared once as disjoint cells.

use crate::diagnostic::Span;
use crate::packet::{Interval, IntervalSet};

/// Where a route leads.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum NextHop {
    /// The destination itself is on the segment of this interface.
    OnLink {
        /// Number of the interface.
        interface: usize,
    },
    /// A router with this address on the segment of this interface.
    Address {
        /// Number of the interface.
        interface: usize,
        /// Its address.
        address: u128,
    },
    /// Whatever router plain devices on the segment of this interface use.
    AnyRouter {
        /// Number of the interface.
        interface: usize,
    },
    /// Nowhere.
    Discard,
}

impl NextHop {
    /// The interface by which packets leave; `None` for a discard route.
    pub fn interface(self) -> Option<usize> {
        match self {
            Self::OnLink { interface }
            | Self::Address { interface, .. }
            | Self::AnyRouter { interface } => Some(interface),
            Self::Discard => None,
        }
    }
}

/// One route as configured, or one on-link prefix.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct RouteEntry {
    /// The destinations of the prefix.
    pub prefix: Interval,
    /// Where it leads.
    pub next_hop: NextHop,
    /// Where it is described.
    pub place: Span,
}

/// Routes of one family as a partition of the destinations that have one.
#[derive(Clone, Debug, Default)]
pub struct RouteTable {
    entries: Vec<RouteEntry>,
    /// Invariant: disjoint, ascending; each names the entry that is the longest match there.
    cells: Vec<(Interval, usize)>,
}

impl RouteTable {
    /// Prepares routes; of two for the same prefix the earlier wins. O(n log n).
    pub fn new(entries: Vec<RouteEntry>) -> Self {
        let mut order: Vec<usize> = (0..entries.len()).collect();
        // Wide before narrow; of equals the earlier last, so that it ends up innermost.
        order.sort_by_key(|&at| {
            let prefix = entries[at].prefix;
            (prefix.low(), u128::MAX - prefix.high(), usize::MAX - at)
        });
        let cells = nest(&entries, &order);
        Self { entries, cells }
    }

    /// The longest match for one destination. O(log n).
    pub fn lookup(&self, destination: u128) -> Option<&RouteEntry> {
        let at = self
            .cells
            .partition_point(|(cell, _)| cell.high() < destination);
        let (cell, entry) = self.cells.get(at)?;
        cell.contains(destination).then(|| &self.entries[*entry])
    }

    /// Splits destinations by where they are sent; the part without any route comes last with `None`.
    /// O(log n + cells met).
    pub fn split(&self, destinations: &IntervalSet) -> Vec<(Option<NextHop>, IntervalSet)> {
        if let Some(single) = self.single(destinations) {
            return vec![(Some(single), destinations.clone())];
        }
        let mut parts: Vec<(Option<NextHop>, Vec<Interval>)> = Vec::new();
        for &wanted in destinations.intervals() {
            let first = self
                .cells
                .partition_point(|(cell, _)| cell.high() < wanted.low());
            let met = self.cells[first..].iter();
            for &(cell, entry) in met.take_while(|(cell, _)| cell.low() <= wanted.high()) {
                let low = cell.low().max(wanted.low());
                let high = cell.high().min(wanted.high());
                let part = Interval::new(low, high).expect("cells met overlap what is wanted");
                add(&mut parts, Some(self.entries[entry].next_hop), part);
            }
        }
        let mut split: Vec<(Option<NextHop>, IntervalSet)> = parts
            .into_iter()
            .map(|(next_hop, intervals)| (next_hop, intervals.into_iter().collect()))
            .collect();
        let routed = split
            .iter()
            .fold(IntervalSet::empty(), |all, (_, set)| all.union(set));
        let rest = destinations.difference(&routed);
        if !rest.is_empty() {
            split.push((None, rest));
        }
        split
    }

    /// Destinations whose longest match satisfies a condition. O(n).
    pub fn destinations(&self, wanted: impl Fn(&RouteEntry) -> bool) -> IntervalSet {
        let cells = self.cells.iter();
        cells
            .filter(|(_, entry)| wanted(&self.entries[*entry]))
            .map(|&(cell, _)| cell)
            .collect()
    }

    /// The partition, ascending.
    pub fn cells(&self) -> impl Iterator<Item = (Interval, &RouteEntry)> {
        self.cells
            .iter()
            .map(|&(cell, entry)| (cell, &self.entries[entry]))
    }

    /// The common case: everything lies in one cell.
    fn single(&self, destinations: &IntervalSet) -> Option<NextHop> {
        let low = destinations.lowest()?;
        let high = destinations.highest()?;
        let at = self.cells.partition_point(|(cell, _)| cell.high() < low);
        let (cell, entry) = self.cells.get(at)?;
        (cell.low() <= low && high <= cell.high()).then(|| self.entries[*entry].next_hop)
    }
}

/// Prefixes nest or are disjoint: a stack of open ones turns them into disjoint cells.
fn nest(entries: &[RouteEntry], order: &[usize]) -> Vec<(Interval, usize)> {
    let mut cells: Vec<(Interval, usize)> = Vec::new();
    // Open prefixes, outermost first, each with the first address not yet given to a narrower one.
    let mut open: Vec<(usize, Option<u128>)> = Vec::new();
    let mut emit = |low: u128, high: u128, entry: usize| {
        if let Some(cell) = Interval::new(low, high) {
            cells.push((cell, entry));
        }
    };
    for &at in order {
        let prefix = entries[at].prefix;
        while let Some(&(outer, next)) = open.last() {
            let outer_high = entries[outer].prefix.high();
            if prefix.low() <= outer_high {
                break;
            }
            if let Some(next) = next {
                emit(next, outer_high, outer);
            }
            open.pop();
        }
        if let Some((outer, next)) = open.last_mut() {
            if let (Some(from), Some(before)) = (*next, prefix.low().checked_sub(1)) {
                emit(from, before, *outer);
            }
            let outer_high = entries[*outer].prefix.high();
            *next = prefix
                .high()
                .checked_add(1)
                .filter(|&after| after <= outer_high);
        }
        open.push((at, Some(prefix.low())));
    }
    while let Some((outer, next)) = open.pop() {
        if let Some(next) = next {
            emit(next, entries[outer].prefix.high(), outer);
        }
    }
    cells.sort_unstable();
    cells
}

fn add(
    parts: &mut Vec<(Option<NextHop>, Vec<Interval>)>,
    next_hop: Option<NextHop>,
    part: Interval,
) {
    match parts.iter_mut().find(|(known, _)| *known == next_hop) {
        Some((_, intervals)) => intervals.push(part),
        None => parts.push((next_hop, vec![part])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(low: u128, high: u128, interface: usize) -> RouteEntry {
        RouteEntry {
            prefix: Interval::new(low, high).expect("ordered"),
            next_hop: NextHop::OnLink { interface },
            place: Span::default(),
        }
    }

    /// Every destination of a small space against the definition: the narrowest prefix that holds it.
    #[test]
    fn the_longest_match_wins_everywhere() {
        let entries = vec![
            entry(0, 63, 0),
            entry(16, 31, 1),
            entry(16, 19, 2),
            entry(20, 20, 3),
            entry(31, 31, 4),
            entry(128, 191, 5),
            entry(128, 191, 6),
            entry(0, 0, 7),
        ];
        let table = RouteTable::new(entries.clone());
        for destination in 0..256u128 {
            let holders = entries
                .iter()
                .filter(|entry| entry.prefix.contains(destination));
            let narrowest = holders.min_by_key(|entry| entry.prefix.high() - entry.prefix.low());
            assert_eq!(table.lookup(destination), narrowest, "{destination}");
        }
    }

    #[test]
    fn a_split_loses_nothing() {
        let table = RouteTable::new(vec![entry(0, 63, 0), entry(16, 31, 1)]);
        let all = IntervalSet::range(0, 99);
        let parts = table.split(&all);
        assert_eq!(parts.len(), 3);
        let back = parts
            .iter()
            .fold(IntervalSet::empty(), |sum, (_, part)| sum.union(part));
        assert_eq!(back, all);
        assert_eq!(parts[2], (None, IntervalSet::range(64, 99)));
    }

    #[test]
    fn the_widest_prefix_may_be_the_whole_space() {
        let table = RouteTable::new(vec![entry(0, u128::MAX, 0), entry(u128::MAX, u128::MAX, 1)]);
        let interface = |at| {
            table
                .lookup(at)
                .and_then(|entry| entry.next_hop.interface())
        };
        assert_eq!(
            (interface(0), interface(u128::MAX - 1), interface(u128::MAX)),
            (Some(0), Some(0), Some(1))
        );
    }
}
