//! Where a single packet goes from a device or a sender.

use boundwalk_model::{Family, SegmentId};
use boundwalk_packet::IntervalSet;

use super::device::{DeviceId, DeviceIndex};
use super::doubt::{Certainty, Doubt};
use super::neighbours::SendPoint;
use super::plan::Plan;
use super::routes::NextHop;
use super::stop::{Place, Stop};
use super::trace_types::{Outcome, Packet};

/// Where a packet goes from a device or a sender.
#[derive(Clone)]
pub(super) enum Next {
    /// To one of these interfaces, whichever answers; never none.
    Arrive(Vec<(DeviceIndex, usize)>),
    Done(Outcome),
    /// By one of several ways, each with what is doubtful about it; never none.
    Ways(Vec<(Option<Doubt>, Self)>),
}

impl Next {
    /// To interfaces of a device, or of several of which nobody can say which answers.
    fn to_owners(at: Vec<(DeviceIndex, usize)>) -> Self {
        let doubt = Plan::doubt_between(&at);
        if doubt.is_none() {
            return Self::Arrive(at);
        }
        let each = at.into_iter().map(|at| Self::Arrive(vec![at]));
        Self::Ways(each.map(|next| (doubt, next)).collect())
    }

    /// Where it may go besides.
    fn or(self, doubt: Doubt, at: Vec<(DeviceIndex, usize)>) -> Self {
        if at.is_empty() {
            return self;
        }
        Self::Ways(vec![(None, self), (Some(doubt), Self::Arrive(at))])
    }

    /// The single ways, each to interfaces or an end, with all that is doubtful about it.
    pub(super) fn ways(self) -> Vec<(Vec<Doubt>, Self)> {
        let Self::Ways(ways) = self else {
            return vec![(Vec::new(), self)];
        };
        let each = ways.into_iter().flat_map(|(doubt, next)| {
            next.ways().into_iter().map(move |(mut doubts, next)| {
                doubts.extend(doubt);
                (doubts, next)
            })
        });
        each.collect()
    }

    /// Those on which a reply counts: not the ones that are possible only.
    pub(super) fn counting(self) -> Vec<Self> {
        let counts = |doubts: &[Doubt]| {
            let mut all = doubts.iter();
            all.all(|doubt| doubt.certainty() != Certainty::Possible)
        };
        self.ways()
            .into_iter()
            .filter(|(doubts, _)| counts(doubts))
            .map(|(_, next)| next)
            .collect()
    }
}

/// How it ends for a packet that comes to devices of a segment.
pub(super) fn landing(plan: &Plan, segment: SegmentId, packet: &Packet) -> Outcome {
    if to_itself(plan, packet) {
        Outcome::Stopped(Stop::OwnSource)
    } else {
        Outcome::Delivered(Place::Segment(segment))
    }
}

/// Whether the receiver of a packet has its source address itself.
pub(super) fn to_itself(plan: &Plan, packet: &Packet) -> bool {
    let (source, destination) = (
        Family::value(packet.source),
        Family::value(packet.destination),
    );
    let mut several = plan.several_own.iter();
    source == destination || several.any(|own| own.contains(source) && own.contains(destination))
}

/// Where a plain device of a segment sends a packet.
pub(super) fn from_plain(plan: &Plan, segment: SegmentId, packet: &Packet) -> Next {
    let destination = Family::value(packet.destination);
    let send_point = SendPoint::Segment(segment);
    if !plan.segment(segment).on_link.contains(destination) {
        return any_router(plan, send_point);
    }
    let on_link = on_wire(plan, send_point, packet);
    if !plan.contested.contains(destination) {
        return on_link;
    }
    let doubt = Some(Doubt::OverlappingPrefix);
    Next::Ways(vec![
        (doubt, on_link),
        (doubt, any_router(plan, send_point)),
    ])
}

/// Any of the routers that plain devices find at a send point.
pub(super) fn any_router(plan: &Plan, send_point: SendPoint) -> Next {
    let first_hops: Vec<_> = plan.routers_at(send_point).collect();
    let certain = if first_hops.is_empty() {
        Next::Done(Outcome::Stopped(Stop::NoFirstHop))
    } else {
        to_routers(plan, send_point, first_hops)
    };
    let certain = certain.or(Doubt::Request, plan.learned_routers(send_point));
    certain.or(Doubt::UnknownGateway, plan.other_routers_at(send_point))
}

/// To one of some routers, as the sender likes; where a default gateway's address is several devices', to whichever
/// answers.
fn to_routers(plan: &Plan, send_point: SendPoint, first_hops: Vec<(DeviceIndex, usize)>) -> Next {
    let (shared, own): (Vec<_>, Vec<_>) = first_hops
        .into_iter()
        .partition(|&at| plan.shares_gateway(send_point, at));
    if shared.is_empty() {
        return Next::Arrive(own);
    }
    let mut ways: Vec<_> = shared
        .into_iter()
        .map(|at| Next::Arrive(vec![at]))
        .map(|next| (Some(Doubt::SharedAddress), next))
        .collect();
    if !own.is_empty() {
        ways.push((None, Next::Arrive(own)));
    }
    Next::Ways(ways)
}

