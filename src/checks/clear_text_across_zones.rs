//! A permit that names a protocol without encryption between zones.

use num_bigint::BigUint;

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Service, Zone};

use super::clear_text_services::{CLEAR_TEXT, ClearText};
use super::measured::of_permit;
use super::permit::PermitRule;
use super::report::{FindingReport, found};
use super::trust::untrusted;
use super::view::CheckContext;
use super::zone_pairs::zone_pairs;

pub(super) static CHECK: Check = Check {
    name: "clear-text-across-zones",
    severity: Severity::Warning,
    summary: "a permit that names a protocol without encryption between zones",
    why: "Who sits on the way reads and changes everything: pages, passwords, commands to controllers. Between zones there is always somebody on the way.",
    fine_when: "Nothing secret and nothing that anybody acts on is sent, or the protocol runs inside a tunnel; or the devices can not do better and the way is watched.",
    remedy: "Use the encrypted form of the protocol, or put a gateway that speaks it in front of the devices.",
    references: &[
        "PCI DSS v4.0.1 1.2.6: security features for insecure services in use",
        "IANA service name and port number registry (RFC 6335)",
        "common practice, no source, for what is clear text",
    ],
    fires: include_str!("examples/clear-text-across-zones.fires.toml"),
    quiet: include_str!("examples/clear-text-across-zones.quiet.toml"),
};

/// Ports of a service up to which it is named for what runs there; longer ranges are another check's.
const NARROW: u32 = 16;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        let named = named(permit);
        if named.is_empty() {
            continue;
        }
        // What untrusted zones do among themselves is left out: guests that browse the internet are not ours to
        // protect.
        let ours = |from: &Zone, to: &Zone| !untrusted(from) || !untrusted(to);
        let pairs = zone_pairs(view, permit, ours, |_| true);
        if pairs.is_empty() {
            continue;
        }
        let gateway = permit.gateway;
        let names: Vec<&str> = named.iter().map(|service| service.name).collect();
        let what = format!(
            "permits {} in clear text between zones: {}",
            names.join(", "),
            pairs.join(", ")
        );
        let instead: Vec<String> = named
            .iter()
            .map(|service| format!("{} instead of {}", service.instead, service.name))
            .collect();
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .measured(of_permit(view, permit))
            .help(instead.join("; ")),
        );
    }
}

/// Clear-text services that its list names, other than by a long range.
fn named(permit: &PermitRule<'_>) -> Vec<&'static ClearText> {
    let services = permit.rule.services.iter();
    let services: Vec<&Service> = services.flat_map(|list| &list.services).collect();
    let holds = |clear: &&ClearText| {
        services.iter().any(|service| match service {
            Service::Ports {
                protocol,
                destination,
                ..
            } => {
                protocol.0 == clear.protocol
                    && destination.contains(clear.port.into())
                    && destination.size() <= BigUint::from(NARROW)
            }
            _ => false,
        })
    };
    CLEAR_TEXT.iter().filter(holds).collect()
}
