//! Ways round the filtering gateways: frames through switches, packets through routers and hosts that forward
//! without rules.

use rustc_hash::FxHashSet;

use crate::forwarding::layer2::{
    Fabric, Flood, FootOf, FrameWay, SocketId, Start, Taken, flood, hostile_starts,
};
use crate::forwarding::{DeviceIndex, Network, NextHop, Plan, Stand};
use crate::model::{Family, SegmentId};
use crate::packet::IntervalSet;

/// A device that passes a packet on without rules.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Handover {
    /// The device.
    pub device: DeviceIndex,
    /// Interface of arrival.
    pub ingress: usize,
    /// Interface of departure.
    pub egress: usize,
}

/// A way from a device of one segment to a device of another on which no filtering gateway decides.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Way {
    /// Frames from device to device: one more than there are handovers.
    pub legs: Vec<FrameWay>,
    /// Devices between the legs.
    pub handovers: Vec<Handover>,
    /// Where the last frame is taken: the interface, or the open port.
    pub end: Taken,
}

impl Way {
    /// Cables and devices crossed.
    pub fn length(&self) -> usize {
        self.legs
            .iter()
            .map(|leg| leg.steps.len() + 1)
            .sum::<usize>()
            + self.handovers.len()
    }

    /// The tags that its sender puts on.
    pub fn sent(&self) -> &[u16] {
        self.legs.first().map_or(&[], |leg| &leg.sent)
    }
}

/// What a hostile device of one segment reaches without a filtering gateway.
pub struct Around<'n> {
    network: &'n Network<'n>,
    /// Frames that do not need a tag, and all frames.
    floods: [Flood; 2],
}

impl<'n> Around<'n> {
    /// Floods from every seat of a segment.
    pub fn new(network: &'n Network<'n>, from: SegmentId) -> Self {
        let fabric = &network.fabric;
        let plain: Vec<Start> = fabric
            .seats(from)
            .iter()
            .map(|seat| Start::Seat(seat.socket, crate::forwarding::layer2::Frame::of(seat.tag)))
            .collect();
        let hostile = hostile_starts(fabric, from);
        Self {
            network,
            floods: [flood(fabric, &plain), flood(fabric, &hostile)],
        }
    }

    /// A shortest way to devices of a segment: of ways with plain frames if there are any, else with tags.
    pub fn way_to(&self, to: SegmentId) -> Option<Way> {
        let mut floods = self.floods.iter();
        floods.find_map(|flood| {
            let direct = self.direct(flood, to);
            let routed = self.routed(flood, to);
            let ways = direct.into_iter().chain(routed);
            ways.min_by_key(Way::length)
        })
    }

    fn direct(&self, flood: &Flood, to: SegmentId) -> Option<Way> {
        let end = nearest(self.network, flood, to)?;
        Some(Way {
            legs: vec![flood.way(&self.network.fabric, &end)],
            handovers: Vec::new(),
            end,
        })
    }

    fn routed(&self, flood: &Flood, to: SegmentId) -> Option<Way> {
        let mut best: Option<Way> = None;
        for taken in flood.taken.iter().filter(|taken| taken.foot.is_some()) {
            for family in Family::ALL {
                let plan = self.network.plan(family);
                let Some((device, ingress)) = self.forwarder(plan, taken) else {
                    continue;
                };
                let Some(carried) = carry(self.network, plan, device, to) else {
                    continue;
                };
                let way = self.join(flood, taken, ingress, carried);
                if best
                    .as_ref()
                    .is_none_or(|best| way.length() < best.length())
                {
                    best = Some(way);
                }
            }
        }
        best
    }

    /// The device that took a frame, where it forwards without rules what arrives there.
    fn forwarder(&self, plan: &Plan, taken: &Taken) -> Option<(DeviceIndex, usize)> {
        let foot = self.network.fabric.foot(taken.foot?);
        let (device, ingress) = plan.place_of(foot.of);
        let here = plan.device(device);
        let lets_in = here.interfaces[ingress]
            .accepts
            .as_ref()
            .is_none_or(|sources| !sources.difference(&plan.nobody).is_empty());
        (here.forwards_unfiltered() && lets_in).then_some((device, ingress))
    }

    fn join(&self, flood: &Flood, taken: &Taken, ingress: usize, carried: Carried) -> Way {
        let mut legs = vec![flood.way(&self.network.fabric, taken)];
        let mut handovers = Vec::new();
        let mut arrived = ingress;
        for hop in carried.hops {
            handovers.push(Handover {
                device: hop.device,
                ingress: arrived,
                egress: hop.egress,
            });
            legs.push(hop.leg);
            arrived = hop.arrives;
        }
        Way {
            legs,
            handovers,
            end: carried.end,
        }
    }
}

/// The nearest place where a device of a segment takes a frame; the host there, if one is described.
fn nearest(network: &Network<'_>, flood: &Flood, to: SegmentId) -> Option<Taken> {
    let mut taken = flood
        .taken
        .iter()
        .filter(|taken| takes(&network.fabric, taken, to));
    let first = *taken.next()?;
    let host = taken.find(|other| other.socket == first.socket && other.foot.is_some());
    Some(host.copied().unwrap_or(first))
}

