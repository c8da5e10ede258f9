//! One cell of a matrix in one family.

use std::sync::Arc;

use boundwalk_forwarding::{Packet, WalkCoverage};
use boundwalk_model::{HostId, RouterId};
use boundwalk_packet::{ClassSet, ServiceClasses};

/// How much of a cell's flows something holds for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Extent {
    /// There is nothing to say it of.
    #[default]
    Nothing,
    /// None of them.
    None,
    /// Some, not all.
    Some,
    /// All.
    All,
    /// A limit was met before it was known.
    Unknown,
}

impl Extent {
    /// Counts one more flow for which it does or does not hold.
    pub fn add(&mut self, holds: bool) {
        let one = if holds { Self::All } else { Self::None };
        *self = self.and(one);
    }

    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Nothing, other) => other,
            (own, Self::Nothing) => own,
            (own, other) if own == other => own,
            (Self::Unknown, Self::Some) | (Self::Some, Self::Unknown) => Self::Some,
            (Self::Unknown, _) | (_, Self::Unknown) => Self::Unknown,
            _ => Self::Some,
        }
    }
}

/// How hostile reach compares with configured reach.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum HostileReach {
    /// It was not asked for.
    #[default]
    NotAsked,
    /// A hostile device on the sender's segment reaches no more than a plain one.
    Same,
    /// It reaches more; a packet that only it gets through.
    Larger(Packet),
    /// A limit was met before it was certain.
    Unknown,
}

impl HostileReach {
    /// That of two pairs together.
    fn or(self, other: Self) -> Self {
        match (self, other) {
            (Self::Larger(packet), _) | (_, Self::Larger(packet)) => Self::Larger(packet),
            (Self::Unknown, _) | (_, Self::Unknown) => Self::Unknown,
            (own, Self::NotAsked) => own,
            (_, other) => other,
        }
    }
}

/// What kind of cell it is.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Reading {
    /// Sender and target are one segment: traffic inside it crosses no router.
    #[default]
    Within,
    /// One of both has no address of this family.
    NoAddresses,
    /// A real pair.
    Pair,
}

/// What passes from one party to another in one family.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Cell {
    /// What kind of cell it is.
    pub reading: Reading,
    /// How many classes of services there are.
    classes: usize,
    /// Services, as the sender sends them, of which some packet arrives.
    pub some: Arc<ClassSet>,
    /// Services of which every packet arrives, from each address to each address.
    pub every: Arc<ClassSet>,
    /// Those of them that plain devices get through; the others only described hosts do, by routes of their own.
    pub plain: Arc<ClassSet>,
    /// Described hosts that get something through by their own routes, ascending.
    pub hosts: Vec<HostId>,
    /// How many flows are answered.
    pub two_way: Extent,
    /// Of how many flows a filtering gateway decides.
    pub filtered: Extent,
    /// Gateways and routers that forward some flow or receive it, ascending.
    pub crossed: Vec<RouterId>,
    /// Rules that permit some flow, ascending: gateway and number of the rule; `None`: the default.
    pub rules: Vec<(RouterId, Option<usize>)>,
    /// A packet that arrives; where some reply comes back, one that is answered.
    pub witness: Option<Packet>,
    /// Whether a hostile device reaches more.
    pub hostile: HostileReach,
    /// Where a limit was met, what is listed is a lower bound.
    pub coverage: WalkCoverage,
}

impl Cell {
    /// A cell through which nothing is known to pass.
    pub fn empty(reading: Reading, classes: &ServiceClasses) -> Self {
        let none = Arc::new(classes.none());
        Self {
            reading,
            classes: classes.len(),
            some: Arc::clone(&none),
            plain: Arc::clone(&none),
            hosts: Vec::new(),
            every: none,
            two_way: Extent::Nothing,
            filtered: Extent::Nothing,
            crossed: Vec::new(),
            rules: Vec::new(),
            witness: None,
            hostile: HostileReach::NotAsked,
            coverage: WalkCoverage::Complete,
        }
    }

