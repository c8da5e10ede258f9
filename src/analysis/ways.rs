//! Ways round the filtering gateways: frames through switches, packets through routers and hosts that forward
//! without rules, and to the far address of a host with several interfaces.

use boundwalk_forwarding::layer2::{
    Fabric, Flood, Frame, FrameWay, InterfaceId, InterfaceOf, PortId, Start, Taken, flood,
    hostile_starts,
};
use boundwalk_forwarding::{
    Arrival, DeviceIndex, Flow, Network, Origin, Place, Plan, Sender, Target, reach_unfiltered,
};
use boundwalk_model::{Family, HostId, SegmentId};

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
    /// The host at the end, where it is reached at the address of another of its interfaces: it answers for all of its
    /// addresses by each (RFC 1122 section 3.3.4.2, weak host model).
    pub far_address: Option<HostId>,
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

/// A packet that arrives somewhere round every filtering gateway, after one device at least.
#[derive(Clone, Debug)]
pub(super) struct Routed {
    pub(super) family: Family,
    pub(super) to: SegmentId,
    pub(super) flow: Flow,
}

/// What arrives round every filtering gateway from a sender by some device, in both families, shortest first.
pub(super) fn routed(network: &Network<'_>, sender: Sender) -> Vec<Routed> {
    let mut found: Vec<Routed> = Vec::new();
    for family in Family::ALL {
        let plan = network.plan(family);
        let everywhere = family.full().difference(&plan.nobody);
        let target = Target {
            addresses: &everywhere,
            segment: None,
            services: None,
        };
        reach_unfiltered(network, plan, sender, target, &mut |arrival| {
            if let Arrival::Delivered(Place::Segment(to), flow) = arrival
                && !flow.hops.is_empty()
            {
                found.push(Routed { family, to, flow });
            }
        });
    }
    found.sort_by_key(|routed| routed.flow.hops.len());
    found
}

/// What a hostile device reaches without a filtering gateway.
pub struct Around<'n> {
    network: &'n Network<'n>,
    /// Frames that do not need a tag, and all frames.
    floods: [Flood; 2],
    /// Packets that devices without rules pass on or take.
    routed: Vec<Routed>,
}

impl<'n> Around<'n> {
    /// Floods from every port where the device may be, and sends every packet.
    pub fn new(network: &'n Network<'n>, from: Origin) -> Self {
        let fabric = &network.fabric;
        let plain: Vec<Start> = match from {
            Origin::Segment(segment) => fabric
                .attach_points(segment)
                .iter()
                .map(|attach_point| {
                    Start::AttachPoint(attach_point.port, Frame::of(attach_point.tag))
                })
                .collect(),
            Origin::Unclaimed(group) => fabric
                .unclaimed(group)
                .ports
                .iter()
                .map(|&port| Start::AttachPoint(port, Frame::of(None)))
                .collect(),
        };
        let hostile = hostile_starts(fabric, from);
        let routed = if meets_unfiltered(network, from) {
            routed(network, Sender::Hostile(from))
        } else {
            Vec::new()
        };
        Self {
            network,
            floods: [flood(fabric, &plain), flood(fabric, &hostile)],
            routed,
        }
    }

    /// A shortest way to devices of a segment, or out of unclaimed ports: of ways with plain frames if there are any,
    /// else with tags.
    #[must_use]
    pub fn way_to(&self, to: Origin) -> Option<Way> {
        let mut floods = self.floods.iter();
        floods.find_map(|flood| {
            let direct = self.direct(flood, to);
            let routed = to.segment().and_then(|to| self.routed_way(flood, to));
            direct.into_iter().chain(routed).min_by_key(Way::length)
        })
    }

    fn direct(&self, flood: &Flood, to: Origin) -> Option<Way> {
        let end = match to {
            Origin::Segment(segment) => nearest(self.network, flood, segment)?,
            Origin::Unclaimed(group) => {
                let mut taken = flood.taken.iter().filter(|taken| taken.interface.is_none());
                let fabric = &self.network.fabric;
                *taken.find(|taken| fabric.unclaimed_at(taken.port) == Some(group))?
            }
        };
        Some(Way {
            legs: vec![flood.way(&self.network.fabric, &end)],
            handovers: Vec::new(),
            end,
            far_address: None,
        })
    }

    fn routed_way(&self, flood: &Flood, to: SegmentId) -> Option<Way> {
        self.routed
            .iter()
            .filter(|routed| routed.to == to)
            .filter_map(|routed| way_of(self.network, flood, routed))
            .min_by_key(Way::length)
    }
}

