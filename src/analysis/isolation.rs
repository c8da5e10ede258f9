//! Is a segment cut off, and what keeps it so: switches and cables, or only rules?

use std::cell::OnceCell;

use boundwalk_forwarding::layer2::{
    Fabric, Flood, FrameWay, InterfaceOf, Start, Taken, flood, hostile_starts,
};
use boundwalk_forwarding::{
    Arrival, Flow, Limit, Network, Origin, Packet, Place, Sender, Stop, Target, UnclaimedId,
    WalkCoverage, reach,
};
use boundwalk_model::{Family, Forwards, HostId, RouterId, SegmentId, Site};
use boundwalk_packet::IntervalSet;

use super::certificate::Certificate;
use super::ways::{Around, Way, takes};
use super::witness::witness;

/// Which way frames or packets go, seen from the segment.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Direction {
    /// From the segment to others.
    Out,
    /// From others into the segment.
    Into,
}

impl Direction {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Out, Self::Into];
}

/// What frames of a segment meet, or what sends frames into it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Counterpart {
    /// Devices of another segment.
    Segment(SegmentId),
    /// A gateway or router.
    Router(RouterId),
    /// A host that routes between several interfaces.
    Forwarder(HostId),
    /// A host that has an address on another segment as well, and answers for it here.
    Home(HostId),
    /// Whoever plugs in at unclaimed ports.
    Unclaimed(UnclaimedId),
}

/// Something that frames reach, with the way.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Contact {
    /// Which way.
    pub direction: Direction,
    /// What is met.
    pub met: Counterpart,
    /// The way of the frame.
    pub way: FrameWay,
}

/// A path that works.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Opening {
    /// Round the gateways.
    Around {
        /// The other segment, or unclaimed ports.
        other: Origin,
        /// The way.
        way: Box<Way>,
    },
    /// Through the rules of gateways.
    Through {
        /// The other segment, or unclaimed ports.
        other: Origin,
        /// What is delivered: sets of packets with the devices crossed.
        flow: Box<Flow>,
        /// One packet of it.
        packet: Packet,
    },
}

/// The answer for one segment.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum IsolationVerdict {
    /// No frame of the segment reaches a router or another segment's device, and none of theirs reaches it.
    ByDesign(Box<Certificate>),
    /// There are paths of frames to a gateway, and its rules deny everything.
    ByRule {
        /// The contacts that keep it from being isolated by design, one a direction at most.
        contacts: Vec<Contact>,
        /// Rules that deny (by gateway and number; `None`: its default); empty where there are several
        /// gateways.
        denied_by: Vec<(RouterId, Option<usize>)>,
    },
    /// Something passes.
    Reachable {
        /// The contacts that keep it from being isolated by design, one a direction at most.
        contacts: Vec<Contact>,
        /// From the segment to another.
        out: Option<Opening>,
        /// From another to the segment.
        into: Option<Opening>,
        /// The limit that was met, so that a direction in which nothing is listed may be open too.
        limit: Option<Limit>,
    },
    /// There are paths of frames to a gateway, nothing is known to pass its rules, and a limit was met before all was
    /// looked at.
    Unknown {
        /// The contacts that keep it from being isolated by design, one a direction at most.
        contacts: Vec<Contact>,
        /// The limit.
        limit: Limit,
    },
}

/// Judges one segment, hostile devices at every live port: of the segment, of every other, and of none.
#[must_use]
pub fn isolation(network: &Network<'_>, segment: SegmentId) -> IsolationVerdict {
    let walks = Walks::new(network);
    walks.judge(segment)
}

/// Judges several segments; what they have in common is computed once.
///
/// A flood for each, and for each sender that gateways may let pass one walk of everything through the rules.
#[must_use]
pub fn isolations(network: &Network<'_>, segments: &[SegmentId]) -> Vec<IsolationVerdict> {
    let walks = Walks::new(network);
    segments
        .iter()
        .map(|&segment| walks.judge(segment))
        .collect()
}

/// What passes the gateways from a hostile device of one segment.
#[derive(Default)]
struct FramesPassed {
    /// For each segment where something arrives, the first such flow with one packet of it.
    arrives: Vec<(SegmentId, Flow, Packet)>,
    /// Whether all was looked at.
    coverage: WalkCoverage,
    /// Destinations that a rule denies (`None`: the default).
    denied: Vec<(Option<usize>, Family, IntervalSet)>,
}

/// Walks through the rules, each made once and only when asked for.
struct Walks<'n> {
    network: &'n Network<'n>,
    passed: Vec<OnceCell<FramesPassed>>,
}

