//! What least privilege comes to.

use std::collections::BTreeMap;
use std::net::IpAddr;

use boundwalk_forwarding::{Network, Packet, Sender, Stop};
use boundwalk_model::{Family, PerFamily, Protocol, RouterId, SegmentId};
use boundwalk_packet::Region;

use super::super::deciders::{DecidedBy, where_it_stops};
use super::super::intent::IntentStatus;
use super::super::party::Endpoint;
use super::measure::{Axis, Measure, Projection};
use super::part::InterfacePair;

/// The service of an observed flow.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ObservedService {
    /// Protocol.
    pub protocol: Protocol,
    /// Destination port, or `type * 256 + code` of a message; 0 for protocols without either.
    pub port: u16,
}

/// A flow that was observed, as the sender sent it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Observed {
    /// Source address.
    pub source: IpAddr,
    /// Destination address, of the same family.
    pub destination: IpAddr,
    /// Its service.
    pub service: ObservedService,
    /// How many records tell of it.
    pub records: u64,
}

impl Observed {
    /// A packet of it, from the first dynamic port (RFC 6335 section 6): logs tell no source port.
    pub fn packet(&self) -> Packet {
        let ObservedService { protocol, port } = self.service;
        Packet {
            source: self.source,
            destination: self.destination,
            protocol,
            source_port: if protocol.has_ports() { 49_152 } else { 0 },
            destination_port: port,
        }
    }
}

/// What of a rule is used.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct RuleUse {
    /// The gateway.
    pub router: RouterId,
    /// The rule, by number; `None`: the default.
    pub rule: Option<usize>,
    /// How much it permits and how much of it is used.
    pub measure: Measure,
    /// Observed flows that it decides.
    pub observed: usize,
    pub(super) permitted: BTreeMap<InterfacePair, PerFamily<Projection>>,
    pub(super) pieces: Vec<Piece>,
    /// Why it can't be tightened; `None`: it can.
    pub(super) fixed: Option<&'static str>,
}

/// A used part of what a rule permits, as the rule sees it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Piece {
    pub family: Family,
    pub interface_pair: InterfacePair,
    pub packets: Region,
}

/// What of a pair is used.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct PairUse {
    /// Who sends.
    pub from: SegmentId,
    /// Who receives.
    pub to: Endpoint,
    /// The family.
    pub family: Family,
    /// Packets permitted and used, without the messages of ICMP and ICMPv6.
    pub packets: Axis,
}

/// An observed flow that the model says can't pass.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Impossible {
    /// The flow.
    pub observed: Observed,
    /// The packet that was tried.
    pub packet: Packet,
    /// The segment of the source; `None`: no segment has it.
    pub from: Option<SegmentId>,
    /// Why it stops.
    pub stop: Option<Stop>,
    /// What denies it.
    pub deciders: Vec<DecidedBy>,
}

/// A need, as far as the observed flows tell.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct NeedUse {
    /// Its number.
    pub need: usize,
    /// How it stands.
    pub status: IntentStatus,
    /// Observed flows of it.
    pub observed: usize,
}

/// What is permitted, needed and used.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Privilege {
    /// Permitting rules that decide packets, in the order of the site.
    pub rules: Vec<RuleUse>,
    /// Pairs between which something is permitted.
    pub pairs: Vec<PairUse>,
    /// Needs.
    pub needs: Vec<NeedUse>,
    /// Distinct observed flows.
    pub observed: usize,
    /// Observed flows that the model says can't pass; of many the first.
    pub impossible: Vec<Impossible>,
    /// How many of those there are.
    pub impossible_count: usize,
    /// Observed flows inside one segment, which no gateway sees.
    pub inside: usize,
    /// Whether every list is complete.
    pub complete: bool,
}

/// Follows an observed flow to where the model stops it.
pub(super) fn follow(network: &Network<'_>, observed: Observed) -> Impossible {
    let plan = network.plan(Family::of(observed.source));
    let source = Family::value(observed.source);
    let segment = plan
        .segments
        .iter()
        .position(|one| one.addresses.contains(source));
    let packet = observed.packet();
    let mut found = Impossible {
        observed,
        packet,
        from: segment.map(SegmentId),
        stop: None,
        deciders: Vec::new(),
    };
    let Some(from) = found.from else {
        return found;
    };
    if let Some((stop, deciders)) = where_it_stops(network, plan, Sender::Segment(from), &packet) {
        found.stop = Some(stop);
        found.deciders = deciders;
    }
    found
}
