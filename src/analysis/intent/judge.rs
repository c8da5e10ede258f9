//! Holds every expectation and every need against the network.

use boundwalk_forwarding::{Network, WalkCoverage};
use boundwalk_model::{Expectation, Family, Need, Permit, SegmentId};

use super::super::party::Endpoint;
use super::apart::chain;
use super::ground::{Ground, Scope};
use super::permit::{Between, Looked};
use super::status::{Breach, Demand, IntentStatus, JudgedExpectation, JudgedNeed};

/// Judges every expectation, in the order of the site.
///
/// Cost: for each pair of a segment and a receiver that a line speaks of, a walk of what it speaks of through the
/// rules.
#[must_use]
pub fn judge_expectations<'n>(network: &'n Network<'n>) -> Vec<JudgedExpectation<'n>> {
    let universe = Family::ALL.map(|family| Ground::new(network, family));
    let judged = network
        .site
        .expectations
        .iter()
        .map(|expectation| JudgedExpectation {
            expectation,
            status: status(network, &universe, expectation),
        });
    judged.collect()
}

/// Judges every need, in the order of the site: everything that it names must pass.
#[must_use]
pub fn judge_needs<'n>(network: &'n Network<'n>) -> Vec<JudgedNeed<'n>> {
    let universe = Family::ALL.map(|family| Ground::new(network, family));
    let judged = network.site.needs.iter().map(|need| {
        let mut verdict = LineVerdict::default();
        for ground in &universe {
            let scope = need_scope(ground, need);
            for (from, to) in scope.pairs() {
                if scope.exists(ground, (from, to), false) {
                    let between = between(ground, &scope, (from, to), false);
                    verdict.add(between.too_little());
                }
            }
        }
        JudgedNeed {
            need,
            status: verdict.status(),
        }
    });
    judged.collect()
}

/// What a need speaks of.
pub(crate) fn need_scope(ground: &Ground<'_>, need: &Need) -> Scope {
    let (source, destination) = (need.source.as_ref(), need.destination.as_ref());
    let parties = (need.from.as_slice(), need.to.as_slice());
    ground.scope(parties, source, destination, need.services.as_ref())
}

fn status(network: &Network<'_>, universe: &[Ground<'_>], line: &Expectation) -> IntentStatus {
    let mut verdict = LineVerdict::default();
    for ground in universe {
        let parties = (line.from.as_slice(), line.to.as_slice());
        let (source, destination) = (line.source.as_ref(), line.destination.as_ref());
        let scope = ground.scope(parties, source, destination, line.services.as_ref());
        let bounds = matches!(line.demands.permit, Some(Permit::AtMost | Permit::Exactly));
        for (from, to) in scope.pairs() {
            // A family that the list does not name may carry nothing: the list is empty there, not absent.
            let asked = if bounds {
                scope.may_send(ground, (from, to), line.hostile)
            } else {
                scope.exists(ground, (from, to), line.hostile)
            };
            if asked {
                one_pair(ground, &scope, (from, to), line, &mut verdict);
            }
        }
        if line.demands.one_way {
            one_way(ground, &scope, line.hostile, &mut verdict);
        }
    }
    if line.demands.isolated
        && let Some(ground) = universe.first()
    {
        isolated(network, ground, line, &mut verdict);
    }
    verdict.status()
}

fn between<'a, 'n>(
    ground: &'a Ground<'n>,
    scope: &'a Scope,
    (from, to): (SegmentId, usize),
    hostile: bool,
) -> Between<'a, 'n> {
    Between {
        ground,
        scope,
        from,
        to,
        hostile,
    }
}

fn one_pair(
    ground: &Ground<'_>,
    scope: &Scope,
    pair: (SegmentId, usize),
    line: &Expectation,
    verdict: &mut LineVerdict,
) {
    let demands = &line.demands;
    let between = between(ground, scope, pair, line.hostile);
    verdict.seen = true;
    if let Some(permit) = demands.permit.filter(|permit| *permit != Permit::AtLeast) {
        verdict.add(between.too_much(permit));
    }
    let must = matches!(demands.permit, Some(Permit::AtLeast | Permit::Exactly));
    if must && scope.exists(ground, pair, false) {
        verdict.add(between.too_little());
    }
    let governed = [
        (demands.through.is_some(), Demand::Through),
        (demands.logged, Demand::Logged),
        (demands.inspected, Demand::Inspected),
    ];
    let governed: Vec<_> = governed
        .into_iter()
        .filter(|(wanted, _)| *wanted)
        .map(|(_, demand)| (demand, demands.through))
        .collect();
    if !governed.is_empty() {
        verdict.add(between.ungoverned(&governed));
    }
}

fn one_way(ground: &Ground<'_>, scope: &Scope, hostile: bool, verdict: &mut LineVerdict) {
    let back = scope.turned(ground);
    for pair in back.pairs() {
        if back.exists(ground, pair, hostile) {
            verdict.add(between(ground, &back, pair, hostile).started_back());
        }
    }
}

/// Both ways, for each pair of segments: frames know no direction of a conversation.
fn isolated(
    network: &Network<'_>,
    ground: &Ground<'_>,
    line: &Expectation,
    verdict: &mut LineVerdict,
) {
    let parties = (line.from.as_slice(), line.to.as_slice());
    let scope = ground.scope(parties, None, None, None);
    for (from, to) in scope.pairs() {
        let Endpoint::Segment(to) = Scope::party(ground, to) else {
            continue;
        };
        verdict.seen = true;
        let there = chain(network, from, to);
        let links = if there.is_empty() {
            chain(network, to, from)
        } else {
            there
        };
        if !links.is_empty() {
            verdict.breaches.push(Breach {
                demand: Demand::Isolated,
                family: None,
                from,
                to: Endpoint::Segment(to),
                hostile: true,
                services: None,
                packet: None,
                deciders: Vec::new(),
                stop: None,
                chain: links,
            });
        }
    }
}

/// What was found out about a line so far.
#[derive(Default)]
struct LineVerdict {
    breaches: Vec<Breach>,
    /// Whether a packet that the line speaks of can exist.
    seen: bool,
    coverage: WalkCoverage,
}

impl LineVerdict {
    fn add(&mut self, looked: Looked) {
        self.seen = true;
        self.coverage.note(looked.coverage);
        self.breaches.extend(looked.breaches);
    }

    fn status(self) -> IntentStatus {
        match (self.seen, self.breaches.is_empty(), self.coverage.limit()) {
            (false, ..) => IntentStatus::Vacuous,
            (_, false, _) => IntentStatus::Broken(self.breaches),
            (_, _, Some(limit)) => IntentStatus::Unknown(limit),
            _ => IntentStatus::Held,
        }
    }
}
