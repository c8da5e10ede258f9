//! Is a segment cut off, and what keeps it so: switches and cables, or only rules?

use std::cell::OnceCell;

use crate::forwarding::layer2::{
    Fabric, Flood, FootOf, FrameWay, Start, Taken, flood, hostile_starts,
};
use crate::forwarding::{
    Arrival, DeviceId, Flow, Network, Packet, Place, Plan, Sender, Stop, Target, reach,
};
use crate::model::{Family, Forwards, RouterId, SegmentId, Site};
use crate::packet::IntervalSet;

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
pub enum Met {
    /// Devices of another segment.
    Segment(SegmentId),
    /// A gateway or router.
    Router(RouterId),
    /// A host that routes between several interfaces.
    Forwarder(crate::model::HostId),
}

/// Something that frames reach, with the way.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Contact {
    /// Which way.
    pub direction: Direction,
    /// What is met.
    pub met: Met,
    /// The way of the frame.
    pub way: FrameWay,
}

/// A path that works.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Opening {
    /// Round the gateways.
    Around {
        /// The other segment.
        other: SegmentId,
        /// The way.
        way: Box<Way>,
    },
    /// Through the rules of gateways.
    Through {
        /// The other segment.
        other: SegmentId,
        /// What is delivered: sets of packets with the devices crossed.
        flow: Box<Flow>,
        /// One packet of it.
        packet: Packet,
    },
}

/// The answer for one segment.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Verdict {
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
    },
}

/// Judges one segment, hostile devices at every seat of it and of every other.
pub fn isolation(network: &Network<'_>, segment: SegmentId) -> Verdict {
    let walks = Walks::new(network);
    walks.judge(segment)
}

/// Judges several segments; what they have in common is computed once.
///
/// A flood for each, and for each sender that gateways may let pass one walk of everything through the rules.
pub fn isolations(network: &Network<'_>, segments: &[SegmentId]) -> Vec<Verdict> {
    let walks = Walks::new(network);
    segments
        .iter()
        .map(|&segment| walks.judge(segment))
        .collect()
}

/// What passes the gateways from a hostile device of one segment.
#[derive(Default)]
struct Passed {
    /// For each segment where something arrives, the first such flow with one packet of it.
    arrives: Vec<(SegmentId, Flow, Packet)>,
    /// Destinations that a rule denies (`None`: the default).
    denied: Vec<(Option<usize>, Family, IntervalSet)>,
}

/// Walks through the rules, each made once and only when asked for.
struct Walks<'n> {
    network: &'n Network<'n>,
    passed: Vec<OnceCell<Passed>>,
}

impl<'n> Walks<'n> {
    fn new(network: &'n Network<'n>) -> Self {
        let segments = network.site.segments.len();
        Self {
            network,
            passed: (0..segments).map(|_| OnceCell::new()).collect(),
        }
    }

    fn judge(&self, segment: SegmentId) -> Verdict {
        let network = self.network;
        let out = flood(&network.fabric, &hostile_starts(&network.fabric, segment));
        let contacts = nearest_contacts(network, segment, &out);
        if contacts.is_empty() {
            return Verdict::ByDesign(Box::new(Certificate::new(network, segment, &out)));
        }
        let [out, into] = Direction::BOTH.map(|direction| self.opening(segment, direction));
        if out.is_none() && into.is_none() {
            return Verdict::ByRule {
                contacts,
                denied_by: self.denied_by(segment),
            };
        }
        Verdict::Reachable {
            contacts,
            out,
            into,
        }
    }

    /// The first path that works in a direction, round gateways before through them.
    fn opening(&self, segment: SegmentId, direction: Direction) -> Option<Opening> {
        let network = self.network;
        let others = || {
            network
                .site
                .segment_ids()
                .filter(move |&other| other != segment)
        };
        let ends = |other| match direction {
            Direction::Out => (segment, other),
            Direction::Into => (other, segment),
        };
        let around = others().find_map(|other| {
            let (from, to) = ends(other);
            may_go_round(network, from, to)
                .then(|| Around::new(network, from).way_to(to))
                .flatten()
                .map(|way| (other, Box::new(way)))
        });
        if let Some((other, way)) = around {
            return Some(Opening::Around { other, way });
        }
        others().find_map(|other| {
            let (from, to) = ends(other);
            let arrives = self.passed(from).arrives.iter();
            let mut there = arrives.filter(|(segment, ..)| *segment == to);
            there.next().map(|(_, flow, packet)| Opening::Through {
                other,
                flow: Box::new(flow.clone()),
                packet: *packet,
            })
        })
    }

    fn passed(&self, from: SegmentId) -> &Passed {
        self.passed[from.0].get_or_init(|| passed(self.network, from))
    }

    /// Rules that deny what a segment sends, or what is sent to it; a stop does not tell which gateway denied, so
    /// only where there is one.
    fn denied_by(&self, segment: SegmentId) -> Vec<(RouterId, Option<usize>)> {
        let site = self.network.site;
        let Some(gateway) = only_gateway(site) else {
            return Vec::new();
        };
        let mut rules: Vec<(RouterId, Option<usize>)> = Vec::new();
        for from in site.segment_ids() {
            for (rule, family, destinations) in &self.passed(from).denied {
                let mine = &self.network.plan(*family).segment(segment).addresses;
                if from == segment || destinations.overlaps(mine) {
                    rules.push((gateway, *rule));
                }
            }
        }
        rules.sort_unstable();
        rules.dedup();
        rules
    }
}

