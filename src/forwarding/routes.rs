//! Longest match, prepared once as disjoint cells.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::Span;
use boundwalk_model::{Route, SegmentId};
use boundwalk_packet::{Interval, IntervalSet};

use super::doubt::{Certainty, Doubt};

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
    /// Of several to one prefix the lowest is used; 0: on-link.
    pub preference: u32,
    /// Where it is described.
    pub place: Span,
}

/// Routes of one family as a partition of the destinations that have one.
#[derive(Clone, Debug, Default)]
pub struct RouteTable {
    entries: Vec<RouteEntry>,
    /// Invariant: disjoint, ascending; each names the entry that is the longest match there, the best of its prefix.
    cells: Vec<(Interval, usize)>,
    /// For the best entry of a prefix the others that lead elsewhere, best first.
    others: FxHashMap<usize, Vec<(usize, Doubt)>>,
    /// Disjoint, ascending: destinations that are on-link and lie in a prefix of another segment too, each with the entry
    /// that would be used without that on-link prefix.
    contested: Vec<(Interval, Option<usize>)>,
}

impl RouteTable {
    /// Prepares routes. Of several for one prefix that of the lowest preference is the best, of equals the earlier; the
    /// others are kept beside it. O(n log n).
    pub fn new(entries: Vec<RouteEntry>) -> Self {
        let mut order: Vec<usize> = (0..entries.len()).collect();
        // Wide before narrow; of one prefix the best last, so that it ends up innermost.
        order.sort_by_key(|&at| {
            let RouteEntry {
                prefix, preference, ..
            } = entries[at];
            (
                prefix.low(),
                u128::MAX - prefix.high(),
                u32::MAX - preference,
                usize::MAX - at,
            )
        });
        let cells = nest(&entries, &order);
        let others = others(&entries, &order);
        Self {
            entries,
            cells,
            others,
            contested: Vec::new(),
        }
    }

    /// The same where some addresses lie in prefixes of several segments; `segments` of the device's interfaces.
    /// O(contested cells x entries).
    #[must_use]
    pub fn with_contested(mut self, addresses: &IntervalSet, segments: &[SegmentId]) -> Self {
        if addresses.is_empty() {
            return self;
        }
        for &(cell, best) in &self.cells {
            let NextHop::OnLink { interface } = self.entries[best].next_hop else {
                continue;
            };
            let parts = addresses.intersection(&IntervalSet::from(cell));
            for &part in parts.intervals() {
                let less = self.entries.iter().enumerate().filter(|(_, entry)| {
                    let elsewhere = match entry.next_hop {
                        NextHop::OnLink { interface: other } => {
                            segments[other] != segments[interface]
                        }
                        _ => true,
                    };
                    elsewhere
                        && entry.prefix.low() <= part.low()
                        && part.high() <= entry.prefix.high()
                });
                let next = less.min_by_key(|(_, entry)| {
                    (entry.prefix.high() - entry.prefix.low(), entry.preference)
                });
                self.contested.push((part, next.map(|(at, _)| at)));
            }
        }
        self
    }

    /// Where destinations must be cut so that each part is sent alike.
    pub fn cuts(&self) -> impl Iterator<Item = Interval> {
        let contested = self.contested.iter().map(|(part, _)| *part);
        self.cells.iter().map(|(cell, _)| *cell).chain(contested)
    }

    fn contested_at(&self, destination: u128) -> Option<Option<usize>> {
        let at = self
            .contested
            .partition_point(|(part, _)| part.high() < destination);
        let (part, entry) = self.contested.get(at)?;
        part.contains(destination).then_some(*entry)
    }

    /// All that may be used where a destination is on-link and contested, or `None`.
    fn either(&self, destination: u128) -> Option<Vec<(&RouteEntry, Option<Doubt>)>> {
        let other = self.contested_at(destination)?;
        let best = self.best(destination)?;
        let equal = self.others_of(best).iter().map(|(at, _)| *at);
        let all = std::iter::once(best).chain(equal).chain(other);
        let mut entries: Vec<&RouteEntry> = Vec::new();
        for at in all {
            let entry = &self.entries[at];
            if !entries.iter().any(|known| known.next_hop == entry.next_hop) {
                entries.push(entry);
            }
        }
        let doubt = Some(Doubt::OverlappingPrefix);
        Some(entries.into_iter().map(|entry| (entry, doubt)).collect())
    }

    /// All that may be used for one destination, the best first, each with what is doubtful about it; empty: no route.
    /// O(log n + what it gives).
    #[must_use]
    pub fn ways(&self, destination: u128) -> Vec<(&RouteEntry, Option<Doubt>)> {
        if let Some(either) = self.either(destination) {
            return either;
        }
        let Some(best) = self.best(destination) else {
            return Vec::new();
        };
        let others = self.others_of(best);
        let equal = others.iter().any(|(_, doubt)| *doubt == Doubt::EqualRoute);
        let first = (&self.entries[best], equal.then_some(Doubt::EqualRoute));
        let others = others
            .iter()
            .map(|&(at, doubt)| (&self.entries[at], Some(doubt)));
        std::iter::once(first).chain(others).collect()
    }

    fn others_of(&self, best: usize) -> &[(usize, Doubt)] {
        self.others.get(&best).map_or(&[], Vec::as_slice)
    }

    fn best(&self, destination: u128) -> Option<usize> {
        let at = self
            .cells
            .partition_point(|(cell, _)| cell.high() < destination);
        let (cell, entry) = self.cells.get(at)?;
        cell.contains(destination).then_some(*entry)
    }

