//! A permit for a long range of ports.

use num_bigint::BigUint;

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::{Protocol, Service, Site};
use boundwalk_packet::IntervalSet;

use super::extent::counted;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "ports-wide",
    severity: Severity::Warning,
    summary: "a permit for a long range of ports",
    why: "Whatever a device listens on in that range is reachable, now and later. Protocols that choose ports as they go mostly can be told to use few.",
    fine_when: "The protocol really needs the range and its devices have nothing else to offer there.",
    remedy: "Set the range in the devices and permit that; or let the gateway follow the control connection, where it can.",
    references: &[
        "RFC 6335 section 6: system ports 0-1023, user ports 1024-49151, dynamic ports 49152-65535",
        "NIST SP 800-53 AC-6 and CM-7: least privilege, least functionality",
    ],
    fires: include_str!("examples/ports-wide.fires.toml"),
    quiet: include_str!("examples/ports-wide.quiet.toml"),
};

/// Ports of one service from which on it is long: a rule of this house.
const LONG: u32 = 1_000;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        let services = permit.rule.services.iter();
        for service in services.flat_map(|list| &list.services) {
            let (protocol, ports) = match service {
                // Answers of a known service go to whatever port it was asked from.
                Service::Ports {
                    protocol,
                    source,
                    destination,
                } if source.size() > BigUint::from(LONG) => (*protocol, destination.clone()),
                Service::Whole(protocol) if protocol.has_ports() => {
                    (*protocol, IntervalSet::range(0, 65_535))
                }
                _ => continue,
            };
            if ports.size() <= BigUint::from(LONG) {
                continue;
            }
            let gateway = permit.gateway;
            let known = known(view.site, protocol, &ports);
            let what = format!(
                "permits {} of the 65,536 ports of {protocol}; {known}",
                counted(&ports.size())
            );
            report.add(
                found(
                    &CHECK,
                    gateway.place(permit.number),
                    gateway.name(permit.number),
                    what,
                )
                .help("name the ports that are used, or narrow the range in the devices too"),
            );
        }
    }
}

/// Which services with a name lie in a range; of many only how many.
fn known(site: &Site, protocol: Protocol, ports: &IntervalSet) -> String {
    const MOST: usize = 5;
    let inside = |service: &Service| match service {
        Service::Ports {
            protocol: own,
            destination,
            ..
        } => {
            *own == protocol
                && destination.is_subset(ports)
                && destination.size() <= BigUint::from(LONG)
        }
        _ => false,
    };
    let names: Vec<&str> = site
        .service_names
        .iter()
        .filter(|group| group.services.iter().any(inside))
        .map(|group| group.name.value.as_str())
        .collect();
    match names.len() {
        0 => "no service in that range has a name".to_owned(),
        1..=MOST => format!(
            "of the known services these lie there: {}",
            names.join(", ")
        ),
        count => format!("{count} services in that range have names"),
    }
}