    /// Whether all was looked at; else what is listed is a lower bound.
    #[must_use]
    pub fn complete(&self) -> bool {
        self.coverage.is_complete()
    }

    /// Services that only described hosts get through, by routes of their own.
    #[must_use]
    pub fn only_by_hosts(&self) -> ClassSet {
        self.some.difference(&self.plain)
    }

    /// Whether everything passes: every service from every address to every address.
    #[must_use]
    pub fn everything(&self) -> bool {
        self.every.count() == self.classes
    }

    /// Adds services of which some packet arrives; `by_host`: only a described host gets it through, by its own routes.
    pub(super) fn add_services(&mut self, bits: &[u64], by_host: bool) {
        Arc::make_mut(&mut self.some).add_bits(bits);
        if !by_host {
            Arc::make_mut(&mut self.plain).add_bits(bits);
        }
    }

    /// The same cell with nothing passing.
    #[must_use]
    pub fn closed_off(&self) -> Self {
        let mut cell = self.clone();
        let none = Arc::new(cell.some.difference(&self.some));
        cell.every = Arc::clone(&none);
        cell.plain = Arc::clone(&none);
        cell.some = none;
        cell.hosts.clear();
        cell.two_way = Extent::Nothing;
        cell.filtered = Extent::Nothing;
        cell.crossed.clear();
        cell.rules.clear();
        cell.witness = None;
        cell
    }

    /// Whether nothing passes, for certain.
    #[must_use]
    pub fn closed(&self) -> bool {
        self.complete() && self.some.is_empty()
    }

    /// Whether some reply is known to come back.
    #[must_use]
    pub fn answered(&self) -> bool {
        matches!(self.two_way, Extent::Some | Extent::All)
    }

    /// Joins the cell of another pair of the same two zones.
    pub fn join(&mut self, other: &Self) {
        // A sender without an address of its own may still have a hostile neighbour.
        self.hostile = self.hostile.or(other.hostile);
        match (self.reading, other.reading) {
            (Reading::Within, Reading::Within | Reading::NoAddresses) => {
                self.reading = other.reading;
            }
            (_, Reading::Within | Reading::NoAddresses) => {}
            (Reading::Within | Reading::NoAddresses, Reading::Pair) => {
                *self = Self {
                    hostile: self.hostile,
                    ..other.clone()
                };
            }
            (Reading::Pair, Reading::Pair) => self.join_pair(other),
        }
    }

    fn join_pair(&mut self, other: &Self) {
        if self.witness.is_none() || (other.answered() && !self.answered()) {
            self.witness = other.witness;
        }
        Arc::make_mut(&mut self.some).union_with(&other.some);
        Arc::make_mut(&mut self.plain).union_with(&other.plain);
        merge(&mut self.hosts, &other.hosts);
        Arc::make_mut(&mut self.every).intersection_with(&other.every);
        self.two_way = self.two_way.and(other.two_way);
        self.filtered = self.filtered.and(other.filtered);
        merge(&mut self.crossed, &other.crossed);
        merge(&mut self.rules, &other.rules);
        self.coverage.note(other.coverage);
    }
}

/// Adds the items of one ascending list to another.
pub(super) fn merge<T: Ord + Copy>(into: &mut Vec<T>, from: &[T]) {
    for &item in from {
        if let Err(at) = into.binary_search(&item) {
            into.insert(at, item);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn extents_add_up() {
        let mut extent = Extent::Nothing;
        extent.add(true);
        assert_eq!(extent, Extent::All);
        extent.add(false);
        assert_eq!(extent, Extent::Some);
        extent.add(true);
        assert_eq!(extent, Extent::Some);
        assert_eq!(Extent::None.and(Extent::Nothing), Extent::None);
    }

    #[test]
    fn merging_keeps_order_and_drops_doubles() {
        let mut list = vec![1, 5];
        merge(&mut list, &[3, 5, 9]);
        assert_eq!(list, [1, 3, 5, 9]);
    }
}
