//! Which filtering gateways lie on the way between two segments, whatever their rules say.

use smallvec::SmallVec;

use boundwalk_diagnostic::{Span, Spanned};
use boundwalk_forwarding::{
    Arrival, DeviceId, Flow, Network, Place, Plan, Sender, Target, WalkCoverage, reach,
};
use boundwalk_model::{Action, Family, Role, RouterId, Rule, SegmentId, Site};
use boundwalk_packet::Region;

use super::party::Endpoint;

/// A filtering gateway on a way.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Gate {
    pub(super) router: RouterId,
    pub(super) ingress: usize,
    /// `None`: the packets are for the gateway itself.
    pub(super) egress: Option<usize>,
}

/// Packets from a segment that take one way to one place.
#[derive(Debug)]
pub(super) struct Passage {
    pub(super) family: Family,
    pub(super) from: SegmentId,
    pub(super) to: Endpoint,
    /// The filtering gateways in order; one at least.
    pub(super) gates: SmallVec<[Gate; 2]>,
    /// The packets as the rules of each of them see it; `None` where some see other addresses than others.
    pub(super) seen: Option<Region>,
}

/// A copy of a site in which every gateway permits everything. It tells services apart as the site does, so that
/// sets of service classes mean the same in both.
pub(super) fn opened(site: &Site) -> Site {
    let mut open = site.clone();
    for router in &mut open.routers {
        if let Role::Gateway(filter) = &mut router.role {
            // The rules stay, behind one that decides everything: the services that they name make the classes.
            filter.rules.insert(0, permit_all());
        }
    }
    open
}

fn permit_all() -> Rule {
    let nowhere = Span::default();
    Rule {
        name: Spanned::new(String::new(), nowhere),
        from: None,
        to: None,
        source: None,
        destination: None,
        services: None,
        action: Spanned::new(Action::Permit, nowhere),
        log: false,
        inspect: false,
        enabled: true,
        expires: None,
        reviewed: None,
        reason: None,
        owner: None,
        ticket: None,
        hits: None,
        place: nowhere,
    }
}

/// Calls `sink` for everything that plain devices of a segment and hosts with ways of their own send and that
/// arrives across a filtering gateway. `open` is a network of an [`opened`] site. Cost: that of [`reach()`] to
/// everywhere, from each segment and each such host.
pub(super) fn passages(open: &Network<'_>, sink: &mut dyn FnMut(Passage)) -> WalkCoverage {
    let mut coverage = WalkCoverage::Complete;
    for family in Family::ALL {
        let plan = open.plan(family);
        let everywhere = family.full().difference(&plan.nobody);
        let target = Target {
            addresses: &everywhere,
            segment: None,
            services: None,
        };
        for sender in open.site.segment_ids().map(Sender::Segment) {
            coverage.note(reach(open, plan, sender, target, &mut |arrival| {
                if let Arrival::Delivered(place, flow) = arrival {
                    passage(plan, sender, place, &flow)
                        .into_iter()
                        .for_each(&mut *sink);
                }
            }));
        }
    }
    coverage
}

fn passage(plan: &Plan, sender: Sender, place: Place, flow: &Flow) -> Option<Passage> {
    let mut gates = SmallVec::new();
    for hop in &flow.hops {
        if let (true, DeviceId::Router(router)) = (hop.filtered, plan.device(hop.device).id) {
            gates.push(Gate {
                router,
                ingress: hop.ingress,
                egress: hop.egress,
            });
        }
    }
    if gates.is_empty() {
        return None;
    }
    Some(Passage {
        family: plan.family,
        from: home(sender)?,
        to: match place {
            Place::Segment(segment) => Endpoint::Segment(segment),
            Place::Router(router) => Endpoint::Device(router),
        },
        gates,
        seen: seen(flow),
    })
}

/// The segment that the packets start on.
fn home(sender: Sender) -> Option<SegmentId> {
    match sender {
        Sender::Segment(segment) => Some(segment),
        Sender::Hostile(origin) => origin.segment(),
        Sender::Host(_) => None,
    }
}

/// The packets as every gateway on the way sees them. Rules come after the destination translation of their gateway
/// and before its source translation; so a destination written before all rules and a source written after all
/// rules do no harm.
fn seen(flow: &Flow) -> Option<Region> {
    let first = flow.hops.iter().position(|hop| hop.filtered)?;
    let last = flow.hops.iter().rposition(|hop| hop.filtered)?;
    for (at, hop) in flow.hops.iter().enumerate() {
        let Some(written) = &hop.translated else {
            continue;
        };
        let destination = written.destination.is_some() || written.services.is_some();
        if destination && first < at || written.source.is_some() && at < last {
            return None;
        }
    }
    Some(Region {
        source: flow.sent().source.clone(),
        ..flow.now.clone()
    })
}
