//! Whether the answer to a packet finds its way back.
//!
//! Design 3.3. An answer counts when the sender gets what it waits for: from the address and port that it wrote to, to
//! the address and port that it wrote from. On the way:
//!
//! - A stateful gateway that the flow crossed knows the answer, undoes its own translations (the last crossing first)
//!   and lets it pass without asking its rules.
//! - A stateful gateway that does not know it takes it for a new flow: its rules must permit it, and no translation of
//!   its own may rewrite it. TCP and echo replies are refused: neither an answer without a connection nor a reply
//!   without a request begins a flow (observed in a kernel's connection tracking).
//! - TCP needs more: each stateful gateway that the flow crossed must see the answer too, or it stops the connection
//!   after the first one. One that saw the flow twice with different headers, for another device rewrote it in between,
//!   keeps two states, and waits for the answer to each. UDP, echo requests and other protocols live with a gateway
//!   that sees one direction only.
//! - A gateway without state asks its rules about the answer.
//! - The internet sends nothing to a private address: beyond an external segment a plain device answers such a source
//!   only where the segment routes it or has it on-link. A described host there answers by its own routes.

use boundwalk::model::{ICMP, ICMPV6, Protocol, SegmentId, TCP};

use super::devices::Target;
use super::wire::{End, Taken};
use super::{Arrival, Crossing, MOST_HOPS, Probe, Sender, Simulator, Spot};

/// A flow whose answer is on its way.
struct Flow<'a> {
    sent: Probe,
    arrival: &'a Arrival,
}

/// An answer under way.
#[derive(Clone)]
struct Answer {
    probe: Probe,
    /// Which device met it by which interface with which headers.
    met: Vec<(usize, usize, Probe)>,
    /// The states of gateways that it fitted.
    fitted: Vec<Crossing>,
}

