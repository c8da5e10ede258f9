//! A device in one family: its interfaces, addresses, routes and filter.

use std::borrow::Cow;

use boundwalk_model::{HostId, RouterId, SegmentId};
use boundwalk_packet::{Interval, IntervalSet};

use super::filter::FilterPlan;
use super::routes::RouteTable;

/// Number of a device in [`Plan::devices`](super::plan::Plan::devices): gateways and routers first, then hosts.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct DeviceIndex(pub usize);

/// Which device of the site it is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum DeviceId {
    /// A gateway or router.
    Router(RouterId),
    /// A host.
    Host(HostId),
}

/// An interface in one family.
#[derive(Clone, Debug)]
pub struct Attachment {
    /// The segment that it is on.
    pub segment: SegmentId,
    /// Its addresses in this family, in the order of the file.
    pub addresses: Vec<u128>,
    /// The subnet of each of these addresses.
    pub subnets: Vec<Interval>,
    /// Sources that the source check lets in; `None`: every one.
    pub accepts: Option<Accepts>,
}

/// Sources that a source check lets in.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Accepts {
    /// Those that it lets in whichever of several routes is used.
    pub surely: IntervalSet,
    /// Those that it lets in only while one of several routes is used.
    pub perhaps: IntervalSet,
}

impl Accepts {
    /// All that it may let in.
    pub fn all(&self) -> Cow<'_, IntervalSet> {
        if self.perhaps.is_empty() {
            Cow::Borrowed(&self.surely)
        } else {
            Cow::Owned(self.surely.union(&self.perhaps))
        }
    }

    /// Whether it may let a source in.
    pub fn may_take(&self, source: u128) -> bool {
        self.surely.contains(source) || self.perhaps.contains(source)
    }
}

impl Attachment {
    /// Its addresses as a set.
    pub fn own(&self) -> IntervalSet {
        self.addresses
            .iter()
            .map(|&address| Interval::point(address))
            .collect()
    }

    /// The address by which the interface speaks to a target on its wire: the one whose subnet holds the target, else
    /// the first. Observed in a kernel for IPv4; for IPv6 by analogy (RFC 6724 section 5, rule 8).
    ///
    /// Addresses that no router forwards from are left out.
    pub fn facing(&self, target: u128, nobody: &IntervalSet) -> Option<u128> {
        let known = || {
            self.subnets
                .iter()
                .zip(&self.addresses)
                .filter(|(_, address)| !nobody.contains(**address))
        };
        let held = known().find(|(subnet, _)| subnet.contains(target));
        held.or_else(|| known().next()).map(|(_, &address)| address)
    }
}

/// A device in one family.
#[derive(Debug)]
pub struct Device {
    /// Which it is.
    pub id: DeviceId,
    /// Whether it forwards packets that are not for itself.
    pub forwards: bool,
    /// Its interfaces, numbered as in the site.
    pub interfaces: Vec<Attachment>,
    /// Its own addresses.
    pub own: IntervalSet,
    /// Its routes.
    pub routes: RouteTable,
    /// Its filter, if it is a gateway.
    pub filter: Option<FilterPlan>,
}

impl Device {
    /// The segment where what is sent to an address of the device is delivered: that of the interface that has it, else of
    /// the one that took it in.
    pub fn home_of(&self, address: u128, ingress: usize) -> SegmentId {
        let mut interfaces = self.interfaces.iter();
        let owner = interfaces.find(|interface| interface.addresses.contains(&address));
        owner.unwrap_or(&self.interfaces[ingress]).segment
    }

    /// Whether it forwards and no rule decides: a router, or a host that routes.
    pub fn forwards_unfiltered(&self) -> bool {
        self.forwards && self.filter.is_none()
    }
}
