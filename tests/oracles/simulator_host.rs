//! What a host sends of its own accord.

use std::net::IpAddr;

use boundwalk::model::SegmentId;

use super::{Arrival, Exit, Handed, Outcome, Probe, Simulator, Walk, never_forwarded};

impl Simulator<'_> {
    /// Every way in which a packet that a host of the site sends, as configured, arrives somewhere, sorted,
    /// without repeats; also where no device is between.
    pub fn send_from_host(&self, host: usize, probe: Probe) -> Vec<Outcome> {
        let Some(exit) = self.host_exit(host, probe) else {
            return Vec::new();
        };
        let device = &self.devices[self.host_device(host)];
        let mut arrivals = Vec::new();
        match self.hand_over(device, exit, probe.destination) {
            Handed::Devices(next) => {
                for at in next {
                    self.forward(at, Walk::new(probe), &mut arrivals);
                }
            }
            Handed::At(place) => arrivals.push(Arrival {
                place,
                probe,
                hops: Vec::new(),
                crossings: Vec::new(),
            }),
        }
        let homes: Vec<SegmentId> = device.ports.iter().map(|port| port.segment).collect();
        self.outcomes((&homes, Some(self.host_device(host))), probe, arrivals)
    }

    /// Whether a host sends such a packet: from an address of the interface that it leaves by.
    pub fn host_may_send(&self, host: usize, probe: Probe) -> bool {
        self.host_exit(host, probe).is_some()
    }

    /// Whether an address is a host's and valid beyond its link.
    pub fn host_owns(&self, host: usize, address: IpAddr) -> bool {
        self.router_owns(self.host_device(host), address)
    }

    /// The same for a gateway or router.
    pub fn router_owns(&self, router: usize, address: IpAddr) -> bool {
        self.devices[router].owns(address) && !never_forwarded(address)
    }

    fn host_exit(&self, host: usize, probe: Probe) -> Option<Exit> {
        let device = &self.devices[self.host_device(host)];
        let exit = device.route(probe.destination)?;
        let own = &device.ports[exit.port()?].addresses;
        let from_there =
            own.iter().any(|net| net.addr() == probe.source) && !never_forwarded(probe.source);
        from_there.then_some(exit)
    }

    fn host_device(&self, host: usize) -> usize {
        self.site.routers.len() + host
    }
}