/// Whether there may be a way round the gateways: frames reach devices there, or something that forwards without
/// rules.
fn may_go_round(network: &Network<'_>, from: SegmentId, to: SegmentId) -> bool {
    let direct = network.wiring.hostile_into(to).binary_search(&from).is_ok();
    let plan = network.plan(Family::V4);
    let mut feet = network.wiring.from_hostile(from).feet.iter();
    direct
        || feet.any(|&foot| {
            let (device, _) = plan.place_of(network.fabric.foot(foot).of);
            plan.device(device).forwards_unfiltered()
        })
}

/// Sends everything from a hostile device of a segment, and notes where it arrives.
fn passed(network: &Network<'_>, from: SegmentId) -> Passed {
    let mut passed = Passed::default();
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
        reach(
            network,
            plan,
            Sender::Hostile(from),
            target,
            &mut |arrival| match arrival {
                Arrival::Delivered(Place::Segment(place), flow) if place != from => {
                    let known = first.iter().any(|(known, _)| *known == place);
                    if !known && !ends_at_a_host(plan, &flow) {
                        first.push((place, flow));
                    }
                }
                Arrival::Stopped(Stop::Denied(rule), region) => {
                    denied.push((rule, family, region.destination));
                }
                _ => {}
            },
        );
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
    let others = network.wiring.hostile_into(segment).iter().copied();
    let others = others.filter(|&other| other != segment);
    // One sender is enough to show, a gateway or router first.
    let starts = match routers.first() {
        Some(&router) => vec![Start::Foot(router)],
        None => others
            .take(1)
            .flat_map(|other| hostile_starts(fabric, other))
            .collect(),
    };
    contacts.extend(inward(fabric, segment, &flood(fabric, &starts)));
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

/// The first frame of a flood from elsewhere that devices of a segment take.
fn inward(fabric: &Fabric, segment: SegmentId, flood: &Flood) -> Option<Contact> {
    let mut taken = flood.taken.iter();
    let taken = taken.find(|taken| takes(fabric, taken, segment))?;
    let way = flood.way(fabric, taken);
    Some(Contact {
        direction: Direction::Into,
        met: sender(fabric, segment, way.start),
        way,
    })
}

/// Where frames of a segment get and where those of everything else do, if it is isolated by design; `None` if
/// it is not.
pub(super) fn isolated_floods(
    site: &Site,
    fabric: &Fabric,
    segment: SegmentId,
) -> Option<[Flood; 2]> {
    let out = flood(fabric, &hostile_starts(fabric, segment));
    if outward(site, fabric, segment, &out).is_some() {
        return None;
    }
    let into = flood(fabric, &starts_elsewhere(fabric, segment));
    let isolated = inward(fabric, segment, &into).is_none();
    isolated.then_some([out, into])
}

/// What ends isolation among the things that frames of a segment reach.
fn meets(site: &Site, fabric: &Fabric, segment: SegmentId, taken: &Taken) -> Option<Met> {
    let Some(foot) = taken.foot else {
        let seated = fabric.seated(taken.socket).iter();
        let mut others = seated.filter(|(other, tag)| *other != segment && taken.frame.fits(*tag));
        return others.next().map(|(other, _)| Met::Segment(*other));
    };
    let foot = fabric.foot(foot);
    match foot.of {
        FootOf::Router(router, _) => Some(Met::Router(router)),
        FootOf::Host(host, _) if routes(site, host) => Some(Met::Forwarder(host)),
        FootOf::Host(..) => (foot.segment != segment).then_some(Met::Segment(foot.segment)),
    }
}

fn routes(site: &Site, host: crate::model::HostId) -> bool {
    let host = site.host(host);
    host.forwards.value == Forwards::Routes && host.interfaces.len() > 1
}

/// Everything that is not on the segment: hostile devices of the others, and every gateway and router.
fn starts_elsewhere(fabric: &Fabric, segment: SegmentId) -> Vec<Start> {
    let routers = fabric
        .foot_ids()
        .filter(|&foot| matches!(fabric.foot(foot).of, FootOf::Router(..)))
        .map(Start::Foot);
    let others = (0..fabric.segments())
        .map(SegmentId)
        .filter(|&other| other != segment)
        .flat_map(|other| hostile_starts(fabric, other));
    routers.chain(others).collect()
}

/// Who sent what came in.
fn sender(fabric: &Fabric, segment: SegmentId, start: Start) -> Met {
    let other = |socket| {
        let seated = fabric.seated(socket).iter();
        let mut others = seated.filter(|(there, _)| *there != segment);
        others.next().map_or(segment, |(there, _)| *there)
    };
    match start {
        Start::Foot(foot) => match fabric.foot(foot).of {
            FootOf::Router(router, _) => Met::Router(router),
            FootOf::Host(..) => Met::Segment(fabric.foot(foot).segment),
        },
        Start::Seat(socket, _) => Met::Segment(other(socket)),
        Start::Inside(..) => Met::Segment(segment),
    }
}

/// Whether a flow ends at a host that was met on its near side and has the far address as well (the weak host
/// model, RFC 1122 section 3.3.4.2): nothing of it gets to the other segment.
fn ends_at_a_host(plan: &Plan, flow: &Flow) -> bool {
    flow.hops.last().is_some_and(|hop| {
        let host = matches!(plan.device(hop.device).id, DeviceId::Host(_));
        host && hop.egress.is_none()
    })
}

/// The gateway, where there is only one: a stop does not tell which gateway denied.
fn only_gateway(site: &Site) -> Option<RouterId> {
    let routers = (0..site.routers.len()).map(RouterId);
    let mut gateways = routers.filter(|&router| site.router(router).filter().is_some());
    let first = gateways.next()?;
    gateways.next().is_none().then_some(first)
}
