//! Whether the answer to a packet finds its way back.

use boundwalk::model::{ICMP, ICMPV6, Protocol, SegmentId};

use super::devices::Target;
use super::{Arrival, Handed, Probe, Simulator, Spot};

/// A flow whose answer is on its way.
struct Flow<'a> {
    homes: &'a [SegmentId],
    /// The device of a sender that is a host of the site.
    sender: Option<usize>,
    sent: Probe,
    arrival: &'a Arrival,
}

impl Simulator<'_> {
    /// Whether some answer of the receiver reaches the sender as the answer to what it sent. A message
    /// that expects no answer counts as answered.
    pub(super) fn came_back(
        &self,
        (homes, sender): (&[SegmentId], Option<usize>),
        sent: Probe,
        arrival: &Arrival,
    ) -> bool {
        let Some(reply) = answer(arrival.probe) else {
            return true;
        };
        let flow = Flow {
            homes,
            sender,
            sent,
            arrival,
        };
        match arrival.place {
            Spot::Segment(segment) => {
                let mut devices = self.devices.iter();
                match devices.position(|device| device.is_host && device.owns(reply.source)) {
                    Some(host) => self.answered_from_host(&flow, host, reply),
                    None => self.answered_from_segment(&flow, SegmentId(segment), reply),
                }
            }
            Spot::Router(device) => self.answered_from_device(&flow, device, reply),
        }
    }

    fn answered_from_segment(&self, flow: &Flow<'_>, segment: SegmentId, reply: Probe) -> bool {
        if self.on_link(segment, reply.destination) {
            return match self.owner_on(segment, reply.destination) {
                Some(at) if !self.devices[at.0].is_host => self.returns(flow, at, reply, &[]),
                _ => arrived_home(flow, segment, reply),
            };
        }
        let hops = self.first_hops(segment, reply.destination);
        hops.into_iter()
            .any(|at| self.returns(flow, at, reply, &[]))
    }

    /// A host of the site answers by its own routes, whichever of its interfaces has the address.
    fn answered_from_host(&self, flow: &Flow<'_>, host: usize, reply: Probe) -> bool {
        let device = &self.devices[host];
        let Some(exit) = device.route(reply.destination) else {
            return false;
        };
        match self.hand_over(device, exit, reply.destination) {
            Handed::Devices(next) => next
                .into_iter()
                .any(|at| self.returns(flow, at, reply, &[])),
            Handed::At(Spot::Segment(segment)) => arrived_home(flow, SegmentId(segment), reply),
            Handed::At(Spot::Router(_)) => false,
        }
    }

    /// The device answers by itself: its own rules do not look at what it sends.
    fn answered_from_device(&self, flow: &Flow<'_>, device: usize, reply: Probe) -> bool {
        let reply = undone(flow, device, reply).unwrap_or(reply);
        self.leaves(flow, device, reply, &[])
    }

    /// Walks an answer from its arrival at an interface.
    fn returns(
        &self,
        flow: &Flow<'_>,
        at: (usize, usize),
        reply: Probe,
        seen: &[(usize, usize)],
    ) -> bool {
        let (index, entry) = at;
        let device = &self.devices[index];
        if seen.contains(&at) || !self.admits(device, entry, reply) {
            return false;
        }
        if flow.sender == Some(index) && device.owns(reply.destination) {
            return answer(flow.sent) == Some(reply);
        }
        let seen = [seen, &[at]].concat();
        if device.is_stateful() {
            return undone(flow, index, reply)
                .is_some_and(|reply| self.leaves(flow, index, reply, &seen));
        }
        let Some(exit) = device.route(reply.destination).and_then(|exit| exit.port()) else {
            return false;
        };
        let permitted = device
            .permits(self, entry, Target::Port(exit), reply)
            .is_some();
        permitted && self.leaves(flow, index, reply, &seen)
    }

    /// Where a device hands an answer; its own addresses are no sender's.
    fn leaves(
        &self,
        flow: &Flow<'_>,
        device: usize,
        reply: Probe,
        seen: &[(usize, usize)],
    ) -> bool {
        let device = &self.devices[device];
        let Some(exit) = device.route(reply.destination) else {
            return false;
        };
        if device.owns(reply.destination) || !device.forwards {
            return false;
        }
        match self.hand_over(device, exit, reply.destination) {
            Handed::Devices(next) => next
                .into_iter()
                .any(|at| self.returns(flow, at, reply, seen)),
            Handed::At(Spot::Segment(segment)) => arrived_home(flow, SegmentId(segment), reply),
            Handed::At(Spot::Router(_)) => false,
        }
    }
}

/// The answer as a gateway that passed the flow sends it on; `None` where it knows no such flow.
fn undone(flow: &Flow<'_>, device: usize, reply: Probe) -> Option<Probe> {
    let mut passed = flow.arrival.crossings.iter().rev();
    let known = passed
        .find(|crossing| crossing.device == device && answer(crossing.after) == Some(reply))?;
    answer(known.before)
}

/// The sender takes an answer only from whom it wrote to.
fn arrived_home(flow: &Flow<'_>, segment: SegmentId, reply: Probe) -> bool {
    flow.homes.contains(&segment) && answer(flow.sent) == Some(reply)
}

/// What the receiver sends back; `None` where it need not.
///
/// RFC 792 and RFC 4443 section 4.2: an echo request is answered by an echo reply with the addresses
/// exchanged. No other message asks for an answer here.
fn answer(probe: Probe) -> Option<Probe> {
    let swapped = Probe {
        source: probe.destination,
        destination: probe.source,
        ..probe
    };
    let [kind, code] = probe.destination_port.to_be_bytes();
    match (Protocol(probe.protocol), kind) {
        (ICMP, 8) => Some(Probe {
            destination_port: u16::from(code),
            ..swapped
        }),
        (ICMPV6, 128) => Some(Probe {
            destination_port: 129 * 256 + u16::from(code),
            ..swapped
        }),
        (ICMP | ICMPV6, _) => None,
        _ => Some(Probe {
            source_port: probe.destination_port,
            destination_port: probe.source_port,
            ..swapped
        }),
    }
}
