//! Addresses of which nobody can say who has them, or where they are.

use boundwalk_model::{Family, SegmentId, Site};
use boundwalk_packet::{Interval, IntervalSet};

use super::device::{Device, DeviceIndex};
use super::doubt::Doubt;
use super::neighbours::SendPoint;
use super::plan::Plan;

/// Addresses that lie in prefixes of several segments.
pub(super) fn contested(site: &Site, family: Family) -> IntervalSet {
    let segments = site.segments.iter();
    in_several(segments.map(|segment| segment.addresses().of(family).clone()))
}

/// Addresses that several devices have.
pub(super) fn doubled(devices: &[Device]) -> IntervalSet {
    in_several(devices.iter().map(|device| device.own.clone()))
}

/// What several of some sets hold. O(n log n).
fn in_several(sets: impl Iterator<Item = IntervalSet>) -> IntervalSet {
    let mut all: Vec<Interval> = sets.flat_map(|set| set.intervals().to_vec()).collect();
    all.sort_unstable();
    let mut reached: Option<u128> = None;
    let mut several = Vec::new();
    // Intervals of one set do not meet: what begins before another ends is in two of them.
    for interval in all {
        if let Some(end) = reached {
            several.extend(Interval::new(interval.low(), interval.high().min(end)));
        }
        reached = reached.max(Some(interval.high()));
    }
    several.into_iter().collect()
}

impl Plan {
    /// What is doubtful where these interfaces answer for an address: of one device both are tried, of several devices
    /// nobody can say which answers.
    pub(super) fn doubt_between(owners: &[(DeviceIndex, usize)]) -> Option<Doubt> {
        let mut devices = owners.windows(2);
        let several = devices.any(|pair| pair[0].0 != pair[1].0);
        several.then_some(Doubt::SharedAddress)
    }

    /// Whether another router that plain devices find at a send point has the default gateway's address of this one too.
    pub(super) fn shares_gateway(
        &self,
        send_point: SendPoint,
        (device, _): (DeviceIndex, usize),
    ) -> bool {
        let Some(segment) = self
            .segment_of(send_point)
            .filter(|_| !self.doubled.is_empty())
        else {
            return false;
        };
        let named = &self.segment(segment).default_gateways;
        let gateways = if named.is_empty() {
            self.shared_by_routers(segment)
        } else {
            named.clone()
        };
        let mut shared = gateways.into_iter().filter(|&address| {
            self.doubled.contains(address) && self.device(device).own.contains(address)
        });
        shared.any(|address| {
            let mut others = self
                .routers_at(send_point)
                .filter(|(other, _)| *other != device);
            others.any(|(other, _)| self.device(other).own.contains(address))
        })
    }

    /// Addresses of gateways and routers on a segment that other devices have too.
    pub(super) fn shared_by_routers(&self, segment: SegmentId) -> Vec<u128> {
        if self.doubled.is_empty() {
            return Vec::new();
        }
        self.devices[..self.routers()]
            .iter()
            .flat_map(|device| &device.interfaces)
            .filter(|at| at.segment == segment)
            .flat_map(|at| &at.addresses)
            .copied()
            .filter(|&address| self.doubled.contains(address))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every choice of three sets of a small space, point by point.
    #[test]
    fn what_several_sets_hold_is_counted_point_by_point() {
        let set = |bits: u32| -> IntervalSet {
            (0..5)
                .filter(|at| bits & (1 << at) != 0)
                .map(|at| Interval::point(at as u128))
                .collect()
        };
        for bits in 0..1 << 15 {
            let parts = [bits & 31, bits >> 5 & 31, bits >> 10 & 31];
            let found = in_several(parts.into_iter().map(set));
            for at in 0..5 {
                let held = parts.iter().filter(|part| **part & (1 << at) != 0).count();
                assert_eq!(found.contains(at as u128), 1 < held, "{parts:?} {at}");
            }
        }
    }
}
