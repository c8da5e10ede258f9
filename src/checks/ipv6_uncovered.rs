//! A denial that speaks of IPv4 only.

use crate::analysis::{Cell, Naming, Party};
use crate::diagnostic::{Check, Severity};
use crate::model::{
    Action, AddressMatch, Family, HostId, Party as RuleParty, Router, RouterId, Rule, SegmentId,
};
use crate::packet::ClassSet;

use super::report::{Report, found};
use super::view::View;

pub(super) static CHECK: Check = Check {
    name: "ipv6-uncovered",
    severity: Severity::Warning,
    summary: "a rule that denies IPv4 addresses only, where IPv6 gets through between the same segments",
    why: "IPv4 and IPv6 are two networks on one cable. A rule with IPv4 addresses says nothing about IPv6: \
        the devices just use the other family, and most prefer it.",
    fine_when: "The addresses behind it have no IPv6 counterpart, and what passes over IPv6 is wanted.",
    remedy: "Add the IPv6 addresses to the rule, or name zones and segments instead of addresses.",
    references: &[
        "RFC 7123: what IPv6 does on networks that only IPv4 was thought of (from memory)",
        "seen with nftables on Linux 6.1: a rule on an IPv4 destination leaves IPv6 uncovered",
    ],
    fires: include_str!("examples/ipv6-uncovered.fires.toml"),
    quiet: include_str!("examples/ipv6-uncovered.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for (number, router) in view.site.routers.iter().enumerate() {
        let Some(filter) = router.filter() else {
            continue;
        };
        let rules = filter.rules.iter();
        let gaps = rules.filter(|rule| {
            let denies = rule.action.value != Action::Permit && rule.active(view.network.today);
            denies && (only_v4(view, &rule.source) || only_v4(view, &rule.destination))
        });
        for rule in gaps {
            judge(view, report, (RouterId(number), router), rule);
        }
    }
}

fn judge(view: &View<'_>, report: &mut Report, (id, router): (RouterId, &Router), rule: &Rule) {
    let matrix = view.matrix(Family::V6);
    for (row, cells) in matrix.rows.iter().zip(&matrix.cells) {
        for (column, cell) in matrix.columns.iter().zip(cells) {
            let (&Party::Segment(from), &Party::Segment(to)) = (row, column) else {
                continue;
            };
            let named = party(view, router, &rule.from, from) && party(view, router, &rule.to, to);
            // The rule may speak of addresses that are not even there.
            if !named || !cell.crossed.contains(&id) || !meets_v4(view, rule, from, to) {
                continue;
            }
            let open = services(view, rule, cell);
            if open.is_empty() {
                continue;
            }
            let naming = Naming::new(view.network, Family::V6);
            let names = [from, to].map(|segment| view.site.segment(segment).name.value.as_str());
            let subject = format!("{} -> {}", names[0], names[1]);
            let what = format!(
                "denied over IPv4, open over IPv6 for {}",
                naming.services(&open)
            );
            report.add(
                found(&CHECK, rule.name.span, subject, what)
                    .help("add IPv6 addresses, or name segments instead of addresses"),
            );
        }
    }
}

/// Whether a field has IPv4 addresses only, and those not all of hosts that are known to have no others.
fn only_v4(view: &View<'_>, field: &Option<AddressMatch>) -> bool {
    let Some(field) = field else {
        return false;
    };
    let (v4, v6) = (field.set.of(Family::V4), field.set.of(Family::V6));
    if v4.is_empty() || !v6.is_empty() {
        return false;
    }
    let mut left = v4.clone();
    let plan = view.network.plan(Family::V4);
    for host in (0..view.site.hosts.len()).map(HostId) {
        let index = plan.host_index(host);
        if view.network.plan(Family::V6).device(index).own.is_empty() {
            left = left.difference(&plan.device(index).own);
        }
    }
    !left.is_empty()
}

/// Whether a rule can match a packet that comes from, or leaves for, a segment by the gateway's interfaces.
fn party(
    view: &View<'_>,
    router: &Router,
    named: &Option<Vec<RuleParty>>,
    segment: SegmentId,
) -> bool {
    let zone = view.site.segment(segment).zone;
    // From a segment behind another router packets come in by whatever interface leads there.
    let attached = router.interfaces.iter().any(|own| own.segment == segment);
    let Some(named) = named else {
        return attached;
    };
    attached
        && named.iter().any(|party| match *party {
            RuleParty::Zone(own) => own == zone,
            RuleParty::Segment(own) => own == segment,
            RuleParty::Gateway => false,
        })
}

/// Whether the rule's IPv4 addresses are among those of both segments.
fn meets_v4(view: &View<'_>, rule: &Rule, from: SegmentId, to: SegmentId) -> bool {
    let plan = view.network.plan(Family::V4);
    let meets = |field: &Option<AddressMatch>, segment: SegmentId| {
        let own = &plan.segment(segment).addresses;
        match field {
            Some(field) => field.set.of(Family::V4).overlaps(own),
            None => !own.is_empty(),
        }
    };
    meets(&rule.source, from) && meets(&rule.destination, to)
}

/// Services of the rule that pass over IPv6.
fn services(view: &View<'_>, rule: &Rule, cell: &Cell) -> ClassSet {
    let Some(list) = &rule.services else {
        return cell.some.clone();
    };
    let packets = list.services.iter();
    let packets = packets.filter_map(|service| service.packets(Family::V6));
    let own = view.network.classes.of(&packets.collect::<Vec<_>>());
    cell.some.intersection(&own)
}
