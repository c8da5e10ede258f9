//! One packet at a time: the slow, obvious reading of sections 3.3 and 3.4 of the design.
//!
//! Nothing here knows a set, an index or a region: every list is scanned from its start, every packet is
//! walked by itself. It reads the model and shares no code with the product's forwarding.

#[path = "simulator_devices.rs"]
mod devices;
#[path = "simulator_host.rs"]
mod host;
#[path = "simulator_reply.rs"]
mod reply;

use std::net::IpAddr;

use boundwalk::model::{Action, Date, SegmentId, Site, SourceCheck};

pub use devices::{Decision, Device, Exit, Target};

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

/// Where a packet ends: at the devices of a segment, hosts with two feet included (by the address they were
/// reached at), or at a gateway or router itself.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Spot {
    Segment(usize),
    Router(usize),
}

/// A device that the packet came to. A host that a packet reaches on-link at the address it is for is the
/// receiver and no hop.
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
#[derive(Clone, Copy, Debug)]
struct Crossing {
    device: usize,
    before: Probe,
    after: Probe,
}

/// A packet that arrived, and the way it took.
struct Arrival {
    place: Spot,
    probe: Probe,
    hops: Vec<Hop>,
    crossings: Vec<Crossing>,
}

/// A packet under way.
#[derive(Clone)]
struct Walk {
    probe: Probe,
    seen: Vec<(usize, usize)>,
    hops: Vec<Hop>,
    crossings: Vec<Crossing>,
}

impl Walk {
    fn new(probe: Probe) -> Self {
        Self {
            probe,
            seen: Vec::new(),
            hops: Vec::new(),
            crossings: Vec::new(),
        }
    }
}

/// Where a device hands a packet.
enum Handed {
    /// To any of these interfaces of devices.
    Devices(Vec<(usize, usize)>),
    /// Here it ends.
    At(Spot),
}

/// A site made ready to be walked.
pub struct Simulator<'s> {
    site: &'s Site,
    today: Date,
    devices: Vec<Device<'s>>,
}

