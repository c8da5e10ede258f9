//! Next hops that a device learns from requests, since it gets no answer to its own.
//!
//! Whoever asks for a neighbour says where it is itself (RFC 826, packet reception: the sender's addresses are merged
//! into the table of whoever is asked; RFC 4861 section 7.2.3 likewise), and interfaces on one port or LAG of a device
//! share its hardware address. So a sender that hears one interface of a device, and is heard by another one on the same
//! port, sends there once the device has asked for it, though its own requests get no answer: a wrong PVID at the
//! sender's port does this. Observed in a kernel for IPv4; for IPv6 it takes a device that asks from the address that is
//! the next hop, and not from its link-local one. Whether the device has asked is not known: what goes
//! that way *may* arrive. The other direction does not work: the device's request is answered on an interface by which
//! it does not wait for the answer.

use rustc_hash::FxHashMap;

use boundwalk_model::SegmentId;
use boundwalk_packet::IntervalSet;

use super::device::{Attachment, DeviceId, DeviceIndex};
use super::layer2::{Fabric, InterfaceId, InterfaceOf, Reached};
use super::neighbours::{Learned, SendPoint};
use super::plan::Plan;

/// Device and segment.
type At = (InterfaceOf, SegmentId);

/// Pairs of interfaces of one device on one port, the first of which takes frames of a sender and the second does not.
#[derive(Debug)]
pub(super) struct Apart {
    /// Interfaces by device (named by its first) and segment.
    of_device: FxHashMap<At, Vec<InterfaceId>>,
    /// What was found, by what a sender reaches and its segment.
    known: FxHashMap<(*const Reached, SegmentId), Vec<(InterfaceId, InterfaceId)>>,
}

impl Apart {
    pub(super) fn new(fabric: &Fabric) -> Self {
        let mut of_device: FxHashMap<At, Vec<InterfaceId>> = FxHashMap::default();
        for id in fabric.interface_ids() {
            let interface = fabric.interface(id);
            let at = (first_of(interface.of), interface.segment);
            of_device.entry(at).or_default().push(id);
        }
        Self {
            of_device,
            known: FxHashMap::default(),
        }
    }

    /// The pairs for a sender on a segment: an interface that it reaches, and one on the same port, on the sender's
    /// segment by the file, that it does not.
    pub(super) fn pairs(
        &mut self,
        fabric: &Fabric,
        reached: &Reached,
        segment: SegmentId,
    ) -> &[(InterfaceId, InterfaceId)] {
        let key = (std::ptr::from_ref(reached), segment);
        let of_device = &self.of_device;
        self.known.entry(key).or_insert_with(|| {
            let mut pairs = Vec::new();
            for &takes in &reached.interfaces {
                let at = (first_of(fabric.interface(takes).of), segment);
                let others = of_device.get(&at).into_iter().flatten();
                let others =
                    others.filter(|&&asks| !reached.has(asks) && shares_port(fabric, takes, asks));
                pairs.extend(others.map(|&asks| (takes, asks)));
            }
            pairs
        })
    }
}

fn first_of(of: InterfaceOf) -> InterfaceOf {
    match of {
        InterfaceOf::Router(router, _) => InterfaceOf::Router(router, 0),
        InterfaceOf::Host(host, _) => InterfaceOf::Host(host, 0),
    }
}

fn shares_port(fabric: &Fabric, one: InterfaceId, other: InterfaceId) -> bool {
    let there = &fabric.interface(other).ports;
    fabric
        .interface(one)
        .ports
        .iter()
        .any(|port| there.contains(port))
}

impl Plan {
    /// Gateways and routers that a sender at a send point may know from their requests and that take packets for plain
    /// devices of its segment: the segment's default gateways, else each with an address there.
    pub(super) fn learned_routers(&self, send_point: SendPoint) -> Vec<(DeviceIndex, usize)> {
        let Some(segment) = self.segment_of(send_point) else {
            return Vec::new();
        };
        let gateways = &self.segment(segment).default_gateways;
        let takes = |one: &Learned| {
            if gateways.is_empty() {
                self.is_addressed_router((one.device, one.asks), segment)
            } else {
                let mut own = self.asking(one).addresses.iter();
                own.any(|address| gateways.contains(address))
            }
        };
        self.learned_besides(send_point, takes, || self.routers_at(send_point).collect())
    }

    /// Interfaces by which a next hop takes packets that a sender at a send point may know from its requests, but for those
    /// that answer.
    pub(super) fn learned_owners(
        &self,
        send_point: SendPoint,
        address: u128,
    ) -> Vec<(DeviceIndex, usize)> {
        let takes = |one: &Learned| self.asking(one).addresses.contains(&address);
        self.learned_besides(send_point, takes, || self.owners(send_point, address))
    }

    /// Interfaces that take packets of a sender at a send point, known from requests of those that a condition names, but for
    /// those that are known anyway.
    fn learned_besides(
        &self,
        send_point: SendPoint,
        takes: impl Fn(&Learned) -> bool,
        known: impl FnOnce() -> Vec<(DeviceIndex, usize)>,
    ) -> Vec<(DeviceIndex, usize)> {
        let mut at: Vec<_> = self
            .wire(send_point)
            .learned
            .iter()
            .filter(|one| takes(one))
            .map(|one| (one.device, one.ingress))
            .collect();
        if !at.is_empty() {
            let known = known();
            at.retain(|at| !known.contains(at));
        }
        at
    }

    /// The interface that asks.
    fn asking(&self, one: &Learned) -> &Attachment {
        &self.device(one.device).interfaces[one.asks]
    }

    /// Gateways and routers that may take what is sent on-link to their own addresses, each with the addresses that no
    /// interface there answers for.
    pub(super) fn learned_receivers(
        &self,
        send_point: SendPoint,
    ) -> impl Iterator<Item = (DeviceIndex, usize, IntervalSet)> {
        let learned = self.wire(send_point).learned.iter();
        let routers =
            learned.filter(|one| matches!(self.device(one.device).id, DeviceId::Router(_)));
        routers.map(move |one| {
            let at = (one.device, one.ingress);
            let mut own = self.asking(one).own();
            if self.wire(send_point).attached.contains(&at) {
                own = own.difference(&self.answers_for(one.device, one.ingress));
            }
            (one.device, one.ingress, own)
        })
    }

    /// Addresses of hosts that a sender at a send point may know from their requests.
    pub(super) fn learned_hosts(&self, send_point: SendPoint) -> IntervalSet {
        let hosts = self
            .wire(send_point)
            .learned
            .iter()
            .filter(|one| matches!(self.device(one.device).id, DeviceId::Host(_)));
        let own = hosts.map(|one| self.asking(one).own());
        own.fold(IntervalSet::empty(), |all, own| all.union(&own))
    }
}
