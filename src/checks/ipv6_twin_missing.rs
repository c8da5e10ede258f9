//! A permit for the IPv4 addresses of hosts that have IPv6 addresses too.

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{AddressMatch, Family, HostId, Rule, TranslationTarget};
use boundwalk_packet::{ClassSet, IntervalSet};

use super::measured::of_permit;
use super::permit::{PermitRule, ReachedSegment};
use super::permits::{as_list, names_all};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "ipv6-twin-missing",
    severity: Severity::Note,
    summary: "a permit for the IPv4 addresses of hosts that have IPv6 addresses too",
    why: "IPv4 and IPv6 are two networks on one cable. Over IPv6 the same service is denied: devices prefer IPv6 and wait, or somebody opens it in a hurry and wider than it was.",
    fine_when: "The service is meant to be reached over IPv4 only.",
    remedy: "Name the host instead of its address, or add its IPv6 address.",
    references: &[
        "RFC 8305 section 2 (where a host has both families, its preference favours IPv6)",
    ],
    fires: include_str!("examples/ipv6-twin-missing.fires.toml"),
    quiet: include_str!("examples/ipv6-twin-missing.quiet.toml"),
};

/// Addresses in a row up to which they are hosts that somebody chose, not a segment: a rule of this house.
const FEW: u128 = 16;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let all = view.permits();
    for permit in all {
        let both = speaks_six(view, &permit.senders) && speaks_six(view, &permit.targets);
        let sides =
            [&permit.rule.source, &permit.rule.destination].map(|field| single(view, field));
        let hosts: Vec<HostId> = sides.iter().flatten().copied().collect();
        if hosts.is_empty() || !both || all.iter().any(|other| is_twin(view, permit, &sides, other))
        {
            continue;
        }
        let gateway = permit.gateway;
        let names: Vec<&str> = hosts
            .iter()
            .map(|&host| view.site.host(host))
            .map(|host| host.name.value.as_str())
            .collect();
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
            .measured(of_permit(view, permit))
            .help(help(&names)),
        );
    }
}

fn help(names: &[&str]) -> String {
    format!("write {} instead of the address", as_list(names))
}

fn speaks_six(view: &CheckContext<'_>, places: &[ReachedSegment]) -> bool {
    let plan = view.network.plan(Family::V6);
    places
        .iter()
        .any(|met| !plan.segment(met.segment).addresses.is_empty())
}

/// Hosts whose IPv4 addresses a field names, though it names no IPv6 address and they have one.
fn single(view: &CheckContext<'_>, field: &Option<AddressMatch>) -> Vec<HostId> {
    let Some(field) = field
        .as_ref()
        .filter(|field| field.set.of(Family::V6).is_empty())
    else {
        return Vec::new();
    };
    let (four, six) = (view.network.plan(Family::V4), view.network.plan(Family::V6));
    let named = (0..view.site.hosts.len()).map(HostId).filter(|&host| {
        let index = four.host_index(host);
        let (own, other) = (&four.device(index).own, &six.device(index).own);
        // A long range or a whole prefix means the segment, not the host.
        let few: IntervalSet = field
            .set
            .of(Family::V4)
            .intervals()
            .iter()
            .filter(|part| part.high() - part.low() < FEW)
            .copied()
            .collect();
        !other.is_empty() && few.overlaps(own)
    });
    named.collect()
}

/// Whether another permit says the same over IPv6: all of its parties and services, with IPv6 addresses of the same
/// hosts where it names some.
fn is_twin(
    view: &CheckContext<'_>,
    permit: &PermitRule<'_>,
    sides: &[Vec<HostId>; 2],
    other: &PermitRule<'_>,
) -> bool {
    let plan = view.network.plan(Family::V6);
    let has = |field: &Option<AddressMatch>, hosts: &[HostId]| {
        field.as_ref().is_none_or(|field| {
            let six = field.set.of(Family::V6);
            let mut hosts = hosts.iter();
            !six.is_empty()
                && hosts.all(|&host| plan.device(plan.host_index(host)).own.overlaps(six))
        })
    };
    permit.gateway.id == other.gateway.id
        && permit.number != other.number
        && names_all(view.site, &other.rule.from, &permit.rule.from)
        && names_all(view.site, &other.rule.to, &permit.rule.to)
        && has(&other.rule.source, &sides[0])
        && has(&other.rule.destination, &sides[1])
        && (is_forwarded(permit)
            || over_six(view, permit.rule).is_subset(&over_six(view, other.rule)))
}

/// Whether it permits what a destination translation of its gateway has written: over IPv6, where none is needed, the
/// service may have another port.
fn is_forwarded(permit: &PermitRule<'_>) -> bool {
    let (Some(filter), Some(field)) = (permit.gateway.router.filter(), &permit.rule.destination)
    else {
        return false;
    };
    let mut lines = filter.destination_translations.iter();
    lines.any(|line| match line.target {
        TranslationTarget::Address(address) => line.enabled && field.set.contains(address),
        _ => false,
    })
}

/// The services of a rule over IPv6.
fn over_six(view: &CheckContext<'_>, rule: &Rule) -> ClassSet {
    let classes = &view.network.classes;
    let Some(list) = &rule.services else {
        return classes.all();
    };
    let boxes: Vec<_> = list
        .services
        .iter()
        .filter_map(|one| one.packets(Family::V6))
        .collect();
    classes.of(&boxes)
}
