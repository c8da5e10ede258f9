//! What is asked of the kernel: probes from host to host, and frames by hand.

use std::collections::{BTreeMap, BTreeSet};
use std::net::IpAddr;

use boundwalk::forwarding::Packet;
use boundwalk::forwarding::layer2::{Far, InterfaceOf, PortId, PortName};
use boundwalk::model::{Forwards, HostId, ICMP, ICMPV6, Protocol, Service, Site, TCP, UDP};
use serde_json::{Value, json};

use crate::topology::{Plug, SWITCHES, Topology, host_space, owners};

/// Numbers of the first and the second pass are source ports, clear of each other and of every service.
pub const FIRST: u16 = 20_000;
pub const SECOND: u16 = 30_000;

/// Services that probes use in turn.
const SERVICES: [(Protocol, u16); 4] = [(TCP, 80), (UDP, 53), (TCP, 22), (UDP, 514)];

/// One packet from a host, and its number.
#[derive(Clone, Debug)]
pub struct Probe {
    pub number: u16,
    pub from: HostId,
    pub packet: Packet,
}

/// A frame made by hand.
pub struct Sent {
    pub number: u16,
    pub port: PortId,
    pub from: Plug,
    pub tags: Vec<u16>,
}

/// Messages of ICMP and of ICMPv6 that every topology sends: type and code. One that asks, one that tells of a failing
/// packet, one that tells of another.
const MESSAGES: [[(u8, u8); 3]; 2] = [[(8, 0), (3, 1), (11, 0)], [(128, 0), (1, 1), (3, 0)]];

/// Messages that a topology sends at most.
const MOST_MESSAGES: usize = 120;

/// Everything that is sent in one topology.
pub struct Job {
    pub probes: Vec<Probe>,
    /// Messages of ICMP, numbered apart.
    pub messages: Vec<Probe>,
    pub frames: Vec<Sent>,
    /// Whether probes go a second time, with permanent neighbours.
    twice: bool,
}

impl Job {
    pub fn new(topology: &Topology<'_>) -> Self {
        let mut job = Self {
            probes: Vec::new(),
            messages: Vec::new(),
            frames: frames(topology),
            twice: true,
        };
        job.add_pairs(topology);
        job.add_messages(topology);
        job
    }

    /// Only these packets, by TCP and UDP, once, in this order.
    pub fn of(packets: &[(HostId, Packet)]) -> Self {
        let mut job = Self {
            probes: Vec::new(),
            messages: Vec::new(),
            frames: Vec::new(),
            twice: false,
        };
        for (from, packet) in packets {
            let service = (packet.protocol, packet.destination_port);
            job.add(*from, packet.source, packet.destination, service);
        }
        job
    }

    /// From every address of a host to every address of other devices, by two services in turn.
    fn add_pairs(&mut self, topology: &Topology<'_>) {
        let mut turn = 0;
        for (host, source, target) in pairs(topology) {
            for _ in 0..2 {
                turn += 1;
                if source.is_ipv4() == target.is_ipv4() {
                    self.add(host, source, target, SERVICES[turn % SERVICES.len()]);
                }
            }
        }
    }

    /// The same with messages of ICMP: those that rules name and some more, in turn.
    fn add_messages(&mut self, topology: &Topology<'_>) {
        let sorts = [ICMP, ICMPV6].map(|protocol| messages(topology.site, protocol));
        for (turn, (from, source, destination)) in pairs(topology).into_iter().enumerate() {
            if source.is_ipv4() != destination.is_ipv4() || self.messages.len() == MOST_MESSAGES {
                continue;
            }
            let sorts = &sorts[usize::from(source.is_ipv6())];
            let (kind, code) = sorts[turn % sorts.len()];
            self.messages.push(Probe {
                number: self.messages.len() as u16,
                from,
                packet: Packet {
                    source,
                    destination,
                    protocol: if source.is_ipv4() { ICMP } else { ICMPV6 },
                    source_port: 0,
                    destination_port: u16::from_be_bytes([kind, code]),
                },
            });
        }
    }

