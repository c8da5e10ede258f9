//! One packet at a time: the slow, obvious reading of sections 3.1, 3.3 and 3.4 of the design.
//!
//! Nothing here knows a set, an index or a region: every list is scanned from its start, every packet is
//! walked by itself. It reads the model and shares no code with the product's forwarding.
//!
//! Layer 2 is clean: the wire of a segment joins exactly the interfaces that the file puts on the segment
//! ([`Simulator::cabled`] puts some elsewhere). What is said here, by section of the design:
//!
//! - Who sends (3.1). As configured, a segment's plain devices, from any address of its prefixes that no gateway or
//!   router has, by its default gateways or any router on it; and each described host with an interface on the segment,
//!   by its own routes and default gateways, for what leaves by such an interface, from an address of it. Hostile: one
//!   device, any source, any next hop.
//! - Who takes a packet in (3.3): `simulator_wire.rs`. What a device does with it: `simulator_devices.rs`, and
//!   [`Simulator::cross`] for the order of the steps.
//! - Where it ends (3.3): at the device that has the address, whichever interface it came by (weak host model), or at a
//!   plain device of the segment whose wire it is put on. A device drops a packet for itself that claims to come from
//!   itself; a plain device likewise.
//! - A loop (3.3): the same device meets the packet again, by the same interface, with the same headers. More than 255
//!   devices end it too (RFC 791 section 3.1, time to live).
//! - Which answers count (3.3): `simulator_reply.rs`.

#[path = "simulator_devices.rs"]
mod devices;
#[path = "simulator_host.rs"]
mod host;
#[path = "simulator_match.rs"]
mod matching;
#[path = "simulator_reply.rs"]
mod reply;
#[path = "simulator_wire.rs"]
mod wire;

use std::net::IpAddr;

use boundwalk::model::{Action, Date, SegmentId, Site, SourceCheck};

pub use devices::{Decision, Device, Exit, Target};
use wire::{End, Taken};

/// RFC 791 section 3.1: the time to live is at most 255, and each device that forwards takes one off.
const MOST_HOPS: usize = 255;

/// One packet. ICMP keeps `type * 256 + code` in the destination port and 0 in the source port; a protocol
/// without ports has 0 in both.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Probe {
    pub source: IpAddr,
    pub destination: IpAddr,
    pub protocol: u8,
    pub source_port: u16,
    pub destination_port: u16,
}

/// What the sender may do (design 3.1).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Stance {
    Configured,
    Hostile,
}

/// Where a packet ends: at the devices of a segment, hosts with several interfaces included (the segment of the
/// interface whose address it is for), or at a gateway or router itself. A packet that leaves by an external segment
/// ends at that segment, whatever its destination reads.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Spot {
    Segment(usize),
    Router(usize),
}

/// A device that the packet came to. A host that a configured sender reaches on-link at the address it is for is the
/// receiver and no hop; a host that is next hop and has the address it is for is one.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Hop {
    /// Gateways and routers in the order of the site, then its hosts.
    pub device: usize,
    /// Which of its lines let the packet pass; `None` where it has no rules.
    pub decided: Option<Decision>,
    /// Which translation rewrote the destination, and which the source; one that writes what is there
    /// already does not count.
    pub rewritten: [Option<usize>; 2],
}

/// One way in which a packet arrives somewhere.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Outcome {
    pub place: Spot,
    pub arrived: Probe,
    pub hops: Vec<Hop>,
    pub came_back: bool,
}

/// A device that a packet passed: how it came and how it left.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Crossing {
    device: usize,
    before: Probe,
    after: Probe,
}

/// Who sent a packet.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Sender {
    /// A plain or a hostile device on a segment.
    On(SegmentId),
    /// The described host that is the device of this number.
    Host(usize),
}

/// A packet that arrived, and the way it took.
struct Arrival {
    sender: Sender,
    end: End,
    probe: Probe,
    hops: Vec<Hop>,
    crossings: Vec<Crossing>,
}

/// A packet under way.
#[derive(Clone)]
struct Walk {
    sender: Sender,
    probe: Probe,
    /// Which device met it by which interface with which headers.
    met: Vec<(usize, usize, Probe)>,
    hops: Vec<Hop>,
    crossings: Vec<Crossing>,
}

impl Walk {
    fn new(sender: Sender, probe: Probe) -> Self {
        Self {
            sender,
            probe,
            met: Vec::new(),
            hops: Vec::new(),
            crossings: Vec::new(),
        }
    }
}

/// What a device makes of a packet.
struct Crossed {
    probe: Probe,
    hop: Hop,
    taken: Vec<Taken>,
}

/// A site made ready to be walked.
pub struct Simulator<'s> {
    site: &'s Site,
    today: Date,
    devices: Vec<Device<'s>>,
    /// Addresses that a device has and does not answer for on the wire: another one that has it answered first.
    mute: Vec<(usize, IpAddr)>,
}

