//! What passes between one pair in one version, and what of it does not in the other.

use std::collections::BTreeMap;

use boundwalk_forwarding::{
    Arrival, DeviceId, Limit, Packet, Sender, Stop, Target, WalkCoverage, reach, reach_beyond,
};
use boundwalk_model::RouterId;
use boundwalk_packet::{ClassSet, Interval, IntervalSet, Region};

use super::super::deciders::{DecidedBy, deciders_of_flow, where_it_stops};
use super::super::flows::joined;
use super::super::intent::Ground;
use super::super::reached::without_source;
use super::super::replies::left_over;
use super::super::witness::witness;
use super::seen::Narrow;

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
    /// Why they do not pass in the other version, of a hostile device why the packet shown does not; `None`: sender or
    /// receiver is not there, or they end elsewhere.
    pub stop: Option<Stop>,
    /// What decides the packet shown in the other version.
    pub stopped_by: Vec<DecidedBy>,
}

/// What becomes of what a pair sends, in one version. Of a hostile sender: of what no plain device there sends.
#[derive(Default)]
pub(super) struct Outcomes {
    passed: Vec<(Region, Vec<DecidedBy>)>,
    stopped: Vec<(Stop, Region)>,
    coverage: WalkCoverage,
}

impl Outcomes {
    pub(super) fn new(ground: &Ground<'_>, sender: Sender, to: usize, narrow: &Narrow) -> Self {
        let mut fates = Self::default();
        let column = &ground.columns[to];
        let wanted = |addresses: &IntervalSet| match &narrow.destinations {
            Some(wanted) => addresses.intersection(wanted),
            None => addresses.clone(),
        };
        let (own, extra) = (wanted(&column.addresses), wanted(ground.extra(to)));
        for (addresses, segment) in [(&own, column.segment), (&extra, None)] {
            let target = Target {
                addresses,
                segment,
                services: narrow.services.as_ref(),
            };
            if !addresses.is_empty() {
                fates.send(ground, sender, to, target);
            }
        }
        fates
    }

    fn send(&mut self, ground: &Ground<'_>, sender: Sender, to: usize, target: Target<'_>) {
        let (network, plan) = (ground.network, ground.plan);
        let column = &ground.columns[to];
        let mut note = |arrival| match arrival {
            Arrival::Stopped(stop, part) => self.stopped.push((stop, part.sent)),
            Arrival::Delivered(place, flow) => {
                if let Some(part) = column.takes(network, plan, place, &flow) {
                    let decided = deciders_of_flow(plan, &part);
                    self.passed.push((part.sent().clone(), decided));
                }
            }
        };
        let walked = match sender {
            Sender::Hostile(origin) => reach_beyond(network, plan, origin, target, &mut note),
            Sender::Segment(_) | Sender::Host(_) => reach(network, plan, sender, target, &mut note),
        };
        self.coverage.note(walked);
    }

    /// Cheap sufficient test whether the same parts pass: `false` means unknown.
    pub(super) fn surely_alike(&self, other: &Self) -> bool {
        let parts = |fates: &Self| fates.passed.len();
        parts(self) == parts(other)
            && self.coverage.is_complete()
            && other.coverage.is_complete()
            && self
                .passed
                .iter()
                .zip(&other.passed)
                .all(|(one, other)| one.0 == other.0)
    }
}

/// One side of a comparison: what passes there, and what is known to pass elsewhere or by other senders.
pub(super) struct VersionSide<'a, 'n> {
    /// What passes.
    pub there: &'a Outcomes,
    /// What passes in the other version.
    pub other: &'a Outcomes,
    /// What is no difference besides, wherever it passes.
    pub besides: &'a [&'a Outcomes],
    /// The version where it passes.
    pub shown: &'a Ground<'n>,
    /// Whether the sender is hostile. It counts what such a device reaches, by whatever source: an address with a service
    /// that it or anybody on its segment reached before is nothing new, and the sources shown are those that do it now.
    pub hostile: bool,
    /// The version where it does not, with the sender, where both sides exist there.
    pub missing: Option<(&'a Ground<'n>, Sender)>,
}

