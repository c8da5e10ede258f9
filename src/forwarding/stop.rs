//! Where packets are, and why they go no further.

use boundwalk_model::{RouterId, SegmentId};

/// Where a flow arrives.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Place {
    /// Devices of a segment.
    Segment(SegmentId),
    /// A gateway or router itself.
    Router(RouterId),
}

/// Why a flow goes no further.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Stop {
    /// The source check of the interface of arrival.
    SourceCheck,
    /// A rule (by number), or the default.
    Denied(Option<usize>),
    /// No route.
    NoRoute,
    /// A discard route.
    Discarded,
    /// The next hop belongs to nobody, or to a device that does not forward.
    NextHopSilent,
    /// Nobody with the address is found on the wire: no two-way path of frames leads to it.
    OffWire,
    /// The device does not forward.
    NotForwarding,
    /// It came back to an interface with the headers that it had there before, or crossed 255 devices.
    Loop,
    /// It may take more ways than are followed: what becomes of it on this one is not known.
    TooManyWays,
    /// It leaves the site for a private address that nobody out there routes.
    LostOutside(SegmentId),
    /// Its source is an address of the receiver itself.
    OwnSource,
    /// There is no router for the sender to use.
    NoFirstHop,
    /// No router forwards from that source or to that destination (RFC 6890).
    NotForwardable,
    /// The family's interface has no address to translate to.
    NoTranslationAddress,
    /// The sender has no address on the interface that it would leave by.
    NoSource,
}

/// Devices that a packet crosses at most: the hop limit is a number of 8 bits (RFC 791 section 3.1, time to live; RFC
/// 8200 section 3).
pub(super) const MOST_HOPS: usize = 255;
