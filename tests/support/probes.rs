//! Packets at and beside the ends of everything that a site mentions.

use std::net::IpAddr;

use boundwalk::model::{
    AddressMatch, Family, ICMP, ICMPV6, Service, ServiceMatch, Site, TranslationTarget,
};
use boundwalk::packet::Interval;

use crate::random::Random;
use crate::simulator::Probe;

/// Addresses and ports worth trying on a site.
pub struct Probes {
    four: Vec<IpAddr>,
    six: Vec<IpAddr>,
    /// Addresses that described hosts have.
    hosts: Vec<IpAddr>,
    ports: Vec<u16>,
    messages: Vec<u16>,
}

impl Probes {
    pub fn new(site: &Site) -> Self {
        let mut pool = Self {
            four: ["198.51.100.77", "10.200.0.1", "127.0.0.1", "224.0.0.1"]
                .map(parsed)
                .to_vec(),
            six: ["2001:db8:9::1", "fdff::1", "ff02::1", "fe80::1"]
                .map(parsed)
                .to_vec(),
            hosts: Vec::new(),
            ports: vec![0, 7, 65535],
            messages: vec![0, 8 * 256, 3 * 256 + 1, 128 * 256, 129 * 256],
        };
        pool.add_places(site);
        for filter in site.routers.iter().filter_map(|router| router.filter()) {
            for rule in &filter.rules {
                pool.add_matches(&rule.source, &rule.destination, &rule.services);
            }
            for line in filter
                .destination_translations
                .iter()
                .chain(&filter.source_translations)
            {
                pool.add_matches(&line.source, &line.destination, &line.services);
                pool.ports.extend(line.port);
                if let TranslationTarget::Address(address) = line.target {
                    pool.add_interval(Family::of(address), Interval::point(Family::value(address)));
                }
            }
        }
        for addresses in [&mut pool.four, &mut pool.six] {
            addresses.sort();
            addresses.dedup();
        }
        pool.ports.sort_unstable();
        pool.ports.dedup();
        pool
    }

    fn add_places(&mut self, site: &Site) {
        let prefixes = site.segments.iter().flat_map(|segment| &segment.prefixes);
        let routes = site.routers.iter().flat_map(|router| &router.routes);
        let routes = routes.chain(site.hosts.iter().flat_map(|host| &host.routes));
        let all = prefixes
            .map(|prefix| prefix.value)
            .chain(routes.map(|route| route.destination));
        for prefix in all {
            self.add_interval(prefix.family(), prefix.interval());
        }
        let routers = site.routers.iter().flat_map(|router| &router.interfaces);
        let of_hosts = site
            .hosts
            .iter()
            .flat_map(|host| &host.interfaces)
            .flat_map(|port| &port.addresses);
        self.hosts
            .extend(of_hosts.clone().map(|address| address.value.address()));
        let own = routers.flat_map(|port| &port.addresses).chain(of_hosts);
        for net in own.map(|address| address.value) {
            let address = net.address();
            self.add_interval(net.family(), net.prefix().interval());
            self.add_interval(Family::of(address), Interval::point(Family::value(address)));
        }
    }

    fn add_matches(
        &mut self,
        source: &Option<AddressMatch>,
        destination: &Option<AddressMatch>,
        services: &Option<ServiceMatch>,
    ) {
        for list in [source, destination].into_iter().flatten() {
            for family in Family::ALL {
                for &part in list.set.of(family).intervals() {
                    self.add_interval(family, part);
                }
            }
        }
        for service in services.iter().flat_map(|list| &list.services) {
            match service {
                Service::Any | Service::Whole(_) => {}
                Service::Message { kind, code, .. } => {
                    self.messages
                        .push(u16::from_be_bytes([*kind, code.unwrap_or(0)]));
                }
                Service::Ports {
                    source,
                    destination,
                    ..
                } => {
                    for part in source.intervals().iter().chain(destination.intervals()) {
                        let ends = [
                            part.low().saturating_sub(1),
                            part.low(),
                            part.high(),
                            part.high() + 1,
                        ];
                        self.ports
                            .extend(ends.iter().filter_map(|&end| u16::try_from(end).ok()));
                    }
                }
            }
        }
    }

    /// Both ends and their neighbours inside and outside.
    fn add_interval(&mut self, family: Family, interval: Interval) {
        let (low, high) = (interval.low(), interval.high());
        let beside = [
            low.saturating_sub(1),
            low,
            low + (high - low) / 2,
            high,
            high.saturating_add(1),
        ];
        let list = if family == Family::V4 {
            &mut self.four
        } else {
            &mut self.six
        };
        let valid = beside.into_iter().filter(|&value| value <= family.top());
        list.extend(valid.map(|value| family.address(value)));
    }

    /// Every address worth trying in a family: of addresses that the site does not tell apart at least one.
    pub fn addresses(&self, family: Family) -> &[IpAddr] {
        match family {
            Family::V4 => &self.four,
            Family::V6 => &self.six,
        }
    }

    /// A packet, mostly with a source that `likely` accepts, often one that a described host has; the destination is
    /// sometimes a host's too.
    pub fn draw(
        &self,
        random: &mut Random,
        family: Family,
        likely: impl Fn(IpAddr) -> bool,
    ) -> Probe {
        let list = self.addresses(family);
        let hosts: Vec<IpAddr> = self
            .hosts
            .iter()
            .copied()
            .filter(|&address| Family::of(address) == family)
            .collect();
        let both = [list, &hosts].map(|all| {
            all.iter()
                .copied()
                .filter(|&address| likely(address))
                .collect::<Vec<IpAddr>>()
        });
        let sources = &both[usize::from(!both[1].is_empty() && random.percent(35))];
        let source = if sources.is_empty() || random.percent(10) {
            *random.pick(list)
        } else {
            *random.pick(sources)
        };
        let destination = if hosts.is_empty() || random.percent(80) {
            *random.pick(list)
        } else {
            *random.pick(&hosts)
        };
        let message = if family == Family::V4 {
            ICMP.0
        } else {
            ICMPV6.0
        };
        let protocol = *random.pick(&[6, 6, 6, 17, 17, message, 47, 50, 132]);
        let (source_port, destination_port) = match protocol {
            47 | 50 => (0, 0),
            _ if protocol == message => (0, *random.pick(&self.messages)),
            _ => (*random.pick(&self.ports), *random.pick(&self.ports)),
        };
        Probe {
            source,
            destination,
            protocol,
            source_port,
            destination_port,
        }
    }
}

fn parsed(text: &str) -> IpAddr {
    text.parse().expect("an address")
}
