//! Private destinations that leave the site.

use boundwalk_diagnostic::{Check, Severity, Span};
use boundwalk_forwarding::{
    Arrival, DeviceIndex, Plan, Sender, Stop, Target, reach, reach_past_rules,
};
use boundwalk_model::{Family, SegmentId};
use boundwalk_packet::IntervalSet;

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "private-destination-leaves",
    severity: Severity::Warning,
    summary: "packets to private addresses of the site that leave by an external segment, where nobody routes them",
    why: "Nobody out there routes private addresses: what is sent there is lost, and tells the provider about the inside. \
        It looks delivered in the log of the gateway, and never arrives.",
    fine_when: "A partner or provider routes these networks: name them in `routes` of the external segment.",
    remedy: "Give private networks that the gateway has no other way to a discard route, or deny them on the way out.",
    references: &[
        "RFC 1918 section 3: packets with private addresses are not forwarded between enterprises",
        "RFC 4193 section 4.3: unique local addresses are filtered at the border of a site",
        "RFC 6598 section 4: shared addresses are not forwarded to others",
    ],
    fires: include_str!("examples/private-destination-leaves.fires.toml"),
    quiet: include_str!("examples/private-destination-leaves.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let mut senders: Vec<(SegmentId, Vec<SegmentId>)> = Vec::new();
    for family in Family::ALL {
        let plan = view.network.plan(family);
        if plan
            .segments
            .iter()
            .all(|segment| segment.unrouted.is_empty())
        {
            continue;
        }
        let inside = inside(plan);
        for from in view.site.segment_ids() {
            for outside in lost(view, plan, from, &inside) {
                match senders.iter_mut().find(|(known, _)| *known == outside) {
                    Some((_, known)) if known.contains(&from) => {}
                    Some((_, known)) => known.push(from),
                    None => senders.push((outside, vec![from])),
                }
            }
        }
    }
    for (outside, from) in senders {
        let name = |&segment: &SegmentId| view.site.segment(segment).name.value.as_str();
        let from: Vec<&str> = from.iter().map(name).collect();
        let what = format!(
            "takes packets to private addresses of the site, sent from {}",
            from.join(", ")
        );
        let draft = found(&CHECK, place(view, outside), name(&outside), what);
        let draft = draft.measured(of_things(from.iter().map(|one| format!("from {one}"))));
        report.add(draft.help(
            "add a discard route for the private networks that have no other way, or `routes` to the external segment",
        ));
    }
}

/// Private addresses of the segments inside.
fn inside(plan: &Plan) -> IntervalSet {
    let all = plan
        .segments
        .iter()
        .filter(|segment| !segment.external)
        .fold(IntervalSet::empty(), |all, segment| {
            all.union(&segment.on_link)
        });
    all.intersection(&plan.family.private())
}

/// External segments by which private destinations leave that devices of a segment send.
fn lost(
    view: &CheckContext<'_>,
    plan: &Plan,
    from: SegmentId,
    inside: &IntervalSet,
) -> Vec<SegmentId> {
    let sender = Sender::Segment(from);
    let target = |addresses| Target {
        addresses,
        segment: None,
        services: None,
    };
    // Where none would be lost whatever the rules permit, they need not be asked.
    let mut perhaps = IntervalSet::empty();
    let mut note = |arrival| {
        if let Arrival::Stopped(Stop::LostOutside(_), stopped) = arrival {
            perhaps = perhaps.union(&stopped.sent.destination);
        }
    };
    let looked = reach_past_rules(view.network, plan, sender, target(inside), false, &mut note);
    if !looked.is_complete() {
        perhaps = inside.clone();
    }
    let mut outside: Vec<SegmentId> = Vec::new();
    let covered = reach(
        view.network,
        plan,
        sender,
        target(&perhaps),
        &mut |arrival| {
            if let Arrival::Stopped(Stop::LostOutside(by), stopped) = arrival
                && !outside.contains(&by)
                && !stopped.sent.is_empty()
            {
                outside.push(by);
            }
        },
    );
    view.met(&CHECK, covered);
    outside
}

/// The route by which they leave, else the external segment.
fn place(view: &CheckContext<'_>, outside: SegmentId) -> Span {
    let plan = view.network.plan(Family::V4);
    let mut routers = view.site.routers.iter().enumerate();
    let route = routers.find_map(|(number, router)| {
        let device = plan.device(DeviceIndex(number));
        let mut routes = router.routes.iter();
        let leaves = routes.find(|route| match route.via {
            boundwalk_model::Via::NextHop { interface, .. } => {
                device.interfaces[interface].segment == outside
            }
            boundwalk_model::Via::Discard => false,
        });
        leaves.map(|route| route.place)
    });
    route.unwrap_or_else(|| view.site.segment(outside).place())
}
