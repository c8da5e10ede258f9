//! What is known of a rule while pairs are gone over.

use std::collections::BTreeMap;

use num_bigint::BigUint;

use boundwalk_forwarding::Network;
use boundwalk_model::PerFamily;
use boundwalk_packet::{IntervalSet, Region};

use super::super::deciders::DecidedBy;
use super::super::intent::{Ground, Passed};
use super::found::{Piece, RuleUse};
use super::measure::{Axis, Measure, Projection, all_services, services};
use super::part::{Decision, InterfacePair, seen};

/// What is known of a rule so far.
pub(super) struct Gathered {
    pub permitted: BTreeMap<InterfacePair, PerFamily<Projection>>,
    pub sent: PerFamily<Projection>,
    pub used: PerFamily<Projection>,
    pub packets: Axis,
    pub observed: usize,
    pieces: Vec<Piece>,
    fixed: Option<&'static str>,
}

impl Gathered {
    pub(super) fn new(network: &Network<'_>) -> Self {
        Self {
            permitted: BTreeMap::new(),
            sent: Projection::none(network),
            used: Projection::none(network),
            packets: Axis::default(),
            observed: 0,
            pieces: Vec::new(),
            fixed: None,
        }
    }

    pub(super) fn add_pieces(
        &mut self,
        ground: &Ground<'_>,
        part: &Passed,
        decision: &Decision,
        used: &[Region],
    ) {
        if !decision.seen_plainly {
            self.fixed = Some("another gateway rewrites addresses of what it decides");
            return;
        }
        for region in used {
            let piece = Piece {
                family: ground.family(),
                interface_pair: decision.interface_pair,
                packets: seen(ground, part, region),
            };
            if !self.pieces.contains(&piece) {
                self.pieces.push(piece);
            }
        }
    }

    pub(super) fn finish(self, network: &Network<'_>, (router, rule): DecidedBy) -> RuleUse {
        let axis = |permitted: BigUint, used: BigUint| Axis { permitted, used };
        let sizes = |field: fn(&Projection) -> &IntervalSet| {
            PerFamily::new(|family| {
                axis(
                    field(&self.sent[family]).size(),
                    field(&self.used[family]).size(),
                )
            })
        };
        RuleUse {
            router,
            rule,
            measure: Measure {
                sources: sizes(|projection| &projection.source),
                destinations: sizes(|projection| &projection.destination),
                services: axis(
                    services(network, &all_services(&self.sent)),
                    services(network, &all_services(&self.used)),
                ),
                packets: self.packets,
            },
            observed: self.observed,
            permitted: self.permitted,
            pieces: self.pieces,
            fixed: self.fixed,
        }
    }
}