/// Who gets a packet that is handed out on-link.
pub(super) fn on_wire(plan: &Plan, send_point: SendPoint, packet: &Packet) -> Next {
    let from = send_point.device();
    let destination = Family::value(packet.destination);
    if plan.by_owner.contains(destination) {
        let owners = plan.owners(send_point, destination);
        if !owners.is_empty() {
            return to_doubled(plan, owners, packet);
        }
    }
    let takers: Vec<_> = plan
        .receivers(send_point)
        .filter(|(device, _, own)| Some(*device) != from && own.contains(destination))
        .map(|(device, interface, _)| (device, interface))
        .collect();
    let learned = plan.learned_receivers(send_point);
    let learned: Vec<_> = learned
        .filter(|(_, _, own)| own.contains(destination))
        .map(|(device, interface, _)| (device, interface))
        .collect();
    if !takers.is_empty() {
        return Next::Arrive(takers).or(Doubt::Request, learned);
    }
    let certain = to_devices(plan, send_point, packet);
    let off = matches!(certain, Next::Done(Outcome::Stopped(Stop::OffWire)));
    match plan.segment_of(send_point) {
        Some(segment) if off && plan.learned_hosts(send_point).contains(destination) => {
            let landed = Next::Done(landing(plan, segment, packet));
            Next::Ways(vec![(None, certain), (Some(Doubt::Request), landed)])
        }
        _ => certain.or(Doubt::Request, learned),
    }
}

/// To whichever device answers for an address that several have.
fn to_doubled(plan: &Plan, owners: Vec<(DeviceIndex, usize)>, packet: &Packet) -> Next {
    let doubt = Plan::doubt_between(&owners);
    let destination = Family::value(packet.destination);
    let each = owners.into_iter().map(|at| {
        let (device, interface) = at;
        let here = plan.device(device);
        match here.id {
            DeviceId::Router(_) => Next::Arrive(vec![at]),
            DeviceId::Host(_) => {
                Next::Done(landing(plan, here.home_of(destination, interface), packet))
            }
        }
    });
    Next::Ways(each.map(|next| (doubt, next)).collect())
}

/// Who gets it of the devices that are found on the wire.
fn to_devices(plan: &Plan, send_point: SendPoint, packet: &Packet) -> Next {
    let destination = Family::value(packet.destination);
    let takes = |addresses: &Option<IntervalSet>| {
        let set = addresses.as_ref();
        set.is_none_or(|set| set.contains(destination))
    };
    Next::Done(match plan.wire(send_point).receivers.first() {
        Some((segment, addresses))
            if takes(addresses) && !plan.routers_own.contains(destination) =>
        {
            landing(plan, *segment, packet)
        }
        _ => Outcome::Stopped(Stop::OffWire),
    })
}

/// Where a packet goes that leaves by an interface.
pub(super) fn depart(
    plan: &Plan,
    (device, egress): (DeviceIndex, usize),
    next_hop: NextHop,
    packet: &Packet,
) -> Next {
    let send_point = SendPoint::WiredInterface(device, egress);
    let stopped = |why| Next::Done(Outcome::Stopped(why));
    match next_hop {
        NextHop::OnLink { .. } => on_wire(plan, send_point, packet),
        NextHop::Discard => stopped(Stop::Discarded),
        NextHop::AnyRouter { .. } => any_router(plan, send_point),
        NextHop::Address { address, .. } => {
            let owners = plan.owners(send_point, address);
            let certain = match plan.leads_out(send_point) {
                _ if plan.device(device).own.contains(address) => to_itself_or(owners),
                _ if !owners.is_empty() => Next::to_owners(owners),
                Some(outside) => leave_site(plan, outside, packet),
                None => stopped(Stop::NextHopSilent),
            };
            certain.or(Doubt::Request, plan.learned_owners(send_point, address))
        }
    }
}

/// Where a packet goes of which the next hop is the sender's own address: to itself, or to others that have it too.
fn to_itself_or(owners: Vec<(DeviceIndex, usize)>) -> Next {
    let silent = Next::Done(Outcome::Stopped(Stop::NextHopSilent));
    if owners.is_empty() {
        return silent;
    }
    let doubt = Some(Doubt::SharedAddress);
    Next::Ways(vec![(doubt, silent), (doubt, Next::to_owners(owners))])
}

/// How it ends for a packet that leaves the site by an external segment.
fn leave_site(plan: &Plan, outside: SegmentId, packet: &Packet) -> Next {
    let destination = Family::value(packet.destination);
    Next::Done(if plan.segment(outside).unrouted.contains(destination) {
        Outcome::Stopped(Stop::LostOutside(outside))
    } else {
        landing(plan, outside, packet)
    })
}
