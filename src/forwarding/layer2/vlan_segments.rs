//! Which segment a VLAN number means, in each part of layer 2.

use rustc_hash::FxHashMap;
use smallvec::SmallVec;

use boundwalk_model::{SegmentId, VlanId};

/// The segments of each VLAN number.
#[derive(Clone, Debug, Default)]
pub(super) struct VlanSegments {
    /// Segments by number, up to the highest that has one: many fabrics are built in a search.
    pub(super) by_number: Vec<Named>,
    /// Numbers of several segments: which of them each part means.
    pub(super) shared: FxHashMap<(u32, VlanId), Named>,
    /// Part of each node; empty where no number is shared.
    pub(super) parts: Vec<u32>,
}

/// Segments of one VLAN number in one part.
pub(super) type Named = SmallVec<[SegmentId; 1]>;