    fn add(&mut self, from: HostId, source: IpAddr, destination: IpAddr, service: (Protocol, u16)) {
        let number = FIRST + self.probes.len() as u16;
        let packet = Packet {
            source,
            destination,
            protocol: service.0,
            source_port: number,
            destination_port: service.1,
        };
        self.probes.push(Probe {
            number,
            from,
            packet,
        });
    }

    /// The job in the guest's words.
    pub fn spell(&self, topology: &Topology<'_>) -> Value {
        json!({
            "spaces": topology.spaces,
            "cables": topology.cables,
            "settle": if topology.negotiates() { 5.0 } else { 0.3 },
            "probes": self.spell_probes(0),
            "second": if self.twice { self.spell_probes(SECOND - FIRST) } else { json!([]) },
            "responders": self.responders(topology),
            "takers": takers(topology).iter().map(|plug| json!([plug.space, plug.device])).collect::<Vec<_>>(),
            "spares": topology.spares.iter().map(|(_, plug)| json!([plug.space, plug.device])).collect::<Vec<_>>(),
            "frames": self.spell_frames(),
            "messages": self.spell_messages(),
        })
    }

    fn spell_probes(&self, shift: u16) -> Value {
        let mut by_space: BTreeMap<String, Vec<Value>> = BTreeMap::new();
        for probe in &self.probes {
            let packet = &probe.packet;
            let protocol = if packet.protocol == TCP { "tcp" } else { "udp" };
            let (source, target) = (packet.source.to_string(), packet.destination.to_string());
            let line = json!([
                protocol,
                source,
                probe.number + shift,
                target,
                packet.destination_port
            ]);
            by_space
                .entry(host_space(probe.from))
                .or_default()
                .push(line);
        }
        json!(by_space.into_iter().collect::<Vec<_>>())
    }

    fn spell_messages(&self) -> Value {
        let lines = self.messages.iter().map(|probe| {
            let packet = &probe.packet;
            let [kind, code] = packet.destination_port.to_be_bytes();
            let (source, target) = (packet.source.to_string(), packet.destination.to_string());
            let space = host_space(probe.from);
            json!([space, source, target, kind, code, probe.number])
        });
        json!(lines.collect::<Vec<_>>())
    }

    fn spell_frames(&self) -> Value {
        let mut groups: Vec<(Plug, u16, Vec<&[u16]>)> = Vec::new();
        for frame in &self.frames {
            match groups.last_mut() {
                Some((plug, _, stacks)) if *plug == frame.from => stacks.push(&frame.tags),
                _ => groups.push((frame.from.clone(), frame.number, vec![&frame.tags])),
            }
        }
        let lines = groups.into_iter();
        let lines =
            lines.map(|(plug, number, stacks)| json!([plug.space, plug.device, number, stacks]));
        json!(lines.collect::<Vec<_>>())
    }

    /// Where answers to UDP come from: every address, every port that is asked or translated to.
    fn responders(&self, topology: &Topology<'_>) -> Vec<Value> {
        let site = topology.site;
        let mut ports: BTreeSet<u16> = self
            .probes
            .iter()
            .map(|probe| &probe.packet)
            .filter(|packet| packet.protocol == UDP)
            .map(|packet| packet.destination_port)
            .collect();
        let filters = site.routers.iter().filter_map(|router| router.filter());
        ports.extend(
            filters
                .flat_map(|filter| &filter.destination_translations)
                .filter_map(|line| line.port),
        );
        let mut listed = Vec::new();
        for owner in owners(site, &topology.fabric) {
            for (_, address) in &owner.addresses {
                let address = address.address().to_string();
                listed.extend(ports.iter().map(|port| json!([owner.space, address, port])));
            }
        }
        listed
    }
}

