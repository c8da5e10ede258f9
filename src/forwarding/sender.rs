//! Who sends.

use boundwalk_model::{HostId, SegmentId};

use super::device::DeviceIndex;
use super::layer2::Origin;
use super::plan::Plan;

/// Who sends.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Sender {
    /// All that is on a segment, as configured: plain devices with their own addresses and default gateway, and each
    /// described host with an interface there, by its own routes, for what leaves by that interface.
    Segment(SegmentId),
    /// A host, as configured.
    Host(HostId),
    /// One device that sends what it likes, attached where devices of a segment may be or at a port of no segment:
    /// any source, any next hop.
    Hostile(Origin),
}

impl Sender {
    /// The device of a sender that is a host.
    pub(super) fn host(self, plan: &Plan) -> Option<DeviceIndex> {
        match self {
            Self::Host(host) => Some(plan.host_index(host)),
            Self::Segment(_) | Self::Hostile(_) => None,
        }
    }

    /// Where a hostile sender is.
    pub(super) fn hostile(self) -> Option<Origin> {
        match self {
            Self::Hostile(origin) => Some(origin),
            Self::Segment(_) | Self::Host(_) => None,
        }
    }

    /// The segments that the sender is on; none for a hostile device at a port of no segment.
    pub fn segments(self, plan: &Plan) -> Vec<SegmentId> {
        match self {
            Self::Segment(segment) => vec![segment],
            Self::Hostile(origin) => origin.segment().into_iter().collect(),
            Self::Host(host) => {
                let interfaces = &plan.device(plan.host_index(host)).interfaces;
                interfaces
                    .iter()
                    .map(|interface| interface.segment)
                    .collect()
            }
        }
    }
}
