//! What a device finds on its wire.

use boundwalk_model::SegmentId;
use boundwalk_packet::IntervalSet;

use super::device::DeviceIndex;
use super::layer2::Origin;

/// A neighbour that a sender knows from that one's request only.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Learned {
    /// The device.
    pub device: DeviceIndex,
    /// The interface that takes the sender's frames.
    pub ingress: usize,
    /// The interface that asks: what is sent to its addresses comes in by the other one.
    pub asks: usize,
}

/// Where a packet is put on the wire.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum SendPoint {
    /// By an interface of a device.
    WiredInterface(DeviceIndex, usize),
    /// By some plain device of a segment: what any of them finds.
    Segment(SegmentId),
    /// By a hostile device, which needs no answer.
    Hostile(Origin),
}

impl SendPoint {
    /// The described device that stands there.
    pub(super) fn device(self) -> Option<DeviceIndex> {
        match self {
            Self::WiredInterface(device, _) => Some(device),
            Self::Segment(_) | Self::Hostile(_) => None,
        }
    }
}

/// What is found from a send point.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub struct Neighbours {
    /// Interfaces that frames are exchanged with both ways; from a hostile stand, that frames reach.
    pub attached: Vec<(DeviceIndex, usize)>,
    /// Those of them that forward for plain devices of the send point's segment.
    pub first_hops: Vec<(DeviceIndex, usize)>,
    /// Where the file names a default gateway that is not found: other routers, which they perhaps use.
    pub other_hops: Vec<(DeviceIndex, usize)>,
    /// Interfaces that frames reach, of devices whose own requests come back by another interface of the same port:
    /// whoever is asked learns where to send. That a packet arrives there is possible, not certain.
    pub learned: Vec<Learned>,
    /// Segments of which devices take what is handed out on-link, and the addresses that they may have;
    /// `None`: every address. From a plain stand, its own segment or none.
    pub receivers: Vec<(SegmentId, Option<IntervalSet>)>,
}

/// NeighbourTable of all stands, each kept once.
#[derive(Clone, Debug, Default)]
pub(super) struct NeighbourTable {
    pub(super) pool: Vec<Neighbours>,
    /// By device and interface.
    pub(super) interfaces: Vec<Vec<u32>>,
    pub(super) segments: Vec<u32>,
    pub(super) hostile: Vec<u32>,
    pub(super) unclaimed: Vec<u32>,
}

impl NeighbourTable {
    /// The neighbours of a send point.
    pub(super) fn of(&self, send_point: SendPoint) -> &Neighbours {
        let number = match send_point {
            SendPoint::WiredInterface(device, interface) => self.interfaces[device.0][interface],
            SendPoint::Segment(segment) => self.segments[segment.0],
            SendPoint::Hostile(Origin::Segment(segment)) => self.hostile[segment.0],
            SendPoint::Hostile(Origin::Unclaimed(group)) => self.unclaimed[group.0 as usize],
        };
        &self.pool[number as usize]
    }
}
