//! An address that several devices have.

use std::collections::BTreeMap;
use std::net::IpAddr;

use boundwalk_diagnostic::{Check, Severity, Span};
use boundwalk_model::{SegmentId, Site};

use super::measured::of_things;
use super::report::{FindingReport, found};
use super::view::CheckContext;
use super::words::enumerated;

pub(super) static CHECK: Check = Check {
    name: "address-twice",
    severity: Severity::Error,
    summary: "an address that several devices have",
    why: "Whichever device answers first gets the packets, and it may be another one after the next restart: what one \
        of them offers fails now and then, and rules written for one let through or stop what is sent to the other.",
    fine_when: "Never by accident. Devices that share an address on purpose, of which one has it at a time, list it in \
        `shared_addresses`.",
    remedy: "Give one of them another address, or list the address in `shared_addresses` of each.",
    references: &[
        "RFC 5227 section 1 (two hosts on one link must not have one IPv4 address)",
        "RFC 4862 section 5.4 (duplicate address detection)",
        "RFC 9568 (a virtual router's address, which several routers share)",
    ],
    fires: include_str!("examples/address-twice.fires.toml"),
    quiet: include_str!("examples/address-twice.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (address, owners) in owners(view.site) {
        let shared = owners.iter().all(|owner| owner.shared);
        let Some((last, earlier)) = owners.split_last().filter(|_| !shared) else {
            continue;
        };
        if earlier.is_empty() {
            continue;
        }
        let names: Vec<&str> = owners.iter().map(|owner| owner.device).collect();
        let what = format!(
            "is an address of {}: either may answer, and answers about it say what may happen",
            enumerated(&names)
        );
        let mut draft = found(&CHECK, last.span, address.to_string(), what)
            .measured(of_things(&names))
            .help(
                "give one of them another address, or list it in `shared_addresses` of each where they share it on \
                 purpose",
            );
        for owner in earlier {
            draft = draft.note(owner.span, format!("{} has it here", owner.device));
        }
        report.add(draft);
    }
}

/// An interface that has an address.
pub(super) struct Owner<'s> {
    /// Its device.
    pub(super) device: &'s str,
    /// Where the address is given.
    pub(super) span: Span,
    /// Whether it is said to be shared.
    pub(super) shared: bool,
}

/// Who has each address, in the order of the file. A link-local address means something on its segment only (RFC 4291
/// section 2.5.6).
pub(super) fn owners(site: &Site) -> Vec<(IpAddr, Vec<Owner<'_>>)> {
    let mut all: BTreeMap<(IpAddr, Option<SegmentId>), Vec<Owner<'_>>> = BTreeMap::new();
    let routers = site.routers.iter().flat_map(|router| {
        router
            .interfaces
            .iter()
            .map(|at| (&router.name, at.segment, &at.addresses, &at.shared))
    });
    let hosts = site.hosts.iter().flat_map(|host| {
        host.interfaces
            .iter()
            .map(|at| (&host.name, at.segment, &at.addresses, &at.shared))
    });
    for (device, segment, addresses, shared) in routers.chain(hosts) {
        for address in addresses {
            let value = address.value.address();
            let link_local =
                matches!(value, IpAddr::V6(address) if address.is_unicast_link_local());
            let key = (value, link_local.then_some(segment));
            all.entry(key).or_default().push(Owner {
                device: &device.value,
                span: address.span,
                shared: shared.contains(&value),
            });
        }
    }
    let each = all.into_iter().map(|((address, _), mut owners)| {
        owners.sort_by_key(|owner| owner.span);
        (address, owners)
    });
    each.collect()
}
