//! Whether a packet is one that a line names.

use std::net::IpAddr;

use boundwalk::model::{AddressMatch, Date, ICMP, ICMPV6, Rule, Service, ServiceMatch};

use super::Probe;

/// Whether a rule is on: enabled and not over. A day of expiry is the last one.
pub fn is_active(rule: &Rule, today: Date) -> bool {
    let over = rule.expires.as_ref().is_some_and(|last| last.value < today);
    rule.enabled && !over
}

/// Whether a list of addresses holds one; no list holds all.
pub fn holds(wanted: &Option<AddressMatch>, address: IpAddr) -> bool {
    let Some(wanted) = wanted else { return true };
    let (intervals, value) = match address {
        IpAddr::V4(v4) => (wanted.set.v4.intervals(), u128::from(u32::from(v4))),
        IpAddr::V6(v6) => (wanted.set.v6.intervals(), u128::from(v6)),
    };
    intervals
        .iter()
        .any(|part| part.low() <= value && value <= part.high())
}

/// Whether a list of services holds a packet; no list holds all.
pub fn serves(wanted: &Option<ServiceMatch>, probe: Probe) -> bool {
    let Some(wanted) = wanted else { return true };
    wanted
        .services
        .iter()
        .any(|service| is_service(service, probe))
}

/// ICMP is IPv4's and ICMPv6 is IPv6's: neither matches a packet of the other family.
fn is_service(service: &Service, probe: Probe) -> bool {
    let (v4, port) = (probe.destination.is_ipv4(), probe.destination_port);
    let exists = |protocol| !(protocol == ICMPV6 && v4 || protocol == ICMP && !v4);
    match service {
        Service::Any => true,
        Service::Whole(protocol) => exists(*protocol) && protocol.0 == probe.protocol,
        Service::Ports {
            protocol,
            source,
            destination,
        } => {
            let from = source.contains(u128::from(probe.source_port));
            protocol.0 == probe.protocol && from && destination.contains(u128::from(port))
        }
        Service::Message {
            protocol,
            kind,
            code,
        } => {
            let [message, detail] = port.to_be_bytes();
            let same = protocol.0 == probe.protocol && *kind == message;
            exists(*protocol) && same && code.is_none_or(|code| code == detail)
        }
    }
}
