//! Is a segment cut off, and what keeps it so: switches and cables, or only rules?

use crate::forwarding::layer2::{
    Fabric, Flood, FootOf, FrameWay, Start, Taken, flood, hostile_starts,
};
use crate::forwarding::{
    Arrival, DeviceId, Flow, Network, Place, Plan, Sender, Stop, Target, reach,
};
use crate::model::{Family, Forwards, RouterId, SegmentId, Site};

use super::certificate::Certificate;
use super::ways::{Around, Way};
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
        packet: crate::forwarding::Packet,
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
    let site = network.site;
    let out = flood(&network.fabric, &hostile_starts(&network.fabric, segment));
    let contacts = contacts(site, &network.fabric, segment, &out);
    if contacts.is_empty() {
        return Verdict::ByDesign(Box::new(Certificate::new(network, segment, &out)));
    }
    let mut denied_by = Vec::new();
    let [out, into] =
        Direction::BOTH.map(|direction| opening(network, segment, direction, &mut denied_by));
    if out.is_none() && into.is_none() {
        denied_by.sort_unstable();
        denied_by.dedup();
        return Verdict::ByRule {
            contacts,
            denied_by,
        };
    }
    Verdict::Reachable {
        contacts,
        out,
        into,
    }
}

/// The nearest contact in each direction; none where the segment is isolated by design.
pub(super) fn contacts(
    site: &Site,
    fabric: &Fabric,
    segment: SegmentId,
    out: &Flood,
) -> Vec<Contact> {
    let mut contacts = Vec::new();
    let nearest = out.taken.iter().find_map(|taken| {
        let met = meets(site, fabric, segment, taken)?;
        Some((met, out.way(fabric, taken)))
    });
    contacts.extend(nearest.map(|(met, way)| Contact {
        direction: Direction::Out,
        met,
        way,
    }));
    let inward = flood(fabric, &starts_elsewhere(fabric, segment));
    let arrival = inward
        .taken
        .iter()
        .find(|taken| is_home(fabric, segment, taken));
    contacts.extend(arrival.map(|taken| {
        let way = inward.way(fabric, taken);
        Contact {
            direction: Direction::Into,
            met: sender(fabric, segment, way.start),
            way,
        }
    }));
    contacts
}

/// Whether a segment is isolated by design.
pub(super) fn by_design(site: &Site, fabric: &Fabric, segment: SegmentId) -> bool {
    let out = flood(fabric, &hostile_starts(fabric, segment));
    contacts(site, fabric, segment, &out).is_empty()
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
pub(super) fn starts_elsewhere(fabric: &Fabric, segment: SegmentId) -> Vec<Start> {
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

fn is_home(fabric: &Fabric, segment: SegmentId, taken: &Taken) -> bool {
    match taken.foot {
        Some(foot) => {
            let foot = fabric.foot(foot);
            foot.segment == segment && matches!(foot.of, FootOf::Host(..))
        }
        None => {
            let mut seated = fabric.seated(taken.socket).iter();
            seated.any(|(there, tag)| *there == segment && taken.frame.fits(*tag))
        }
    }
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

/// The first path that works in a direction, round gateways before through them.
fn opening(
    network: &Network<'_>,
    segment: SegmentId,
    direction: Direction,
    denied_by: &mut Vec<(RouterId, Option<usize>)>,
) -> Option<Opening> {
    let others = || {
        network
            .site
            .segment_ids()
            .filter(move |&other| other != segment)
    };
    let around = match direction {
        Direction::Out => {
            let around = Around::new(network, segment);
            others().find_map(|other| Some((other, around.way_to(other)?)))
        }
        Direction::Into => {
            others().find_map(|other| Some((other, Around::new(network, other).way_to(segment)?)))
        }
    };
    if let Some((other, way)) = around {
        let way = Box::new(way);
        return Some(Opening::Around { other, way });
    }
    others().find_map(|other| {
        let (from, to) = match direction {
            Direction::Out => (segment, other),
            Direction::Into => (other, segment),
        };
        through(network, from, to, other, denied_by)
    })
}

/// Whether a hostile device's packets pass the gateways between two segments.
fn through(
    network: &Network<'_>,
    from: SegmentId,
    to: SegmentId,
    other: SegmentId,
    denied_by: &mut Vec<(RouterId, Option<usize>)>,
) -> Option<Opening> {
    for family in Family::ALL {
        let plan = network.plan(family);
        let target = Target {
            addresses: &plan.segment(to).addresses,
            segment: Some(to),
            services: None,
        };
        let mut first: Option<Flow> = None;
        let mut denied = Vec::new();
        reach(
            network,
            plan,
            Sender::Hostile(from),
            target,
            &mut |arrival| match arrival {
                Arrival::Delivered(Place::Segment(place), flow)
                    if place == to && first.is_none() && !ends_at_a_host(plan, &flow) =>
                {
                    first = Some(flow);
                }
                Arrival::Stopped(Stop::Denied(rule), _) => denied.push(rule),
                _ => {}
            },
        );
        if let Some(flow) = first {
            let packet = witness(network, plan, flow.sent())?;
            return Some(Opening::Through {
                other,
                flow: Box::new(flow),
                packet,
            });
        }
        denied_by.extend(only_gateway(network.site).into_iter().flat_map(|router| {
            let denied = denied.iter();
            denied.map(move |&rule| (router, rule))
        }));
    }
    None
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
