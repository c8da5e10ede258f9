//! The zones around a gateway: what their segments send through it.

use boundwalk_analysis::rules::{BetweenSegments, SegmentSources};
use boundwalk_model::{RouterId, Site, ZoneId};

use super::permit::{PermitRule, ReachedSegment};
use super::reviewed::Reviewed;

/// Answers which zones a permit of one gateway lets through.
pub(super) struct ZonesAround<'a> {
    pub(super) gateway: RouterId,
    between: BetweenSegments<'a, 'a>,
    /// By zone: packets of segments at interfaces of the gateway, and for each interface those of segments behind it.
    senders: Vec<Vec<(Option<usize>, SegmentSources)>>,
}

impl<'a> ZonesAround<'a> {
    /// `all`: the segments from which the gateway gets packets.
    pub(super) fn new(site: &Site, gateway: Reviewed<'a>, all: &[ReachedSegment]) -> Self {
        let between = BetweenSegments::new(&gateway.0.space);
        let senders = |zone: ZoneId| {
            let own: Vec<&ReachedSegment> = all
                .iter()
                .filter(|met| site.segment(met.segment).zone == zone)
                .collect();
            let mut behind: Vec<Option<usize>> =
                own.iter().map(|met| met.behind_interface()).collect();
            behind.sort_unstable();
            behind.dedup();
            let sources = |interface| {
                let there = own.iter().filter(|met| met.behind_interface() == interface);
                between.sources(there.map(|met| (met.interface, met.segment)))
            };
            behind
                .into_iter()
                .map(|interface| (interface, sources(interface)))
                .collect()
        };
        Self {
            gateway: gateway.id,
            senders: (0..site.zones.len())
                .map(|at| senders(ZoneId(at)))
                .collect(),
            between,
        }
    }

    /// Whether a permit decides packets from a zone to some segments, or perhaps does.
    pub(super) fn decides(
        &self,
        permit: &PermitRule<'_>,
        from: ZoneId,
        to: &[&ReachedSegment],
    ) -> bool {
        self.senders[from.0].iter().any(|(behind, sources)| {
            // What lies behind the same router is carried there, not here.
            let crosses =
                |met: &&&ReachedSegment| behind.is_none() || met.behind_interface() != *behind;
            let to = to.iter().filter(crosses).map(|met| met.segment);
            let to = self.between.destinations(to);
            self.between.decides(permit.number, sources, &to) != Some(false)
        })
    }
}
