//! What the model says, in the words of what the kernel saw, and where they differ.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::net::IpAddr;

use boundwalk::forwarding::layer2::{Frame, InterfaceId, InterfaceOf, PortId, Start, flood};
use boundwalk::forwarding::{
    DeviceId, Network, NextHop, Outcome, Reply, ReplyPass, Sender, Trace, trace,
};
use boundwalk::model::{Action, Family, HostInterface, ICMPV6, UDP};

use crate::devices::default_gateways;
use crate::job::{FIRST, Job, Probe, SECOND};
use crate::seen::{Seen, Sight};
use crate::topology::{Topology, host_space, owners, router_space};

/// What is compared of a probe with real neighbour discovery.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Fate {
    passed: BTreeSet<String>,
    taken: BTreeSet<String>,
    decided: BTreeSet<(String, String)>,
    answered: bool,
}

/// How many comparisons were made, for a lab that proves nothing must not pass.
#[derive(Default, Debug)]
pub struct Tally {
    pub probes: usize,
    pub delivered: usize,
    pub answered: usize,
    pub one_way: usize,
    pub denied: usize,
    /// Probes of the first pass that are not compared, see `crossed`.
    pub uncertain: usize,
    pub frames: usize,
    pub frames_taken: usize,
    /// Frames that came out at free ports, and that were sent there and taken.
    pub free_ports: usize,
    pub messages: usize,
    pub messages_taken: usize,
    pub messages_answered: usize,
}

/// All differences of one topology, one a line.
pub fn differences(
    topology: &Topology<'_>,
    network: &Network<'_>,
    job: &Job,
    sight: &Sight,
    tally: &mut Tally,
) -> Vec<String> {
    let nothing = Seen::default();
    let mut lines = Vec::new();
    for probe in &job.probes {
        let seen = sight.probes.get(&probe.number).unwrap_or(&nothing);
        lines.extend(first_pass(topology, network, probe, seen, tally));
        let again = probe.number - FIRST + SECOND;
        let seen = sight.probes.get(&again).unwrap_or(&nothing);
        lines.extend(second_pass(topology, network, probe, seen, tally));
    }
    lines.extend(frames(topology, job, sight, tally));
    for message in &job.messages {
        lines.extend(of_message(topology, network, message, sight, tally));
    }
    lines
}

/// Messages of ICMP: by somebody's address they come to who has it, and an echo request is answered (RFC 792, RFC 4443
/// section 4.1).
fn of_message(
    topology: &Topology<'_>,
    network: &Network<'_>,
    message: &Probe,
    sight: &Sight,
    tally: &mut Tally,
) -> Option<String> {
    let none = BTreeSet::new();
    let seen = sight.messages.get(&message.number).unwrap_or(&none);
    let home = host_space(message.from);
    let asks = [8 << 8, 128 << 8].contains(&message.packet.destination_port);
    let mut taken = seen.clone();
    let answered = taken.remove(&home) && asks;
    tally.messages += 1;
    tally.messages_taken += usize::from(!taken.is_empty());
    tally.messages_answered += usize::from(answered);
    let traces = trace(network, Sender::Host(message.from), &message.packet);
    let fates = traces.iter().map(|trace| {
        let delivered = matches!(trace.outcome, Outcome::Delivered(_));
        let owner = delivered.then(|| owner_of(topology, trace.packet.destination));
        let two_way = trace.reply.as_ref().is_some_and(Reply::two_way);
        (owner.flatten().into_iter().collect(), asks && two_way)
    });
    let fates: Vec<(BTreeSet<String>, bool)> = fates.collect();
    // This kernel answers an ICMPv6 echo request by the interface that it came in by, whatever its routes say.
    let by_ingress = answered
        && message.packet.protocol == ICMPV6
        && traces
            .iter()
            .any(|trace| on_one_wire(topology, trace.packet.destination));
    let explained = if fates.is_empty() {
        taken.is_empty() && !answered
    } else {
        fates.contains(&(taken.clone(), answered))
            || by_ingress && fates.contains(&(taken.clone(), false))
    };
    if explained {
        return None;
    }
    let owners = fates.iter().flat_map(|(owners, _)| owners.clone());
    let met = Seen {
        taken: owners.chain(taken.clone()).collect(),
        ..Seen::default()
    };
    if crossed(topology, network, message, &traces, &met) {
        tally.uncertain += 1;
        return None;
    }
    Some(format!(
        "message {}\n  kernel {taken:?} answered {answered}, model {fates:?} {:?}",
        named(topology, message),
        traces.iter().map(|trace| &trace.reply).collect::<Vec<_>>()
    ))
}

