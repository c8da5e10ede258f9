//! What passes between one pair in one version, and what of it does not in the other.

use crate::forwarding::{Arrival, DeviceId, Packet, Sender, Stop, Target, reach};
use crate::model::{RouterId, SegmentId};
use crate::packet::{ClassSet, IntervalSet, Region};

use super::super::deciders::{DecidedBy, deciders_of_flow, where_it_stops};
use super::super::flows::joined;
use super::super::intent::Ground;
use super::super::replies::left_over;
use super::super::witness::witness;

/// Pieces that the comparison of one pair may come to before it is given up.
const MOST_PIECES: usize = 20_000;

/// Packets that pass in one version only, all for the same reasons.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Changed {
    /// The packets, as they are sent.
    pub packets: Region,
    /// One of them.
    pub packet: Option<Packet>,
    /// What decides them where they pass.
    pub passes_by: Vec<DecidedBy>,
    /// Why they do not pass in the other version; `None`: sender or receiver is not there, or they end elsewhere.
    pub stop: Option<Stop>,
    /// What decides the packet shown in the other version.
    pub stopped_by: Vec<DecidedBy>,
}

/// What to ask of a pair: everything, or only some destinations and services.
#[derive(Clone, Debug, Default)]
pub(super) struct Narrow {
    pub destinations: Option<IntervalSet>,
    pub services: Option<ClassSet>,
}

/// What becomes of what a pair sends, in one version.
#[derive(Default)]
pub(super) struct Fates {
    passed: Vec<(Region, Vec<DecidedBy>)>,
    stopped: Vec<(Stop, Region)>,
    complete: bool,
}

impl Fates {
    /// Of a pair of which one side is not there.
    pub(super) fn none() -> Self {
        Self {
            complete: true,
            ..Self::default()
        }
    }

    pub(super) fn new(ground: &Ground<'_>, from: SegmentId, to: usize, narrow: &Narrow) -> Self {
        let mut fates = Self::none();
        let column = &ground.columns[to];
        let extra = ground.extra(to);
        let own = match &narrow.destinations {
            Some(wanted) => column.addresses.intersection(wanted),
            None => column.addresses.clone(),
        };
        for (addresses, segment) in [(&own, column.segment), (extra, None)] {
            let target = Target {
                addresses,
                segment,
                services: narrow.services.as_ref(),
            };
            if addresses.is_empty() {
                continue;
            }
            let (network, plan) = (ground.network, ground.plan);
            let sender = Sender::Segment(from);
            let walked = reach(
                network,
                plan,
                sender,
                target,
                &mut |arrival| match arrival {
                    Arrival::Stopped(stop, region) => fates.stopped.push((stop, region)),
                    Arrival::Delivered(place, flow) => {
                        if let Some(part) = column.takes(network, plan, place, &flow) {
                            let decided = deciders_of_flow(plan, &part);
                            fates.passed.push((part.sent().clone(), decided));
                        }
                    }
                },
            );
            fates.complete &= walked.is_complete();
        }
        fates
    }

    /// Whether the same parts pass: a quick test that is right where it says yes.
    pub(super) fn surely_alike(&self, other: &Self) -> bool {
        let parts = |fates: &Self| fates.passed.len();
        parts(self) == parts(other)
            && self.complete
            && other.complete
            && self
                .passed
                .iter()
                .zip(&other.passed)
                .all(|(one, other)| one.0 == other.0)
    }
}

