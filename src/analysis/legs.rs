//! The frames under the way of a packet.

use boundwalk_forwarding::layer2::{
    Frame, FrameWay, InterfaceId, Start, Taken, flood, hostile_starts,
};
use boundwalk_forwarding::{
    DeviceId, DeviceIndex, Network, Outcome, Place, Plan, Sender, Step, Trace,
};
use boundwalk_model::{Family, SegmentId};

use super::ways::takes;

/// The way of a frame, and who takes it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Leg {
    /// The way.
    pub way: FrameWay,
    /// Where it is taken.
    pub end: Taken,
}

/// The frames of a trace: before each step the leg that leads to it, and last the one to the receiver. `None`
/// where there is none: the sender is the first step, or the packet stops before.
pub(super) fn legs(network: &Network<'_>, sender: Sender, trace: &Trace) -> Vec<Option<Leg>> {
    let plan = network.plan(Family::of(trace.packet.source));
    let mut legs = Vec::new();
    let mut from: Option<Vec<Start>> = starts(network, plan, sender, trace);
    for step in &trace.steps {
        let arrives = step
            .ingress
            .map(|ingress| interface(network, plan, step.device, ingress));
        legs.push(match (&from, arrives) {
            (Some(from), Some(interface)) => to_interface(network, from, interface),
            _ => None,
        });
        from = departure(plan, step).map(|egress| {
            vec![Start::WiredInterface(interface(
                network,
                plan,
                step.device,
                egress,
            ))]
        });
    }
    legs.push(from.and_then(|from| last(network, plan, &from, trace)));
    legs
}

fn interface(
    network: &Network<'_>,
    plan: &Plan,
    device: DeviceIndex,
    interface: usize,
) -> InterfaceId {
    plan.interface_of(&network.fabric, (device, interface))
}

/// The interface that a packet leaves a device by.
fn departure(plan: &Plan, step: &Step) -> Option<usize> {
    let route = step.route.as_ref()?;
    let own = plan
        .device(step.device)
        .own
        .contains(Family::value(step.left.destination));
    route.next_hop.interface().filter(|_| !own)
}

/// Where the frames of a sender begin: at the host that has the source address, else at any attachment point.
fn starts(network: &Network<'_>, plan: &Plan, sender: Sender, trace: &Trace) -> Option<Vec<Start>> {
    let fabric = &network.fabric;
    match sender {
        Sender::Host(_) => None,
        Sender::Hostile(origin) => Some(hostile_starts(fabric, origin)),
        _ if trace.host.is_some() => None,
        Sender::Segment(segment) => {
            let sent = trace
                .steps
                .first()
                .map_or(trace.packet, |step| step.arrived);
            let source = Family::value(sent.source);
            if let Some(host) = host_with(network, plan, segment, source) {
                return Some(vec![Start::WiredInterface(host)]);
            }
            let attach_points = fabric
                .attach_points(segment)
                .iter()
                .filter(|attach_point| attach_point.is_usual());
            Some(
                attach_points
                    .map(|attach_point| {
                        Start::AttachPoint(attach_point.port, Frame::of(attach_point.tag))
                    })
                    .collect(),
            )
        }
    }
}

/// The interface of a host on a segment that has an address.
fn host_with(
    network: &Network<'_>,
    plan: &Plan,
    segment: SegmentId,
    address: u128,
) -> Option<InterfaceId> {
    let mut interfaces = network.wiring.interfaces_of(segment).iter().copied();
    interfaces.find(|&interface| {
        let (device, interface) = plan.place_of(network.fabric.interface(interface).of);
        let here = plan.device(device);
        matches!(here.id, DeviceId::Host(_))
            && here.interfaces[interface].addresses.contains(&address)
    })
}

fn to_interface(network: &Network<'_>, from: &[Start], interface: InterfaceId) -> Option<Leg> {
    let flood = flood(&network.fabric, from);
    let end = *flood
        .taken
        .iter()
        .find(|taken| taken.interface == Some(interface))?;
    Some(Leg {
        way: flood.way(&network.fabric, &end),
        end,
    })
}

/// The leg to the receiver: to the host that has the address, else to any device of the segment.
fn last(network: &Network<'_>, plan: &Plan, from: &[Start], trace: &Trace) -> Option<Leg> {
    let Outcome::Delivered(Place::Segment(segment)) = trace.outcome else {
        return None;
    };
    let destination = Family::value(trace.packet.destination);
    if let Some(host) = host_with(network, plan, segment, destination) {
        return to_interface(network, from, host);
    }
    let flood = flood(&network.fabric, from);
    let mut ends = flood
        .taken
        .iter()
        .filter(|taken| takes(&network.fabric, taken, segment));
    let end = *ends.find(|taken| taken.interface.is_none())?;
    Some(Leg {
        way: flood.way(&network.fabric, &end),
        end,
    })
}