/// Real neighbour discovery: the kernel's outcome is that of a way that the model knows.
fn first_pass(
    topology: &Topology<'_>,
    network: &Network<'_>,
    probe: &Probe,
    seen: &Seen,
    tally: &mut Tally,
) -> Option<String> {
    let kernel = Fate {
        passed: seen.passed.clone(),
        taken: seen.taken.clone(),
        decided: seen.decided.clone(),
        answered: seen.answered.contains(&host_space(probe.from)),
    };
    tally.probes += 1;
    tally.delivered += usize::from(!kernel.taken.is_empty());
    tally.answered += usize::from(kernel.answered);
    tally.denied += usize::from(!kernel.decided.is_empty() && kernel.passed.is_empty());
    let traces = trace(network, Sender::Host(probe.from), &probe.packet);
    let fates: Vec<Fate> = traces
        .iter()
        .map(|trace| fate(topology, network, probe, trace, &kernel))
        .collect();
    if fates.contains(&kernel) {
        return None;
    }
    if crossed(topology, network, probe, &traces, seen) {
        tally.uncertain += 1;
        return None;
    }
    let mut line = format!(
        "probe {}\n  kernel {kernel:?} {:?}",
        named(topology, probe),
        seen.arrived
    );
    for (fate, trace) in fates.iter().zip(&traces) {
        write!(
            line,
            "\n  model  {fate:?} {:?} {:?}",
            trace.outcome, trace.reply
        )
        .expect("a string");
    }
    Some(line)
}

/// Whether of two devices on the way, or next to it, one hears the other by an interface that it does not reach, and
/// reaches another interface of it. Then it depends on who asked first whether the kernel knows where to send: a
/// request by the one interface makes it send there.
pub fn crossed(
    topology: &Topology<'_>,
    network: &Network<'_>,
    probe: &Probe,
    traces: &[Trace],
    seen: &Seen,
) -> bool {
    let plan = network.plan(Family::of(probe.packet.source));
    let mut spaces = seen
        .passed
        .union(&seen.taken)
        .cloned()
        .collect::<BTreeSet<String>>();
    spaces.insert(host_space(probe.from));
    for step in traces.iter().flat_map(|trace| &trace.steps) {
        spaces.insert(space_of(plan.device(step.device).id));
    }
    spaces.extend(first_hop(topology, network, probe).map(|(_, space, _)| space));
    let fabric = &topology.fabric;
    let reached = |from: InterfaceId| {
        flood(fabric, &[Start::WiredInterface(from)])
            .interfaces()
            .collect::<BTreeSet<InterfaceId>>()
    };
    let space = |interface: InterfaceId| &topology.plug_of(interface).space;
    let interfaces: Vec<InterfaceId> = fabric
        .interface_ids()
        .filter(|&interface| spaces.contains(space(interface)))
        .collect();
    let floods: Vec<BTreeSet<InterfaceId>> = interfaces
        .iter()
        .map(|&interface| reached(interface))
        .collect();
    let hears = |one: usize, other: usize| floods[other].contains(&interfaces[one]);
    (0..interfaces.len()).any(|here| {
        spaces
            .iter()
            .filter(|there| *there != space(interfaces[here]))
            .any(|there| {
                let others =
                    || (0..interfaces.len()).filter(|&other| space(interfaces[other]) == there);
                let out = others().any(|other| hears(other, here));
                let only_back = |other| hears(here, other) && !hears(other, here);
                out && others().any(only_back)
            })
    })
}

fn space_of(id: DeviceId) -> String {
    match id {
        DeviceId::Router(router) => router_space(router),
        DeviceId::Host(host) => host_space(host),
    }
}

