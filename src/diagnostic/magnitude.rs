//! How much a finding is about: what tells the same finding from a worse one.

use std::collections::{BTreeMap, BTreeSet};

/// Numbers from the first to the last: addresses, ports.
pub type Span128 = (u128, u128);

/// What a finding speaks of beside its subject: segments, services, addresses. More of any of it is worse.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Default)]
pub struct Magnitude {
    /// Things by name, as `to servers`.
    pub things: BTreeSet<String>,
    /// Sets of numbers by what they are, as `destination IPv4`: ascending, disjoint, not touching.
    pub sets: BTreeMap<String, Vec<Span128>>,
}

impl Magnitude {
    /// Whether nothing was measured.
    pub fn is_empty(&self) -> bool {
        self.things.is_empty() && self.sets.is_empty()
    }

    /// Adds a thing.
    pub fn add(&mut self, thing: impl Into<String>) {
        self.things.insert(thing.into());
    }

    /// Adds numbers to a set.
    pub fn extend(&mut self, set: impl Into<String>, numbers: impl IntoIterator<Item = Span128>) {
        let known = self.sets.entry(set.into()).or_default();
        known.extend(numbers);
        known.sort_unstable();
        let mut joined: Vec<Span128> = Vec::with_capacity(known.len());
        for &(low, high) in known.iter() {
            match joined.last_mut() {
                Some(last) if low <= last.1.saturating_add(1) => last.1 = last.1.max(high),
                _ => joined.push((low, high)),
            }
        }
        *known = joined;
    }

    /// Adds all of another one.
    pub fn join(&mut self, other: Self) {
        self.things.extend(other.things);
        for (set, numbers) in other.sets {
            self.extend(set, numbers);
        }
    }

    /// What goes beyond another one, in words: things that it does not have, sets of which it does not hold all.
    #[must_use]
    pub fn beyond(&self, known: &Self) -> Vec<String> {
        let things = self.things.difference(&known.things).cloned();
        let wider = self.sets.iter().filter(|(name, numbers)| {
            let held = known.sets.get(*name).map_or(&[][..], Vec::as_slice);
            !numbers.iter().all(|part| within(*part, held))
        });
        let wider = wider.map(|(name, _)| format!("more of {name}"));
        things.chain(wider).collect()
    }
}

fn within((low, high): Span128, held: &[Span128]) -> bool {
    held.iter().any(|&(from, to)| from <= low && high <= to)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ports(numbers: &[Span128]) -> Magnitude {
        let mut measure = Magnitude::default();
        measure.extend("ports", numbers.iter().copied());
        measure
    }

    #[test]
    fn what_touches_is_one_and_more_is_beyond() {
        let both = ports(&[(5, 9), (1, 4)]);
        assert_eq!(both.sets["ports"], [(1, 9)]);
        assert!(ports(&[(2, 3), (8, 9)]).beyond(&both).is_empty());
        assert_eq!(ports(&[(8, 10)]).beyond(&both), ["more of ports"]);
        let mut named = both.clone();
        named.add("to servers");
        assert_eq!(named.beyond(&both), ["to servers"]);
        assert!(both.beyond(&named).is_empty());
        let all = ports(&[(0, u128::MAX), (7, 7)]);
        assert_eq!(all.sets["ports"], [(0, u128::MAX)]);
    }

    #[test]
    fn a_measure_is_empty_until_something_is_measured() {
        assert!(Magnitude::default().is_empty());
        assert!(!ports(&[(1, 4)]).is_empty());
        let mut named = Magnitude::default();
        named.add("to servers");
        assert!(!named.is_empty());
    }

    #[test]
    fn what_another_measured_is_added() {
        let mut all = ports(&[(1, 4)]);
        let mut more = ports(&[(5, 6)]);
        more.add("to servers");
        all.join(more);
        assert_eq!(all.sets["ports"], [(1, 6)]);
        assert!(all.things.contains("to servers"));
    }
}