impl<'n> Walks<'n> {
    fn new(network: &'n Network<'n>) -> Self {
        Self {
            network,
            passed: network.fabric.origins().map(|_| OnceCell::new()).collect(),
        }
    }

    fn judge(&self, segment: SegmentId) -> IsolationVerdict {
        let network = self.network;
        let starts = hostile_starts(&network.fabric, Origin::Segment(segment));
        let out = flood(&network.fabric, &starts);
        let contacts = nearest_contacts(network, segment, &out);
        if contacts.is_empty() {
            return IsolationVerdict::ByDesign(Box::new(Certificate::new(network, segment, &out)));
        }
        let [(out, one), (into, other)] =
            Direction::BOTH.map(|direction| self.opening(segment, direction));
        let limit = one.and(other).limit();
        match (out, into, limit) {
            (None, None, Some(limit)) => IsolationVerdict::Unknown { contacts, limit },
            (None, None, None) => IsolationVerdict::ByRule {
                contacts,
                denied_by: self.denied_by(segment),
            },
            (out, into, limit) => IsolationVerdict::Reachable {
                contacts,
                out,
                into,
                limit,
            },
        }
    }

    /// The first path that works in a direction, round gateways before through them; none is certain only where all
    /// was looked at.
    fn opening(&self, segment: SegmentId, direction: Direction) -> (Option<Opening>, WalkCoverage) {
        let network = self.network;
        let own = Origin::Segment(segment);
        let others = || network.fabric.origins().filter(move |&other| other != own);
        let ends = |other| match direction {
            Direction::Out => (own, other),
            Direction::Into => (other, own),
        };
        let around = others().find_map(|other| {
            let (from, to) = ends(other);
            may_go_round(network, from, to)
                .then(|| Around::new(network, from).way_to(to))
                .flatten()
                .map(|way| (other, Box::new(way)))
        });
        if let Some((other, way)) = around {
            return (Some(Opening::Around { other, way }), WalkCoverage::Complete);
        }
        let mut coverage = WalkCoverage::Complete;
        for other in others() {
            let (from, to) = ends(other);
            // Nobody has an address at unclaimed ports: what is routed goes to segments.
            let Some(to) = to.segment() else { continue };
            let passed = self.passed(from);
            coverage.note(passed.coverage);
            let mut there = passed.arrives.iter().filter(|(at, ..)| *at == to);
            if let Some((_, flow, packet)) = there.next() {
                let opening = Opening::Through {
                    other,
                    flow: Box::new(flow.clone()),
                    packet: *packet,
                };
                return (Some(opening), WalkCoverage::Complete);
            }
        }
        (None, coverage)
    }

    fn passed(&self, from: Origin) -> &FramesPassed {
        let segments = self.network.site.segments.len();
        let at = match from {
            Origin::Segment(segment) => segment.0,
            Origin::Unclaimed(group) => segments + group.0 as usize,
        };
        self.passed[at].get_or_init(|| passed(self.network, from))
    }

    /// Rules that deny what a segment sends, or what is sent to it; a stop does not tell which gateway denied, so
    /// only where there is one.
    fn denied_by(&self, segment: SegmentId) -> Vec<(RouterId, Option<usize>)> {
        let site = self.network.site;
        let Some(gateway) = only_gateway(site) else {
            return Vec::new();
        };
        let mut rules: Vec<(RouterId, Option<usize>)> = Vec::new();
        for from in self.network.fabric.origins() {
            for (rule, family, destinations) in &self.passed(from).denied {
                let mine = &self.network.plan(*family).segment(segment).addresses;
                if from == Origin::Segment(segment) || destinations.overlaps(mine) {
                    rules.push((gateway, *rule));
                }
            }
        }
        rules.sort_unstable();
        rules.dedup();
        rules
    }
}

/// Whether there may be a way round the gateways: frames reach devices there, or something that passes packets on
/// without rules, or a host with further interfaces.
fn may_go_round(network: &Network<'_>, from: Origin, to: Origin) -> bool {
    let reached = network.wiring.from_hostile(from);
    let direct = match to {
        Origin::Segment(to) => network.wiring.hostile_into(to).contains(&from),
        Origin::Unclaimed(_) => network.wiring.heard_at(reached, to),
    };
    let plan = network.plan(Family::V4);
    let mut interfaces = reached.interfaces.iter();
    direct
        || interfaces.any(|&interface| {
            let of = network.fabric.interface(interface).of;
            let device = plan.device(plan.place_of(of).0);
            let host = matches!(of, InterfaceOf::Host(..));
            device.forwards_unfiltered() || host && 1 < device.interfaces.len()
        })
}

