//! What is to be expected of one packet that an honest device sends.

use std::net::IpAddr;

use boundwalk_forwarding::{
    DeviceId, Doubt, Network, Outcome, Packet, Place, Plan, Reply, ReplyPass, SendPoint, Sender,
    Stop, Trace, trace,
};
use boundwalk_model::{Action, Family, HostId, ICMP, ICMPV6, RouterId, SegmentId, TCP, UDP};

use super::super::deciders::{DecidedBy, deciders_of_trace};

/// What the sender and the receiver of a probe should observe.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Expect {
    /// It arrives and the answer comes back.
    Answered,
    /// It arrives; no answer comes back, or none is to be expected.
    Arrives,
    /// It does not arrive, and the sender is told nothing.
    Nothing,
    /// It does not arrive, and the gateway tells the sender.
    Rejected,
}

impl Expect {
    /// Its word in a plan.
    pub fn word(self) -> &'static str {
        match self {
            Self::Answered => "answered",
            Self::Arrives => "arrives",
            Self::Nothing => "nothing",
            Self::Rejected => "rejected",
        }
    }

    /// Whether it arrives.
    pub fn arrives(self) -> bool {
        matches!(self, Self::Answered | Self::Arrives)
    }
}

/// What the model says of a packet.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Prediction {
    /// Who sends: the described host that has the source, else a plain device of the segment.
    pub sender: Sender,
    /// The segment to stand on.
    pub send_point: SegmentId,
    /// What is to be expected.
    pub expect: Expect,
    /// Gateways that decide, in order, each with its rule (`None`: its default). Where devices on the segment may
    /// use several routers, those that decide whichever is used.
    pub deciders: Vec<DecidedBy>,
    /// Rules of gateways without memory that let the answer pass.
    pub reply_rules: Vec<(RouterId, usize)>,
    /// Why it stops, where it does.
    pub stop: Option<Stop>,
    /// Where it arrives.
    pub place: Option<Place>,
    /// The packet as it arrives.
    pub arrives_as: Option<Packet>,
    /// Addresses that plain devices there use as their default gateway; empty: there is none.
    pub first_hops: Vec<IpAddr>,
}

/// Why nothing can be said of a packet.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Unpredictable {
    /// Source and destination are of two families.
    MixedFamilies,
    /// The source is an address of no device on the segment named, or on any.
    SourceNowhere,
    /// The destination is the sender's own address.
    ItsOwn,
    /// The described host sends to that destination from another of its interfaces, or by no way.
    OtherInterface,
    /// Devices there may use several routers, and it depends on which.
    DependsOnRouter,
    /// A device on the way knows its next hop only if that one has asked for it.
    DependsOnRequest,
    /// An address is several devices', or several routes may be used, and it depends on which.
    DependsOnFault,
}

/// Walks a packet of an honest device. `from`: the segment that it stands on; without one, that of the source.
///
/// # Errors
/// See [`Unpredictable`].
pub fn predict(
    network: &Network<'_>,
    from: Option<SegmentId>,
    packet: &Packet,
) -> Result<Prediction, Unpredictable> {
    let family = Family::of(packet.source);
    if family != Family::of(packet.destination) {
        return Err(Unpredictable::MixedFamilies);
    }
    let plan = network.plan(family);
    let source = Family::value(packet.source);
    let (sender, send_point) =
        sender(network, plan, from, source).ok_or(Unpredictable::SourceNowhere)?;
    if packet.source == packet.destination {
        return Err(Unpredictable::ItsOwn);
    }
    if let Sender::Host(host) = sender {
        own_way(plan, host, send_point, packet)?;
    }
    let traces = trace(network, sender, packet);
    let doubts: Vec<Doubt> = traces
        .iter()
        .flat_map(|trace| trace.doubts.clone())
        .collect();
    let depends = match doubts.as_slice() {
        [] => Unpredictable::DependsOnRouter,
        doubts if doubts.contains(&Doubt::Request) => Unpredictable::DependsOnRequest,
        _ => Unpredictable::DependsOnFault,
    };
    let mut ways = traces.iter().map(|trace| way(network, plan, trace));
    let first = ways.next().ok_or(Unpredictable::DependsOnRouter)?;
    let mut same = Prediction {
        sender,
        send_point,
        first_hops: first_hops(plan, send_point),
        ..first
    };
    for other in ways {
        if other.expect != same.expect || other.arrives_as != same.arrives_as {
            return Err(depends);
        }
        same.deciders.retain(|one| other.deciders.contains(one));
        same.reply_rules
            .retain(|one| other.reply_rules.contains(one));
    }
    Ok(same)
}

