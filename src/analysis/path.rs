//! One packet, hop by hop.

use std::fmt;
use std::net::IpAddr;

use boundwalk_forwarding::{
    DeviceId, DeviceIndex, Network, Origin, Outcome, Packet, Place, Reply, Sender, Trace, trace,
    trace_via,
};
use boundwalk_model::{Family, HostId, SegmentId};

use super::legs::{Leg, legs};
use super::party::Endpoint;

/// Why a packet has no path to look at.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PathError {
    /// Source and destination are of two families.
    MixedFamilies,
    /// No segment has the source address, so it is not clear where the packet starts.
    SourceNowhere(IpAddr),
    /// The sender named has no address of that family.
    NoAddress(Family),
    /// The sender exchanges no frames with the next hop that it is told to use.
    NextHopNotThere,
}

impl fmt::Display for PathError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MixedFamilies => f.write_str("source and target are of two address families"),
            Self::SourceNowhere(address) => {
                write!(f, "{address} belongs to no segment of the site")
            }
            Self::NoAddress(family) => write!(f, "the sender has no {} address", family.word()),
            Self::NextHopNotThere => {
                f.write_str("the sender exchanges no frames with that next hop")
            }
        }
    }
}

impl std::error::Error for PathError {}

/// What becomes of a packet, worst first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Fate {
    /// It stops.
    Stops,
    /// It is delivered, but not to the target asked for.
    Elsewhere,
    /// It arrives and is not answered.
    Unanswered,
    /// It arrives, and the exchange works as far as this packet needs it.
    Answered,
}

/// The walk of a packet from its sender.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct PathResult {
    /// Who sends.
    pub sender: Sender,
    /// The packet sent.
    pub packet: Packet,
    /// Where it is to arrive: the target named, or the segment that its destination lies in; `None`: wherever it is
    /// taken.
    pub target: Option<Endpoint>,
    /// True where the source is not one of the sender's: then the sender is taken as hostile.
    pub forged: bool,
    /// One walk for each router that the sender may use.
    pub traces: Vec<Trace>,
    /// For each walk the frames that it takes: before each step the leg that leads to it, and last the one to
    /// the receiver.
    pub legs: Vec<Vec<Option<Leg>>>,
}

impl PathResult {
    /// What becomes of the packet on one way.
    #[must_use]
    pub fn fate(&self, network: &Network<'_>, trace: &Trace) -> Fate {
        let Outcome::Delivered(place) = trace.outcome else {
            return Fate::Stops;
        };
        let answered = trace.reply.as_ref().is_some_and(Reply::two_way);
        match self.is_there(network, trace, place) {
            false => Fate::Elsewhere,
            true if answered => Fate::Answered,
            true => Fate::Unanswered,
        }
    }

    /// What becomes of it at best, of all its ways.
    #[must_use]
    pub fn best(&self, network: &Network<'_>) -> Fate {
        self.traces
            .iter()
            .map(|trace| self.fate(network, trace))
            .max()
            .unwrap_or(Fate::Stops)
    }

    /// Whether a place is where it is to arrive. A destination that was rewritten leads where somebody meant it to.
    fn is_there(&self, network: &Network<'_>, trace: &Trace, place: Place) -> bool {
        if trace.packet.destination != self.packet.destination {
            return true;
        }
        match (self.target, place) {
            (Some(Endpoint::Segment(wanted)), Place::Segment(there)) => wanted == there,
            (Some(Endpoint::Host(host)), Place::Segment(there)) => {
                let mut own = network.site.host(host).interfaces.iter();
                own.any(|interface| interface.segment == there)
            }
            (Some(Endpoint::Device(wanted)), Place::Router(there)) => wanted == there,
            (Some(Endpoint::Segment(_) | Endpoint::Host(_) | Endpoint::Device(_)), _) => false,
            _ => true,
        }
    }
}

