//! One packet, hop by hop.

use std::net::IpAddr;

use crate::forwarding::{Network, Origin, Packet, Sender, Trace, trace};
use crate::model::{Family, HostId, SegmentId};

use super::legs::{Leg, legs};
use super::party::Party;

/// Why a packet has no path to look at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PathError {
    /// Source and destination are of two families.
    MixedFamilies,
    /// No segment has the source address, so it is not clear where the packet starts.
    SourceNowhere(IpAddr),
    /// The sender named has no address of that family.
    NoAddress(Family),
}

/// The walk of a packet from its sender.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PathResult {
    /// Who sends.
    pub sender: Sender,
    /// The packet sent.
    pub packet: Packet,
    /// True where the source is not one of the sender's: then the sender is taken as hostile.
    pub forged: bool,
    /// One walk for each router that the sender may use.
    pub traces: Vec<Trace>,
    /// For each walk the frames that it takes: before each step the leg that leads to it, and last the one to
    /// the receiver.
    pub legs: Vec<Vec<Option<Leg>>>,
}

/// Walks a packet. `from` is where it starts; without it, the segment that holds the source address does.
/// A source that is not the sender's own is walked as a hostile device's.
///
/// # Errors
/// Mixed families, or a source address that belongs to no segment and no `from`.
pub fn path(
    network: &Network<'_>,
    from: Option<Party>,
    packet: &Packet,
) -> Result<PathResult, PathError> {
    let family = Family::of(packet.source);
    if family != Family::of(packet.destination) {
        return Err(PathError::MixedFamilies);
    }
    let plan = network.plan(family);
    let source = Family::value(packet.source);
    let (configured, segment, own) = match from {
        Some(Party::Host(host)) => {
            let segment = network
                .site
                .host(host)
                .interfaces
                .first()
                .map(|interface| interface.segment);
            let own = plan.device(plan.host_index(host)).own.contains(source);
            (Sender::Host(host), segment, own)
        }
        Some(Party::Segment(segment)) => {
            let own = plan.segment(segment).addresses.contains(source);
            (Sender::Segment(segment), Some(segment), own)
        }
        Some(Party::Zone(_) | Party::Device(_) | Party::Unclaimed(..)) | None => {
            let found =
                sender_of(network, packet.source).ok_or(PathError::SourceNowhere(packet.source))?;
            (found, None, true)
        }
    };
    let sender = match (own, segment) {
        (false, Some(segment)) => Sender::Hostile(Origin::Segment(segment)),
        _ => configured,
    };
    let traces = trace(network, sender, packet);
    Ok(PathResult {
        sender,
        packet: *packet,
        forged: !own,
        legs: traces
            .iter()
            .map(|trace| legs(network, sender, trace))
            .collect(),
        traces,
    })
}

/// The host that has an address, else the segment that it lies in.
fn sender_of(network: &Network<'_>, address: IpAddr) -> Option<Sender> {
    let plan = network.plan(Family::of(address));
    let value = Family::value(address);
    let hosts = (0..network.site.hosts.len()).map(HostId);
    let mut owners = hosts.filter(|&host| plan.device(plan.host_index(host)).own.contains(value));
    if let Some(host) = owners.next() {
        return Some(Sender::Host(host));
    }
    let segment = plan
        .segments
        .iter()
        .position(|segment| segment.addresses.contains(value))?;
    Some(Sender::Segment(SegmentId(segment)))
}
