//! Who takes in what is put on a wire.
//!
//! Design 3.3. The device that has the address asked for answers, on every interface that it has on the wire: which of
//! two interfaces a frame comes in by is left open, so both are tried. An IPv4 address is the device's, whichever
//! interface has it (weak host model: RFC 1122 section 3.3.4.2); for an IPv6 address only an interface answers that has
//! it (RFC 4861 section 7.2.3).

use std::net::IpAddr;

use boundwalk::model::SegmentId;

use super::{Device, Exit, Simulator, Spot, same_family};

/// Who takes a packet in.
pub enum Taken {
    /// A device, by an interface: (device, interface).
    Enters((usize, usize)),
    /// Here it ends.
    Ends(End),
}

/// Who has a packet at last.
pub struct End {
    pub place: Spot,
    /// The wire it was put on; `None`: it came in by a device that it is for.
    pub wire: Option<SegmentId>,
    /// The gateway, router or described host that it is for; `None`: a plain device.
    pub by: Option<usize>,
}

impl Simulator<'_> {
    /// Who takes in what a device sends.
    pub(super) fn put_out(&self, device: usize, exit: Exit, destination: IpAddr) -> Vec<Taken> {
        let wire = |port: usize| self.devices[device].ports[port].wire;
        match exit {
            Exit::OnLink(port) => self.to_destination(wire(port), destination),
            Exit::NextHop(hop, port) => {
                self.to_next_hop(Some(device), wire(port), hop, destination)
            }
            Exit::AsNeighbours(port) => {
                self.by_default_gateways(Some(device), wire(port), destination)
            }
            Exit::Discard => Vec::new(),
        }
    }

    /// Who takes in what a plain device on a segment sends.
    pub(super) fn put_out_by_plain(&self, from: SegmentId, destination: IpAddr) -> Vec<Taken> {
        if self.on_link(from, destination) {
            self.to_destination(from, destination)
        } else {
            self.by_default_gateways(None, from, destination)
        }
    }

    /// On-link: the devices of the site that have the address, else a plain device.
    fn to_destination(&self, wire: SegmentId, destination: IpAddr) -> Vec<Taken> {
        let mut taken: Vec<Taken> = Vec::new();
        for (index, port) in self.answering(wire, destination) {
            let device = &self.devices[index];
            let own = device.port_of(destination);
            match own.filter(|_| device.is_host) {
                Some(own) => taken.push(Taken::Ends(End {
                    wire: Some(wire),
                    ..self.at_device(index, own)
                })),
                None => taken.push(Taken::Enters((index, port))),
            }
        }
        // No plain device has the address of a gateway or router, wherever that is.
        let mut routers = self.devices.iter().filter(|device| !device.is_host);
        if taken.is_empty() && !routers.any(|device| device.owns(destination)) {
            taken.push(Taken::Ends(plain_on(wire)));
        }
        taken
    }

    /// By a next hop. On an external segment a next hop that is no device of the site takes it out of the site: it is
    /// then at that segment and nowhere else, but for a private destination, which is lost unless that segment routes
    /// it or has it on-link.
    fn to_next_hop(
        &self,
        sender: Option<usize>,
        wire: SegmentId,
        hop: IpAddr,
        destination: IpAddr,
    ) -> Vec<Taken> {
        let answering: Vec<(usize, usize)> = self.answering(wire, hop).collect();
        let leaves = answering.is_empty() && self.site.segment(wire).external;
        if leaves && self.is_routed_out_there(wire, destination) {
            return vec![Taken::Ends(self.out_there(wire, destination))];
        }
        // Nobody sends a frame to itself.
        answering
            .into_iter()
            .filter(|at| Some(at.0) != sender)
            .map(Taken::Enters)
            .collect()
    }

    /// Who has what left by an external segment: a described host on that segment that has the address, else somebody.
    fn out_there(&self, wire: SegmentId, destination: IpAddr) -> End {
        let mut described = self.ports_on(wire).filter(|&(device, port)| {
            let device = &self.devices[device];
            device.is_host && device.ports[port].has(destination)
        });
        let by = described.next().map(|(device, _)| device);
        End {
            by,
            ..plain_on(wire)
        }
    }

    /// By what plain devices on a segment use: the default gateways that it lists in the family of the destination, or
    /// else any gateway or router with an address of the family there.
    fn by_default_gateways(
        &self,
        sender: Option<usize>,
        wire: SegmentId,
        destination: IpAddr,
    ) -> Vec<Taken> {
        let mut hops: Vec<IpAddr> = self
            .site
            .segment(wire)
            .default_gateway
            .iter()
            .map(|address| address.value)
            .filter(|&address| same_family(address, destination))
            .collect();
        if hops.is_empty() {
            let ports = self.ports_on(wire);
            let routers = ports.filter(|&(device, _)| !self.devices[device].is_host);
            let own =
                routers.flat_map(|(device, port)| &self.devices[device].ports[port].addresses);
            let own = own.map(|net| net.addr());
            hops.extend(own.filter(|&address| same_family(address, destination)));
        }
        hops.into_iter()
            .flat_map(|hop| self.to_next_hop(sender, wire, hop, destination))
            .collect()
    }

    /// The interfaces on a wire by which a device takes in what is sent to an address.
    fn answering(
        &self,
        wire: SegmentId,
        address: IpAddr,
    ) -> impl Iterator<Item = (usize, usize)> + '_ {
        let ports = self.ports_on(wire);
        ports
            .filter(move |&(device, _)| !self.mute.contains(&(device, address)))
            .filter(move |&(device, port)| {
                let device = &self.devices[device];
                device.ports[port].has(address) || (address.is_ipv4() && device.owns(address))
            })
    }

    /// The end of a packet at a device that has the address, on this interface.
    pub(super) fn at_device(&self, index: usize, own: usize) -> End {
        let device: &Device<'_> = &self.devices[index];
        let place = if device.is_host {
            Spot::Segment(device.ports[own].wire.0)
        } else {
            Spot::Router(index)
        };
        End {
            place,
            wire: None,
            by: Some(index),
        }
    }

    /// Whether what leaves by an external segment for an address gets there: any but private ones, and of those what
    /// the segment routes or has on-link.
    pub(super) fn is_routed_out_there(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut routes = self.site.segment(segment).routes.iter();
        let routed = routes.any(|prefix| prefix.value.contains(address));
        !is_private(address) || routed || self.on_link(segment, address)
    }

    /// Whether a plain device on a segment may have an address, gateways and routers left aside: one in the segment's
    /// prefixes; beyond an external segment also one that some device of the site sends out there, that is in no prefix
    /// of an internal segment, and that is not private unless the external segment routes it.
    pub fn lives_on(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut others = self.site.segment_ids();
        let inside =
            others.any(|other| !self.site.segment(other).external && self.on_link(other, address));
        self.on_link(segment, address) || (!inside && self.is_sent_out(segment, address))
    }

    /// Whether some device of the site sends packets for an address out of the site on an external segment.
    fn is_sent_out(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut devices = self.devices.iter().enumerate();
        devices.any(|(index, device)| {
            let mut by_hops = device
                .exits(address)
                .into_iter()
                .filter(|exit| !matches!(exit, Exit::OnLink(_)));
            by_hops.any(|exit| {
                let mut taken = self.put_out(index, exit, address).into_iter();
                taken.any(|taken| matches!(taken, Taken::Ends(end) if end.wire == Some(segment)))
            })
        })
    }

    /// Whether an address lies in a prefix of a segment.
    pub(super) fn on_link(&self, segment: SegmentId, address: IpAddr) -> bool {
        let mut prefixes = self.site.segment(segment).prefixes.iter();
        prefixes.any(|prefix| prefix.value.contains(address))
    }

    /// Every interface of every device on the wire of a segment.
    pub(super) fn ports_on(&self, segment: SegmentId) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.devices
            .iter()
            .enumerate()
            .flat_map(|(index, device)| (0..device.ports.len()).map(move |port| (index, port)))
            .filter(move |&(device, port)| self.devices[device].ports[port].wire == segment)
    }
}

/// A plain device on the wire of a segment, or somebody beyond an external one.
fn plain_on(wire: SegmentId) -> End {
    End {
        place: Spot::Segment(wire.0),
        wire: Some(wire),
        by: None,
    }
}

/// Addresses that the internet routes to nobody: RFC 1918 section 3, RFC 6598 section 7, RFC 4193 section 3.1.
fn is_private(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(v4) => {
            let [first, second, ..] = v4.octets();
            match first {
                10 => true,
                100 => second & 0xc0 == 64,
                172 => second & 0xf0 == 16,
                192 => second == 168,
                _ => false,
            }
        }
        IpAddr::V6(v6) => v6.segments()[0] & 0xfe00 == 0xfc00,
    }
}
