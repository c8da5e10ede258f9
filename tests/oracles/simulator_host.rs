//! What a host sends of its own accord.

use std::net::IpAddr;

use boundwalk::model::SegmentId;

use super::{
    Arrival, Device, Exit, Outcome, Probe, Sender, Simulator, Stance, Walk, never_forwarded,
};

impl<'s> Simulator<'s> {
    /// Every way in which a packet that a host of the site sends, as configured, arrives somewhere, sorted,
    /// without repeats; also where no device is between.
    pub fn send_from_host(&self, host: usize, probe: Probe) -> Vec<Outcome> {
        let exits: Vec<Exit> = self.host_exits(host, probe).map(|(_, exit)| exit).collect();
        let mut arrivals = Vec::new();
        self.sent_by_host(host, &exits, probe, &mut arrivals);
        self.outcomes(probe, arrivals)
    }

    /// What becomes of a packet, as configured, from the device on a segment that has its source: the described host
    /// there, by its own routes and default gateways, else a plain device. Where every packet is asked for, it is this
    /// device that must get it through. `None`: nobody asks, because the host sends it from another of its addresses.
    pub fn send_from_owner(&self, from: SegmentId, probe: Probe) -> Option<Vec<Outcome>> {
        let mut hosts = 0..self.site.hosts.len();
        let owner = hosts.find(|&host| {
            let mut ports = self.host(host).ports.iter();
            ports.any(|port| port.wire == from && port.has(probe.source))
        });
        let Some(host) = owner else {
            return Some(self.send(from, probe, Stance::Configured));
        };
        let device = self.host(host);
        let exits = device.exits(probe.destination);
        let ports: Vec<usize> = exits.iter().filter_map(|exit| exit.port()).collect();
        let by_another = !ports
            .iter()
            .any(|&port| device.ports[port].has(probe.source));
        if !ports.is_empty() && by_another {
            return None;
        }
        let exits: Vec<Exit> = self.host_exits(host, probe).map(|(_, exit)| exit).collect();
        let mut arrivals = Vec::new();
        self.sent_by_host(host, &exits, probe, &mut arrivals);
        Some(self.outcomes(probe, arrivals))
    }

    /// Whether a host sends such a packet: from an address of the interface that it leaves by.
    pub fn host_may_send(&self, host: usize, probe: Probe) -> bool {
        self.host_exits(host, probe).next().is_some()
    }

    /// Whether an address is a host's and valid beyond its link.
    pub fn host_owns(&self, host: usize, address: IpAddr) -> bool {
        self.router_owns(self.site.routers.len() + host, address)
    }

    /// The same for a gateway or router.
    pub fn router_owns(&self, router: usize, address: IpAddr) -> bool {
        self.devices[router].owns(address) && !never_forwarded(address)
    }

    /// The device of a host of the site.
    pub(super) fn host(&self, host: usize) -> &Device<'s> {
        &self.devices[self.site.routers.len() + host]
    }

    /// How a packet leaves a host that sends it, by its own routes and default gateways, with the interface that it
    /// leaves by: its source is an address of that interface (design 3.1). What is for itself does not leave it.
    pub(super) fn host_exits(
        &self,
        host: usize,
        probe: Probe,
    ) -> impl Iterator<Item = (usize, Exit)> {
        let device = self.host(host);
        let exits = device
            .exits(probe.destination)
            .into_iter()
            .filter_map(|exit| Some((exit.port()?, exit)));
        exits.filter(move |(port, _)| {
            let own = device.ports[*port].has(probe.source) && !never_forwarded(probe.source);
            own && !device.owns(probe.destination)
        })
    }

    pub(super) fn sent_by_host(
        &self,
        host: usize,
        exits: &[Exit],
        probe: Probe,
        arrivals: &mut Vec<Arrival>,
    ) {
        let device = self.site.routers.len() + host;
        let walk = Walk::new(Sender::Host(device), probe);
        for &exit in exits {
            let taken = self.put_out(device, exit, probe.destination);
            self.hand_on(&walk, taken, arrivals);
        }
    }
}
