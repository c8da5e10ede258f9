//! A permit from a less trusted zone into a more trusted one that is not narrow.

use crate::diagnostic::{Check, Severity};

use super::permits::{Permit, permits, zone_of};
use super::report::{Report, found};
use super::view::View;

use crate::model::{Family, SegmentId};

pub(super) static CHECK: Check = Check {
    name: "permit-upward",
    severity: Severity::Warning,
    summary: "a permit from a less trusted zone into a more trusted one that is not narrow",
    why: "Zones are there so that what is less trusted does not reach what is more trusted. Where it must, single services of single hosts suffice: that is how a service is published.",
    fine_when: "The higher zone is there to be used by the lower one as a whole; then its trust is set too high.",
    remedy: "Name both the addresses in `destination` and the services.",
    references: &[
        "NIST SP 800-53 SC-7 and AC-4: flows between systems are controlled",
        "IEC 62443-3-3 SR 5.2: zone boundary protection, deny by default",
        "PCI DSS v4.0.1 1.4.2: inbound from untrusted networks only to published services",
    ],
    fires: include_str!("examples/permit-upward.fires.toml"),
    quiet: include_str!("examples/permit-upward.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for permit in permits(view) {
        if permit.only_messages() || permit.for_gateway_only() {
            continue;
        }
        let site = view.site;
        let mut pairs: Vec<String> = Vec::new();
        for from in senders(view, &permit) {
            for to in permit.targets(site) {
                let (low, high) = (zone_of(site, from), zone_of(site, to));
                if low.trust < high.trust && !is_narrow(view, &permit, to) {
                    let pair = format!("{} -> {}", low.name.value, high.name.value);
                    if !pairs.contains(&pair) {
                        pairs.push(pair);
                    }
                }
            }
        }
        if pairs.is_empty() {
            continue;
        }
        let gateway = permit.gateway;
        let what = format!(
            "permits upward, from less to more trusted zones, without naming both hosts and services: {}",
            pairs.join(", ")
        );
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .help("name `destination` and `services`, or keep the higher zones out of `to`"),
        );
    }
}

/// Segments that its packets may come from.
fn senders(view: &View<'_>, permit: &Permit<'_>) -> Vec<SegmentId> {
    let mut senders = permit.senders(view.site);
    if let Some(field) = &permit.rule.source {
        senders.retain(|&segment| {
            Family::ALL.iter().any(|&family| {
                let own = &view.network.plan(family).segment(segment).cover;
                own.overlaps(field.set.of(family))
            })
        });
    }
    senders
}

/// Whether it names services, and addresses that are fewer than the segment has; or none there.
fn is_narrow(view: &View<'_>, permit: &Permit<'_>, to: SegmentId) -> bool {
    let Some(field) = &permit.rule.destination else {
        return false;
    };
    let mut meets = false;
    let mut whole = false;
    for family in Family::ALL {
        let own = &view.network.plan(family).segment(to).addresses;
        let set = field.set.of(family);
        meets |= own.overlaps(set);
        whole |= !own.is_empty() && own.is_subset(set);
    }
    !meets || !whole && !permit.any_service()
}
