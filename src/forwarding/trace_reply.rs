//! The way back of the reply to one packet.

use std::cell::RefCell;
use std::net::IpAddr;

use boundwalk_model::{Action, Family, ICMP, ICMPV6, SegmentId, TCP};

use super::crossing::Crossing;
use super::device::DeviceIndex;
use super::doubt::Certainty;
use super::explored::{Explored, Visit};
use super::filter::{FilterPlan, TranslationPlan, Written};
use super::layer2::Origin;
use super::neighbours::SendPoint;
use super::network::Network;
use super::next::{Next, any_router, depart, from_plain};
use super::overheard::overheard;
use super::plan::Plan;
use super::routes::NextHop;
use super::seeds::{ECHO_V4, ECHO_V6};
use super::sender::Sender;
use super::stop::{MOST_HOPS, Place, Stop};
use super::trace_types::{Outcome, Packet, Reply, ReplyPass, ReplyStep, Step, Trace};
use super::trace_walk::Walker;

/// The way back of the reply to a delivered packet; `None` where it was not delivered.
pub(super) fn reply(
    network: &Network<'_>,
    plan: &Plan,
    sender: Sender,
    trace: &Trace,
) -> Option<Reply> {
    let Outcome::Delivered(place) = trace.outcome else {
        return None;
    };
    let Some(packet) = answer(&trace.packet) else {
        return Some(Reply::NotExpected);
    };
    let host = trace.host.or(sender.host(plan));
    let home = match host {
        Some(host) => plan
            .device(host)
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect(),
        None => sender.segments(plan),
    };
    let sent = trace
        .steps
        .first()
        .map_or(trace.packet, |step| step.arrived);
    let back = Back {
        network,
        plan,
        forward: &trace.steps,
        home,
        hostile: sender.hostile(),
        host,
        wanted: answer(&sent).unwrap_or(packet),
        explored: RefCell::new(Explored::new(network.open_pieces)),
    };
    let mut way = Way {
        packet,
        undone: vec![false; trace.steps.len()],
        arrivals: Vec::new(),
        steps: Vec::new(),
    };
    let end = match place {
        Place::Router(router) => {
            let device = plan.router_index(router);
            back.undo(&mut way, device);
            match plan
                .device(device)
                .own
                .contains(Family::value(way.packet.destination))
            {
                // A reply to an address of its own stays where it is.
                true => way.lost(),
                false => back.route(way, device, Entry::Starts),
            }
        }
        Place::Segment(segment) => {
            let destination = Family::value(way.packet.destination);
            let send_point = SendPoint::Segment(segment);
            let here = plan.segment(segment);
            let hosts = plan.answerers(segment, Family::value(way.packet.source));
            let by_hosts: Vec<End> = hosts
                .map(|host| back.route(way.clone(), host, Entry::Starts))
                .collect();
            if !by_hosts.is_empty() {
                best(by_hosts).unwrap_or_else(|| way.lost())
            } else if here.unrouted.contains(destination) {
                way.lost()
            } else if here.on_link.contains(destination) {
                let next = from_plain(plan, segment, &way.packet);
                back.handed_out(way, send_point, next)
            } else {
                back.follow(way, any_router(plan, send_point))
            }
        }
    };
    Some(match end {
        End {
            came: true,
            half_open: Some(device),
            steps,
        } => Reply::HalfOpen(steps, device),
        End {
            came: true, steps, ..
        } => Reply::Back(steps),
        End { steps, .. } => Reply::Lost(steps),
    })
}

/// The reply that a receiver sends; `None` where the message expects none.
fn answer(packet: &Packet) -> Option<Packet> {
    let turned = Packet {
        source: packet.destination,
        destination: packet.source,
        protocol: packet.protocol,
        source_port: packet.destination_port,
        destination_port: packet.source_port,
    };
    let echo = match packet.protocol {
        ICMP => ECHO_V4,
        ICMPV6 => ECHO_V6,
        _ => return Some(turned),
    };
    (packet.destination_port >> 8 == echo.0 >> 8).then_some(Packet {
        source_port: 0,
        destination_port: echo.1,
        ..turned
    })
}

/// A reply under way.
#[derive(Clone)]
struct Way {
    packet: Packet,
    /// Which steps of the packet's walk have been undone.
    undone: Vec<bool>,
    /// Interfaces that it came in by so far, each with the reply as it arrived.
    arrivals: Vec<(DeviceIndex, usize, Packet)>,
    steps: Vec<ReplyStep>,
}

impl Way {
    /// It ends here, lost.
    fn lost(self) -> End {
        End {
            came: false,
            half_open: None,
            steps: self.steps,
        }
    }
}

