//! What passes between two parties: every packet walked by itself, then counted.

use std::collections::BTreeSet;
use std::net::IpAddr;

use boundwalk::analysis::{By, Endpoint, Extent, Reading};
use boundwalk::model::{Family, HostId, RouterId, SegmentId, Site, TranslationTarget};
use boundwalk::packet::ServiceClasses;

use crate::simulator::{Decision, Outcome, Probe, Simulator, Spot, Stance};

/// One packet of a class, but for its addresses.
#[derive(Clone, Copy)]
pub struct Service {
    pub class: usize,
    pub protocol: u8,
    pub ports: (u16, u16),
}

/// A packet that a sender may send, and what became of it.
pub struct Sent {
    pub probe: Probe,
    pub class: usize,
    pub outcomes: Vec<Outcome>,
    /// The same for the device that has the source alone; `None`: nobody asks it of this one.
    pub by_owner: Option<Vec<Outcome>>,
}

/// A cell as it should be.
pub struct Expected {
    pub reading: Reading,
    pub some: BTreeSet<usize>,
    pub every: BTreeSet<usize>,
    pub two_way: Extent,
    pub filtered: Extent,
    pub crossed: BTreeSet<RouterId>,
    pub rules: BTreeSet<(RouterId, Option<usize>)>,
    /// Destinations and classes that arrive, whatever the source.
    pub reached: BTreeSet<(IpAddr, usize)>,
}

/// A site in one family, with packets to send.
pub struct Pairs<'s> {
    pub site: &'s Site,
    pub simulator: &'s Simulator<'s>,
    pub columns: Vec<Endpoint>,
    pub services: &'s [Service],
    /// Every address to try as a source.
    addresses: Vec<IpAddr>,
    /// Those of some column, and those that some translation matches.
    pub destinations: Vec<IpAddr>,
}

impl<'s> Pairs<'s> {
    pub fn new(
        site: &'s Site,
        simulator: &'s Simulator<'s>,
        by: By,
        services: &'s [Service],
        addresses: Vec<IpAddr>,
    ) -> Self {
        let parties: Vec<Endpoint> = match by {
            By::Host => (0..site.hosts.len())
                .map(HostId)
                .map(Endpoint::Host)
                .collect(),
            By::Segment | By::Zone => site.segment_ids().map(Endpoint::Segment).collect(),
        };
        let devices = (0..site.routers.len()).map(RouterId).map(Endpoint::Device);
        let mut pairs = Self {
            site,
            simulator,
            columns: parties.into_iter().chain(devices).collect(),
            services,
            addresses,
            destinations: Vec::new(),
        };
        let mut destinations = pairs.addresses.clone();
        destinations.retain(|&address| {
            let mut columns = pairs.columns.iter();
            columns.any(|&column| pairs.has(column, address)) || translated(site, address)
        });
        pairs.destinations = destinations;
        pairs
    }

