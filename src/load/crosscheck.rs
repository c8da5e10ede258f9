//! What can be seen only in the whole.

use crate::diagnostic::Problem;
use crate::model::{Forwards, Role, Route, SegmentId, Via};

use super::context::{Context, Device};
use super::interface_check::owner_key;
use super::kinds;
use super::prefix_index::Placed;
use super::{default_gateway, usage};

/// Looks at the finished site, as far as it could be read.
pub(super) fn run(cx: &mut Context<'_>) {
    check_prefixes(cx);
    check_next_hops(cx);
    default_gateway::check(cx);
    // What nobody uses may be what a mistake elsewhere failed to name: say it once the mistakes are mended.
    if !cx.report.failed() {
        check_zones(cx);
        usage::check(cx);
    }
}

/// One problem for each prefix that stands later in the input than one it shares addresses with.
fn check_prefixes(cx: &mut Context<'_>) {
    let pairs = cx.prefixes.nested().into_iter();
    // The one that stands later is the one to mend.
    let mut pairs: Vec<(Placed, Placed)> = pairs
        .map(|(outer, inner)| {
            if inner.span < outer.span {
                (outer, inner)
            } else {
                (inner, outer)
            }
        })
        .collect();
    pairs.sort_by_key(|(later, earlier)| (later.span, earlier.span));
    let problems: Vec<Problem> = pairs
        .chunk_by(|a, b| a.0.span == b.0.span)
        .map(|pairs| overlap(cx, pairs))
        .collect();
    problems.into_iter().for_each(|problem| cx.report(problem));
}

/// The problem of one prefix with all that it overlaps.
fn overlap(cx: &Context<'_>, pairs: &[(Placed, Placed)]) -> Problem {
    const FEW: usize = 4;
    let (later, first) = pairs[0];
    let near = cx.segment_name(later.segment);
    let others = match pairs.len() - 1 {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let message = if first.segment == later.segment {
        format!(
            "{} and {} of the segment `{near}` overlap{others}",
            later.prefix, first.prefix
        )
    } else {
        let far = cx.segment_name(first.segment);
        format!(
            "{} of the segment `{near}` overlaps {} of the segment `{far}`{others}",
            later.prefix, first.prefix
        )
    };
    let external = |placed: &Placed| cx.site.segments[placed.segment.0].external;
    let help = if external(&later) || external(&first) {
        "an external segment holds by itself whatever the routes send there: leave the wide prefix out"
    } else {
        "an address lies on one segment only: correct one of the prefixes"
    };
    let problem = Problem::at(&kinds::PREFIXES_OVERLAP, later.span, message).help(help);
    pairs
        .iter()
        .take(FEW)
        .fold(problem, |problem, (_, earlier)| {
            problem.note(earlier.span, "overlaps this")
        })
}

fn check_zones(cx: &mut Context<'_>) {
    for number in 0..cx.site.zones.len() {
        if !cx.zone_members[number].is_empty() {
            continue;
        }
        let name = &cx.site.zones[number].name;
        let message = format!("the zone `{}` has no segment", name.value);
        let problem = Problem::at(&kinds::ZONE_EMPTY, name.span, message);
        let help = format!(
            "name it in a segment, `zone = \"{}\"`, or remove it",
            name.value
        );
        cx.report(problem.help(help));
    }
}

/// A next hop that nobody has, or that does not forward, drops what is sent there.
fn check_next_hops(cx: &mut Context<'_>) {
    let mut problems = Vec::new();
    for router in &cx.site.routers {
        let segments: Vec<SegmentId> = router
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        router
            .routes
            .iter()
            .for_each(|route| problems.extend(next_hop_problem(cx, route, &segments)));
    }
    for host in &cx.site.hosts {
        let segments: Vec<SegmentId> = host
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        host.routes
            .iter()
            .for_each(|route| problems.extend(next_hop_problem(cx, route, &segments)));
    }
    problems.into_iter().for_each(|problem| cx.report(problem));
}

fn next_hop_problem(cx: &Context<'_>, route: &Route, segments: &[SegmentId]) -> Option<Problem> {
    let Via::NextHop { address, interface } = route.via else {
        return None;
    };
    let id = *segments.get(interface)?;
    let segment = cx.site.segments.get(id.0)?;
    let Some(owner) = cx.owners.get(&owner_key(address, id)) else {
        let name = &segment.name.value;
        let message = format!("no device on the segment `{name}` has the next hop {address}");
        let problem = Problem::at(&kinds::NEXT_HOP_IDLE, route.place, message);
        let help = "describe that device, or correct the address; what this route sends is dropped";
        return (!segment.external).then(|| problem.help(help));
    };
    let name = cx.device_name(owner.device);
    let (message, help) = if owner.segment != id {
        let message = format!("the next hop {address} belongs to `{name}`, on another segment");
        (message, "correct the segment or the address")
    } else if !forwards(cx, owner.device) {
        let message =
            format!("the next hop {address} belongs to the host `{name}`, which does not forward");
        (
            message,
            "name a gateway or router, or say `forwards = \"routes\"` of the host",
        )
    } else {
        return None;
    };
    let problem = Problem::at(&kinds::NEXT_HOP_IDLE, route.place, message);
    Some(
        problem
            .note(owner.span, "the address is given here")
            .help(help),
    )
}

/// Whether a device passes packets on.
pub(super) fn forwards(cx: &Context<'_>, device: Device) -> bool {
    match device {
        Device::Router(id) => {
            matches!(cx.site.routers[id.0].role, Role::Gateway(_) | Role::Router)
        }
        Device::Host(id) => cx.site.hosts[id.0].forwards.value == Forwards::Routes,
        Device::Switch(_) => false,
    }
}
