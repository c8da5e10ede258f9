//! What decides how a packet goes on, for walks that remember where they have been.

use super::device::DeviceIndex;
use super::doubt::Doubt;
use super::routes::NextHop;
use super::trace_types::{Packet, Step};

/// A device with rules: the interface of arrival, the next hop, the packet as it came and went.
type RuledStep = (DeviceIndex, Option<usize>, Option<NextHop>, [Packet; 2]);

/// All that decides how a packet goes on from an interface.
#[derive(PartialEq, Eq, Hash)]
pub(super) struct PacketVisit {
    device: DeviceIndex,
    ingress: usize,
    packet: Packet,
    doubts: Vec<Doubt>,
    /// Devices with rules that it crossed, in order.
    ruled: Vec<RuledStep>,
    /// Others that it crossed, in an order of their own.
    others: Vec<(DeviceIndex, Option<usize>, Packet)>,
}

impl PacketVisit {
    pub(super) fn new(
        (device, ingress): (DeviceIndex, usize),
        packet: Packet,
        steps: &[Step],
        doubts: &[Doubt],
    ) -> Self {
        let has_rules = |step: &&Step| step.decision.is_some();
        let ruled = steps.iter().filter(has_rules).map(|step| {
            let next_hop = step.route.as_ref().map(|route| route.next_hop);
            (
                step.device,
                step.ingress,
                next_hop,
                [step.arrived, step.left],
            )
        });
        let others = steps.iter().filter(|step| !has_rules(step));
        let mut others: Vec<_> = others
            .map(|step| (step.device, step.ingress, step.arrived))
            .collect();
        others.sort_by_key(|(device, ingress, _)| (*device, *ingress));
        let mut doubts = doubts.to_vec();
        doubts.sort_unstable();
        doubts.dedup();
        Self {
            device,
            ingress,
            packet,
            doubts,
            ruled: ruled.collect(),
            others,
        }
    }
}