impl<'s> Simulator<'s> {
    pub fn new(site: &'s Site, today: Date) -> Self {
        Self::cabled(site, today, &[])
    }

    /// With interfaces of devices on the wire of another segment than the file says, as a port in the wrong VLAN puts
    /// them: (device, interface, segment). Rules still call them by the segment of the file.
    pub fn cabled(site: &'s Site, today: Date, elsewhere: &[(usize, usize, SegmentId)]) -> Self {
        let mut devices = devices::of(site);
        for &(device, port, wire) in elsewhere {
            devices[device].ports[port].wire = wire;
        }
        Self {
            site,
            today,
            devices,
            mute: Vec::new(),
        }
    }

    /// The same where a device does not answer for one of its addresses: one reading of an address that several have.
    pub fn muted(mut self, device: usize, address: IpAddr) -> Self {
        self.mute.push((device, address));
        self
    }

    /// The line that decides at a device on a packet between two of its interfaces, as it stands.
    pub fn decides(
        &self,
        device: usize,
        entry: usize,
        leaves: usize,
        probe: Probe,
    ) -> Option<(Decision, Action)> {
        self.devices[device].decides(self, entry, Target::Port(leaves), probe)
    }

    /// Every way in which a packet sent on a segment arrives somewhere behind a device or on another segment, sorted,
    /// without repeats. Empty: it arrives nowhere, or the stance does not let a sender there send it.
    ///
    /// As configured it is the union over plain devices and described hosts (design 3.1).
    pub fn send(&self, from: SegmentId, probe: Probe, stance: Stance) -> Vec<Outcome> {
        let mut arrivals = match stance {
            Stance::Configured => self.sent_as_configured(from, probe),
            Stance::Hostile => self.sent_by_hostile(from, probe),
        };
        // What stays on the sender's own segment passed nothing.
        let own = Spot::Segment(from.0);
        arrivals.retain(|arrival| !arrival.hops.is_empty() || arrival.end.place != own);
        self.outcomes(probe, arrivals)
    }

    fn sent_as_configured(&self, from: SegmentId, probe: Probe) -> Vec<Arrival> {
        let mut arrivals = Vec::new();
        if self.is_plain(from, probe.source) {
            let walk = Walk::new(Sender::On(from), probe);
            let taken = self.put_out_by_plain(from, probe.destination);
            self.hand_on(&walk, taken, &mut arrivals);
        }
        for host in 0..self.site.hosts.len() {
            let exits = self.host_exits(host, probe);
            let exits: Vec<Exit> = exits
                .filter(|(port, _)| self.host(host).ports[*port].wire == from)
                .map(|(_, exit)| exit)
                .collect();
            self.sent_by_host(host, &exits, probe, &mut arrivals);
        }
        arrivals
    }

    /// It hands its packet to any interface on the wire that it likes.
    fn sent_by_hostile(&self, from: SegmentId, probe: Probe) -> Vec<Arrival> {
        let mut arrivals = Vec::new();
        if self.may_send(from, probe, Stance::Hostile) {
            let walk = Walk::new(Sender::On(from), probe);
            let entries = self.ports_on(from).map(Taken::Enters).collect();
            self.hand_on(&walk, entries, &mut arrivals);
        }
        arrivals
    }

    /// How packets that arrived look from outside.
    fn outcomes(&self, sent: Probe, arrivals: Vec<Arrival>) -> Vec<Outcome> {
        let mut outcomes: Vec<Outcome> = arrivals
            .into_iter()
            .map(|arrival| Outcome {
                came_back: self.came_back(sent, &arrival),
                place: arrival.end.place,
                arrived: arrival.probe,
                hops: arrival.hops,
            })
            .collect();
        outcomes.sort();
        outcomes.dedup();
        outcomes
    }

    /// Whether some sender on a segment may send such a packet.
    pub fn may_send(&self, from: SegmentId, probe: Probe, stance: Stance) -> bool {
        match stance {
            Stance::Configured => {
                let mut hosts = 0..self.site.hosts.len();
                self.is_plain(from, probe.source)
                    || hosts.any(|host| {
                        let mut exits = self.host_exits(host, probe);
                        exits.any(|(port, _)| self.host(host).ports[port].wire == from)
                    })
            }
            Stance::Hostile => !never_forwarded(probe.source),
        }
    }

    /// Whether an address is one of the devices on a segment, plain or described, and valid beyond its link.
    pub fn has(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut hosts = self.devices.iter().filter(|device| device.is_host);
        let described = hosts.any(|host| {
            let mut ports = host.ports.iter();
            ports.any(|port| port.wire == segment && port.has(address))
        });
        self.is_plain(segment, address) || (described && !never_forwarded(address))
    }