/// How a reply ends.
#[derive(Clone)]
struct End {
    /// Whether it is home.
    came: bool,
    /// A stateful gateway that the packet crossed and the reply of a TCP connection did not.
    half_open: Option<DeviceIndex>,
    steps: Vec<ReplyStep>,
}

impl End {
    /// Whether the sender is answered.
    fn answers(&self) -> bool {
        self.came && self.half_open.is_none()
    }
}

/// How a reply comes into a device.
#[derive(Clone, Copy)]
enum Entry {
    /// It starts there.
    Starts,
    /// By this interface, let in by state, or where there are no rules.
    Passes(usize),
    /// By this interface, to be held against the rules.
    Asks(usize),
}

impl Entry {
    fn ingress(self) -> Option<usize> {
        match self {
            Self::Starts => None,
            Self::Passes(ingress) | Self::Asks(ingress) => Some(ingress),
        }
    }
}

/// All that decides how a reply goes on from an interface: the reply there, which steps are undone, and where it was.
type ReplyVisit = (
    (DeviceIndex, usize, Packet),
    Vec<bool>,
    Vec<(DeviceIndex, usize, Packet)>,
);

struct Back<'a> {
    network: &'a Network<'a>,
    plan: &'a Plan,
    forward: &'a [Step],
    home: Vec<SegmentId>,
    /// The host that sent, where the sender is one.
    host: Option<DeviceIndex>,
    /// Where a hostile sender is.
    hostile: Option<Origin>,
    /// The reply as the sender expects it, all translations undone.
    wanted: Packet,
    explored: RefCell<Explored<ReplyVisit>>,
}