/// The described host that has an address, else the segment that has it.
fn sender(
    network: &Network<'_>,
    plan: &Plan,
    from: Option<SegmentId>,
    source: u128,
) -> Option<(Sender, SegmentId)> {
    let there = |segment: SegmentId| from.is_none_or(|from| from == segment);
    if plan.nobody.contains(source) {
        return None;
    }
    for host in (0..network.site.hosts.len()).map(HostId) {
        let interfaces = &plan.device(plan.host_index(host)).interfaces;
        let mut owning = interfaces.iter();
        let owning = owning.find(|one| there(one.segment) && one.addresses.contains(&source));
        if let Some(interface) = owning {
            return Some((Sender::Host(host), interface.segment));
        }
    }
    let mut segments = network.site.segment_ids();
    let holds =
        |&segment: &SegmentId| there(segment) && plan.segment(segment).addresses.contains(source);
    segments
        .find(holds)
        .map(|segment| (Sender::Segment(segment), segment))
}

/// Whether a host sends to a destination from the interface that has the source.
fn own_way(
    plan: &Plan,
    host: HostId,
    send_point: SegmentId,
    packet: &Packet,
) -> Result<(), Unpredictable> {
    let device = plan.device(plan.host_index(host));
    let destination = Family::value(packet.destination);
    if device.own.contains(destination) {
        return Err(Unpredictable::ItsOwn);
    }
    let entry = device.routes.lookup(destination);
    let Some(interface) = entry.and_then(|entry| entry.next_hop.interface()) else {
        // Without a route nothing is sent, whichever the interface.
        return Ok(());
    };
    let interface = &device.interfaces[interface];
    let own = interface.addresses.contains(&Family::value(packet.source));
    if own && interface.segment == send_point {
        Ok(())
    } else {
        Err(Unpredictable::OtherInterface)
    }
}

/// One walk, as whoever tests sees it.
fn way(network: &Network<'_>, plan: &Plan, trace: &Trace) -> Prediction {
    let (expect, stop, place) = match trace.outcome {
        Outcome::Delivered(place) => (delivered(trace), None, Some(place)),
        Outcome::NotForwardable => (Expect::Nothing, Some(Stop::NotForwardable), None),
        Outcome::Stopped(stop) => {
            let last = trace.steps.last().and_then(|step| step.decision.as_ref());
            let told = matches!(stop, Stop::Denied(_))
                && last.is_some_and(|decision| decision.action == Action::Reject);
            if told {
                (Expect::Rejected, Some(stop), None)
            } else {
                (Expect::Nothing, Some(stop), None)
            }
        }
    };
    Prediction {
        // The caller knows these three.
        sender: Sender::Segment(SegmentId(0)),
        send_point: SegmentId(0),
        first_hops: Vec::new(),
        expect,
        deciders: deciders_of_trace(plan, trace),
        reply_rules: match expect {
            Expect::Answered => reply_rules(network, plan, trace),
            _ => Vec::new(),
        },
        stop,
        place,
        arrives_as: place.map(|_| trace.packet),
    }
}

/// Whether an answer comes back that any receiver gives: by TCP, by UDP where the listener sends one, to an echo
/// request. Of other protocols nobody can say.
fn delivered(trace: &Trace) -> Expect {
    match &trace.reply {
        Some(Reply::Back(_)) if asks(&trace.packet) => Expect::Answered,
        _ => Expect::Arrives,
    }
}

/// Whether a receiver can be counted on to answer.
pub(super) fn asks(packet: &Packet) -> bool {
    match packet.protocol {
        TCP | UDP => true,
        ICMP => packet.destination_port >> 8 == 8,
        ICMPV6 => packet.destination_port >> 8 == 128,
        _ => false,
    }
}

fn reply_rules(network: &Network<'_>, plan: &Plan, trace: &Trace) -> Vec<(RouterId, usize)> {
    let Some(Reply::Back(steps)) = &trace.reply else {
        return Vec::new();
    };
    let passed = steps
        .iter()
        .filter_map(|step| match (&step.pass, plan.device(step.device).id) {
            (ReplyPass::Rules(Some(rule)), DeviceId::Router(router)) => Some((router, *rule)),
            _ => None,
        });
    let permits = |&(router, rule): &(RouterId, usize)| {
        let filter = network.site.router(router).filter();
        filter.is_some_and(|filter| filter.rules[rule].action.value == Action::Permit)
    };
    passed.filter(permits).collect()
}

/// Addresses of the routers that plain devices of a segment hand packets to.
fn first_hops(plan: &Plan, segment: SegmentId) -> Vec<IpAddr> {
    let addresses = plan
        .wire(SendPoint::Segment(segment))
        .first_hops
        .iter()
        .filter_map(|&(device, interface)| {
            let own = &plan.device(device).interfaces[interface].addresses;
            own.first().map(|&address| plan.family.address(address))
        });
    addresses.collect()
}
