//! The way back of the reply to one packet.

use crate::model::{Action, Family, ICMP, ICMPV6, SegmentId};

use super::crossing::Crossing;
use super::network::{DeviceIndex, Network, Plan};
use super::reach::{Place, Sender, Stop};
use super::seeds::{ECHO_V4, ECHO_V6};
use super::trace::{Outcome, Packet, Step, Trace};
use super::trace_walk::{Next, depart, on_wire};
use super::wires::{Stand, overheard};

/// What let a reply pass at a device, or what stopped it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum ReplyPass {
    /// A router without rules.
    Unfiltered,
    /// The state that the packet left at a gateway; translations are undone.
    State,
    /// A stateless gateway's rules: the deciding rule (`None`: the default).
    Rules(Option<usize>),
    /// Stopped: the gateway is stateful and never saw the packet.
    NoState,
    /// Stopped by the source check.
    SourceCheck,
    /// Stopped by a stateless gateway's rule (`None`: the default).
    Denied(Option<usize>),
    /// Stopped: no route, or one that leads nowhere.
    NoRoute,
    /// Stopped: the device does not forward, or the reply is for itself.
    NotForwarding,
    /// Stopped: it has been here before.
    Loop,
}

/// The reply at one device.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ReplyStep {
    /// The device.
    pub device: DeviceIndex,
    /// Interface of arrival; `None`: the reply starts here.
    pub ingress: Option<usize>,
    /// Interface of departure.
    pub egress: Option<usize>,
    /// What let it pass or stopped it.
    pub pass: ReplyPass,
    /// The reply as it left.
    pub packet: Packet,
}

/// The way back.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Reply {
    /// The message expects none.
    NotExpected,
    /// It comes back.
    Back(Vec<ReplyStep>),
    /// It does not; the last step says why. No step: nobody takes it.
    Lost(Vec<ReplyStep>),
}

impl Reply {
    /// Whether the exchange works both ways as far as this packet needs it.
    pub fn two_way(&self) -> bool {
        !matches!(self, Self::Lost(_))
    }
}

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
    let home = sender.segments(plan);
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
        wanted: answer(&sent).unwrap_or(packet),
    };
    let mut way = Way {
        packet,
        undone: vec![false; trace.steps.len()],
        steps: Vec::new(),
    };
    let (came, steps) = match place {
        Place::Router(router) => {
            let device = plan.router_index(router);
            back.undo(&mut way, device);
            match plan
                .device(device)
                .own
                .contains(Family::value(way.packet.destination))
            {
                // A reply to an address of its own stays where it is.
                true => (false, Vec::new()),
                false => back.route(way, device, None),
            }
        }
        Place::Segment(segment) => {
            let destination = Family::value(way.packet.destination);
            let stand = Stand::Segment(segment);
            match plan.segment(segment).on_link.contains(destination) {
                true => back.handed_out(way, stand, on_wire(plan, stand, destination)),
                false => back.follow(way, Next::AnyRouter(stand)),
            }
        }
    };
    Some(if came {
        Reply::Back(steps)
    } else {
        Reply::Lost(steps)
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
    steps: Vec<ReplyStep>,
}

type End = (bool, Vec<ReplyStep>);

struct Back<'a> {
    network: &'a Network<'a>,
    plan: &'a Plan,
    forward: &'a [Step],
    home: Vec<SegmentId>,
    /// The segment of a hostile sender.
    hostile: Option<SegmentId>,
    /// The reply as the sender expects it, all translations undone.
    wanted: Packet,
}

impl Back<'_> {
    /// Follows a reply; of several ways the first that comes home, else the first.
    fn follow(&self, way: Way, next: Next) -> End {
        match next {
            Next::Arrive(device, interface) => self.arrive(way, device, interface),
            Next::Done(Outcome::Delivered(Place::Segment(segment))) => self.end(way, segment),
            Next::Done(_) => (false, way.steps),
            Next::AnyRouter(stand) => {
                let first_hops = self.plan.wire(stand).first_hops.iter();
                let mut ways = first_hops
                    .map(|&(device, interface)| self.arrive(way.clone(), device, interface));
                let first = ways.next().unwrap_or((false, way.steps.clone()));
                let mut all = std::iter::once(first.clone()).chain(ways);
                all.find(|(came, _)| *came).unwrap_or(first)
            }
        }
    }

    fn end(&self, way: Way, segment: SegmentId) -> End {
        let came = self.home.contains(&segment) && self.undone(&way);
        (came, way.steps)
    }

    fn arrive(&self, mut way: Way, device: DeviceIndex, ingress: usize) -> End {
        let here = self.plan.device(device);
        let visited = |step: &ReplyStep| step.device == device && step.ingress == Some(ingress);
        if way.steps.iter().any(visited) {
            return stop(way, device, Some(ingress), ReplyPass::Loop);
        }
        let source = Family::value(way.packet.source);
        if here.interfaces[ingress]
            .accepts
            .as_ref()
            .is_some_and(|set| !set.contains(source))
        {
            return stop(way, device, Some(ingress), ReplyPass::SourceCheck);
        }
        let stateful = here.filter.as_ref().is_some_and(|filter| filter.stateful);
        if stateful && !self.undo(&mut way, device) {
            return stop(way, device, Some(ingress), ReplyPass::NoState);
        }
        if !here.forwards || here.own.contains(Family::value(way.packet.destination)) {
            return stop(way, device, Some(ingress), ReplyPass::NotForwarding);
        }
        self.route(way, device, Some(ingress))
    }

    fn route(&self, mut way: Way, device: DeviceIndex, ingress: Option<usize>) -> End {
        let here = self.plan.device(device);
        let destination = Family::value(way.packet.destination);
        let entry = here.routes.lookup(destination).map(|entry| entry.next_hop);
        let Some((next_hop, egress)) = entry.and_then(|hop| Some((hop, hop.interface()?))) else {
            return stop(way, device, ingress, ReplyPass::NoRoute);
        };
        let pass = match (&here.filter, ingress) {
            (Some(filter), _) if filter.stateful => ReplyPass::State,
            (Some(filter), Some(ingress)) => {
                let crossing = Crossing::new(self.network, filter, (ingress, egress), &way.packet);
                let decision = crossing.decide(here.id);
                if decision.action != Action::Permit {
                    return stop(way, device, Some(ingress), ReplyPass::Denied(decision.rule));
                }
                ReplyPass::Rules(decision.rule)
            }
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
        let next = depart(self.plan, device, egress, next_hop, destination);
        self.handed_out(way, Stand::Foot(device, egress), next)
    }

    /// Follows a reply that was put on the wire at a stand; a hostile sender may hear it there.
    fn handed_out(&self, way: Way, stand: Stand, next: Next) -> End {
        let off = Outcome::Stopped(Stop::OffWire);
        let alone = match next {
            Next::Done(outcome) => matches!(outcome, Outcome::Delivered(_)) || outcome == off,
            Next::Arrive(..) | Next::AnyRouter(_) => false,
        };
        let (came, steps) = self.follow(way.clone(), next);
        if !came && alone && overheard(self.network, self.plan, stand, self.hostile) {
            return (self.undone(&way), steps);
        }
        (came, steps)
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
        let crossings = (0..self.forward.len()).rev();
        let mut crossings = crossings.filter(|&at| self.forward[at].device == device);
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
    (false, way.steps)
}
