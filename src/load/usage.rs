//! What is described and never used.

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{Forwards, SegmentId};

use super::context::{Context, owned};
use super::kinds;

/// Notes groups and services that nothing names, and segments that no router is on.
pub(super) fn check(cx: &mut Context<'_>) {
    let groups: Vec<(Spanned<String>, String)> = (0..cx.groups.len())
        .filter(|&number| !cx.group_states[number].used)
        .map(|number| cx.groups.name(number))
        .map(|name| {
            (
                owned(name),
                format!("nothing uses the address group `{}`", name.value),
            )
        })
        .collect();
    let services: Vec<(Spanned<String>, String)> = (0..cx.services.len())
        .filter(|&number| !cx.service_states[number].used)
        .map(|number| cx.services.name(number))
        .map(|name| {
            (
                owned(name),
                format!("nothing uses the service `{}`", name.value),
            )
        })
        .collect();
    for (name, message) in groups.into_iter().chain(services) {
        let problem = Problem::at(&kinds::UNUSED_NAME, name.span, message).about(name.value);
        cx.report(problem.help("remove it, or use it where its items are written out"));
    }
    check_segments(cx);
}

fn check_segments(cx: &mut Context<'_>) {
    let mut routed = vec![false; cx.site.segments.len()];
    let of_routers = cx
        .site
        .routers
        .iter()
        .flat_map(|router| &router.interfaces)
        .map(|interface| interface.segment);
    let of_hosts = cx
        .site
        .hosts
        .iter()
        .filter(|host| host.forwards.value == Forwards::Routes)
        .flat_map(|host| &host.interfaces)
        .map(|interface| interface.segment);
    for SegmentId(number) in of_routers.chain(of_hosts) {
        if let Some(seen) = routed.get_mut(number) {
            *seen = true;
        }
    }
    for (number, routed) in routed.into_iter().enumerate() {
        let segment = &cx.site.segments[number];
        if routed || segment.claims_isolation().is_some() {
            continue;
        }
        let message = format!(
            "no gateway or router is on the segment `{}`",
            segment.name.value
        );
        let problem = Problem::at(&kinds::SEGMENT_UNROUTED, segment.name.span, message)
            .about(&segment.name.value);
        cx.report(problem.help(
            "describe the interface that is missing, or say `isolated = true` and have it proved",
        ));
    }
}
