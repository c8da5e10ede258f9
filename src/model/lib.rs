//! Floor 1: what a site is made of, valid by construction.
//!
//! A [`Site`] exists only after the loader has resolved every name and refused every contradiction, so the
//! floors above never check again. References are numbers ([`SegmentId`] ...) into the lists of the site.
//! Each named thing keeps its place in the text. This floor knows no file format and answers no question.

mod accepted;
mod address;
mod date;
mod host;
mod intent;
mod names;
mod per_family;
mod router;
mod rule;
mod segment;
mod service;
mod site;
mod switch;

pub use accepted::Accepted;
pub use address::{AddressSet, Family, InterfaceAddress, Prefix, show_interval, show_intervals};
pub use date::Date;
pub use host::{Forwards, Host, HostInterface};
pub use intent::{Demands, Expectation, Need, Permit, Through};
pub use names::{HostId, LinkEnd, RouterId, SegmentId, SwitchId, ZoneId};
pub use per_family::PerFamily;
pub use router::{
    Filter, Interface, Role, Route, Router, RouterLag, SourceCheck, Translation, TranslationTarget,
    Via,
};
pub use rule::{Action, AddressMatch, Rule, RuleParty, ServiceMatch};
pub use segment::{Segment, Zone};
pub use service::{ICMP, ICMPV6, Protocol, Service, TCP, UDP};
pub use site::{AddressGroup, ServiceGroup, Site};
pub use switch::{FrameTypes, Lacp, Lag, Link, Port, PortVlans, Speed, Switch, VlanId, VlanSet};
