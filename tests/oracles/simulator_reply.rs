//! Whether the answer to a packet finds its way back.

use boundwalk::model::{ICMP, ICMPV6, Protocol, SegmentId};

use super::devices::Target;
use super::{Arrival, Handed, Probe, Simulator, Spot};

/// A flow whose answer is on its way.
struct Flow<'a> {
    from: SegmentId,
    sent: Probe,
    arrival: &'a Arrival,
}

impl Simulator<'_> {
    /// Whether some answer of the receiver reaches the sender as the answer to what it sent. A message
    /// that expects no answer counts as answered.
    pub(super) fn came_back(&self, from: SegmentId, sent: Probe, arrival: &Arrival) -> bool {
        let Some(reply) = answer(arrival.probe) else { return true };
        let flow = Flow { from, sent, arrival };
        match arrival.place {
            Spot::Segment(segment) => self.answered_from_segment(&flow, SegmentId(segment), reply),
            Spot::Device(device) => self.answered_from_device(&flow, device, reply),
        }
    }

    fn answered_from_segment(&self, flow: &Flow<'_>, segment: SegmentId, reply: Probe) -> bool {
        if self.on_link(segment, reply.destination) {
            return match self.owner_on(segment, reply.destination) {
                Some((device, port)) => self.returns(flow, device, port, reply),
                None => arrived_home(flow, segment, reply),
            };
        }
        let hops = if self.site.segment(segment).external {
            self.routers_on(segment, reply.destination)
        } else {
            self.first_hops(segment, reply.destination)
        };
        hops.into_iter().any(|(device, port)| self.returns(flow, device, port, reply))
    }

    /// The device answers by itself: its own rules do not look at what it sends.
    fn answered_from_device(&self, flow: &Flow<'_>, device: usize, reply: Probe) -> bool {
        let reply = undone(flow, device, reply).unwrap_or(reply);
        match self.leaves(device, reply) {
            Handed::Device(next, port) => self.returns(flow, next, port, reply),
            Handed::Segment(segment) => arrived_home(flow, SegmentId(segment), reply),
            Handed::Lost => false,
        }
    }

    /// Walks an answer from its arrival at an interface.
    fn returns(&self, flow: &Flow<'_>, device: usize, port: usize, mut reply: Probe) -> bool {
        let (mut at, mut seen) = ((device, port), Vec::new());
        loop {
            let (index, entry) = at;
            let device = &self.devices[index];
            if seen.contains(&at) || !self.admits(device, entry, reply) {
                return false;
            }
            seen.push(at);
            if device.is_stateful() {
                match undone(flow, index, reply) {
                    Some(original) => reply = original,
                    None => return false,
                }
            }
            let exit = device.route(reply.destination).and_then(|exit| exit.port());
            let Some(leaves) = exit else { return false };
            let target = Target::Port(leaves);
            if !device.is_stateful() && device.permits(self, entry, target, reply).is_none() {
                return false;
            }
            match self.leaves(index, reply) {
                Handed::Device(next, port) => at = (next, port),
                Handed::Segment(segment) => return arrived_home(flow, SegmentId(segment), reply),
                Handed::Lost => return false,
            }
        }
    }

    /// Where a device hands an answer; its own addresses are no sender's.
    fn leaves(&self, device: usize, reply: Probe) -> Handed {
        let device = &self.devices[device];
        if device.owns(reply.destination) {
            return Handed::Lost;
        }
        match device.route(reply.destination) {
            Some(exit) => self.hand_over(device, exit, reply.destination),
            None => Handed::Lost,
        }
    }
}

/// The answer as a gateway that passed the flow sends it on; `None` where it knows no such flow.
fn undone(flow: &Flow<'_>, device: usize, reply: Probe) -> Option<Probe> {
    let mut passed = flow.arrival.crossings.iter().rev();
    let known = passed.find(|crossing| crossing.device == device && answer(crossing.after) == Some(reply))?;
    answer(known.before)
}

/// The sender takes an answer only from whom it wrote to.
fn arrived_home(flow: &Flow<'_>, segment: SegmentId, reply: Probe) -> bool {
    segment == flow.from && answer(flow.sent) == Some(reply)
}

/// What the receiver sends back; `None` where it need not.
///
/// RFC 792 and RFC 4443 section 4.2: an echo request is answered by an echo reply with the addresses
/// exchanged. No other message asks for an answer here.
fn answer(probe: Probe) -> Option<Probe> {
    let swapped = Probe { source: probe.destination, destination: probe.source, ..probe };
    let [kind, code] = probe.destination_port.to_be_bytes();
    match (Protocol(probe.protocol), kind) {
        (ICMP, 8) => Some(Probe { destination_port: u16::from(code), ..swapped }),
        (ICMPV6, 128) => Some(Probe { destination_port: 129 * 256 + u16::from(code), ..swapped }),
        (ICMP | ICMPV6, _) => None,
        _ => Some(Probe {
            source_port: probe.destination_port,
            destination_port: probe.source_port,
            ..swapped
        }),
    }
}
