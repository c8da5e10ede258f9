//! Devices that are neither switch nor gateway.

use std::net::IpAddr;

use boundwalk_diagnostic::Spanned;

use super::address::InterfaceAddress;
use super::names::SegmentId;
use super::router::Route;
use super::switch::VlanId;

/// What a host does with traffic that is not for itself.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Forwards {
    /// Drops it.
    #[default]
    No,
    /// Routes packets between its interfaces.
    Routes,
    /// Bridges frames between its interfaces.
    Bridges,
}

/// An interface of a host.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct HostInterface {
    /// Its name; unique within the host.
    pub name: Spanned<String>,
    /// The segment that the file says it is on.
    pub segment: SegmentId,
    /// Its addresses, shared ones last; may be empty.
    pub addresses: Vec<Spanned<InterfaceAddress>>,
    /// Those that it shares with interfaces of other devices, of which one has it at a time.
    pub shared: Vec<IpAddr>,
    /// Tag it sends and expects; `None`: untagged.
    pub vlan: Option<VlanId>,
}

/// A device with one interface or several.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Host {
    /// Its name.
    pub name: Spanned<String>,
    /// Its interfaces; at least one.
    pub interfaces: Vec<HostInterface>,
    /// Next hops of its default route; empty: what the segment says.
    pub default_gateway: Vec<Spanned<IpAddr>>,
    /// Further routes.
    pub routes: Vec<Route>,
    /// What it does with traffic for others, and where that is said (the host's name where it is left out).
    pub forwards: Spanned<Forwards>,
    /// A line for people; may be empty.
    pub description: String,
}
