//! Which device of a segment sends what: described hosts with ways of their own as themselves, all else as plain
//! devices do.

use boundwalk_model::SegmentId;
use boundwalk_packet::{IntervalSet, Region};

use super::device::DeviceIndex;
use super::doubt::Doubt;
use super::plan::Plan;
use super::routes::NextHop;

impl Plan {
    /// Described hosts with an address on a segment that send by routes, next hops or ports of their own: what they can
    /// do, the segment can do, besides its plain devices.
    pub fn hosts_with_own_ways(&self, segment: SegmentId) -> &[DeviceIndex] {
        &self.own_ways[segment.0]
    }

    /// Addresses of those hosts on the segment. A packet from one of them *may* be a plain device's, but where every
    /// packet is to arrive it is the host's.
    pub fn own_way_sources(&self, segment: SegmentId) -> &IntervalSet {
        &self.own_sources[segment.0]
    }

    /// The parts of some packets that devices of a segment send there, each from the device that has its source. What
    /// a host sends by an interface on another segment is left out; what it has no route for stays in.
    pub fn sent_by_owners(&self, segment: SegmentId, packets: &Region) -> Vec<Region> {
        let plain = Region {
            source: packets.source.difference(self.own_way_sources(segment)),
            ..packets.clone()
        };
        let by_hosts = self
            .hosts_with_own_ways(segment)
            .iter()
            .flat_map(|&host| self.sent_by_host(host, segment, packets));
        std::iter::once(plain)
            .chain(by_hosts)
            .filter(|part| !part.is_empty())
            .collect()
    }

    /// One part for each interface on the segment: a host sends from an address of the interface that it sends by.
    fn sent_by_host(&self, host: DeviceIndex, segment: SegmentId, packets: &Region) -> Vec<Region> {
        let device = self.device(host);
        let others = packets.destination.difference(&device.own);
        let ways = device.routes.split_ways(&others);
        let parts = device
            .interfaces
            .iter()
            .enumerate()
            .filter(|(_, interface)| interface.segment == segment)
            .map(|(number, interface)| {
                let by_it = ways.iter().filter(|(next_hop, doubt, _)| {
                    // While a backup route is not used, nothing need arrive by it.
                    if *doubt == Some(Doubt::Backup) {
                        return false;
                    }
                    let egress = next_hop.and_then(NextHop::interface);
                    egress.is_none_or(|egress| egress == number)
                });
                let destination =
                    by_it.fold(IntervalSet::default(), |all, (_, _, part)| all.union(part));
                Region {
                    source: packets.source.intersection(&interface.own()),
                    destination,
                    services: packets.services.clone(),
                }
            });
        parts.collect()
    }
}
