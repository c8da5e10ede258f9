//! A site in one family, prepared for sending packets through it.

use boundwalk_model::{Family, SegmentId};
use boundwalk_packet::IntervalSet;

use super::device::{Device, DeviceIndex};
use super::neighbours::NeighbourTable;

/// A segment in one family.
#[derive(Clone, Debug, Default)]
pub struct SegmentPlan {
    /// Addresses of the devices there: those of its prefixes, or for an external segment whatever routes
    /// lead there; without the addresses of gateways and routers, and without what no router forwards.
    pub addresses: IntervalSet,
    /// Addresses that are on-link there.
    pub on_link: IntervalSet,
    /// Both together: a set that surely holds every source of plain devices there.
    pub cover: IntervalSet,
    /// Default gateways that the file names for plain devices there.
    pub default_gateways: Vec<u128>,
    /// The world beyond.
    pub external: bool,
    /// Of the world beyond: addresses that nobody there routes, since they are private (RFC 1918, RFC 4193, RFC 6598)
    /// and neither on-link nor among the networks that the segment is said to route.
    pub unrouted: IntervalSet,
    /// The first hops of plain devices there, as far as layer 2 leads to them.
    pub first_hops: Vec<(DeviceIndex, usize)>,
}

/// A site in one family.
#[derive(Debug)]
pub struct Plan {
    /// The family.
    pub family: Family,
    /// Gateways and routers, then hosts.
    pub devices: Vec<Device>,
    /// Segments, numbered as in the site.
    pub segments: Vec<SegmentPlan>,
    /// Addresses of gateways and routers.
    pub routers_own: IntervalSet,
    /// Those of them that no host has too.
    pub routers_only: IntervalSet,
    /// Addresses that several devices have: shared on purpose, or by mistake.
    pub doubled: IntervalSet,
    /// Addresses that are handed to whoever has them on the wire, before any plain device: those that several devices
    /// have, and those of devices in prefixes of several segments.
    pub(super) by_owner: IntervalSet,
    /// Addresses that lie in prefixes of several segments.
    pub contested: IntervalSet,
    /// Addresses that no router forwards to or from.
    pub nobody: IntervalSet,
    /// First and last addresses of on-link prefixes: no plain device's where a prefix holds more than two.
    pub edges: IntervalSet,
    /// Whether every gateway is stateful.
    pub stateful: bool,
    /// How many of the devices are gateways and routers; they come first.
    pub(super) routers: usize,
    /// Hosts whose packets take other routes than those of a plain device of the segment, with their addresses.
    pub(super) answering: Vec<(DeviceIndex, SegmentId, IntervalSet)>,
    /// Those of them with an address on each segment.
    pub(super) own_ways: Vec<Vec<DeviceIndex>>,
    /// The addresses of all of those there.
    pub(super) own_sources: Vec<IntervalSet>,
    /// Addresses of each host that has several.
    pub(super) several_own: Vec<IntervalSet>,
    /// What each device finds on its wire.
    pub(super) wires: NeighbourTable,
}
