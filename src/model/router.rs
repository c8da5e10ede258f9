//! Gateways and routers: devices that forward packets between segments.

use std::net::IpAddr;

use boundwalk_diagnostic::{Span, Spanned};

use super::address::{AddressSet, InterfaceAddress, Prefix};
use super::names::SegmentId;
use super::rule::{Action, AddressMatch, Rule, RuleParty, ServiceMatch};
use super::switch::{Lacp, Speed, VlanId};

/// How a router looks at the source address of an arriving packet (RFC 3704 section 2).
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum SourceCheck {
    /// Not at all; what RFC 1812 section 5.3.8 asks for as a default.
    #[default]
    Off,
    /// Some route to the source must exist, the default route counts.
    Loose,
    /// The route back to the source must leave by the interface the packet arrived on.
    Strict,
}

/// An interface of a gateway or router.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Interface {
    /// Its name; unique within the device.
    pub name: Spanned<String>,
    /// The segment that the file says it is on.
    pub segment: SegmentId,
    /// Its addresses, shared ones last; without one it still forwards what arrives on it.
    pub addresses: Vec<Spanned<InterfaceAddress>>,
    /// Those that it shares with interfaces of other devices, of which one has it at a time (RFC 9568, virtual router).
    pub shared: Vec<IpAddr>,
    /// The port or LAG of the device that it stands on, where ports are described.
    pub port: Option<Spanned<String>>,
    /// Tag of its frames; `None`: untagged.
    pub vlan: Option<VlanId>,
    /// Source check on arrival.
    pub source_check: SourceCheck,
}

/// Where a route leads.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Via {
    /// A next hop, on-link at the interface of that number.
    NextHop {
        /// Its address.
        address: IpAddr,
        /// Number of the interface in [`Router::interfaces`] (or of the host's).
        interface: usize,
    },
    /// Nowhere: dropped.
    Discard,
}

/// A static route. On-link prefixes are routes by themselves and are not repeated here.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Route {
    /// Destinations it is for; the longest match wins.
    pub destination: Prefix,
    /// Where it leads.
    pub via: Via,
    /// Of several routes to one destination the lowest is used, those of the others are backups; at least 1. RFC 8349
    /// section 3.3 (route preference).
    pub preference: u32,
    /// Where it is described.
    pub place: Span,
}

impl Route {
    /// Preference of what is on-link: no route is better. RFC 8349 leaves the numbers to the device; common practice, no
    /// source.
    pub const ON_LINK: u32 = 0;
    /// Preference of a route that says none: the best that a route can have.
    pub const USUAL: u32 = 1;
}

/// What a translation writes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum TranslationTarget {
    /// This address.
    Address(IpAddr),
    /// The first address, of the packet's family, of the interface it leaves by. Source translation only.
    Interface,
    /// Nothing: what matches here is exempt from the lines below.
    Unchanged,
}

/// A line of a list of address translations; the first that matches is applied.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Translation {
    /// Its name.
    pub name: Spanned<String>,
    /// For a destination translation the interfaces of arrival, for a source translation those of
    /// departure; `None`: any.
    pub parties: Option<Vec<RuleParty>>,
    /// Source addresses; `None`: any.
    pub source: Option<AddressMatch>,
    /// Destination addresses; `None`: any.
    pub destination: Option<AddressMatch>,
    /// Services; `None`: any.
    pub services: Option<ServiceMatch>,
    /// What is written.
    pub target: TranslationTarget,
    /// Destination port that is written besides (destination translation only).
    pub port: Option<u16>,
    /// A disabled line matches nothing.
    pub enabled: bool,
}

/// The filter of a gateway.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Filter {
    /// What happens where no rule matches.
    pub default: Spanned<Action>,
    /// Whether replies to a permitted flow pass by themselves.
    pub stateful: bool,
    /// Rules in order; the first match decides.
    pub rules: Vec<Rule>,
    /// Applied on arrival, before the route look-up.
    pub destination_translations: Vec<Translation>,
    /// Applied on departure, after the rules.
    pub source_translations: Vec<Translation>,
}

/// Whether a device filters.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Role {
    /// Forwards what its rules permit.
    Gateway(Box<Filter>),
    /// Forwards everything.
    Router,
}

/// A LAG of a gateway or router.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RouterLag {
    /// Its name.
    pub name: Spanned<String>,
    /// Its member ports.
    pub ports: Vec<Spanned<String>>,
    /// Negotiation.
    pub lacp: Lacp,
    /// Speed of each member, where the file says so.
    pub speed: Option<Speed>,
}

/// A gateway or router.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Router {
    /// Its name.
    pub name: Spanned<String>,
    /// Whether it filters.
    pub role: Role,
    /// Its interfaces.
    pub interfaces: Vec<Interface>,
    /// Its static routes, one a destination.
    pub routes: Vec<Route>,
    /// Its LAGs.
    pub lags: Vec<RouterLag>,
    /// A line for people; may be empty.
    pub description: String,
}

impl Router {
    /// Its filter; `None` for a router.
    pub fn filter(&self) -> Option<&Filter> {
        match &self.role {
            Role::Gateway(filter) => Some(filter),
            Role::Router => None,
        }
    }

    /// The number of a LAG of this name.
    pub fn lag(&self, name: &str) -> Option<usize> {
        self.lags.iter().position(|lag| lag.name.value == name)
    }

    /// The number of the LAG that a port of this name is a member of.
    pub fn lag_of(&self, port: &str) -> Option<usize> {
        let holds = |lag: &RouterLag| lag.ports.iter().any(|member| member.value == port);
        self.lags.iter().position(holds)
    }

    /// The interfaces that stand on a port or LAG of this name, with their numbers.
    pub fn interfaces_on(&self, port: &str) -> impl Iterator<Item = (usize, &Interface)> {
        self.interfaces
            .iter()
            .enumerate()
            .filter(move |(_, interface)| {
                let own = interface.port.as_ref();
                own.is_some_and(|own| own.value == port)
            })
    }

    /// All addresses of all interfaces.
    #[must_use]
    pub fn own_addresses(&self) -> AddressSet {
        let mut set = AddressSet::default();
        for address in self
            .interfaces
            .iter()
            .flat_map(|interface| &interface.addresses)
        {
            let family = address.value.family();
            let value = super::address::Family::value(address.value.address());
            set.insert(family, boundwalk_packet::Interval::point(value));
        }
        set
    }
}
