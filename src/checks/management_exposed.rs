//! Management services open to untrusted zones, or a gateway open to whole segments.

use num_bigint::BigUint;

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Family, Service, Zone};

use super::extent::addresses;
use super::measured::of_permit;
use super::permit::PermitRule;
use super::permits::{segments, zone_of};
use super::report::{FindingReport, found};
use super::trust::untrusted;
use super::view::CheckContext;
use super::zone_pairs::zone_pairs;

pub(super) static CHECK: Check = Check {
    name: "management-exposed",
    severity: Severity::Warning,
    summary: "management services open to untrusted zones, or a gateway open to whole segments",
    why: "Who reaches the place where devices are configured needs only a password or a hole to own them. A gateway that many can try to log in to will be tried.",
    fine_when: "The segment holds administrators and nobody else; or the host is there to be the way in, and is kept up to date and watched.",
    remedy: "Name the hosts that administer in `source`.",
    references: &[
        "RFC 6192 section 3.1: management of a router is permitted from the management stations",
        "DISA Router SRG, SRG-NET-000205-RTR-000001: restrict traffic destined to the router itself, to specific sources",
    ],
    fires: include_str!("examples/management-exposed.fires.toml"),
    quiet: include_str!("examples/management-exposed.quiet.toml"),
};

/// Ports where devices are managed: ssh, telnet, snmp, remote desktops, netconf over ssh, remote management (IANA
/// names ssh, telnet, snmp, ms-wbt-server, rfb, netconf-ssh, wsman and wsmans; that they manage is common practice).
const MANAGED: [(u8, u16); 9] = [
    (6, 22),
    (6, 23),
    (6, 830),
    (6, 3389),
    (6, 5900),
    (6, 5985),
    (6, 5986),
    (17, 161),
    (17, 3389),
];
/// On the gateway itself also the pages where it is configured.
const PAGES: [(u8, u16); 2] = [(6, 80), (6, 443)];
/// Sources up to which a rule names its administrators.
const FEW: u32 = 16;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        let gateway = permit.gateway;
        let mut say = |what: String, help: &str| {
            let (place, name) = (gateway.place(permit.number), gateway.name(permit.number));
            let draft = found(&CHECK, place, name, what).help(help);
            report.add(draft.measured(of_permit(view, permit)));
        };
        if !permit.for_gateway_only() && names(permit, &MANAGED) {
            let inward = |from: &Zone, to: &Zone| untrusted(from) && !untrusted(to);
            let pairs = zone_pairs(view, permit, inward, |_| true);
            if !pairs.is_empty() {
                say(
                    format!(
                        "lets untrusted zones reach management services: {}",
                        pairs.join(", ")
                    ),
                    "leave untrusted zones out of `from`, or name the hosts in `source`",
                );
            }
        }
        let managed = names(permit, &MANAGED) || names(permit, &PAGES);
        if permit.for_gateway() && permit.rule.to.is_some() && managed {
            let (count, from) = sources(view, permit);
            if count > BigUint::from(FEW) || strangers(view, permit) {
                say(
                    format!(
                        "lets {} of {from} reach the management of the gateway itself",
                        addresses(&count)
                    ),
                    "name the hosts that administer in `source`",
                );
            }
        }
    }
}

/// Whether its services name one of some ports; every service does.
fn names(permit: &PermitRule<'_>, ports: &[(u8, u16)]) -> bool {
    let Some(list) = &permit.rule.services else {
        return true;
    };
    list.services.iter().any(|service| match service {
        Service::Any => true,
        Service::Whole(protocol) => ports.iter().any(|(own, _)| *own == protocol.0),
        Service::Ports {
            protocol,
            destination,
            ..
        } => ports
            .iter()
            .any(|(own, port)| *own == protocol.0 && destination.contains((*port).into())),
        Service::Message { .. } => false,
    })
}

/// Whether it lets in an untrusted zone.
fn strangers(view: &CheckContext<'_>, permit: &PermitRule<'_>) -> bool {
    let mut senders = permit.senders.iter();
    senders.any(|met| untrusted(zone_of(view.site, met.segment)))
}

/// How many addresses may use it, of the family that has more of IPv4 where it has any, and the segments they are in.
fn sources(view: &CheckContext<'_>, permit: &PermitRule<'_>) -> (BigUint, String) {
    let segments = segments(&permit.senders);
    let names: Vec<&str> = segments
        .iter()
        .map(|&segment| view.site.segment(segment).name.value.as_str())
        .collect();
    let of = |family: Family| -> BigUint {
        let plan = view.network.plan(family);
        let sizes = segments.iter().map(|&segment| {
            let own = &plan.segment(segment).addresses;
            match &permit.rule.source {
                Some(field) => own.intersection(field.set.of(family)).size(),
                None => own.size(),
            }
        });
        sizes.sum()
    };
    let four = of(Family::V4);
    let count = if four == BigUint::ZERO {
        of(Family::V6)
    } else {
        four
    };
    (count, names.join(", "))
}
