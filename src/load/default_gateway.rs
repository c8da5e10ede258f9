//! Default gateways of segments and hosts.

use std::net::IpAddr;

use crate::diagnostic::{Problem, Spanned};
use crate::model::{Family, SegmentId};

use super::context::Context;
use super::crosscheck::forwards;
use super::interface_check::owner_key;
use super::kinds;

/// Each must be the address of a device that forwards, on the segment where it is used.
pub(super) fn check(cx: &mut Context<'_>) {
    let mut problems = Vec::new();
    for (number, segment) in cx.site.segments.iter().enumerate() {
        let id = SegmentId(number);
        for address in &segment.default_gateway {
            problems.extend(problem(cx, address, &[id]));
        }
    }
    for host in &cx.site.hosts {
        let segments: Vec<SegmentId> = host
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        if segments
            .iter()
            .any(|id| cx.site.segments.get(id.0).is_none())
        {
            continue; // Reported with the interface.
        }
        for address in &host.default_gateway {
            problems.extend(problem(cx, address, &segments));
        }
    }
    problems.into_iter().for_each(|problem| cx.report(problem));
}

fn problem(cx: &Context<'_>, address: &Spanned<IpAddr>, segments: &[SegmentId]) -> Option<Problem> {
    let owners = segments
        .iter()
        .filter_map(|&id| cx.owners.get(&owner_key(address.value, id)));
    let mut elsewhere = None;
    for owner in owners {
        if segments.contains(&owner.segment) && forwards(cx, owner.device) {
            return None;
        }
        elsewhere = Some(owner);
    }
    let names: Vec<String> = segments
        .iter()
        .map(|&id| format!("`{}`", cx.segment_name(id)))
        .collect();
    let message = format!(
        "no gateway or router on {} has the address {}",
        names.join(", "),
        address.value
    );
    let mut problem = Problem::at(&kinds::DEFAULT_GATEWAY_UNKNOWN, address.span, message);
    if let Some(owner) = elsewhere {
        let what = format!(
            "`{}` has it, on `{}`",
            cx.device_name(owner.device),
            cx.segment_name(owner.segment)
        );
        problem = problem.note(owner.span, what);
    }
    let known = addresses_on(cx, segments, Family::of(address.value));
    Some(problem.help(match known.as_slice() {
        [] => "give a gateway or router an interface with this address there".to_owned(),
        known => format!("routers there have {}", known.join(", ")),
    }))
}

/// Addresses of forwarding devices on some segments, a few, in the order of the file.
fn addresses_on(cx: &Context<'_>, segments: &[SegmentId], family: Family) -> Vec<String> {
    let interfaces = cx.site.routers.iter().flat_map(|router| &router.interfaces);
    interfaces
        .filter(|interface| segments.contains(&interface.segment))
        .flat_map(|interface| &interface.addresses)
        .filter(|address| address.value.family() == family)
        .take(4)
        .map(|address| address.value.address().to_string())
        .collect()
}