impl Back<'_> {
    /// Follows a reply; of several ways the first that answers, else the first that comes home, else the first. What is
    /// possible only does not count.
    fn follow(&self, way: Way, next: Next) -> End {
        let ends = next
            .counting()
            .into_iter()
            .flat_map(|next| self.follow_one(&way, next));
        best(ends.collect()).unwrap_or_else(|| way.lost())
    }

    fn follow_one(&self, way: &Way, next: Next) -> Vec<End> {
        match next {
            Next::Done(Outcome::Delivered(Place::Segment(segment))) => {
                let home = self.home.contains(&segment);
                vec![self.end(way.clone(), home)]
            }
            Next::Done(_) | Next::Ways(_) => vec![way.clone().lost()],
            Next::Arrive(at) => at
                .iter()
                .map(|&(device, interface)| self.arrive(way.clone(), device, interface))
                .collect(),
        }
    }

    /// The end of a reply that is at home, or not.
    fn end(&self, way: Way, home: bool) -> End {
        let came = home && self.undone(&way);
        End {
            came,
            half_open: self.unseen(&way).filter(|_| came),
            steps: way.steps,
        }
    }

    /// A stateful gateway that the packet crossed and the reply of a TCP connection did not.
    fn unseen(&self, way: &Way) -> Option<DeviceIndex> {
        if way.packet.protocol != TCP {
            return None;
        }
        let stateful = |device: DeviceIndex| {
            let filter = self.plan.device(device).filter.as_ref();
            filter.is_some_and(|filter| filter.stateful)
        };
        // A gateway that sees the packet twice with the same headers keeps one state for it, else two.
        let one_state = |at: usize, other: usize| {
            let between = &self.forward[at.min(other)..at.max(other)];
            self.forward[at].device == self.forward[other].device && !between.iter().any(rewrites)
        };
        let passed = |at: usize| {
            let mut steps = way.undone.iter().enumerate();
            steps.any(|(other, undone)| *undone && one_state(at, other))
        };
        let mut unseen = self
            .forward
            .iter()
            .enumerate()
            .filter(|(_, step)| stateful(step.device))
            .filter(|(at, _)| !passed(*at));
        unseen.next().map(|(_, step)| step.device)
    }

    fn arrive(&self, mut way: Way, device: DeviceIndex, ingress: usize) -> End {
        let here = self.plan.device(device);
        let arrival = (device, ingress, way.packet);
        if MOST_HOPS <= way.arrivals.len() || way.arrivals.contains(&arrival) {
            return stop(way, device, Some(ingress), ReplyPass::Loop);
        }
        let key = || {
            let mut arrivals = way.arrivals.clone();
            arrivals.sort_by_key(|(device, ingress, _)| (*device, *ingress));
            // One alone has no order.
            (1 < arrivals.len()).then(|| (arrival, way.undone.clone(), arrivals))
        };
        let visit = self.explored.borrow_mut().visit(key);
        if visit != Visit::New {
            // Where it is known, what becomes of it is listed for the other way.
            let pass = match visit {
                Visit::TooMany => ReplyPass::TooManyWays,
                Visit::Known | Visit::New => ReplyPass::Loop,
            };
            return stop(way, device, Some(ingress), pass);
        }
        way.arrivals.push(arrival);
        let source = Family::value(way.packet.source);
        if here.interfaces[ingress]
            .accepts
            .as_ref()
            .is_some_and(|accepts| !accepts.may_take(source))
        {
            return stop(way, device, Some(ingress), ReplyPass::SourceCheck);
        }
        let mut entry = Entry::Passes(ingress);
        if let Some(filter) = &here.filter {
            let known = filter.stateful && self.undo(&mut way, device);
            if !known {
                entry = Entry::Asks(ingress);
            }
            if filter.stateful && !known && !begins(&way.packet) {
                return stop(way, device, Some(ingress), ReplyPass::NoState);
            }
        }
        if Some(device) == self.host && here.own.contains(Family::value(way.packet.destination)) {
            return self.end(way, true);
        }
        if !here.forwards || here.own.contains(Family::value(way.packet.destination)) {
            return stop(way, device, Some(ingress), ReplyPass::NotForwarding);
        }
        self.route(way, device, entry)
    }

    /// By each route that counts.
    fn route(&self, way: Way, device: DeviceIndex, entry: Entry) -> End {
        let here = self.plan.device(device);
        let destination = Family::value(way.packet.destination);
        let counting = here
            .routes
            .ways(destination)
            .into_iter()
            .filter(|(_, doubt)| {
                doubt.is_none_or(|doubt| doubt.certainty() != Certainty::Possible)
            });
        let ends =
            counting.map(|(route, _)| self.route_by(way.clone(), device, entry, route.next_hop));
        best(ends.collect())
            .unwrap_or_else(|| stop(way, device, entry.ingress(), ReplyPass::NoRoute))
    }

    fn route_by(&self, mut way: Way, device: DeviceIndex, entry: Entry, next_hop: NextHop) -> End {
        let here = self.plan.device(device);
        let ingress = entry.ingress();
        let Some(egress) = next_hop.interface() else {
            return stop(way, device, ingress, ReplyPass::NoRoute);
        };
        let pass = match (&here.filter, entry) {
            (Some(filter), Entry::Asks(ingress)) => {
                let crossing = Crossing::new(self.network, filter, (ingress, egress), &way.packet);
                let decision = crossing.decide(here.id);
                if decision.action != Action::Permit {
                    return stop(way, device, Some(ingress), ReplyPass::Denied(decision.rule));
                }
                if filter.stateful && self.translates(filter, (ingress, egress), &way.packet) {
                    return stop(way, device, Some(ingress), ReplyPass::Translated);
                }
                if filter.stateful {
                    ReplyPass::NewFlow(decision.rule)
                } else {
                    ReplyPass::Rules(decision.rule)
                }
            }
            (Some(filter), _) if filter.stateful => ReplyPass::State,
            _ => ReplyPass::Unfiltered,
        };
        let packet = way.packet;
        way.steps.push(ReplyStep {
            device,
            ingress,
            egress: Some(egress),
            pass,
            packet,
        });
        let next = depart(self.plan, (device, egress), next_hop, &packet);
        self.handed_out(way, SendPoint::WiredInterface(device, egress), next)
    }

    /// Whether a gateway that takes a reply for a new flow would translate it.
    fn translates(
        &self,
        filter: &FilterPlan,
        (ingress, egress): (usize, usize),
        packet: &Packet,
    ) -> bool {
        let walker = Walker::new(self.network, self.plan);
        // What writes what is there already changes nothing.
        let other = |line: &TranslationPlan, there: IpAddr| match line.written {
            Written::Address(address) => address != Family::value(there),
            Written::Interface => true,
            Written::Unchanged => false,
        };
        let arriving = walker.first_match(&filter.arrivals, ingress, packet);
        let leaving = walker.first_match(&filter.departures, egress, packet);
        arriving.is_some_and(|line| {
            let port = line
                .port
                .is_some_and(|port| port != packet.destination_port);
            port || other(line, packet.destination)
        }) || leaving.is_some_and(|line| other(line, packet.source))
    }

    /// Follows a reply that was put on the wire at a send point; a hostile sender may hear it there.
    fn handed_out(&self, way: Way, send_point: SendPoint, next: Next) -> End {
        let ends = next
            .counting()
            .into_iter()
            .map(|next| self.handed_out_one(&way, send_point, next));
        best(ends.collect()).unwrap_or_else(|| way.lost())
    }

    fn handed_out_one(&self, way: &Way, send_point: SendPoint, next: Next) -> End {
        // Nobody takes it but who listens: that nobody has the address, or has it and sent it, makes no difference.
        let off = [Stop::OffWire, Stop::OwnSource].map(Outcome::Stopped);
        let alone = match next {
            Next::Done(outcome) => {
                matches!(outcome, Outcome::Delivered(_)) || off.contains(&outcome)
            }
            Next::Arrive(..) | Next::Ways(..) => false,
        };
        if matches!(next, Next::Done(Outcome::Stopped(Stop::OwnSource))) {
            // A plain device that sends from a host's address is another device than that host.
            let there = self.plan.wire(send_point).receivers.first();
            if there.is_some_and(|(segment, _)| self.home.contains(segment)) {
                return self.end(way.clone(), true);
            }
        }
        let end = best(self.follow_one(way, next)).unwrap_or_else(|| way.clone().lost());
        if !end.came && alone && overheard(self.network, self.plan, send_point, self.hostile) {
            return self.end(way.clone(), true);
        }
        end
    }

    /// Whether all translations are undone and the reply is what the sender expects.
    fn undone(&self, way: &Way) -> bool {
        let mut steps = self.forward.iter().zip(&way.undone);
        steps.all(|(step, undone)| *undone || !rewrites(step)) && way.packet == self.wanted
    }

    /// Undoes the translations of the crossing that the reply belongs to; false where the device keeps no
    /// state for it: whatever later devices rewrote must be undone by now, and nothing that this or an
    /// earlier device rewrote.
    fn undo(&self, way: &mut Way, device: DeviceIndex) -> bool {
        let belongs = |at: usize| {
            let open = |step: usize| rewrites(&self.forward[step]) && !way.undone[step];
            let done = |step: usize| rewrites(&self.forward[step]) && way.undone[step];
            !(at + 1..self.forward.len()).any(open) && !(0..=at).any(done)
        };
        let mut crossings = (0..self.forward.len())
            .rev()
            .filter(|&at| self.forward[at].device == device);
        let Some(at) = crossings.find(|&at| belongs(at)) else {
            return false;
        };
        let step = &self.forward[at];
        way.undone[at] = true;
        if step.arrived.source != step.left.source {
            way.packet.destination = step.arrived.source;
        }
        if step.arrived.destination != step.left.destination
            || step.arrived.destination_port != step.left.destination_port
        {
            way.packet.source = step.arrived.destination;
            if step.arrived.protocol.has_ports() {
                way.packet.source_port = step.arrived.destination_port;
            }
        }
        true
    }
}