/// Sends everything from a hostile device, and notes where it arrives.
fn passed(network: &Network<'_>, from: Origin) -> FramesPassed {
    let mut passed = FramesPassed::default();
    for family in Family::ALL {
        let plan = network.plan(family);
        let everywhere = family.full().difference(&plan.nobody);
        let target = Target {
            addresses: &everywhere,
            segment: None,
            services: None,
        };
        let mut first: Vec<(SegmentId, Flow)> = Vec::new();
        let denied = &mut passed.denied;
        let sender = Sender::Hostile(from);
        let coverage = reach(
            network,
            plan,
            sender,
            target,
            &mut |arrival| match arrival {
                Arrival::Delivered(Place::Segment(place), flow)
                    if Origin::Segment(place) != from
                        && !first.iter().any(|(known, _)| *known == place) =>
                {
                    first.push((place, flow));
                }
                Arrival::Stopped(Stop::Denied(rule), stopped) => {
                    denied.push((rule, family, stopped.sent.destination));
                }
                _ => {}
            },
        );
        passed.coverage.note(coverage);
        for (place, flow) in first {
            let known = passed.arrives.iter().any(|(known, ..)| *known == place);
            if let Some(packet) = witness(network, plan, flow.sent()).filter(|_| !known) {
                passed.arrives.push((place, flow, packet));
            }
        }
    }
    passed
}

/// The nearest contact in each direction, told from what is known of the wiring; none where the segment is
/// isolated by design.
fn nearest_contacts(network: &Network<'_>, segment: SegmentId, out: &Flood) -> Vec<Contact> {
    let (site, fabric) = (network.site, &network.fabric);
    let mut contacts: Vec<Contact> = outward(site, fabric, segment, out).into_iter().collect();
    let routers = network.wiring.routers_into(segment);
    let others = network
        .wiring
        .hostile_into(segment)
        .iter()
        .copied()
        .filter(|&other| other != Origin::Segment(segment));
    // One sender is enough to show, a gateway or router first.
    let starts = match routers.first() {
        Some(&router) => vec![Start::WiredInterface(router)],
        None => others
            .take(1)
            .flat_map(|other| hostile_starts(fabric, other))
            .collect(),
    };
    let everybody = || flood(fabric, &starts_elsewhere(fabric, segment));
    let found = inward(site, fabric, segment, &flood(fabric, &starts));
    let found = found.or_else(|| inward(site, fabric, segment, &everybody()));
    let found = found.or_else(|| by_another_home(site, fabric, segment));
    contacts.extend(found);
    contacts
}

/// What frames of a segment meet first, of what ends isolation.
fn outward(site: &Site, fabric: &Fabric, segment: SegmentId, out: &Flood) -> Option<Contact> {
    out.taken.iter().find_map(|taken| {
        Some(Contact {
            direction: Direction::Out,
            met: meets(site, fabric, segment, taken)?,
            way: out.way(fabric, taken),
        })
    })
}

/// The first frame of a flood from elsewhere that devices of a segment take, by whatever interface.
fn inward(site: &Site, fabric: &Fabric, segment: SegmentId, flood: &Flood) -> Option<Contact> {
    let mut taken = flood.taken.iter();
    let taken = taken.find(|taken| {
        let open = taken.interface.is_none() && fabric.claimed(taken.port).contains(&segment);
        open || takes(fabric, taken, segment)
            || taken_by_home(site, fabric, taken, segment).is_some()
    })?;
    let way = flood.way(fabric, taken);
    Some(Contact {
        direction: Direction::Into,
        met: sender(fabric, segment, way.start),
        way,
    })
}

/// The host that takes a frame by an interface on another segment than one on which it has an address.
fn taken_by_home(
    site: &Site,
    fabric: &Fabric,
    taken: &Taken,
    segment: SegmentId,
) -> Option<HostId> {
    let interface = fabric.interface(taken.interface?);
    let InterfaceOf::Host(host, _) = interface.of else {
        return None;
    };
    (interface.segment != segment && has_home(site, host, segment)).then_some(host)
}

/// Whether a host has an address on a segment.
fn has_home(site: &Site, host: HostId, segment: SegmentId) -> bool {
    let mut interfaces = site.host(host).interfaces.iter();
    interfaces.any(|at| at.segment == segment && !at.addresses.is_empty())
}