/// Whether frames of a hostile device come to something that passes packets on without rules, or to a host that has
/// further interfaces.
fn meets_unfiltered(network: &Network<'_>, from: Origin) -> bool {
    let plan = network.plan(Family::V4);
    let mut interfaces = network.wiring.from_hostile(from).interfaces.iter();
    interfaces.any(|&interface| {
        let of = network.fabric.interface(interface).of;
        let device = plan.device(plan.place_of(of).0);
        device.forwards_unfiltered()
            || matches!(of, InterfaceOf::Host(..)) && 1 < device.interfaces.len()
    })
}

/// The frames under the way of a packet, if the first of them is in a flood.
fn way_of(network: &Network<'_>, flood: &Flood, routed: &Routed) -> Option<Way> {
    let plan = network.plan(routed.family);
    let (last, before) = routed.flow.hops.split_last()?;
    let mut at = flood.clone();
    let mut legs = Vec::new();
    let mut handovers = Vec::new();
    for hop in before.iter().chain([last]) {
        let (leg, taken) = leg_to(network, plan, &at, (hop.device, hop.ingress))?;
        legs.push(leg);
        let Some(egress) = hop.egress else {
            let InterfaceOf::Host(host, _) = network.fabric.interface(taken.interface?).of else {
                return None;
            };
            return Some(Way {
                legs,
                handovers,
                end: taken,
                far_address: Some(host),
            });
        };
        handovers.push(Handover {
            device: hop.device,
            ingress: hop.ingress,
            egress,
        });
        let interface = plan.interface_of(&network.fabric, (hop.device, egress));
        at = self::flood(&network.fabric, &[Start::WiredInterface(interface)]);
    }
    let end = nearest(network, &at, routed.to).or_else(|| otherwise(network, &at, routed.to))?;
    let far_address = end
        .interface
        .and_then(|interface| far_host(network, interface, routed.to));
    legs.push(at.way(&network.fabric, &end));
    Some(Way {
        legs,
        handovers,
        end,
        far_address,
    })
}

/// The way of frames to an interface.
fn leg_to(
    network: &Network<'_>,
    plan: &Plan,
    flood: &Flood,
    to: (DeviceIndex, usize),
) -> Option<(FrameWay, Taken)> {
    let interface = plan.interface_of(&network.fabric, to);
    let taken = flood
        .taken
        .iter()
        .find(|taken| taken.interface == Some(interface))?;
    Some((flood.way(&network.fabric, taken), *taken))
}

/// The host of an interface, where that interface is on another segment than asked for.
fn far_host(network: &Network<'_>, interface: InterfaceId, to: SegmentId) -> Option<HostId> {
    let interface = network.fabric.interface(interface);
    match interface.of {
        InterfaceOf::Host(host, _) if interface.segment != to => Some(host),
        _ => None,
    }
}

/// A host that is found by another of its interfaces than the one on a segment.
fn otherwise(network: &Network<'_>, flood: &Flood, to: SegmentId) -> Option<Taken> {
    let has_home = |taken: &&Taken| {
        let interface = taken
            .interface
            .map(|interface| network.fabric.interface(interface).of);
        matches!(interface, Some(InterfaceOf::Host(host, _)) if {
            let mut own = network.site.host(host).interfaces.iter();
            own.any(|interface| interface.segment == to)
        })
    };
    flood.taken.iter().find(has_home).copied()
}

/// The nearest place where a device of a segment takes a frame; the host there, if one is described.
fn nearest(network: &Network<'_>, flood: &Flood, to: SegmentId) -> Option<Taken> {
    let mut taken = flood
        .taken
        .iter()
        .filter(|taken| takes(&network.fabric, taken, to));
    let first = *taken.next()?;
    let host = taken.find(|other| other.port == first.port && other.interface.is_some());
    Some(host.copied().unwrap_or(first))
}

/// Whether a device of a segment takes a frame: the interface of a host that the file puts there, or what may
/// be plugged in with the tag that such devices use.
pub(super) fn takes(fabric: &Fabric, taken: &Taken, to: SegmentId) -> bool {
    match taken.interface {
        Some(interface) => {
            let interface = fabric.interface(interface);
            interface.segment == to && matches!(interface.of, InterfaceOf::Host(..))
        }
        None => fabric
            .seated(taken.port)
            .iter()
            .filter(|(segment, _)| *segment == to)
            .any(|(_, tag)| taken.frame.fits(*tag)),
    }
}

/// The port that a way begins at.
pub fn begins(network: &Network<'_>, leg: &FrameWay) -> Option<PortId> {
    match leg.start {
        Start::AttachPoint(port, _) => Some(port),
        Start::WiredInterface(interface) => {
            network.fabric.interface(interface).ports.first().copied()
        }
        Start::Inside(..) => None,
    }
}