    /// Who sends: the columns without the gateways and routers.
    pub fn rows(&self) -> impl Iterator<Item = Endpoint> + '_ {
        self.columns
            .iter()
            .copied()
            .filter(|party| !matches!(party, Endpoint::Device(_)))
    }

    /// Whether an address is a party's.
    pub fn has(&self, party: Endpoint, address: IpAddr) -> bool {
        match party {
            Endpoint::Segment(segment) => self.simulator.has(segment, address),
            Endpoint::Host(host) => self.simulator.host_owns(host.0, address),
            Endpoint::Device(router) => self.simulator.router_owns(router.0, address),
            Endpoint::Zone(_) | Endpoint::Unclaimed(..) => false,
        }
    }

    pub fn may_send(&self, from: Endpoint, probe: Probe) -> bool {
        match from {
            Endpoint::Segment(segment) => {
                self.simulator.may_send(segment, probe, Stance::Configured)
            }
            Endpoint::Host(host) => self.simulator.host_may_send(host.0, probe),
            Endpoint::Zone(_) | Endpoint::Device(_) | Endpoint::Unclaimed(..) => false,
        }
    }

    /// What becomes of a packet that a party sends as configured.
    pub fn send(&self, from: Endpoint, probe: Probe) -> Vec<Outcome> {
        match from {
            Endpoint::Segment(segment) => self.simulator.send(segment, probe, Stance::Configured),
            Endpoint::Host(host) => self.simulator.send_from_host(host.0, probe),
            Endpoint::Zone(_) | Endpoint::Device(_) | Endpoint::Unclaimed(..) => Vec::new(),
        }
    }

    pub fn sources(&self, from: Endpoint) -> impl Iterator<Item = IpAddr> + '_ {
        self.addresses
            .iter()
            .copied()
            .filter(move |&address| self.has(from, address))
    }

    /// From each of these sources to each destination a packet of each class.
    pub fn packets<'p>(
        &'p self,
        sources: &'p [IpAddr],
    ) -> impl Iterator<Item = (Probe, usize)> + 'p {
        sources.iter().flat_map(move |&source| {
            self.destinations.iter().flat_map(move |&destination| {
                self.services
                    .iter()
                    .map(move |service| (service.probe(source, destination), service.class))
            })
        })
    }

    /// Every packet that a party may send, and what becomes of it.
    pub fn sent(&self, from: Endpoint) -> Vec<Sent> {
        let sources: Vec<IpAddr> = self.sources(from).collect();
        let packets = self.packets(&sources);
        packets
            .filter(|&(probe, _)| self.may_send(from, probe))
            .map(|(probe, class)| {
                let outcomes = self.send(from, probe);
                let by_owner = match from {
                    Endpoint::Segment(segment) => self.simulator.send_from_owner(segment, probe),
                    _ => Some(outcomes.clone()),
                };
                Sent {
                    probe,
                    class,
                    outcomes,
                    by_owner,
                }
            })
            .collect()
    }

    /// Whether a packet that ended like this came to a column.
    pub fn takes(&self, column: Endpoint, outcome: &Outcome) -> bool {
        match (column, outcome.place) {
            (Endpoint::Segment(segment), Spot::Segment(place)) => segment.0 == place,
            (Endpoint::Device(router), Spot::Router(place)) => router.0 == place,
            (Endpoint::Host(host), Spot::Segment(place)) => {
                let arrived = outcome.arrived.destination;
                let mut here = self
                    .site
                    .host(host)
                    .interfaces
                    .iter()
                    .filter(|interface| interface.segment.0 == place);
                here.any(|interface| {
                    let mut own = interface.addresses.iter();
                    own.any(|own| own.value.address() == arrived)
                })
            }
            _ => false,
        }
    }

    fn reading(&self, from: Endpoint, to: Endpoint) -> Reading {
        let neighbours = match (from, to) {
            (Endpoint::Host(one), Endpoint::Host(other)) => {
                let (one, other) = (self.segments(one), self.segments(other));
                one.len() == 1 && one == other
            }
            _ => false,
        };
        let addressed = |party| self.addresses.iter().any(|&at| self.has(party, at));
        match () {
            () if from == to || neighbours => Reading::Within,
            () if addressed(from) && addressed(to) => Reading::Pair,
            () => Reading::NoAddresses,
        }
    }

    /// The segments that a host has interfaces on.
    pub fn segments(&self, host: HostId) -> BTreeSet<SegmentId> {
        self.site
            .host(host)
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect()
    }

    /// The cell of a pair, by everything that the sender sent. What a device would send to itself need not pass.
    pub fn cell<'p>(
        &self,
        from: Endpoint,
        to: Endpoint,
        sent: impl Iterator<Item = &'p Sent>,
    ) -> Expected {
        let mut cell = Expected::blank(self.reading(from, to));
        if cell.reading != Reading::Pair {
            return cell;
        }
        let (mut tried, mut missed) = (BTreeSet::new(), BTreeSet::new());
        let mut sent_to = BTreeSet::new();
        for packet in sent {
            let mut here = packet.outcomes.iter().filter(|end| self.takes(to, end));
            let destination = packet.probe.destination;
            sent_to.insert(destination);
            tried.insert(packet.class);
            let itself = self
                .simulator
                .are_of_one_device(packet.probe.source, destination);
            let lost = packet.by_owner.as_ref().is_some_and(|ends| {
                let mut ends = ends.iter();
                !ends.any(|end| self.takes(to, end))
            });
            if self.has(to, destination) && !itself && lost {
                missed.insert(packet.class);
            }
            here.by_ref()
                .for_each(|outcome| cell.count(self.site, packet, outcome));
        }
        let mut own = self.destinations.iter().filter(|&&at| self.has(to, at));
        // An address to which the sender can send nothing at all is not reached.
        if own.all(|address| sent_to.contains(address)) {
            cell.every = tried.difference(&missed).copied().collect();
        }
        cell
    }
}