/// A trace in the kernel's words.
fn fate(
    topology: &Topology<'_>,
    network: &Network<'_>,
    probe: &Probe,
    trace: &Trace,
    kernel: &Fate,
) -> Fate {
    let plan = network.plan(Family::of(probe.packet.source));
    let mut fate = Fate {
        passed: BTreeSet::new(),
        taken: BTreeSet::new(),
        decided: BTreeSet::new(),
        answered: false,
    };
    for step in trace.steps.iter().filter(|step| step.ingress.is_some()) {
        let here = space_of(plan.device(step.device).id);
        if let Some(decision) = &step.decision {
            let name = decision
                .rule
                .map_or("default".to_owned(), |rule| format!("rule{rule}"));
            fate.decided.insert((here.clone(), name));
        }
        let permitted = step
            .decision
            .as_ref()
            .is_none_or(|decision| decision.action == Action::Permit);
        let leaves = step
            .route
            .is_some_and(|route| route.next_hop.interface().is_some());
        if leaves && permitted {
            fate.passed.insert(here);
        }
    }
    if let Outcome::Delivered(_) = trace.outcome {
        fate.taken
            .extend(owner_of(topology, trace.packet.destination));
    }
    fate.answered = match &trace.reply {
        Some(Reply::Lost(steps)) if probe.packet.protocol == UDP && stateless_loss(steps) => {
            kernel.answered
        }
        // A lone question is sent here: its first answer comes back, what follows is stopped.
        Some(Reply::HalfOpen(..)) => true,
        Some(reply) => reply.two_way(),
        None => false,
    };
    fate
}

/// Whether the host that has an address has two interfaces on that segment.
fn on_one_wire(topology: &Topology<'_>, address: IpAddr) -> bool {
    topology.site.hosts.iter().any(|host| {
        let has = |interface: &&HostInterface| {
            let mut own = interface.addresses.iter();
            own.any(|own| own.value.address() == address)
        };
        let own = host.interfaces.iter().find(has);
        own.is_some_and(|own| {
            let interfaces = host.interfaces.iter();
            1 < interfaces
                .filter(|other| other.segment == own.segment)
                .count()
        })
    })
}

/// The namespace of the device that has an address.
fn owner_of(topology: &Topology<'_>, address: IpAddr) -> Option<String> {
    let owners = owners(topology.site, &topology.fabric);
    let mut owners = owners.into_iter();
    let owner = owners.find(|owner| {
        let mut addresses = owner.addresses.iter();
        addresses.any(|(_, own)| own.address() == address)
    });
    owner.map(|owner| owner.space)
}

/// An answer that a stateful gateway never saw the question of: the kernel takes one by UDP for a new flow
/// and asks its rules, the model drops it. Answers by TCP show what is meant.
fn stateless_loss(steps: &[boundwalk::forwarding::ReplyStep]) -> bool {
    steps
        .last()
        .is_some_and(|step| step.pass == ReplyPass::NoState)
}

/// Permanent neighbours: the first hop takes what one direction of layer 2 brings it, and by which
/// interfaces.
fn second_pass(
    topology: &Topology<'_>,
    network: &Network<'_>,
    probe: &Probe,
    seen: &Seen,
    tally: &mut Tally,
) -> Option<String> {
    let (from, target, on_link) = first_hop(topology, network, probe)?;
    let flood = flood(&topology.fabric, &[Start::WiredInterface(from)]);
    let space_of = |interface: InterfaceId| topology.plug_of(interface).space.clone();
    let expected: BTreeSet<String> = flood
        .interfaces()
        .filter(|&interface| space_of(interface) == target)
        .map(|interface| topology.plug_of(interface).device.clone())
        .collect();
    // What a plain host takes it does not record on arrival.
    let there: BTreeSet<String> = seen
        .arrived
        .union(&seen.reached)
        .filter(|(space, _)| *space == target)
        .map(|(_, device)| device.clone())
        .collect();
    let home = flood_back(topology, from, &target);
    tally.one_way += usize::from(!there.is_empty() && !home);
    // Behind the first of several routers a packet may come by again.
    let fits = if on_link || topology.site.routers.len() < 2 {
        expected == there
    } else {
        expected.is_subset(&there)
    };
    if fits {
        return None;
    }
    Some(format!(
        "first hop {}\n  {target} by {there:?}, model {expected:?}",
        named(topology, probe)
    ))
}

