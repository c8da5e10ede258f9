//! A default gateway that nobody is.

use std::net::IpAddr;

use boundwalk_diagnostic::{Check, Severity, Spanned};
use boundwalk_model::{Family, SegmentId, Site};

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;
use super::words::enumerated;

pub(super) static CHECK: Check = Check {
    name: "default-gateway-unknown",
    severity: Severity::Error,
    summary: "a default gateway that is no router's address there",
    why: "What devices send beyond their segment goes to an address that nobody has, and is lost; or a device that is not \
        described has it, and everything goes by that one. Answers hold for both: nothing surely passes, and what the \
        routers that are described would let through may pass.",
    fine_when: "The device that has the address is not described on purpose, as a provider's beyond an external segment. \
        Then leave it out: what is out there uses the gateways that stand on that segment.",
    remedy: "Correct the address, or give a gateway or router an interface with it on that segment.",
    references: &[
        "RFC 1122 section 3.3.1.1 (a host sends what is not on its own network to a gateway on it)",
    ],
    fires: include_str!("examples/default-gateway-unknown.fires.toml"),
    quiet: include_str!("examples/default-gateway-unknown.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let site = view.site;
    for id in site.segment_ids() {
        let segment = site.segment(id);
        for address in &segment.default_gateway {
            look(site, report, (&segment.name.value, address), &[id]);
        }
    }
    for host in &site.hosts {
        let mut segments: Vec<SegmentId> = host.interfaces.iter().map(|at| at.segment).collect();
        segments.dedup();
        for address in &host.default_gateway {
            look(site, report, (&host.name.value, address), &segments);
        }
    }
}

fn look(
    site: &Site,
    report: &mut FindingReport,
    (who, address): (&str, &Spanned<IpAddr>),
    segments: &[SegmentId],
) {
    if site.forwards_from(segments, address.value) {
        return;
    }
    let names: Vec<&str> = segments
        .iter()
        .map(|&segment| site.segment(segment).name.value.as_str())
        .collect();
    let what = format!(
        "has the default gateway {}, and no gateway or router on {} has that address",
        address.value,
        enumerated(&names)
    );
    let known = addresses_on(site, segments, Family::of(address.value));
    let help = match known.as_slice() {
        [] => "give a gateway or router an interface with this address there".to_owned(),
        known => format!("routers there have {}", known.join(", ")),
    };
    let draft = found(&CHECK, address.span, who, what);
    report.add(draft.measured(of_things([address.value])).help(help));
}

/// Addresses of forwarding devices on some segments, a few, in the order of the file.
fn addresses_on(site: &Site, segments: &[SegmentId], family: Family) -> Vec<String> {
    site.routers
        .iter()
        .flat_map(|router| &router.interfaces)
        .filter(|interface| segments.contains(&interface.segment))
        .flat_map(|interface| &interface.addresses)
        .filter(|address| address.value.family() == family)
        .take(4)
        .map(|address| address.value.address().to_string())
        .collect()
}