impl<'s> Simulator<'s> {
    pub fn new(site: &'s Site, today: Date) -> Self {
        let devices = devices::of(site);
        Self {
            site,
            today,
            devices,
        }
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

    /// Every way in which a packet sent on a segment arrives somewhere behind a device, sorted, without
    /// repeats. Empty: it arrives nowhere, or the stance does not let a sender there send it.
    pub fn send(&self, from: SegmentId, probe: Probe, stance: Stance) -> Vec<Outcome> {
        if !self.may_send(from, probe, stance) {
            return Vec::new();
        }
        let mut arrivals = Vec::new();
        for at in self.starts(from, probe, stance) {
            self.forward(at, Walk::new(probe), &mut arrivals);
        }
        self.outcomes((&[from], None), probe, arrivals)
    }

    /// How packets that arrived look from outside, for a sender with feet on these segments.
    fn outcomes(
        &self,
        sender: (&[SegmentId], Option<usize>),
        sent: Probe,
        arrivals: Vec<Arrival>,
    ) -> Vec<Outcome> {
        let mut outcomes: Vec<Outcome> = arrivals
            .into_iter()
            .map(|arrival| Outcome {
                came_back: self.came_back(sender, sent, &arrival),
                place: arrival.place,
                arrived: arrival.probe,
                hops: arrival.hops,
            })
            .collect();
        outcomes.sort();
        outcomes.dedup();
        outcomes
    }

    /// Whether the sender may use the packet's source address.
    pub fn may_send(&self, from: SegmentId, probe: Probe, stance: Stance) -> bool {
        match stance {
            Stance::Configured => {
                let mut routers = self.devices.iter().filter(|device| !device.is_host);
                let owned = routers.any(|device| device.owns(probe.source));
                self.lives_on(from, probe.source) && !owned && !never_forwarded(probe.source)
            }
            Stance::Hostile => !never_forwarded(probe.source),
        }
    }

    /// Interfaces that the packet may enter first.
    fn starts(&self, from: SegmentId, probe: Probe, stance: Stance) -> Vec<(usize, usize)> {
        if stance == Stance::Hostile {
            return self.ports_on(from).collect();
        }
        if self.on_link(from, probe.destination) {
            let owner = self.owner_on(from, probe.destination);
            return owner
                .filter(|&(device, _)| !self.devices[device].is_host)
                .into_iter()
                .collect();
        }
        self.first_hops(from, probe.destination)
    }

    /// What plain devices of a segment use as their gateway for packets of the family of `example`.
    fn first_hops(&self, from: SegmentId, example: IpAddr) -> Vec<(usize, usize)> {
        let segment = self.site.segment(from);
        let listed = segment.default_gateway.iter().map(|address| address.value);
        let named: Vec<IpAddr> = listed
            .filter(|&address| same_family(address, example))
            .collect();
        if !named.is_empty() {
            let owners = named
                .iter()
                .filter_map(|&address| self.owner_on(from, address));
            return owners.collect();
        }
        self.routers_on(from, example)
    }

    /// Interfaces of gateways and routers, not of hosts, with an address of the family of `example`.
    fn routers_on(&self, segment: SegmentId, example: IpAddr) -> Vec<(usize, usize)> {
        let ports = self.ports_on(segment);
        ports
            .filter(|&(device, port)| {
                let port = &self.devices[device].ports[port];
                let mut addresses = port.addresses.iter();
                !self.devices[device].is_host
                    && addresses.any(|net| same_family(net.addr(), example))
            })
            .collect()
    }

    /// Walks a packet from its arrival at an interface to wherever it ends.
    fn forward(&self, at: (usize, usize), mut walk: Walk, ends: &mut Vec<Arrival>) {
        if walk.seen.contains(&at) {
            return;
        }
        walk.seen.push(at);
        let (leaving, handed) = match self.cross(at, &mut walk) {
            Some(crossed) => crossed,
            None => return,
        };
        walk.crossings.push(Crossing {
            device: at.0,
            before: walk.probe,
            after: leaving,
        });
        walk.probe = leaving;
        match handed {
            Handed::Devices(next) => {
                for at in next {
                    self.forward(at, walk.clone(), ends);
                }
            }
            Handed::At(place) => {
                let Walk {
                    probe,
                    hops,
                    crossings,
                    ..
                } = walk;
                ends.push(Arrival {
                    place,
                    probe,
                    hops,
                    crossings,
                });
            }
        }
    }

    /// What one device makes of a packet that arrives, and where it hands it; `None`: dropped.
    fn cross(&self, (index, entry): (usize, usize), walk: &mut Walk) -> Option<(Probe, Handed)> {
        let device = &self.devices[index];
        if !self.admits(device, entry, walk.probe) {
            return None;
        }
        let (probe, line) = device.translate_destination(self.site, entry, walk.probe);
        let hop = |decided, other| Hop {
            device: index,
            decided,
            rewritten: [line, other],
        };
        if let Some(own) = device.port_of(probe.destination) {
            let decided = device.permits(self, entry, Target::Itself, probe)?;
            walk.hops.push(hop(decided, None));
            let segment = device.ports[own].segment.0;
            let place = if device.is_host {
                Spot::Segment(segment)
            } else {
                Spot::Router(index)
            };
            return Some((probe, Handed::At(place)));
        }
        if !device.forwards {
            return None;
        }
        let exit = device.route(probe.destination)?;
        let port = exit.port()?;
        let decided = device.permits(self, entry, Target::Port(port), probe)?;
        let (probe, other) = device.translate_source(self.site, port, probe)?;
        walk.hops.push(hop(decided, other));
        Some((probe, self.hand_over(device, exit, probe.destination)))
    }

    /// Addresses that are never forwarded, and the source check of the interface of arrival.
    fn admits(&self, device: &Device<'_>, entry: usize, probe: Probe) -> bool {
        if never_forwarded(probe.source) || never_forwarded(probe.destination) {
            return false;
        }
        let back = device.route(probe.source).and_then(|exit| exit.port());
        match device.ports[entry].check {
            SourceCheck::Off => true,
            SourceCheck::Loose => back.is_some(),
            SourceCheck::Strict => back == Some(entry),
        }
    }

    /// Who takes a packet that leaves a device; an empty list of devices: nobody.
    fn hand_over(&self, device: &Device<'_>, exit: Exit, destination: IpAddr) -> Handed {
        let (wanted, port) = match exit {
            Exit::OnLink(port) => (destination, port),
            Exit::NextHop(address, port) => (address, port),
            Exit::AsNeighbours(port) => {
                return Handed::Devices(self.first_hops(device.ports[port].segment, destination));
            }
            Exit::Discard => return Handed::Devices(Vec::new()),
        };
        let segment = device.ports[port].segment;
        let on_link = matches!(exit, Exit::OnLink(_));
        match self.owner_on(segment, wanted) {
            Some((owner, _)) if on_link && self.devices[owner].is_host => {
                Handed::At(Spot::Segment(segment.0))
            }
            Some(owner) => Handed::Devices(vec![owner]),
            None if on_link || self.site.segment(segment).external => {
                Handed::At(Spot::Segment(segment.0))
            }
            None => Handed::Devices(Vec::new()),
        }
    }

    /// Whether an address is one of the senders on a segment: in its prefixes, or, beyond an external
    /// segment, one of no segment inside that some gateway or router sends there for a neighbour that is
    /// not of the site.
    pub fn lives_on(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut routers = self.devices.iter().filter(|device| !device.is_host);
        let handed_out = routers.any(|device| match device.route(address) {
            Some(exit @ Exit::NextHop(_, port)) if device.ports[port].segment == segment => {
                matches!(
                    self.hand_over(device, exit, address),
                    Handed::At(Spot::Segment(_))
                )
            }
            _ => false,
        });
        let mut inside = self
            .site
            .segment_ids()
            .filter(|&other| !self.site.segment(other).external);
        let elsewhere = inside.any(|other| self.on_link(other, address));
        self.on_link(segment, address) || (handed_out && !elsewhere)
    }

    /// Whether an address lies in a prefix of a segment.
    fn on_link(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut prefixes = self.site.segment(segment).prefixes.iter();
        prefixes.any(|prefix| prefix.value.net().contains(&address))
    }

    /// Every interface of every device on a segment.
    fn ports_on(&self, segment: SegmentId) -> impl Iterator<Item = (usize, usize)> + '_ {
        let devices = self.devices.iter().enumerate();
        let all = devices
            .flat_map(|(index, device)| (0..device.ports.len()).map(move |port| (index, port)));
        all.filter(move |&(device, port)| self.devices[device].ports[port].segment == segment)
    }

    /// The device and its interface on a segment that has an address.
    fn owner_on(&self, segment: SegmentId, address: IpAddr) -> Option<(usize, usize)> {
        let has = |&(device, port): &(usize, usize)| {
            let mut addresses = self.devices[device].ports[port].addresses.iter();
            addresses.any(|net| net.addr() == address)
        };
        self.ports_on(segment).find(has)
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
