//! Pairs of zones between which a permit lets something through.

use boundwalk_model::{RouterId, SegmentId, Zone, ZoneId};

use super::permit::{PermitRule, ReachedSegment};
use super::permits::met_by;
use super::view::CheckContext;
use super::zones_around::ZonesAround;

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
            let around = |gateway| ZonesAround::new(self.site, gateway, &met_by(self, gateway));
            self.reviewed().map(around).collect()
        });
        all.iter().find(|around| around.gateway == gateway)
    }
}
