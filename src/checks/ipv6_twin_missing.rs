//! A permit for the IPv4 addresses of hosts that have IPv6 addresses too.

use crate::diagnostic::{Check, Severity};

use super::permits::{Permit, permits};
use super::report::{Report, found};
use super::view::View;

use crate::model::{AddressMatch, Family, HostId, SegmentId};

pub(super) static CHECK: Check = Check {
    name: "ipv6-twin-missing",
    severity: Severity::Note,
    summary: "a permit for the IPv4 addresses of hosts that have IPv6 addresses too",
    why: "IPv4 and IPv6 are two networks on one cable. Over IPv6 the same service is denied: devices prefer IPv6 and wait, or somebody opens it in a hurry and wider than it was.",
    fine_when: "The service is meant to be reached over IPv4 only.",
    remedy: "Name the host instead of its address, or add its IPv6 address.",
    references: &["RFC 8305: what devices do where both families are there (from memory)"],
    fires: include_str!("examples/ipv6-twin-missing.fires.toml"),
    quiet: include_str!("examples/ipv6-twin-missing.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    let all = permits(view);
    for permit in &all {
        let (senders, targets) = (permit.senders(view.site), permit.targets(view.site));
        let both = speaks_six(view, &senders) && speaks_six(view, &targets);
        let hosts =
            [&permit.rule.source, &permit.rule.destination].map(|field| single(view, field));
        let names: Vec<&str> = hosts.into_iter().flatten().collect();
        if names.is_empty() || !both || all.iter().any(|other| is_twin(permit, other)) {
            continue;
        }
        let gateway = permit.gateway;
        let what = format!(
            "permits only the IPv4 addresses of {}, which IPv6 has as well",
            names.join(", ")
        );
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .help("name the host instead of its address"),
        );
    }
}

fn speaks_six(view: &View<'_>, segments: &[SegmentId]) -> bool {
    let plan = view.network.plan(Family::V6);
    segments
        .iter()
        .any(|&segment| !plan.segment(segment).addresses.is_empty())
}

/// Hosts whose IPv4 addresses a field names, though it names no IPv6 address and they have one.
fn single<'v>(view: &View<'v>, field: &Option<AddressMatch>) -> Vec<&'v str> {
    let Some(field) = field
        .as_ref()
        .filter(|field| field.set.of(Family::V6).is_empty())
    else {
        return Vec::new();
    };
    let (four, six) = (view.network.plan(Family::V4), view.network.plan(Family::V6));
    let numbered = view.site.hosts.iter().enumerate();
    let named = numbered.filter(|(number, _)| {
        let index = four.host_index(HostId(*number));
        let (own, other) = (&four.device(index).own, &six.device(index).own);
        // A whole prefix means the segment, not the host.
        let points = field.set.of(Family::V4).intervals().iter();
        let mut points = points.filter(|part| part.low() == part.high());
        !other.is_empty() && points.any(|part| own.contains(part.low()))
    });
    named.map(|(_, host)| host.name.value.as_str()).collect()
}

/// Whether another permit speaks of the same parties and services over IPv6.
fn is_twin(permit: &Permit<'_>, other: &Permit<'_>) -> bool {
    let six = |field: &Option<AddressMatch>| {
        field
            .as_ref()
            .is_none_or(|field| !field.set.of(Family::V6).is_empty())
    };
    permit.gateway.0.id == other.gateway.0.id
        && permit.number != other.number
        && permit.rule.from == other.rule.from
        && permit.rule.to == other.rule.to
        && six(&other.rule.source)
        && six(&other.rule.destination)
}
