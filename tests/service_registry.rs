//! Do our built-in services have the names and ports of the registry?

use std::collections::HashMap;

use boundwalk::load::{BuiltInService, built_in_services};
use boundwalk::model::Service;

/// The registry gives several names to these ports, and the copy kept another one than we use; the same port
/// of another transport shows that our name is right.
const SEVERAL_NAMES: [(&str, &str, &str); 2] =
    [("http", "80/tcp", "80/sctp"), ("ipp", "631/tcp", "631/udp")];

/// Name by "port/transport".
fn registry() -> HashMap<String, String> {
    let text = include_str!("data/iana-ports.csv");
    let lines = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    let mut names = HashMap::new();
    for line in lines {
        let [port, transport, name] = line.splitn(3, ',').collect::<Vec<_>>()[..] else {
            panic!("{line} has no three columns");
        };
        names.insert(format!("{port}/{transport}"), name.to_owned());
    }
    names
}

/// "port/transport" of each part of a service.
fn ports(service: &BuiltInService) -> Vec<String> {
    let of = |part: &Service| match part {
        Service::Ports {
            protocol,
            source,
            destination,
        } => {
            let full = source.intervals();
            assert_eq!(
                (full[0].low(), full[0].high()),
                (0, 65_535),
                "{}",
                service.name
            );
            let [port] = destination.intervals() else {
                panic!("{} has several ports", service.name)
            };
            assert_eq!(port.low(), port.high(), "{}", service.name);
            format!("{}/{protocol}", port.low())
        }
        other => panic!("{}: {other:?} is in no port registry", service.name),
    };
    service.services.iter().map(of).collect()
}

#[test]
fn built_in_services_are_those_of_the_registry() {
    let registry = registry();
    let mut compared = 0;
    for service in built_in_services().iter().filter(|service| !service.own) {
        for port in ports(service) {
            let exception = SEVERAL_NAMES
                .iter()
                .find(|(name, at, _)| (*name, *at) == (service.name.as_str(), port.as_str()));
            let looked_up = exception.map_or(port.as_str(), |(_, _, instead)| instead);
            assert_eq!(registry.get(looked_up), Some(&service.name), "{port}");
            compared += 1;
        }
    }
    assert_eq!(
        compared, 86,
        "the number of ports in policies/services.toml"
    );
}

/// A name of ours must not be taken for the registry's.
#[test]
fn own_names_are_not_in_the_registry() {
    let registry = registry();
    let own: Vec<&str> = built_in_services()
        .iter()
        .filter(|service| service.own)
        .map(|service| service.name.as_str())
        .collect();
    assert_eq!(own, ["https-udp", "ping"]);
    assert!(registry.values().all(|name| !own.contains(&name.as_str())));
}

/// Values from /etc/services of the netbase collection, version 6.4: a second source.
#[test]
fn well_known_ports_agree_with_a_second_source() {
    let expected = [
        ("ssh", "22/tcp"),
        ("telnet", "23/tcp"),
        ("tftp", "69/udp"),
        ("ntp", "123/udp"),
        ("snmp", "161/udp"),
        ("bgp", "179/tcp"),
        ("microsoft-ds", "445/tcp"),
        ("isakmp", "500/udp"),
        ("syslog", "514/udp"),
        ("ldaps", "636/tcp"),
        ("imaps", "993/tcp"),
        ("radius", "1812/udp"),
        ("iscsi-target", "3260/tcp"),
        ("postgresql", "5432/tcp"),
        ("redis", "6379/tcp"),
        ("syslog-tls", "6514/tcp"),
        ("git", "9418/tcp"),
    ];
    for (name, port) in expected {
        let service = built_in_services()
            .iter()
            .find(|service| service.name == name);
        assert_eq!(ports(service.expect(name)), [port]);
    }
}
