//! What exactly passes between two parties, and what lets it.

use boundwalk_forwarding::{
    Arrival, DeviceId, Flow, Network, Packet, Place, Sender, Target, WalkCoverage, reach, returns,
};
use boundwalk_model::{Family, HostId, RouterId};
use boundwalk_packet::{ClassSet, IntervalSet, Region};

use super::cell::Extent;
use super::matrix::elsewhere;
use super::party::{Endpoint, columns, within};
use super::replies::{answered, left_over};
use super::witness::witness;

/// A device that a flow crosses.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Crossed {
    /// The gateway or router; `None` for a host that routes.
    pub router: Option<RouterId>,
    /// Name of the device.
    pub name: String,
    /// Whether its filter decided, and by which rule (`None`: the default).
    pub decided: Option<Option<usize>>,
    /// Number of the destination translation applied.
    pub destination_translation: Option<usize>,
    /// Number of the source translation applied.
    pub source_translation: Option<usize>,
}

/// A set of packets that all pass for the same reasons.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct PermittedFlow {
    /// As the sender sends it.
    pub sent: Region,
    /// As it arrives.
    pub arrives: Region,
    /// The described host that sends it by its own routes; `None`: any plain device.
    pub host: Option<HostId>,
    /// Devices crossed, in order.
    pub crossed: Vec<Crossed>,
    /// How much of it is answered.
    pub two_way: Extent,
    /// One packet of it.
    pub witness: Option<Packet>,
    /// One packet of it that is not answered, if there is any.
    pub unanswered: Option<Packet>,
}

/// The flows from one segment or host to one segment, host, gateway or router, in one family, of some services
/// or (`None`) of all. Zones have to be opened into segments by the caller. Parts that differ only in addresses or only in services are
/// joined. The flag tells whether the list is complete.
pub fn flows(
    network: &Network<'_>,
    family: Family,
    from: Endpoint,
    to: Endpoint,
    services: Option<&ClassSet>,
) -> (Vec<PermittedFlow>, WalkCoverage) {
    let sender = match from {
        Endpoint::Segment(segment) => Sender::Segment(segment),
        Endpoint::Host(host) => Sender::Host(host),
        Endpoint::Zone(_) | Endpoint::Device(_) | Endpoint::Unclaimed(..) => {
            return (Vec::new(), WalkCoverage::Complete);
        }
    };
    let plan = network.plan(family);
    let targets = columns(network, plan, matches!(to, Endpoint::Host(_)));
    let Some(own) = targets.iter().find(|column| column.party == to) else {
        return (Vec::new(), WalkCoverage::Complete);
    };
    let rest = elsewhere(plan, &targets, std::slice::from_ref(own));
    let mut found: Vec<PermittedFlow> = Vec::new();
    let mut coverage = WalkCoverage::Complete;
    let mut send = |target: Target<'_>| {
        let walked = reach(network, plan, sender, target, &mut |arrival| {
            if let Arrival::Delivered(place, flow) = arrival
                && let Some(part) = own.takes(network, plan, place, &flow)
                && !(flow.hops.is_empty() && within(plan, from, to))
            {
                let part = part.into_owned();
                add(&mut found, permitted(network, family, sender, place, part));
            }
        });
        coverage.note(walked);
    };
    for (addresses, segment) in [(&own.addresses, own.segment), (&rest, None)] {
        if !addresses.is_empty() {
            send(Target {
                addresses,
                segment,
                services,
            });
        }
    }
    (found, coverage)
}

fn permitted(
    network: &Network<'_>,
    family: Family,
    sender: Sender,
    place: Place,
    flow: Flow,
) -> PermittedFlow {
    let plan = network.plan(family);
    let (back, coverage) = returns(network, plan, sender, place, &flow);
    let two_way = answered(flow.sent(), &back, coverage);
    let host = flow.host.and_then(|host| match plan.device(host).id {
        DeviceId::Host(host) => Some(host),
        DeviceId::Router(_) => None,
    });
    let crossed = flow.hops.iter().map(|hop| {
        let (router, name) = match plan.device(hop.device).id {
            DeviceId::Router(router) => (Some(router), &network.site.router(router).name.value),
            DeviceId::Host(host) => (None, &network.site.host(host).name.value),
        };
        Crossed {
            router,
            name: name.clone(),
            decided: hop.filtered.then_some(hop.rule),
            destination_translation: hop
                .translated
                .as_ref()
                .and_then(|written| written.destination.as_ref())
                .map(|(line, _)| *line),
            source_translation: hop
                .translated
                .as_ref()
                .and_then(|written| written.source.as_ref())
                .map(|(line, _)| *line),
        }
    });
    let shown = back.first().unwrap_or(flow.sent());
    PermittedFlow {
        host,
        crossed: crossed.collect(),
        two_way,
        witness: witness(network, plan, shown),
        unanswered: left_over(flow.sent().clone(), &back)
            .first()
            .and_then(|left| witness(network, plan, left)),
        sent: flow.sent().clone(),
        arrives: flow.now,
    }
}

/// Adds a flow, joined with one that has the same reasons and differs in one field only.
fn add(found: &mut Vec<PermittedFlow>, flow: PermittedFlow) {
    for known in found.iter_mut() {
        let alike = known.host == flow.host && known.two_way == flow.two_way;
        if alike && known.crossed == flow.crossed {
            let sent = joined(&known.sent, &flow.sent);
            let arrives = joined(&known.arrives, &flow.arrives);
            if let (Some(sent), Some(arrives)) = (sent, arrives) {
                known.sent = sent;
                known.arrives = arrives;
                known.witness = known.witness.or(flow.witness);
                known.unanswered = known.unanswered.or(flow.unanswered);
                return;
            }
        }
    }
    found.push(flow);
}

/// Two regions as one, where they differ in at most one field.
pub(super) fn joined(one: &Region, other: &Region) -> Option<Region> {
    let same = [
        one.source == other.source,
        one.destination == other.destination,
        one.services == other.services,
    ];
    if same.iter().filter(|same| !**same).count() > 1 {
        return None;
    }
    let union = |one: &IntervalSet, other: &IntervalSet| one.union(other);
    Some(Region {
        source: union(&one.source, &other.source),
        destination: union(&one.destination, &other.destination),
        services: one.services.union(&other.services),
    })
}
