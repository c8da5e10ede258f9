//! Products of addresses and services.

use super::class_set::ClassSet;
use super::interval_set::IntervalSet;

/// The packets between two sets of addresses with a set of services, the classes
/// being those of one [`ServiceClasses`](super::ServiceClasses).
///
/// Empty as soon as one part is; `==` is equality of packets for regions that
/// are not empty only.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Region {
    /// Where the packets come from.
    pub source: IntervalSet,
    /// Where they go to.
    pub destination: IntervalSet,
    /// Protocol and ports.
    pub services: ClassSet,
}

impl Region {
    /// Whether no packet is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.source.is_empty() || self.destination.is_empty() || self.services.is_empty()
    }

    /// Whether the packet is held.
    #[must_use]
    pub fn contains(&self, source: u128, destination: u128, class: usize) -> bool {
        self.source.contains(source)
            && self.destination.contains(destination)
            && self.services.contains(class)
    }

    /// Whether some packet is in both regions; symmetric.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        // Sets of addresses are short.
        self.destination.overlaps(&other.destination)
            && self.source.overlaps(&other.source)
            && self.services.overlaps(&other.services)
    }

    /// Whether every packet of `self` is in `other`.
    #[must_use]
    pub fn is_subset(&self, other: &Self) -> bool {
        let parts = self.services.is_subset(&other.services)
            && self.source.is_subset(&other.source)
            && self.destination.is_subset(&other.destination);
        parts || self.is_empty()
    }

    /// The packets in both regions, again a region (which may be empty).
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        Self {
            source: self.source.intersection(&other.source),
            destination: self.destination.intersection(&other.destination),
            services: self.services.intersection(&other.services),
        }
    }

    /// The packets of `self` outside `other`, as at most three disjoint regions,
    /// none empty; cut by source, then destination, then services.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Vec<Self> {
        if !self.overlaps(other) {
            let mut whole = vec![self.clone()];
            whole.retain(|region| !region.is_empty());
            return whole;
        }
        let source = self.source.intersection(&other.source);
        let destination = self.destination.intersection(&other.destination);
        let mut slabs = vec![
            Self {
                source: self.source.difference(&other.source),
                ..self.clone()
            },
            Self {
                source: source.clone(),
                destination: self.destination.difference(&other.destination),
                services: self.services.clone(),
            },
            Self {
                source,
                destination,
                services: self.services.difference(&other.services),
            },
        ];
        slabs.retain(|slab| !slab.is_empty());
        slabs
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn region(source: u128, destination: u128, services: usize) -> Region {
        let upto = |top: u128| match top {
            0 => IntervalSet::empty(),
            top => IntervalSet::range(0, top - 1),
        };
        let mut classes = ClassSet::none(3);
        (0..services).for_each(|class| classes.insert(class));
        Region {
            source: upto(source),
            destination: upto(destination),
            services: classes,
        }
    }

    fn held(regions: &[Region]) -> Vec<usize> {
        let mut held = Vec::new();
        for at in 0..27 {
            let (s, d, c) = (at as u128 / 9, at as u128 / 3 % 3, at % 3);
            // Once per region that holds it: doubles show.
            let times = regions.iter().filter(|r| r.contains(s, d, c)).count();
            held.extend(std::iter::repeat_n(at, times));
        }
        held
    }

    #[test]
    fn operations_agree_with_membership() {
        for x in 0..64 {
            for y in 0..64 {
                let a = region(x as u128 % 4, x as u128 / 4 % 4, x / 16);
                let b = region(y as u128 % 4, y as u128 / 4 % 4, y / 16);
                let (in_a, in_b) = (
                    held(std::slice::from_ref(&a)),
                    held(std::slice::from_ref(&b)),
                );
                let (both, only): (Vec<usize>, Vec<usize>) =
                    in_a.iter().copied().partition(|p| in_b.contains(p));
                assert_eq!(held(&[a.intersection(&b)]), both);
                assert_eq!(held(&a.difference(&b)), only);
                assert_eq!(a.overlaps(&b), !both.is_empty());
                assert_eq!(a.is_subset(&b), only.is_empty());
                assert_eq!(a.is_empty(), in_a.is_empty());
            }
        }
    }
}