/// Whether a device of a segment takes a frame: the interface of a host that the file puts there, or what may
/// be plugged in with the tag that such devices use.
pub(super) fn takes(fabric: &Fabric, taken: &Taken, to: SegmentId) -> bool {
    match taken.foot {
        Some(foot) => {
            let foot = fabric.foot(foot);
            foot.segment == to && matches!(foot.of, FootOf::Host(..))
        }
        None => {
            let seated = fabric.seated(taken.socket).iter();
            seated
                .filter(|(segment, _)| *segment == to)
                .any(|(_, tag)| taken.frame.fits(*tag))
        }
    }
}

/// One device on the way of a packet, and the frame that it sends.
struct CarriedHop {
    device: DeviceIndex,
    egress: usize,
    leg: FrameWay,
    /// Interface of the next device.
    arrives: usize,
}

/// How devices without rules bring a packet to a segment.
struct Carried {
    hops: Vec<CarriedHop>,
    end: Taken,
}

/// A device that passes a packet on to another.
#[derive(Clone, Copy)]
struct Relay {
    device: DeviceIndex,
    egress: usize,
    next: (DeviceIndex, usize),
}

/// How a device without rules brings a packet to devices of a segment, by its routes; the fewest devices.
fn carry(
    network: &Network<'_>,
    plan: &Plan,
    device: DeviceIndex,
    to: SegmentId,
) -> Option<Carried> {
    let targets = plan.segment(to).addresses.clone();
    let mut queue: Vec<(DeviceIndex, IntervalSet, Vec<Relay>)> =
        vec![(device, targets, Vec::new())];
    let mut seen: FxHashSet<DeviceIndex> = FxHashSet::default();
    let mut at = 0;
    while at < queue.len() {
        let (device, targets, before) = queue[at].clone();
        at += 1;
        if targets.is_empty() || !seen.insert(device) {
            continue;
        }
        for (next_hop, part) in plan.device(device).routes.split(&targets) {
            let Some((hop, egress)) = next_hop.and_then(|hop| Some((hop, hop.interface()?))) else {
                continue;
            };
            if let NextHop::OnLink { .. } = hop {
                if let Some(carried) = landed(network, plan, (device, egress), &before, to) {
                    return Some(carried);
                }
                continue;
            }
            for next in further(plan, Stand::Foot(device, egress), hop) {
                let mut chain = before.clone();
                chain.push(Relay {
                    device,
                    egress,
                    next,
                });
                queue.push((next.0, part.clone(), chain));
            }
        }
    }
    None
}

/// Devices without rules that a next hop leads to.
fn further(plan: &Plan, stand: Stand, hop: NextHop) -> Vec<(DeviceIndex, usize)> {
    let next: Vec<(DeviceIndex, usize)> = match hop {
        NextHop::Address { address, .. } => plan.owner(stand, address).into_iter().collect(),
        NextHop::AnyRouter { .. } => plan.wire(stand).first_hops.clone(),
        NextHop::OnLink { .. } | NextHop::Discard => Vec::new(),
    };
    let unfiltered =
        |&(device, _): &(DeviceIndex, usize)| plan.device(device).forwards_unfiltered();
    next.into_iter().filter(unfiltered).collect()
}

/// The last hop: frames of an interface reach devices of the segment, which answer its address resolution.
fn landed(
    network: &Network<'_>,
    plan: &Plan,
    (device, egress): (DeviceIndex, usize),
    before: &[Relay],
    to: SegmentId,
) -> Option<Carried> {
    let mut lands = plan.wire(Stand::Foot(device, egress)).lands.iter();
    if !lands.any(|(segment, _)| *segment == to) {
        return None;
    }
    let foot = plan.foot_of(&network.fabric, (device, egress));
    let flood = flood(&network.fabric, &[Start::Foot(foot)]);
    let end = nearest(network, &flood, to)?;
    let mut hops = Vec::new();
    for relay in before {
        hops.push(CarriedHop {
            device: relay.device,
            egress: relay.egress,
            leg: leg_between(network, plan, (relay.device, relay.egress), relay.next)?,
            arrives: relay.next.1,
        });
    }
    hops.push(CarriedHop {
        device,
        egress,
        leg: flood.way(&network.fabric, &end),
        arrives: 0,
    });
    Some(Carried { hops, end })
}

/// The way of frames between two interfaces.
fn leg_between(
    network: &Network<'_>,
    plan: &Plan,
    from: (DeviceIndex, usize),
    to: (DeviceIndex, usize),
) -> Option<FrameWay> {
    let from = plan.foot_of(&network.fabric, from);
    let to = plan.foot_of(&network.fabric, to);
    let flood = flood(&network.fabric, &[Start::Foot(from)]);
    let taken = flood.taken.iter().find(|taken| taken.foot == Some(to))?;
    Some(flood.way(&network.fabric, taken))
}

/// The socket that a way begins at.
pub fn begins(network: &Network<'_>, leg: &FrameWay) -> Option<SocketId> {
    match leg.start {
        Start::Seat(socket, _) => Some(socket),
        Start::Foot(foot) => network.fabric.foot(foot).sockets.first().copied(),
        Start::Inside(..) => None,
    }
}
