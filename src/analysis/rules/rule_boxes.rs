//! Rules read into boxes.

use rustc_hash::FxHashMap;

use boundwalk_model::{Family, PerFamily, Rule, RuleParty, Service};
use boundwalk_packet::{IntervalSet, PacketBox};

use super::ranks::Known;
use super::universe::PacketUniverse;

/// Reads rules into boxes. Large lists name the same parties, addresses and services again and again, so each is
/// worked out once.
pub(super) struct RuleBoxes<'g> {
    universe: &'g PacketUniverse<'g>,
    sources: Known<'g>,
    destinations: Known<'g>,
    froms: FxHashMap<Option<&'g [RuleParty]>, Vec<(IntervalSet, IntervalSet)>>,
    tos: FxHashMap<Option<&'g [RuleParty]>, IntervalSet>,
    services: PerFamily<FxHashMap<&'g [Service], IntervalSet>>,
}

impl<'g> RuleBoxes<'g> {
    pub(super) fn new(universe: &'g PacketUniverse<'g>) -> Self {
        Self {
            universe,
            sources: Known::new(&universe.pieces, &universe.sources),
            destinations: Known::new(&universe.pieces, &universe.destinations),
            froms: FxHashMap::default(),
            tos: FxHashMap::default(),
            services: Default::default(),
        }
    }

    /// Adds the boxes of a rule: for each family up to three, one for each kind of source check.
    pub(super) fn add(&mut self, rule: &'g Rule, boxes: &mut Vec<PacketBox>) {
        let universe = self.universe;
        let from = rule.from.as_deref();
        let to = rule.to.as_deref();
        self.froms
            .entry(from)
            .or_insert_with(|| universe.arriving(&universe.named(from)));
        self.tos
            .entry(to)
            .or_insert_with(|| universe.leaving(&universe.named(to)));
        for family in Family::ALL {
            let Some(classes) = self.classes(rule, family) else {
                continue;
            };
            let destinations = match &rule.destination {
                Some(field) => self.destinations.of(family, field.set.of(family)),
                None => self.destinations.all(family),
            };
            let destinations = self.tos[&to].intersection(destinations);
            if destinations.is_empty() {
                continue;
            }
            let wanted = match &rule.source {
                Some(field) => self.sources.of(family, field.set.of(family)),
                None => self.sources.all(family),
            };
            for (entries, sources) in &self.froms[&from] {
                let sources = sources.intersection(wanted);
                if !sources.is_empty() {
                    boxes.push(universe.product(
                        entries.clone(),
                        sources,
                        destinations.clone(),
                        classes.clone(),
                    ));
                }
            }
        }
    }

    /// The classes of a rule's services in a family; `None` where there is none.
    fn classes(&mut self, rule: &'g Rule, family: Family) -> Option<IntervalSet> {
        let universe = self.universe;
        let Some(list) = &rule.services else {
            return Some(universe.all_classes());
        };
        let known = &mut self.services[family];
        let classes = known.entry(&list.services).or_insert_with(|| {
            let boxes: Vec<_> = list
                .services
                .iter()
                .filter_map(|one| one.packets(family))
                .collect();
            universe.classes(&universe.network.classes.of(&boxes))
        });
        (!classes.is_empty()).then(|| classes.clone())
    }
}