/// Whether anything comes back from a device to an interface.
fn flood_back(topology: &Topology<'_>, to: InterfaceId, from: &str) -> bool {
    topology.fabric.interface_ids().any(|interface| {
        topology.plug_of(interface).space == from
            && flood(&topology.fabric, &[Start::WiredInterface(interface)]).reaches(to)
    })
}

/// Interface of departure, namespace of the first hop, and whether that is the target.
pub fn first_hop(
    topology: &Topology<'_>,
    network: &Network<'_>,
    probe: &Probe,
) -> Option<(InterfaceId, String, bool)> {
    let plan = network.plan(Family::of(probe.packet.source));
    let device = plan.device(plan.host_index(probe.from));
    let destination = probe.packet.destination;
    let route = device.routes.lookup(Family::value(destination))?;
    let (interface, address) = match route.next_hop {
        NextHop::OnLink { interface } => (interface, destination),
        NextHop::Address { interface, address } => (interface, plan.family.address(address)),
        NextHop::AnyRouter { .. } => {
            let mut defaults = default_gateways(topology.site, topology.site.host(probe.from));
            defaults.find(|(_, address)| address.is_ipv4() == destination.is_ipv4())?
        }
        NextHop::Discard => return None,
    };
    let space = owner_of(topology, address)?;
    let interface = topology.interface(InterfaceOf::Host(probe.from, interface));
    Some((interface, space, address == destination))
}

/// Frames by hand: exactly the predicted interfaces take them.
fn frames(topology: &Topology<'_>, job: &Job, sight: &Sight, tally: &mut Tally) -> Vec<String> {
    let none = BTreeSet::new();
    let mut lines = Vec::new();
    for sent in &job.frames {
        let expected = takers(topology, sent.port, &sent.tags);
        let seen = sight.frames.get(&sent.number).unwrap_or(&none);
        tally.frames += 1;
        tally.frames_taken += usize::from(!seen.is_empty());
        let free = |space: &String| topology.spares.iter().any(|(_, plug)| plug.space == *space);
        let by_free = free(&sent.from.space) || seen.iter().any(|(space, _)| free(space));
        tally.free_ports += usize::from(by_free && !seen.is_empty());
        // The kernel skips an outer priority tag, the model takes it for the frame's own: one tag less does
        // the same.
        let skipped = match sent.tags[..] {
            [0, inner] => takers(topology, sent.port, &[inner]),
            _ => BTreeSet::new(),
        };
        let explained =
            |taker: &(String, String)| expected.contains(taker) || skipped.contains(taker);
        if !expected.is_subset(seen) || !seen.iter().all(explained) {
            lines.push(format!(
                "frame {:?} from {} {}: kernel {seen:?}, model {expected:?}",
                sent.tags, sent.from.space, sent.from.device
            ));
        }
    }
    lines
}

/// Interfaces that take a frame, and free ports where it comes out, by the model.
fn takers(topology: &Topology<'_>, port: PortId, tags: &[u16]) -> BTreeSet<(String, String)> {
    let start = Start::AttachPoint(port, Frame::with_tags(tags));
    let flood = flood(&topology.fabric, &[start]);
    let plugs = flood
        .interfaces()
        .map(|interface| topology.plug_of(interface));
    let out: Vec<PortId> = flood.taken.iter().map(|taken| taken.port).collect();
    let spares = topology
        .spares
        .iter()
        .filter(|(spare, _)| out.contains(spare));
    plugs
        .chain(spares.map(|(_, plug)| plug))
        .map(|plug| (plug.space.clone(), plug.device.clone()))
        .collect()
}

fn named(topology: &Topology<'_>, probe: &Probe) -> String {
    let packet = &probe.packet;
    let host = &topology.site.host(probe.from).name.value;
    let protocol = packet.protocol;
    format!(
        "{} of {host}: {} -> {} {protocol}/{}",
        probe.number, packet.source, packet.destination, packet.destination_port
    )
}