impl VersionSide<'_, '_> {
    /// What passes on this side only; with a limit met it may pass on the other as well, or there may be more.
    pub(super) fn difference(&self) -> (Vec<Changed>, WalkCoverage) {
        let mut coverage = self.there.coverage.and(self.other.coverage);
        let mut known: Vec<Region> = Vec::new();
        for fates in [self.other].iter().chain(self.besides) {
            coverage.note(fates.coverage);
            known.extend(fates.passed.iter().map(|(region, _)| self.counted(region)));
        }
        if self.hostile {
            known = gathered(&known);
        }
        let mut found: Vec<Changed> = Vec::new();
        let mut pieces_seen = 0;
        for (region, deciders) in &self.there.passed {
            let pieces = left_over(self.counted(region), &known);
            pieces_seen += pieces.len();
            if MOST_PIECES < pieces_seen {
                coverage.note(WalkCoverage::Cut(Limit::Differences(MOST_PIECES)));
                break;
            }
            for piece in pieces {
                let parts = if self.hostile {
                    vec![(
                        None,
                        Region {
                            source: region.source.clone(),
                            ..piece
                        },
                    )]
                } else {
                    by_stop(piece, &self.other.stopped)
                };
                for (stop, part) in parts {
                    add(&mut found, part, deciders, stop);
                }
            }
        }
        self.show(&mut found);
        (found, coverage)
    }

    /// What of a set of packets is compared.
    fn counted(&self, region: &Region) -> Region {
        if self.hostile {
            without_source(region)
        } else {
            region.clone()
        }
    }

    /// A packet for each part, and who decides it in the other version.
    fn show(&self, found: &mut [Changed]) {
        let hosts = addresses_of_hosts(self.shown);
        let gateway = self.missing.and_then(|(ground, _)| only_gateway(ground));
        for changed in found {
            let among = among(&hosts, &changed.packets);
            changed.packet = witness(self.shown.network, self.shown.plan, &among);
            let (Some((ground, sender)), Some(packet)) = (self.missing, changed.packet) else {
                continue;
            };
            if let (Some(Stop::Denied(rule)), Some(gateway)) = (changed.stop, gateway) {
                changed.stopped_by = vec![(gateway, rule)];
                continue;
            }
            let stops = where_it_stops(ground.network, ground.plan, sender, &packet);
            if self.hostile {
                changed.stop = stops.as_ref().map(|(stop, _)| *stop);
            }
            changed.stopped_by = stops.map_or_else(Vec::new, |(_, deciders)| deciders);
        }
    }
}

/// The same packets in fewer sets, of some that hold every source: those with the same services together, then those with
/// the same destinations.
fn gathered(sets: &[Region]) -> Vec<Region> {
    let Some(first) = sets.first() else {
        return Vec::new();
    };
    let mut by_services: BTreeMap<&ClassSet, Vec<Interval>> = BTreeMap::new();
    for set in sets {
        let destinations = by_services.entry(&set.services).or_default();
        destinations.extend_from_slice(set.destination.intervals());
    }
    let mut by_destination: BTreeMap<IntervalSet, ClassSet> = BTreeMap::new();
    for (services, destinations) in by_services {
        let all = by_destination.entry(destinations.into_iter().collect());
        all.and_modify(|all| all.union_with(services))
            .or_insert_with(|| services.clone());
    }
    let region = |(destination, services)| Region {
        source: first.source.clone(),
        destination,
        services,
    };
    by_destination.into_iter().map(region).collect()
}

/// Addresses of hosts that are described.
fn addresses_of_hosts(ground: &Ground<'_>) -> IntervalSet {
    ground
        .plan
        .devices
        .iter()
        .filter(|device| matches!(device.id, DeviceId::Host(_)))
        .flat_map(|device| device.own.intervals())
        .copied()
        .collect()
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
    let mut filtering = ground
        .plan
        .devices
        .iter()
        .filter(|device| device.filter.is_some());
    match (filtering.next()?.id, filtering.next()) {
        (DeviceId::Router(router), None) => Some(router),
        _ => None,
    }
}
