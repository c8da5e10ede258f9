//! Sets of protocols and ports as products.

use super::interval_set::IntervalSet;

const LAST_PROTOCOL: u128 = 255;
const LAST_PORT: u128 = 65_535;

/// The (protocol, source port, destination port) triples whose every part lies
/// in that part's set. Empty as soon as one part is.
///
/// Two conventions make every protocol fit. A protocol whose messages have a
/// type and a code keeps `type * 256 + code` in the destination port, and
/// anything in the source port. A protocol without ports has anything in both.
/// "A field a protocol does not have is never told apart": all sets are
/// saturated in such fields, and the canonical triple has 0 there.
#[derive(Clone, PartialEq, Eq, Hash, Debug, PartialOrd, Ord)]
pub struct ServiceBox {
    /// Values 0 to 255.
    pub protocols: IntervalSet,
    /// Values 0 to 65,535.
    pub source_ports: IntervalSet,
    /// Values 0 to 65,535.
    pub destination_ports: IntervalSet,
}

impl ServiceBox {
    /// Every triple.
    #[must_use]
    pub fn any() -> Self {
        Self {
            protocols: IntervalSet::range(0, LAST_PROTOCOL),
            source_ports: IntervalSet::range(0, LAST_PORT),
            destination_ports: IntervalSet::range(0, LAST_PORT),
        }
    }

    /// Whether no triple is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.parts().into_iter().any(IntervalSet::is_empty)
    }

    /// The triples in both boxes, again a box (which may be empty).
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        Self {
            protocols: self.protocols.intersection(&other.protocols),
            source_ports: self.source_ports.intersection(&other.source_ports),
            destination_ports: self
                .destination_ports
                .intersection(&other.destination_ports),
        }
    }

    /// Whether some triple is in both boxes; symmetric.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        let mut pairs = self.parts().into_iter().zip(other.parts());
        pairs.all(|(mine, theirs)| mine.overlaps(theirs))
    }

    /// Whether every triple of `self` is in `other`.
    #[must_use]
    pub fn is_subset(&self, other: &Self) -> bool {
        let mut pairs = self.parts().into_iter().zip(other.parts());
        pairs.all(|(mine, theirs)| mine.is_subset(theirs)) || self.is_empty()
    }

    /// The triples of `self` outside `other`, as at most three disjoint boxes,
    /// none empty.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Vec<Self> {
        let common = self.intersection(other);
        let protocols = Self {
            protocols: self.protocols.difference(&other.protocols),
            ..self.clone()
        };
        let source_ports = Self {
            protocols: common.protocols.clone(),
            source_ports: self.source_ports.difference(&other.source_ports),
            destination_ports: self.destination_ports.clone(),
        };
        let destination_ports = Self {
            destination_ports: self.destination_ports.difference(&other.destination_ports),
            ..common
        };
        let mut slabs = vec![protocols, source_ports, destination_ports];
        slabs.retain(|slab| !slab.is_empty());
        slabs
    }

    /// Whether the triple is held.
    #[must_use]
    pub fn contains(&self, protocol: u8, source_port: u16, destination_port: u16) -> bool {
        self.protocols.contains(protocol.into())
            && self.source_ports.contains(source_port.into())
            && self.destination_ports.contains(destination_port.into())
    }

    /// The box with source and destination ports exchanged; twice gives the
    /// box itself.
    #[must_use]
    pub fn swapped(&self) -> Self {
        Self {
            protocols: self.protocols.clone(),
            source_ports: self.destination_ports.clone(),
            destination_ports: self.source_ports.clone(),
        }
    }

    fn parts(&self) -> [&IntervalSet; 3] {
        [&self.protocols, &self.source_ports, &self.destination_ports]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn small(protocols: (u128, u128), from: (u128, u128), to: (u128, u128)) -> ServiceBox {
        ServiceBox {
            protocols: IntervalSet::range(protocols.0, protocols.1),
            source_ports: IntervalSet::range(from.0, from.1),
            destination_ports: IntervalSet::range(to.0, to.1),
        }
    }

    fn held(boxes: &[ServiceBox]) -> Vec<(u8, u16, u16)> {
        let mut held = Vec::new();
        for p in 0..4 {
            for s in 0..4 {
                for d in 0..4 {
                    // Once per box that holds it: doubles show.
                    let times = boxes.iter().filter(|b| b.contains(p, s, d)).count();
                    held.extend(std::iter::repeat_n((p, s, d), times));
                }
            }
        }
        held
    }

    #[test]
    fn operations_agree_with_membership() {
        let ranges = [(0, 0), (0, 1), (1, 2), (2, 3), (0, 3)];
        let mut all = Vec::new();
        for p in ranges {
            for s in ranges {
                all.extend(ranges.map(|d| small(p, s, d)));
            }
        }
        for a in &all {
            for b in &all {
                let (in_a, in_b) = (held(std::slice::from_ref(a)), held(std::slice::from_ref(b)));
                let (both, only): (Vec<_>, Vec<_>) = in_a.iter().partition(|t| in_b.contains(t));
                assert_eq!(held(&[a.intersection(b)]), both);
                assert_eq!(held(&a.difference(b)), only);
                assert_eq!(a.overlaps(b), !both.is_empty());
                assert_eq!(a.is_subset(b), only.is_empty());
            }
        }
    }

    #[test]
    fn swapping_exchanges_the_ports() {
        let box_ = small((6, 6), (1024, 65_535), (80, 80));
        assert!(box_.swapped().contains(6, 80, 2000));
        assert!(!box_.swapped().contains(6, 2000, 80));
        assert_eq!(box_.swapped().swapped(), box_);
        assert_eq!(ServiceBox::any().swapped(), ServiceBox::any());
    }
}