/// Every address of a host with every address of another device, in the order of the site.
fn pairs(topology: &Topology<'_>) -> Vec<(HostId, IpAddr, IpAddr)> {
    let owners = owners(topology.site, &topology.fabric);
    let routers = topology.site.routers.len();
    let mut pairs = Vec::new();
    for (host, from) in owners[routers..].iter().enumerate() {
        for other in owners.iter().filter(|other| other.number != from.number) {
            for (_, source) in &from.addresses {
                let targets = other.addresses.iter().map(|(_, target)| target.address());
                pairs.extend(targets.map(|target| (HostId(host), source.address(), target)));
            }
        }
    }
    pairs
}

/// Types and codes of a protocol: those that the rules of a site name, and some more. Neighbour discovery is left out
/// (RFC 4861).
fn messages(site: &Site, protocol: Protocol) -> Vec<(u8, u8)> {
    let services = site
        .routers
        .iter()
        .filter_map(|router| router.filter())
        .flat_map(|filter| &filter.rules)
        .filter_map(|rule| rule.services.as_ref());
    let named =
        services
            .flat_map(|services| &services.services)
            .filter_map(|service| match service {
                Service::Message {
                    protocol: of,
                    kind,
                    code,
                } if *of == protocol => Some((*kind, code.unwrap_or(0))),
                _ => None,
            });
    let more = MESSAGES[usize::from(protocol == ICMPV6)];
    let all: BTreeSet<(u8, u8)> = named.chain(more).collect();
    all.into_iter()
        .filter(|(kind, _)| !(133..=137).contains(kind))
        .collect()
}

/// Interfaces in the kernel, each once.
pub fn takers(topology: &Topology<'_>) -> BTreeSet<Plug> {
    topology.interfaces.iter().cloned().collect()
}

/// From every cable of every host and from every free port: no tag, one, and two, out of those in use, 0, and one that
/// nobody uses.
fn frames(topology: &Topology<'_>) -> Vec<Sent> {
    let tags = tags(topology.site);
    let mut stacks: Vec<Vec<u16>> = vec![Vec::new()];
    stacks.extend(tags.iter().map(|&tag| vec![tag]));
    for &outer in &tags {
        stacks.extend(tags.iter().map(|&inner| vec![outer, inner]));
    }
    let mut sent = Vec::new();
    let spares = topology
        .spares
        .iter()
        .map(|(port, plug)| (plug.clone(), *port));
    for (from, port) in cables_of_hosts(topology).into_iter().chain(spares) {
        for tags in &stacks {
            let number = sent.len() as u16 + 1;
            sent.push(Sent {
                number,
                port,
                from: from.clone(),
                tags: tags.clone(),
            });
        }
    }
    sent
}

fn tags(site: &Site) -> BTreeSet<u16> {
    let mut tags = BTreeSet::from([0]);
    for switch in &site.switches {
        let ports = switch.ports.iter().filter_map(|port| port.vlans.as_ref());
        let lags = switch.lags.iter().map(|lag| &lag.vlans);
        for vlans in ports.chain(lags) {
            tags.extend(vlans.members().iter().map(|vlan| vlan.get()));
        }
    }
    // A VLAN that nobody uses.
    tags.insert(99);
    tags
}

/// Every cable of a host, with the port that it leads to.
fn cables_of_hosts(topology: &Topology<'_>) -> BTreeMap<Plug, PortId> {
    let mut cables = BTreeMap::new();
    let fabric = &topology.fabric;
    for (&(host, interface), base) in &topology.host_bases {
        let bridges = topology.site.host(host).forwards.value == Forwards::Bridges;
        let port = if bridges {
            fabric.port_ids().find_map(|id| {
                let port = fabric.port(id);
                match &port.far {
                    Far::Ports(far) if port.name == PortName::Interface(host, interface) => {
                        far.first().copied()
                    }
                    _ => None,
                }
            })
        } else {
            fabric
                .interface(topology.interface(InterfaceOf::Host(host, interface)))
                .ports
                .first()
                .copied()
        };
        let plug = Plug {
            space: host_space(host),
            device: base.clone(),
        };
        if let Some(port) = port {
            cables.insert(plug, port);
        }
    }
    cables.retain(|plug, _| plug.space != SWITCHES);
    cables
}
