//! What can be seen only in the whole.

use boundwalk_diagnostic::Problem;
use boundwalk_model::{Forwards, Role, Route, SegmentId, Via};

use super::alike;
use super::context::{Context, Device, Owner};
use super::interface_check::owner_key;
use super::kinds;
use super::usage;

/// Looks at the finished site, as far as it could be read.
pub(super) fn run(cx: &mut Context<'_>) {
    check_next_hops(cx);
    // What nobody uses may be what a mistake elsewhere failed to name: say it once the mistakes are mended.
    if !cx.report.failed() {
        check_zones(cx);
        usage::check(cx);
        alike::check(cx);
    }
}

fn check_zones(cx: &mut Context<'_>) {
    for number in 0..cx.site.zones.len() {
        if !cx.zone_members[number].is_empty() {
            continue;
        }
        let name = &cx.site.zones[number].name;
        let message = format!("the zone `{}` has no segment", name.value);
        let problem = Problem::at(&kinds::ZONE_EMPTY, name.span, message).about(&name.value);
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
        let subject = |route: &Route| format!("{} {}", router.name.value, route.destination);
        let segments: Vec<SegmentId> = router
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        router.routes.iter().for_each(|route| {
            let problem = next_hop_problem(cx, route, &segments);
            problems.extend(problem.map(|problem| problem.about(subject(route))));
        });
    }
    for host in &cx.site.hosts {
        let subject = |route: &Route| format!("{} {}", host.name.value, route.destination);
        let segments: Vec<SegmentId> = host
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        host.routes.iter().for_each(|route| {
            let problem = next_hop_problem(cx, route, &segments);
            problems.extend(problem.map(|problem| problem.about(subject(route))));
        });
    }
    problems.into_iter().for_each(|problem| cx.report(problem));
}

fn next_hop_problem(cx: &Context<'_>, route: &Route, segments: &[SegmentId]) -> Option<Problem> {
    let Via::NextHop { address, interface } = route.via else {
        return None;
    };
    let id = *segments.get(interface)?;
    let segment = cx.site.segments.get(id.0)?;
    let owners = cx.owners.get(&owner_key(address, id));
    let owners = owners.map_or(&[][..], Vec::as_slice);
    let works = |owner: &&Owner| owner.segment == id && forwards(cx, owner.device);
    if owners.iter().any(|owner| works(&owner)) {
        return None;
    }
    let Some(owner) = owners.first() else {
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
    } else {
        let message =
            format!("the next hop {address} belongs to the host `{name}`, which does not forward");
        (
            message,
            "name a gateway or router, or say `forwards = \"routes\"` of the host",
        )
    };
    let problem = Problem::at(&kinds::NEXT_HOP_IDLE, route.place, message);
    Some(
        problem
            .note(owner.span, "the address is given here")
            .help(help),
    )
}

/// Whether a device passes packets on.
fn forwards(cx: &Context<'_>, device: Device) -> bool {
    match device {
        Device::Router(id) => {
            matches!(cx.site.routers[id.0].role, Role::Gateway(_) | Role::Router)
        }
        Device::Host(id) => cx.site.hosts[id.0].forwards.value == Forwards::Routes,
        Device::Switch(_) => false,
    }
}
