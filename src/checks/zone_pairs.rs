//! Pairs of zones between which a permit lets something through.

use boundwalk_analysis::rules::{BetweenSegments, SegmentSources};
use boundwalk_model::{RouterId, SegmentId, Zone, ZoneId};

use super::permit::{PermitRule, ReachedSegment};
use super::permits::met_by;
use super::reviewed::Reviewed;
use super::view::CheckContext;

/// What the segments of the zones around one gateway send through it.
pub(super) struct ZonesAround<'a> {
    gateway: RouterId,
    between: BetweenSegments<'a, 'a>,
    /// By zone: packets of segments at interfaces of the gateway, and for each interface those of segments behind it.
    senders: Vec<Vec<(Option<usize>, SegmentSources)>>,
}

impl<'a> ZonesAround<'a> {
    fn new(view: &CheckContext<'a>, gateway: Reviewed<'a>) -> Self {
        let between = BetweenSegments::new(&gateway.0.space);
        let all = met_by(view, gateway);
        let senders = |zone: ZoneId| {
            let own: Vec<&ReachedSegment> = all
                .iter()
                .filter(|met| view.site.segment(met.segment).zone == zone)
                .collect();
            let mut behind: Vec<Option<usize>> = own.iter().map(|met| met.is_behind()).collect();
            behind.sort_unstable();
            behind.dedup();
            let sources = |interface| {
                let there = own.iter().filter(|met| met.is_behind() == interface);
                between.sources(there.map(|met| (met.interface, met.segment)))
            };
            behind
                .into_iter()
                .map(|interface| (interface, sources(interface)))
                .collect()
        };
        Self {
            gateway: gateway.id,
            senders: (0..view.site.zones.len())
                .map(|at| senders(ZoneId(at)))
                .collect(),
            between,
        }
    }

    /// Whether a permit decides packets from a zone to some segments, or perhaps does.
    fn decides(&self, permit: &PermitRule<'_>, from: ZoneId, to: &[&ReachedSegment]) -> bool {
        self.senders[from.0].iter().any(|(behind, sources)| {
            // What lies behind the same router is carried there, not here.
            let crosses = |met: &&&ReachedSegment| behind.is_none() || met.is_behind() != *behind;
            let to = to.iter().filter(crosses).map(|met| met.segment);
            let to = self.between.destinations(to);
            self.between.decides(permit.number, sources, &to) != Some(false)
        })
    }
}

/// Pairs of different zones, as `guest -> cards`, of whose segments a permit really decides packets, among those that
/// are wanted. What earlier rules take is left out; where that takes too long to say, the pair stays.
pub(super) fn zone_pairs(
    view: &CheckContext<'_>,
    permit: &PermitRule<'_>,
    wanted: impl Fn(&Zone, &Zone) -> bool,
    wanted_target: impl Fn(SegmentId) -> bool,
) -> Vec<String> {
    let mut pairs: Vec<String> = Vec::new();
    let Some(around) = view.zones_around(permit.gateway.id) else {
        return pairs;
    };
    let targets = by_zone(
        view,
        permit
            .targets
            .iter()
            .filter(|met| wanted_target(met.segment)),
    );
    for (from, _) in by_zone(view, permit.senders.iter()) {
        for (to, targets) in &targets {
            let (low, high) = (view.site.zone(from), view.site.zone(*to));
            if from != *to && wanted(low, high) && around.decides(permit, from, targets) {
                pairs.push(format!("{} -> {}", low.name.value, high.name.value));
            }
        }
    }
    pairs
}

/// Segments by their zones, in the order of the first of each.
fn by_zone<'m>(
    view: &CheckContext<'_>,
    all: impl Iterator<Item = &'m ReachedSegment>,
) -> Vec<(ZoneId, Vec<&'m ReachedSegment>)> {
    let mut zones: Vec<(ZoneId, Vec<&ReachedSegment>)> = Vec::new();
    for met in all {
        let zone = view.site.segment(met.segment).zone;
        match zones.iter_mut().find(|(known, _)| *known == zone) {
            Some((_, own)) => own.push(met),
            None => zones.push((zone, vec![met])),
        }
    }
    zones
}

impl<'a> CheckContext<'a> {
    fn zones_around(&self, gateway: RouterId) -> Option<&ZonesAround<'a>> {
        let all = self.zones_around.get_or_init(|| {
            let around = |gateway| ZonesAround::new(self, gateway);
            self.reviewed().map(around).collect()
        });
        all.iter().find(|around| around.gateway == gateway)
    }
}