    /// Whether two addresses are of one device: what it sends from one to the other crosses no network.
    pub fn are_of_one_device(&self, one: IpAddr, other: IpAddr) -> bool {
        let mut devices = self.devices.iter();
        devices.any(|device| device.owns(one) && device.owns(other))
    }

    /// Whether a plain device on a segment may have an address: one that [`lives_on`](Self::lives_on) it and is no
    /// gateway's or router's.
    fn is_plain(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut routers = self.devices.iter().filter(|device| !device.is_host);
        let owned = routers.any(|device| device.owns(address));
        self.lives_on(segment, address) && !owned && !never_forwarded(address)
    }

    /// Walks a packet on from whoever takes it in.
    fn hand_on(&self, walk: &Walk, taken: Vec<Taken>, arrivals: &mut Vec<Arrival>) {
        for taken in taken {
            match taken {
                Taken::Enters(at) => self.forward(at, walk.clone(), arrivals),
                Taken::Ends(end) if self.accepts(&end, walk.probe) => arrivals.push(Arrival {
                    sender: walk.sender,
                    end,
                    probe: walk.probe,
                    hops: walk.hops.clone(),
                    crossings: walk.crossings.clone(),
                }),
                Taken::Ends(_) => {}
            }
        }
    }

    /// A source that is the receiver's own address is dropped (design 3.3); the only address that is known of a plain
    /// device is the destination.
    fn accepts(&self, end: &End, probe: Probe) -> bool {
        match end.by {
            Some(device) => !self.devices[device].owns(probe.source),
            None => probe.source != probe.destination,
        }
    }

    /// Walks a packet from its arrival at an interface to wherever it ends.
    fn forward(&self, at: (usize, usize), mut walk: Walk, arrivals: &mut Vec<Arrival>) {
        let met = (at.0, at.1, walk.probe);
        if walk.met.contains(&met) || walk.hops.len() == MOST_HOPS {
            return;
        }
        walk.met.push(met);
        for crossed in self.cross(at, walk.probe) {
            let mut walk = walk.clone();
            walk.crossings.push(Crossing {
                device: at.0,
                before: walk.probe,
                after: crossed.probe,
            });
            walk.probe = crossed.probe;
            walk.hops.push(crossed.hop);
            self.hand_on(&walk, crossed.taken, arrivals);
        }
    }

    /// What a device makes of a packet that arrives at an interface; empty: it drops it.
    ///
    /// Design 3.3, in this order: source check, destination translation, route, rules (they see the translated
    /// destination and the original source), source translation.
    fn cross(&self, (index, entry): (usize, usize), probe: Probe) -> Vec<Crossed> {
        let device = &self.devices[index];
        if !self.admits(device, entry, probe) {
            return Vec::new();
        }
        let (probe, line) = device.translate_destination(self.site, entry, probe);
        let hop = |decided, other| Hop {
            device: index,
            decided,
            rewritten: [line, other],
        };
        if let Some(own) = device.port_of(probe.destination) {
            let Some(decided) = device.permits(self, entry, Target::Itself, probe) else {
                return Vec::new();
            };
            let taken = vec![Taken::Ends(self.at_device(index, own))];
            let hop = hop(decided, None);
            return vec![Crossed { probe, hop, taken }];
        }
        let crossed = device
            .exits(probe.destination)
            .into_iter()
            .filter(|_| device.forwards)
            .filter_map(|exit| {
                let port = exit.port()?;
                let decided = device.permits(self, entry, Target::Port(port), probe)?;
                let (probe, other) = device.translate_source(self.site, exit, probe)?;
                Some(Crossed {
                    probe,
                    hop: hop(decided, other),
                    taken: self.put_out(index, exit, probe.destination),
                })
            });
        crossed.collect()
    }

    /// Addresses that are never forwarded, and the source check of the interface of arrival (RFC 3704 section 2).
    fn admits(&self, device: &Device<'_>, entry: usize, probe: Probe) -> bool {
        if never_forwarded(probe.source) || never_forwarded(probe.destination) {
            return false;
        }
        let mut back = device
            .exits(probe.source)
            .into_iter()
            .filter_map(Exit::port);
        match device.ports[entry].check {
            SourceCheck::Off => true,
            SourceCheck::Loose => back.next().is_some(),
            SourceCheck::Strict => back.any(|port| port == entry),
        }
    }
}

/// RFC 6890 and RFC 4291: this host, loopback, link-local, multicast, reserved.
fn never_forwarded(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(v4) => {
            let [first, second, ..] = v4.octets();
            first == 0 || first == 127 || first >= 224 || (first == 169 && second == 254)
        }
        IpAddr::V6(v6) => {
            let link_local = v6.segments()[0] & 0xffc0 == 0xfe80;
            v6.is_unspecified() || v6.is_loopback() || v6.is_multicast() || link_local
        }
    }
}

fn same_family(one: IpAddr, other: IpAddr) -> bool {
    one.is_ipv4() == other.is_ipv4()
}