    /// The best of the longest match for one destination. O(log n).
    #[must_use]
    pub fn lookup(&self, destination: u128) -> Option<&RouteEntry> {
        self.best(destination).map(|entry| &self.entries[entry])
    }

    /// Splits destinations by where they may be sent, with what is doubtful about it; parts that may be sent to several next hops
    /// are listed with each, the part without any route comes last with `None`. O(log n + cells met).
    pub fn split_ways(
        &self,
        destinations: &IntervalSet,
    ) -> Vec<(Option<NextHop>, Option<Doubt>, IntervalSet)> {
        let parts = self
            .split(destinations)
            .into_iter()
            .map(|(next_hop, part)| (next_hop, None, part));
        if self.others.is_empty() && self.contested.is_empty() {
            return parts.collect();
        }
        let mut ways = Vec::new();
        let mut doubtful = IntervalSet::empty();
        let cells = self
            .cells
            .iter()
            .filter(|(_, best)| !self.others_of(*best).is_empty())
            .map(|(cell, _)| *cell);
        // What is contested is looked at first, so that it is taken out of the cells that it lies in.
        for cell in self.contested.iter().map(|(part, _)| *part).chain(cells) {
            let part = destinations.intersection(&IntervalSet::from(cell));
            let part = part.difference(&doubtful);
            let Some(low) = part.lowest() else {
                continue;
            };
            doubtful = doubtful.union(&part);
            for (entry, doubt) in self.ways(low) {
                ways.push((Some(entry.next_hop), doubt, part.clone()));
            }
        }
        for (next_hop, doubt, part) in parts {
            let part = part.difference(&doubtful);
            if !part.is_empty() {
                ways.push((next_hop, doubt, part));
            }
        }
        ways
    }

    /// Splits destinations by where they are sent by the best routes; the part without any route comes last with `None`.
    /// O(log n + cells met).
    #[must_use]
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

    /// Destinations that may be sent by a route that satisfies a condition. O(n).
    pub fn destinations(&self, wanted: impl Fn(&RouteEntry) -> bool) -> IntervalSet {
        self.those(|ways| ways.iter().any(|(entry, _)| wanted(entry)))
    }

    /// Destinations that are sent by a route that satisfies a condition, whichever of equal ones is used. O(n).
    pub fn surely(&self, wanted: impl Fn(&RouteEntry) -> bool) -> IntervalSet {
        let counts = |doubt: Option<Doubt>| {
            doubt.is_none_or(|doubt| doubt.certainty() != Certainty::Possible)
        };
        self.those(|ways| {
            let mut counting = ways.iter().filter(|(_, doubt)| counts(*doubt));
            counting.all(|(entry, _)| wanted(entry))
        })
    }

    /// Destinations of which a condition holds, asked once for each part that is sent alike.
    fn those(&self, wanted: impl Fn(&[(&RouteEntry, Option<Doubt>)]) -> bool) -> IntervalSet {
        let contested: IntervalSet = self.contested.iter().map(|(part, _)| *part).collect();
        let cells = self
            .cells
            .iter()
            .map(|(cell, _)| IntervalSet::from(*cell))
            .map(|cell| {
                if contested.is_empty() {
                    cell
                } else {
                    cell.difference(&contested)
                }
            });
        let parts = self
            .contested
            .iter()
            .map(|(part, _)| IntervalSet::from(*part));
        let held = cells.chain(parts).filter(|part| {
            let low = part.lowest();
            low.is_some_and(|low| wanted(&self.ways(low)))
        });
        held.flat_map(|part| part.intervals().to_vec()).collect()
    }

    /// Interfaces by which a destination may leave, the best route's first, without repeats; empty: it is discarded or has
    /// no route.
    pub fn interfaces(&self, destination: u128) -> Vec<usize> {
        let mut all = Vec::new();
        for (entry, _) in self.ways(destination) {
            let interface = entry.next_hop.interface();
            all.extend(interface.filter(|interface| !all.contains(interface)));
        }
        all
    }

    /// The partition by the best routes, ascending.
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

/// For the best entry of each prefix those that are not and lead elsewhere, best first.
fn others(entries: &[RouteEntry], order: &[usize]) -> FxHashMap<usize, Vec<(usize, Doubt)>> {
    let mut others: FxHashMap<usize, Vec<(usize, Doubt)>> = FxHashMap::default();
    for same in order.chunk_by(|&one, &other| entries[one].prefix == entries[other].prefix) {
        let Some((&best, rest)) = same.split_last() else {
            continue;
        };
        let mut known = vec![entries[best].next_hop];
        for &at in rest.iter().rev() {
            let entry = entries[at];
            // Of two interfaces on one wire the first is used (observed in a kernel); on two wires it is an overlap.
            let both_on_link =
                entry.preference == Route::ON_LINK && entries[best].preference == Route::ON_LINK;
            if known.contains(&entry.next_hop) || both_on_link {
                continue;
            }
            known.push(entry.next_hop);
            let doubt = match entry.next_hop {
                // What nobody names as next hop is used at most where nobody has the one that is named.
                NextHop::AnyRouter { .. } => Doubt::UnknownGateway,
                _ if entry.preference == entries[best].preference => Doubt::EqualRoute,
                _ => Doubt::Backup,
            };
            others.entry(best).or_default().push((at, doubt));
        }
    }
    others
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
            preference: 0,
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
            let narrowest = entries
                .iter()
                .filter(|entry| entry.prefix.contains(destination))
                .min_by_key(|entry| entry.prefix.high() - entry.prefix.low());
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