impl Expected {
    pub fn blank(reading: Reading) -> Self {
        Self {
            reading,
            some: BTreeSet::new(),
            every: BTreeSet::new(),
            two_way: Extent::Nothing,
            filtered: Extent::Nothing,
            crossed: BTreeSet::new(),
            rules: BTreeSet::new(),
            reached: BTreeSet::new(),
        }
    }

    /// The cell of two zones, by the cells of their segments.
    pub fn joined<'e>(parts: impl Iterator<Item = &'e Self> + Clone) -> Self {
        let readings: Vec<Reading> = parts.clone().map(|part| part.reading).collect();
        let has = |reading| readings.contains(&reading);
        let mut cell = Self::blank(match () {
            () if has(Reading::Pair) => Reading::Pair,
            () if has(Reading::NoAddresses) => Reading::NoAddresses,
            () => Reading::Within,
        });
        let real = parts.filter(|part| part.reading == Reading::Pair);
        for (number, part) in real.enumerate() {
            cell.every = match number {
                0 => part.every.clone(),
                _ => cell.every.intersection(&part.every).copied().collect(),
            };
            cell.some.extend(&part.some);
            cell.crossed.extend(&part.crossed);
            cell.rules.extend(&part.rules);
            for (into, extent) in [
                (&mut cell.two_way, part.two_way),
                (&mut cell.filtered, part.filtered),
            ] {
                let holding = matches!(extent, Extent::Some | Extent::All);
                let failing = matches!(extent, Extent::Some | Extent::None);
                *into = if holding { both(*into, true) } else { *into };
                *into = if failing { both(*into, false) } else { *into };
            }
        }
        cell
    }

    /// Counts a packet that arrived.
    fn count(&mut self, site: &Site, packet: &Sent, outcome: &Outcome) {
        self.some.insert(packet.class);
        self.reached
            .insert((packet.probe.destination, packet.class));
        self.two_way = both(self.two_way, outcome.came_back);
        let mut hops = outcome.hops.iter();
        self.filtered = both(self.filtered, hops.any(|hop| hop.decided.is_some()));
        for hop in outcome
            .hops
            .iter()
            .filter(|hop| hop.device < site.routers.len())
        {
            let router = RouterId(hop.device);
            self.crossed.insert(router);
            self.rules.extend(hop.decided.map(|decided| match decided {
                Decision::Rule(rule) => (router, Some(rule)),
                Decision::Default => (router, None),
            }));
        }
    }
}

/// An extent with one more to say it of.
pub fn both(extent: Extent, holds: bool) -> Extent {
    match (extent, holds) {
        (Extent::Nothing | Extent::All, true) => Extent::All,
        (Extent::Nothing | Extent::None, false) => Extent::None,
        _ => Extent::Some,
    }
}

impl Service {
    pub fn probe(&self, source: IpAddr, destination: IpAddr) -> Probe {
        Probe {
            source,
            destination,
            protocol: self.protocol,
            source_port: self.ports.0,
            destination_port: self.ports.1,
        }
    }
}

/// One packet of each class: of its lowest members, or else of its highest.
pub fn one_of_each(classes: &ServiceClasses, lowest: bool) -> Vec<Service> {
    let end = |set: &boundwalk::packet::IntervalSet| {
        let end = if lowest { set.lowest() } else { set.highest() };
        end.expect("no class is empty")
    };
    let of = |class| {
        let shape = classes.class_box(class);
        let protocol = end(&shape.protocols) as u8;
        // What has no ports has zeros there; messages have a type and code only.
        let ports = match protocol {
            6 | 17 | 33 | 132 | 136 => (end(&shape.source_ports), end(&shape.destination_ports)),
            1 | 58 => (0, end(&shape.destination_ports)),
            _ => (0, 0),
        };
        let ports = (ports.0 as u16, ports.1 as u16);
        assert_eq!(classes.class_of(protocol, ports.0, ports.1), class);
        Service {
            class,
            protocol,
            ports,
        }
    };
    (0..classes.len()).map(of).collect()
}

/// Whether some destination translation matches an address.
fn translated(site: &Site, address: IpAddr) -> bool {
    let (family, value) = (Family::of(address), Family::value(address));
    let mut lines = site
        .routers
        .iter()
        .filter_map(|router| router.filter())
        .flat_map(|filter| &filter.destination_translations);
    lines.any(|line| {
        let mine =
            matches!(line.target, TranslationTarget::Address(to) if Family::of(to) == family);
        let wanted = line.destination.as_ref();
        line.enabled && mine && wanted.is_none_or(|wanted| wanted.set.of(family).contains(value))
    })
}
