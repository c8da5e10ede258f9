//! How a packet is sent: by plain devices of a segment, hostile ones, hosts, or to interfaces that somebody chose.

use boundwalk_model::{Family, HostId, SegmentId};
use boundwalk_packet::IntervalSet;

use super::device::{Attachment, DeviceIndex};
use super::layer2::Origin;
use super::neighbours::SendPoint;
use super::next::{Next, from_plain, landing};
use super::trace_types::{Packet, Trace};
use super::trace_walk::{Branch, Walker, blank};

impl Walker<'_> {
    pub(super) fn walk_from_segment(&self, segment: SegmentId, packet: &Packet) -> Vec<Trace> {
        let start = from_plain(self.plan, segment, packet);
        let mut traces = self.go_on(Branch::sure(start, *packet, Vec::new()));
        for &host in self.plan.hosts_with_own_ways(segment) {
            traces.extend(self.walk_from_host_on(host, segment, packet));
        }
        traces
    }

    /// What a described host on a segment sends by its own routes out of an interface there, if the source is one of
    /// its addresses on that interface.
    fn walk_from_host_on(
        &self,
        host: DeviceIndex,
        segment: SegmentId,
        packet: &Packet,
    ) -> Vec<Trace> {
        let here = self.plan.device(host);
        let entry = here.routes.lookup(Family::value(packet.destination));
        let egress = entry.and_then(|entry| entry.next_hop.interface());
        let egress = egress.map(|egress| &here.interfaces[egress]);
        let source = Family::value(packet.source);
        let sends = |interface: &Attachment| {
            interface.segment == segment && interface.addresses.contains(&source)
        };
        let itself = here.own.contains(Family::value(packet.destination));
        if egress.is_some_and(sends) && !itself && !self.plan.nobody.contains(source) {
            self.walk_from_device(host, packet)
        } else {
            Vec::new()
        }
    }

    pub(super) fn walk_from_hostile(&self, origin: Origin, packet: &Packet) -> Vec<Trace> {
        let destination = Family::value(packet.destination);
        let wire = self.plan.wire(SendPoint::Hostile(origin));
        let taken = |(there, addresses): &&(SegmentId, Option<IntervalSet>)| {
            let addresses = addresses.as_ref();
            self.plan.segment(*there).on_link.contains(destination)
                && !self.plan.routers_only.contains(destination)
                && addresses.is_none_or(|set| set.contains(destination))
        };
        let landed = wire
            .receivers
            .iter()
            .filter(taken)
            .map(|(there, _)| Next::Done(landing(self.plan, *there, packet)));
        let attached = wire.attached.iter().map(|&at| Next::Arrive(vec![at]));
        let starts: Vec<Next> = landed.chain(attached).collect();
        starts
            .into_iter()
            .flat_map(|start| self.go_on(Branch::sure(start, *packet, Vec::new())))
            .collect()
    }

    pub(super) fn walk_from_host(&self, host: HostId, packet: &Packet) -> Vec<Trace> {
        self.walk_from_device(self.plan.host_index(host), packet)
    }

    fn walk_from_device(&self, device: DeviceIndex, packet: &Packet) -> Vec<Trace> {
        let start = blank(device, None, packet);
        let mut traces = self.go_on(self.route(device, &start, *packet, &[]));
        traces
            .iter_mut()
            .for_each(|trace| trace.host = Some(device));
        traces
    }

    /// A packet handed over by another way than the sender's own: to interfaces that somebody chose.
    pub(super) fn walk_by(&self, via: &[(DeviceIndex, usize)], packet: &Packet) -> Vec<Trace> {
        if via.is_empty() {
            return Vec::new();
        }
        let start = Next::Arrive(via.to_vec());
        self.go_on(Branch::sure(start, *packet, Vec::new()))
    }
}
