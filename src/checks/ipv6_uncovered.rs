//! A denial that speaks of IPv4 only.

use boundwalk_analysis::{Cell, ServiceLabels};
use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{
    Action, AddressMatch, Family, HostId, Router, RouterId, Rule, RuleParty, SegmentId,
};
use boundwalk_packet::{ClassSet, IntervalSet};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "ipv6-uncovered",
    severity: Severity::Warning,
    summary: "a rule that denies IPv4 addresses only, where IPv6 gets through between the same segments",
    why: "IPv4 and IPv6 are two networks on one cable. A rule with IPv4 addresses says nothing about IPv6: \
        the devices just use the other family, and most prefer it.",
    fine_when: "The addresses behind it have no IPv6 counterpart, and what passes over IPv6 is wanted.",
    remedy: "Add the IPv6 addresses to the rule, or name zones and segments instead of addresses.",
    references: &[
        "RFC 7123 section 2: enforce on IPv6 the security policies that are enforced on IPv4",
        "seen with nftables on Linux 6.1: a rule on an IPv4 destination leaves IPv6 uncovered",
    ],
    fires: include_str!("examples/ipv6-uncovered.fires.toml"),
    quiet: include_str!("examples/ipv6-uncovered.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let single = single_family(view);
    let naming = ServiceLabels::new(view.network, Family::V6);
    for (number, router) in view.site.routers.iter().enumerate() {
        let Some(filter) = router.filter() else {
            continue;
        };
        for rule in &filter.rules {
            let denies = rule.action.value != Action::Permit && rule.active(view.network.today);
            let gap = |field: &Option<AddressMatch>| only_v4(&single, field);
            if denies && (gap(&rule.source) || gap(&rule.destination)) {
                judge(view, report, &naming, (RouterId(number), router), rule);
            }
        }
    }
}

/// IPv4 addresses of hosts that are known to have no IPv6 address.
fn single_family(view: &CheckContext<'_>) -> IntervalSet {
    let (v4, v6) = (view.network.plan(Family::V4), view.network.plan(Family::V6));
    (0..view.site.hosts.len())
        .map(|host| v4.host_index(HostId(host)))
        .filter(|&host| v6.device(host).own.is_empty())
        .flat_map(|host| v4.device(host).own.intervals())
        .copied()
        .collect()
}

/// Whether a field has IPv4 addresses only, and those not all of hosts that are known to have no others.
fn only_v4(single: &IntervalSet, field: &Option<AddressMatch>) -> bool {
    field.as_ref().is_some_and(|field| {
        let (v4, v6) = (field.set.of(Family::V4), field.set.of(Family::V6));
        v6.is_empty() && !v4.is_subset(single)
    })
}

fn judge(
    view: &CheckContext<'_>,
    report: &mut FindingReport,
    naming: &ServiceLabels<'_>,
    (id, router): (RouterId, &Router),
    rule: &Rule,
) {
    let matrix = view.matrix(Family::V6);
    let senders = speaks_of(view, router, &rule.from, &rule.source);
    let targets = speaks_of(view, router, &rule.to, &rule.destination);
    for &from in &senders {
        for &to in &targets {
            // Rows and the first columns are the segments, in the order of the site.
            let cell = &matrix.cells[from.0][to.0];
            if from == to || !cell.crossed.contains(&id) {
                continue;
            }
            let open = services(view, rule, cell);
            if open.is_empty() {
                continue;
            }
            let names = [from, to].map(|segment| view.site.segment(segment).name.value.as_str());
            let subject = format!("{} -> {}", names[0], names[1]);
            let open = naming.services(&open);
            let what = format!("denied over IPv4, open over IPv6 for {open}");
            report.add(
                found(&CHECK, rule.name.span, subject, what)
                    .help("add IPv6 addresses, or name segments instead of addresses"),
            );
        }
    }
}

/// Segments at the gateway's interfaces that a rule names and of which its IPv4 addresses are some.
fn speaks_of(
    view: &CheckContext<'_>,
    router: &Router,
    named: &Option<Vec<RuleParty>>,
    field: &Option<AddressMatch>,
) -> Vec<SegmentId> {
    let plan = view.network.plan(Family::V4);
    let mut segments: Vec<SegmentId> = Vec::new();
    for interface in &router.interfaces {
        let segment = interface.segment;
        let zone = view.site.segment(segment).zone;
        let meant = |party: &RuleParty| match *party {
            RuleParty::Zone(own) => own == zone,
            RuleParty::Segment(own) => own == segment,
            RuleParty::Gateway => false,
        };
        let own = &plan.segment(segment).addresses;
        let held = match field {
            Some(field) => field.set.of(Family::V4).overlaps(own),
            None => !own.is_empty(),
        };
        let named = named.as_ref().is_none_or(|named| named.iter().any(meant));
        if held && named && !segments.contains(&segment) {
            segments.push(segment);
        }
    }
    segments
}

/// Services of the rule that pass over IPv6.
fn services(view: &CheckContext<'_>, rule: &Rule, cell: &Cell) -> ClassSet {
    let Some(list) = &rule.services else {
        return ClassSet::clone(&cell.some);
    };
    let packets = list.services.iter();
    let packets = packets.filter_map(|service| service.packets(Family::V6));
    let own = view.network.classes.of(&packets.collect::<Vec<_>>());
    cell.some.intersection(&own)
}
