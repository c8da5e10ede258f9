//! What a walk has been through. Where packets may take very many ways, the devices on them come in any order; from
//! there on the order does not matter, and each set of them is followed once.

use std::hash::Hash;

use rustc_hash::FxHashSet;

use super::device::DeviceIndex;
use super::flow::{Flow, Hop};

/// Visits of devices from which on a walk remembers what it has been through. Below, every way is followed.
const FREELY: usize = 256;

/// What one walk has been through.
pub(super) struct Explored<K> {
    visits: usize,
    /// Visits after which it is given up.
    most: usize,
    seen: FxHashSet<K>,
}

/// Whether a walk goes on at a device.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Visit {
    /// It goes on.
    New,
    /// It has gone on from just here.
    Known,
    /// It has visited as many devices as it may.
    TooMany,
}

impl<K: Hash + Eq> Explored<K> {
    pub(super) fn new(most: usize) -> Self {
        Self {
            visits: 0,
            most,
            seen: FxHashSet::default(),
        }
    }

    /// Counts the visit of a device. `key` is all that decides how it goes on from there; `None`: nothing that went
    /// another way can have come to the same.
    pub(super) fn visit(&mut self, key: impl FnOnce() -> Option<K>) -> Visit {
        self.visits += 1;
        if self.most < self.visits {
            return Visit::TooMany;
        }
        if self.visits <= FREELY {
            return Visit::New;
        }
        if key().is_none_or(|key| self.seen.insert(key)) {
            Visit::New
        } else {
            Visit::Known
        }
    }
}

/// An interface of arrival, and the flow that comes to it.
pub(super) type FlowVisit = (DeviceIndex, usize, Flow);

/// A flow at an interface, without the devices that it crossed: for walks on which none has rules. What comes again by
/// other devices goes on as it did.
pub(super) fn bare(device: DeviceIndex, ingress: usize, flow: &Flow) -> FlowVisit {
    let mut flow = flow.clone();
    flow.hops.clear();
    (device, ingress, flow)
}

/// A flow at an interface, with the devices without rules that it crossed in an order of their own: those with rules keep
/// theirs, for what they know of a flow depends on it.
pub(super) fn unordered(device: DeviceIndex, ingress: usize, flow: &Flow) -> Option<FlowVisit> {
    let rank = |hop: &Hop| {
        let plain = !hop.filtered && hop.translated.is_none();
        plain.then_some((hop.device, hop.ingress, hop.egress))
    };
    // One alone has no order.
    if flow.hops.iter().filter_map(rank).count() < 2 {
        return None;
    }
    let mut flow = flow.clone();
    // The sort is stable: those that have no rank stay first, as they are.
    flow.hops.sort_by_key(rank);
    Some((device, ingress, flow))
}