impl Simulator<'_> {
    /// Whether some answer of the receiver reaches the sender as the answer to what it sent. A message
    /// that expects no answer counts as answered.
    pub(super) fn came_back(&self, sent: Probe, arrival: &Arrival) -> bool {
        let Some(reply) = answer(arrival.probe) else {
            return true;
        };
        let flow = Flow { sent, arrival };
        let answer = Answer {
            probe: reply,
            met: Vec::new(),
            fitted: Vec::new(),
        };
        match (arrival.end.by, arrival.end.place) {
            (Some(device), _) => self.answered_by_device(&flow, device, answer),
            (None, Spot::Segment(segment)) => {
                self.answered_by_plain(&flow, SegmentId(segment), &answer)
            }
            (None, Spot::Router(_)) => unreachable!("a gateway is no plain device"),
        }
    }

    fn answered_by_plain(&self, flow: &Flow<'_>, segment: SegmentId, answer: &Answer) -> bool {
        let destination = answer.probe.destination;
        if self.site.segment(segment).external && !self.is_routed_out_there(segment, destination) {
            return false;
        }
        let taken = self.put_out_by_plain(segment, destination);
        self.taken_home(flow, answer, taken)
    }

    /// A host answers by its own routes, whichever of its interfaces has the address. So does a gateway or router: its
    /// own rules do not look at what it sends, but a translation that brought the packet to it is undone.
    fn answered_by_device(&self, flow: &Flow<'_>, device: usize, mut answer: Answer) -> bool {
        undo(flow, device, &mut answer);
        self.put_out_by(flow, device, &answer)
    }

    /// Walks an answer from its arrival at an interface.
    fn returns(&self, flow: &Flow<'_>, (index, entry): (usize, usize), mut answer: Answer) -> bool {
        let device = &self.devices[index];
        let met = (index, entry, answer.probe);
        let ended = answer.met.contains(&met) || answer.met.len() == MOST_HOPS;
        if ended || !self.admits(device, entry, answer.probe) {
            return false;
        }
        if flow.arrival.sender == Sender::Host(index) && device.owns(answer.probe.destination) {
            return is_answered(self, flow, &answer);
        }
        answer.met.push(met);
        if device.is_stateful() {
            if undo(flow, index, &mut answer) {
                return self.leaves(flow, index, &answer);
            }
            // Connection tracking knows how a flow begins: not with TCP's second packet, and not with an echo reply.
            if [TCP, ICMP, ICMPV6].contains(&Protocol(answer.probe.protocol)) {
                return false;
            }
        }
        self.passes_as_new(index, entry, answer.probe) && self.leaves(flow, index, &answer)
    }

    /// Whether a device lets an answer pass for which it keeps no state, as it is.
    fn passes_as_new(&self, index: usize, entry: usize, reply: Probe) -> bool {
        let device = &self.devices[index];
        let mut exits = device.exits(reply.destination).into_iter();
        device.translate_destination(self.site, entry, reply).0 == reply
            && exits.any(|exit| {
                let Some(port) = exit.port() else {
                    return false;
                };
                let permitted = device.permits(self, entry, Target::Port(port), reply);
                let written = device.translate_source(self.site, exit, reply);
                permitted.is_some() && written.is_some_and(|(written, _)| written == reply)
            })
    }

    /// Where a device that an answer passes hands it.
    fn leaves(&self, flow: &Flow<'_>, index: usize, answer: &Answer) -> bool {
        self.devices[index].forwards && self.put_out_by(flow, index, answer)
    }

    /// Where a device hands an answer; its own addresses are no sender's.
    fn put_out_by(&self, flow: &Flow<'_>, index: usize, answer: &Answer) -> bool {
        let device = &self.devices[index];
        let destination = answer.probe.destination;
        if device.owns(destination) {
            return false;
        }
        let mut exits = device.exits(destination).into_iter();
        exits.any(|exit| self.taken_home(flow, answer, self.put_out(index, exit, destination)))
    }

    /// Whether some way on brings the answer to the sender.
    fn taken_home(&self, flow: &Flow<'_>, answer: &Answer, taken: Vec<Taken>) -> bool {
        taken.into_iter().any(|taken| match taken {
            Taken::Enters(at) => self.returns(flow, at, answer.clone()),
            Taken::Ends(end) => is_senders(flow, &end) && is_answered(self, flow, answer),
        })
    }
}

/// Whether who has the answer is the sender: the host itself, or a device on the wire of the sender's segment.
fn is_senders(flow: &Flow<'_>, end: &End) -> bool {
    match flow.arrival.sender {
        Sender::On(segment) => end.wire == Some(segment),
        Sender::Host(device) => end.by == Some(device),
    }
}

/// The sender takes an answer only from whom it wrote to; and a TCP connection lives only where each stateful gateway
/// sees both directions. A host drops what claims to come from itself.
fn is_answered(simulator: &Simulator<'_>, flow: &Flow<'_>, reply: &Answer) -> bool {
    let mut states = flow
        .arrival
        .crossings
        .iter()
        .filter(|crossing| simulator.devices[crossing.device].is_stateful());
    let both = states.all(|crossing| reply.fitted.contains(crossing));
    let itself = match flow.arrival.sender {
        Sender::Host(device) => simulator.devices[device].owns(reply.probe.source),
        Sender::On(_) => false,
    };
    let lives = both || Protocol(flow.sent.protocol) != TCP;
    answer(flow.sent) == Some(reply.probe) && lives && !itself
}

/// Makes of an answer what a gateway that passed the flow sends on; `false` where it knows no such flow.
fn undo(flow: &Flow<'_>, device: usize, reply: &mut Answer) -> bool {
    let mut passed = flow.arrival.crossings.iter().rev();
    let known = passed
        .find(|crossing| crossing.device == device && answer(crossing.after) == Some(reply.probe));
    let undone = known.and_then(|known| Some((known, answer(known.before)?)));
    if let Some((known, before)) = undone {
        reply.fitted.push(*known);
        reply.probe = before;
    }
    undone.is_some()
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