/// Walks a packet. `from` is where it starts; without it, the segment that holds the source address does.
/// A source that is not the sender's own is walked as a hostile device's.
///
/// # Errors
/// Mixed families, or a source address that belongs to no segment and no `from`.
pub fn path(
    network: &Network<'_>,
    from: Option<Endpoint>,
    packet: &Packet,
) -> Result<PathResult, PathError> {
    path_via(network, from, packet, None)
}

/// The same by a next hop of one's own choice, whatever the sender's routes say: an address of it on the sender's wire.
///
/// # Errors
/// Those of [`path`], and a next hop that the sender exchanges no frames with.
pub fn path_via(
    network: &Network<'_>,
    from: Option<Endpoint>,
    packet: &Packet,
    via: Option<DeviceIndex>,
) -> Result<PathResult, PathError> {
    let family = Family::of(packet.source);
    if family != Family::of(packet.destination) {
        return Err(PathError::MixedFamilies);
    }
    let plan = network.plan(family);
    let source = Family::value(packet.source);
    let (configured, segment, own) = match from {
        Some(Endpoint::Host(host)) => {
            let segment = network
                .site
                .host(host)
                .interfaces
                .first()
                .map(|interface| interface.segment);
            let own = plan.device(plan.host_index(host)).own.contains(source);
            (Sender::Host(host), segment, own)
        }
        Some(Endpoint::Segment(segment)) => {
            let own = plan.segment(segment).addresses.contains(source);
            (Sender::Segment(segment), Some(segment), own)
        }
        Some(Endpoint::Zone(_) | Endpoint::Device(_) | Endpoint::Unclaimed(..)) | None => {
            let found =
                sender_of(network, packet.source).ok_or(PathError::SourceNowhere(packet.source))?;
            (found, None, true)
        }
    };
    let sender = match (own, segment) {
        (false, Some(segment)) => Sender::Hostile(Origin::Segment(segment)),
        _ => configured,
    };
    let traces = match via {
        None => trace(network, sender, packet),
        Some(via) => {
            let only = |mut there: Vec<(DeviceIndex, usize)>| {
                there.retain(|(device, _)| *device == via);
                there
            };
            let there = only(plan.neighbours(sender));
            let learned = there.is_empty();
            let there = if learned {
                only(plan.learned_neighbours(sender))
            } else {
                there
            };
            if there.is_empty() {
                return Err(PathError::NextHopNotThere);
            }
            trace_via(network, sender, packet, &there, learned)
        }
    };
    Ok(PathResult {
        sender,
        target: target_of(network, packet.destination),
        packet: *packet,
        forged: !own,
        legs: traces
            .iter()
            .map(|trace| legs(network, sender, trace))
            .collect(),
        traces,
    })
}

/// Who has an address: a gateway or router, a host, or the segment that it lies in; `None` for the world beyond.
fn target_of(network: &Network<'_>, address: IpAddr) -> Option<Endpoint> {
    let plan = network.plan(Family::of(address));
    let value = Family::value(address);
    let owner = plan
        .devices
        .iter()
        .find(|device| device.own.contains(value));
    if let Some(device) = owner {
        return Some(match device.id {
            DeviceId::Router(router) => Endpoint::Device(router),
            DeviceId::Host(host) => Endpoint::Host(host),
        });
    }
    let inside = plan
        .segments
        .iter()
        .enumerate()
        .find(|(_, segment)| segment.on_link.contains(value));
    inside.map(|(at, _)| Endpoint::Segment(SegmentId(at)))
}

/// The host that has an address, else the segment that it lies in.
fn sender_of(network: &Network<'_>, address: IpAddr) -> Option<Sender> {
    let plan = network.plan(Family::of(address));
    let value = Family::value(address);
    let mut owners = (0..network.site.hosts.len())
        .map(HostId)
        .filter(|&host| plan.device(plan.host_index(host)).own.contains(value));
    if let Some(host) = owners.next() {
        return Some(Sender::Host(host));
    }
    let segment = plan
        .segments
        .iter()
        .position(|segment| segment.addresses.contains(value))?;
    Some(Sender::Segment(SegmentId(segment)))
}