/// Of several ends the first that answers, else the first that is home, else the first.
fn best(ends: Vec<End>) -> Option<End> {
    let answering = ends.iter().position(End::answers);
    let best = answering.or_else(|| ends.iter().position(|end| end.came));
    ends.into_iter().nth(best.unwrap_or(0))
}

/// Whether a step wrote an address or port.
fn rewrites(step: &Step) -> bool {
    step.arrived != step.left
}

fn stop(mut way: Way, device: DeviceIndex, ingress: Option<usize>, pass: ReplyPass) -> End {
    let packet = way.packet;
    way.steps.push(ReplyStep {
        device,
        ingress,
        egress: None,
        pass,
        packet,
    });
    way.lost()
}

/// Whether a reply may begin a flow at a stateful gateway: neither TCP's second packet nor an echo reply does.
fn begins(reply: &Packet) -> bool {
    ![TCP, ICMP, ICMPV6].contains(&reply.protocol)
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_model::Protocol;

    fn packet(addresses: [&str; 2], protocol: Protocol, ports: [u16; 2]) -> Packet {
        let [source, destination] = addresses.map(|text| text.parse().expect("an address"));
        Packet {
            source,
            destination,
            protocol,
            source_port: ports[0],
            destination_port: ports[1],
        }
    }

    /// RFC 792 and RFC 4443: an echo request is answered by an echo reply, no other message is answered.
    #[test]
    fn a_receiver_turns_ports_round_and_answers_an_echo_alone() {
        let (there, back) = (["192.0.2.1", "198.51.100.9"], ["198.51.100.9", "192.0.2.1"]);
        let asked = packet(there, TCP, [50_000, 443]);
        assert_eq!(answer(&asked), Some(packet(back, TCP, [443, 50_000])));
        let echo = packet(there, ICMP, [0, 8 << 8]);
        assert_eq!(answer(&echo), Some(packet(back, ICMP, [0, 0])));
        assert_eq!(answer(&packet(there, ICMP, [0, 3 << 8])), None);
        let (there, back) = (
            ["2001:db8::1", "2001:db8::2"],
            ["2001:db8::2", "2001:db8::1"],
        );
        let echo = packet(there, ICMPV6, [0, 128 << 8]);
        assert_eq!(answer(&echo), Some(packet(back, ICMPV6, [0, 129 << 8])));
        assert_eq!(answer(&packet(there, ICMPV6, [0, 135 << 8])), None);
    }
}