/// What passes in `there` and not in `missing`; false where a limit was met. `ground` and `sender` are those of the
/// version where it does not pass, where both sides exist there; `shown` those of the one where it does.
pub(super) fn difference(
    there: &Fates,
    missing: &Fates,
    shown: &Ground<'_>,
    other: Option<(&Ground<'_>, SegmentId)>,
) -> (Vec<Changed>, bool) {
    let mut found: Vec<Changed> = Vec::new();
    let mut pieces_seen = 0;
    let known: Vec<Region> = missing
        .passed
        .iter()
        .map(|(region, _)| region.clone())
        .collect();
    for (region, deciders) in &there.passed {
        let pieces = left_over(region.clone(), &known);
        pieces_seen += pieces.len();
        if pieces_seen > MOST_PIECES {
            return (found, false);
        }
        for piece in pieces {
            for (stop, part) in by_stop(piece, &missing.stopped) {
                add(&mut found, part, deciders, stop);
            }
        }
    }
    let hosts = addresses_of_hosts(shown);
    let gateway = other.and_then(|(ground, _)| only_gateway(ground));
    for changed in &mut found {
        let among = among(&hosts, &changed.packets);
        changed.packet = witness(shown.network, shown.plan, &among);
        if let (Some((ground, from)), Some(packet)) = (other, changed.packet) {
            changed.stopped_by = match (changed.stop, gateway) {
                (Some(Stop::Denied(rule)), Some(gateway)) => vec![(gateway, rule)],
                _ => stopped_by(ground, from, &packet),
            };
        }
    }
    (found, there.complete && missing.complete)
}

/// Addresses of hosts that are described.
fn addresses_of_hosts(ground: &Ground<'_>) -> IntervalSet {
    let hosts = ground.plan.devices.iter();
    let hosts = hosts.filter(|device| matches!(device.id, DeviceId::Host(_)));
    let own = hosts.flat_map(|device| device.own.intervals());
    own.copied().collect()
}

/// The packets between such hosts, where there are some: those can be tried.
fn among(own: &IntervalSet, packets: &Region) -> Region {
    let narrowed = |set: &IntervalSet| {
        let both = set.intersection(own);
        if both.is_empty() { set.clone() } else { both }
    };
    Region {
        source: narrowed(&packets.source),
        destination: narrowed(&packets.destination),
        services: packets.services.clone(),
    }
}

/// Parts of a piece by why they stop.
fn by_stop(piece: Region, stopped: &[(Stop, Region)]) -> Vec<(Option<Stop>, Region)> {
    let mut parts = Vec::new();
    let mut left = vec![piece];
    for (stop, region) in stopped {
        if !left.iter().any(|piece| piece.overlaps(region)) {
            continue;
        }
        let mut rest = Vec::new();
        for piece in left {
            let both = piece.intersection(region);
            if !both.is_empty() {
                parts.push((Some(*stop), both));
            }
            rest.extend(piece.difference(region));
        }
        left = rest;
    }
    parts.extend(left.into_iter().map(|piece| (None, piece)));
    parts
}

/// Adds a part, joined with one that has the same reasons and differs in one field only.
fn add(found: &mut Vec<Changed>, part: Region, deciders: &[DecidedBy], stop: Option<Stop>) {
    for known in found.iter_mut() {
        if known.passes_by == deciders
            && known.stop == stop
            && let Some(both) = joined(&known.packets, &part)
        {
            known.packets = both;
            return;
        }
    }
    found.push(Changed {
        packets: part,
        packet: None,
        passes_by: deciders.to_vec(),
        stop,
        stopped_by: Vec::new(),
    });
}

/// The gateway with rules, where there is just one: then nobody else can have denied.
fn only_gateway(ground: &Ground<'_>) -> Option<RouterId> {
    let devices = ground.plan.devices.iter();
    let mut filtering = devices.filter(|device| device.filter.is_some());
    match (filtering.next()?.id, filtering.next()) {
        (DeviceId::Router(router), None) => Some(router),
        _ => None,
    }
}

/// The gateways that decide a packet on its way to where it stops.
fn stopped_by(ground: &Ground<'_>, from: SegmentId, packet: &Packet) -> Vec<DecidedBy> {
    let sender = Sender::Segment(from);
    let stops = where_it_stops(ground.network, ground.plan, sender, packet);
    stops.map_or_else(Vec::new, |(_, deciders)| deciders)
}
