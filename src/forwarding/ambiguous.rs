//! Addresses of which nobody can say who has them, or where they are.

use crate::model::{Family, SegmentId, Site};
use crate::packet::{Interval, IntervalSet};

use super::network::{Device, DeviceIndex, Plan};
use super::trace::Doubt;
use super::wires::Stand;

/// Addresses that lie in prefixes of several segments.
pub(super) fn contested(site: &Site, family: Family) -> IntervalSet {
    let mut seen = IntervalSet::empty();
    let mut contested = IntervalSet::empty();
    for segment in &site.segments {
        let own = segment.addresses().of(family).clone();
        if own.overlaps(&seen) {
            contested = contested.union(&own.intersection(&seen));
        }
        seen = seen.union(&own);
    }
    contested
}

/// Addresses that several devices have.
pub(super) fn doubled(devices: &[Device]) -> IntervalSet {
    let own = devices.iter().flat_map(|device| device.own.intervals());
    let mut own: Vec<Interval> = own.copied().collect();
    own.sort_unstable();
    let mut doubled = IntervalSet::empty();
    for pair in own.windows(2) {
        let both = IntervalSet::from(pair[0]).intersection(&IntervalSet::from(pair[1]));
        if !both.is_empty() {
            doubled = doubled.union(&both);
        }
    }
    doubled
}

impl Plan {
    /// What is doubtful where these interfaces answer for an address: of one device both are tried, of several devices
    /// nobody can say which answers.
    pub(super) fn doubt_between(owners: &[(DeviceIndex, usize)]) -> Option<Doubt> {
        let mut devices = owners.windows(2);
        let several = devices.any(|pair| pair[0].0 != pair[1].0);
        several.then_some(Doubt::SharedAddress)
    }

    /// Whether another router that plain devices find at a stand has the default gateway's address of this one too.
    pub(super) fn shares_gateway(&self, stand: Stand, (device, _): (DeviceIndex, usize)) -> bool {
        let Some(segment) = self.segment_of(stand).filter(|_| !self.doubled.is_empty()) else {
            return false;
        };
        let named = &self.segment(segment).default_gateways;
        let gateways = match named.is_empty() {
            true => self.shared_by_routers(segment),
            false => named.clone(),
        };
        let mut shared = gateways.into_iter().filter(|&address| {
            self.doubled.contains(address) && self.device(device).own.contains(address)
        });
        shared.any(|address| {
            let mut others = self.routers_at(stand).filter(|(other, _)| *other != device);
            others.any(|(other, _)| self.device(other).own.contains(address))
        })
    }

    /// Addresses of gateways and routers on a segment that other devices have too.
    pub(super) fn shared_by_routers(&self, segment: SegmentId) -> Vec<u128> {
        if self.doubled.is_empty() {
            return Vec::new();
        }
        let routers = self.devices[..self.routers()].iter();
        let here = routers
            .flat_map(|device| &device.interfaces)
            .filter(|at| at.segment == segment);
        let own = here.flat_map(|at| &at.addresses).copied();
        own.filter(|&address| self.doubled.contains(address))
            .collect()
    }
}
