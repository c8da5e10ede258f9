//! Numbers that stand for named things.

/// Number of a zone in [`Site::zones`](crate::Site::zones).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ZoneId(pub usize);

/// Number of a segment in [`Site::segments`](crate::Site::segments).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct SegmentId(pub usize);

/// Number of a gateway or router in [`Site::routers`](crate::Site::routers).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct RouterId(pub usize);

/// Number of a host in [`Site::hosts`](crate::Site::hosts).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct HostId(pub usize);

/// Number of a switch in [`Site::switches`](crate::Site::switches).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct SwitchId(pub usize);

/// One end of a cable: a port, or a LAG as a whole, of a device.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum LinkEnd {
    /// A port or LAG of a switch, by name.
    Switch(SwitchId, String),
    /// A port or LAG of a gateway or router, by name.
    Router(RouterId, String),
    /// An interface of a host, by name.
    Host(HostId, String),
}