/// Frames from elsewhere that a host on the segment takes by another of its interfaces.
fn by_another_home(site: &Site, fabric: &Fabric, segment: SegmentId) -> Option<Contact> {
    let interfaces = fabric.interface_ids().filter(|&interface| {
        let interface = fabric.interface(interface);
        let home =
            matches!(interface.of, InterfaceOf::Host(host, _) if has_home(site, host, segment));
        home && interface.segment != segment
    });
    interfaces.into_iter().find_map(|interface| {
        let from = Origin::Segment(fabric.interface(interface).segment);
        let flood = flood(fabric, &hostile_starts(fabric, from));
        inward(site, fabric, segment, &flood)
    })
}

/// Where frames of a segment get and where those of everything else do, if it is isolated by design; `None` if
/// it is not.
pub(super) fn isolated_floods(
    site: &Site,
    fabric: &Fabric,
    segment: SegmentId,
) -> Option<[Flood; 2]> {
    let out = flood(fabric, &hostile_starts(fabric, Origin::Segment(segment)));
    if outward(site, fabric, segment, &out).is_some() {
        return None;
    }
    let into = flood(fabric, &starts_elsewhere(fabric, segment));
    let isolated = inward(site, fabric, segment, &into).is_none();
    isolated.then_some([out, into])
}

/// What ends isolation among the things that frames of a segment reach.
fn meets(site: &Site, fabric: &Fabric, segment: SegmentId, taken: &Taken) -> Option<Counterpart> {
    let Some(interface) = taken.interface else {
        if let Some(group) = fabric.unclaimed_at(taken.port) {
            return Some(Counterpart::Unclaimed(group));
        }
        let mut claimed = fabric.claimed(taken.port).iter();
        let other = claimed.find(|&&other| other != segment);
        return other.copied().map(Counterpart::Segment);
    };
    let interface = fabric.interface(interface);
    match interface.of {
        InterfaceOf::Router(router, _) => Some(Counterpart::Router(router)),
        InterfaceOf::Host(host, _) if routes(site, host) => Some(Counterpart::Forwarder(host)),
        InterfaceOf::Host(..) if interface.segment != segment => {
            Some(Counterpart::Segment(interface.segment))
        }
        InterfaceOf::Host(host, _) => {
            has_other_home(site, host, segment).then_some(Counterpart::Home(host))
        }
    }
}

/// Whether a host has an address on another segment than this one.
fn has_other_home(site: &Site, host: HostId, segment: SegmentId) -> bool {
    let mut interfaces = site.host(host).interfaces.iter();
    interfaces.any(|at| at.segment != segment && !at.addresses.is_empty())
}

fn routes(site: &Site, host: HostId) -> bool {
    let host = site.host(host);
    host.forwards.value == Forwards::Routes && host.interfaces.len() > 1
}

/// Everything that is not on the segment: hostile devices at all other ports, and every gateway and router.
fn starts_elsewhere(fabric: &Fabric, segment: SegmentId) -> Vec<Start> {
    let routers = fabric
        .interface_ids()
        .filter(|&interface| matches!(fabric.interface(interface).of, InterfaceOf::Router(..)))
        .map(Start::WiredInterface);
    let others = fabric
        .origins()
        .filter(|&other| other != Origin::Segment(segment))
        .flat_map(|other| hostile_starts(fabric, other));
    routers.chain(others).collect()
}

/// Who sent what came in.
fn sender(fabric: &Fabric, segment: SegmentId, start: Start) -> Counterpart {
    let other = |port| {
        let mut claimed = fabric.claimed(port).iter();
        let other = claimed.find(|&&there| there != segment);
        other.copied().unwrap_or(segment)
    };
    match start {
        Start::WiredInterface(interface) => match fabric.interface(interface).of {
            InterfaceOf::Router(router, _) => Counterpart::Router(router),
            InterfaceOf::Host(..) => Counterpart::Segment(fabric.interface(interface).segment),
        },
        Start::AttachPoint(port, _) => match fabric.unclaimed_at(port) {
            Some(group) => Counterpart::Unclaimed(group),
            None => Counterpart::Segment(other(port)),
        },
        Start::Inside(..) => Counterpart::Segment(segment),
    }
}

/// The gateway, where there is only one: a stop does not tell which gateway denied.
fn only_gateway(site: &Site) -> Option<RouterId> {
    let mut gateways = (0..site.routers.len())
        .map(RouterId)
        .filter(|&router| site.router(router).filter().is_some());
    let first = gateways.next()?;
    gateways.next().is_none().then_some(first)
}
