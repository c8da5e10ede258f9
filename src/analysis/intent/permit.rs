//! Demands on what passes and on what decides it.

use boundwalk_forwarding::{Certainty, Origin, Packet, Sender, WalkCoverage};
use boundwalk_model::{Permit, SegmentId, Through};
use boundwalk_packet::Region;

use super::super::deciders::{DecidedBy, deciders_of_flow, where_it_stops};
use super::super::replies::left_over;
use super::super::witness::witness;
use super::ground::{Ground, Scope};
use super::passing::{Passed, passing, passing_and_lost};
use super::status::{Breach, Demand};

/// The breaches of one line between one pair, and whether all was looked at.
pub(super) struct Looked {
    pub breaches: Vec<Breach>,
    pub coverage: WalkCoverage,
}

/// A pair under one stance.
#[derive(Clone, Copy)]
pub(super) struct Between<'a, 'n> {
    pub ground: &'a Ground<'n>,
    pub scope: &'a Scope,
    pub from: SegmentId,
    pub to: usize,
    pub hostile: bool,
}

impl Between<'_, '_> {
    fn sender(&self) -> Sender {
        if self.hostile {
            Sender::Hostile(Origin::Segment(self.from))
        } else {
            Sender::Segment(self.from)
        }
    }

    /// A breach without evidence yet.
    fn breach(&self, demand: Demand) -> Breach {
        Breach {
            demand,
            family: Some(self.ground.family()),
            from: self.from,
            to: Scope::party(self.ground, self.to),
            hostile: self.hostile,
            services: None,
            packet: None,
            deciders: Vec::new(),
            stop: None,
            chain: Vec::new(),
        }
    }

    /// What passes and must not.
    pub fn too_much(&self, permit: Permit) -> Looked {
        let (demand, limit) = match permit {
            Permit::Nothing => (Demand::Nothing, self.scope.services.as_ref()),
            _ => (Demand::AtMost, None),
        };
        let mut found = self.breach(demand);
        let mut collect = |passed: Passed| {
            let parts = match (&self.scope.services, permit) {
                (Some(services), Permit::AtMost | Permit::Exactly) => {
                    passed.without(self.ground, services)
                }
                (services, _) => passed.named(self.ground, services.as_ref()),
            };
            for part in parts {
                self.add(&mut found, &passed, &part);
            }
        };
        let (scope, sender) = (self.scope, self.sender());
        let coverage = passing(self.ground, scope, sender, self.to, limit, &mut collect);
        Looked {
            breaches: some(found),
            coverage,
        }
    }

    fn add(&self, found: &mut Breach, passed: &Passed, part: &Region) {
        let (network, plan) = (self.ground.network, self.ground.plan);
        match &mut found.services {
            Some(services) => services.union_with(&part.services),
            none => *none = Some(part.services.clone()),
        }
        // A packet that people know is shown before a message that tells of a failing one.
        let poor = found
            .packet
            .is_none_or(|packet| !packet.protocol.has_ports());
        if poor
            && let Some(packet) = witness(network, plan, part)
            && (found.packet.is_none() || packet.protocol.has_ports())
        {
            found.packet = Some(packet);
            found.deciders = deciders_of_flow(plan, &passed.flow);
        }
    }

    /// What must pass and does not: each packet from the device that has its source.
    pub fn too_little(&self) -> Looked {
        let plan = self.ground.plan;
        let wanted = self.wanted();
        let mut left: Vec<Region> = plan
            .sent_by_owners(self.from, &wanted)
            .into_iter()
            .flat_map(|part| plan.sent_to_others(&part))
            .filter(|part| !part.is_empty())
            .collect();
        let described = plan.own_way_sources(self.from);
        let services = self.scope.services.as_ref();
        let mut collect = |passed: Passed| {
            if passed.flow.certainty == Certainty::Possible {
                return;
            }
            let plainly = passed.flow.host.is_none();
            let mut got = [passed.sent, passed.arrived];
            for part in got.iter_mut().filter(|_| plainly) {
                part.source = part.source.difference(described);
            }
            let parts = std::mem::take(&mut left).into_iter();
            left = parts.flat_map(|part| left_over(part, &got)).collect();
        };
        let (ground, sender) = (self.ground, Sender::Segment(self.from));
        let mut lost = Vec::new();
        let coverage = passing_and_lost(
            ground,
            self.scope,
            (sender, self.to),
            services,
            (&mut collect, &mut |stopped| lost.push(stopped)),
        );
        left.extend(lost.into_iter().flat_map(|stopped| {
            let mut sent = stopped.sent.intersection(&wanted);
            if stopped.host.is_none() {
                sent.source = sent.source.difference(described);
            }
            plan.sent_to_others(&sent)
        }));
        left.retain(|part| !part.is_empty());
        let mut breaches = Vec::new();
        // With a limit met, what is left may pass in a way that was not listed.
        if let Some(first) = left.first().filter(|_| coverage.is_complete()) {
            let mut found = self.breach(Demand::AtLeast);
            let mut services = first.services.clone();
            left.iter()
                .for_each(|part| services.union_with(&part.services));
            found.services = Some(services);
            found.packet = witness(ground.network, ground.plan, first);
            if let Some(packet) = found.packet {
                explain(ground, sender, &packet, &mut found);
            }
            breaches.push(found);
        }
        Looked { breaches, coverage }
    }

    /// Everything that must pass. Addresses that only a translation makes the column's are not demanded where the
    /// line names no destination.
    fn wanted(&self) -> Region {
        let services = self.scope.services.clone();
        Region {
            source: self.scope.sources(self.ground, self.from),
            destination: self.scope.destinations(self.ground, self.to),
            services: services.unwrap_or_else(|| self.ground.network.classes.all()),
        }
    }

    /// What passes undecided, unlogged or uninspected.
    pub fn ungoverned(&self, demands: &[(Demand, Option<Through>)]) -> Looked {
        let mut found: Vec<Breach> = demands
            .iter()
            .map(|(demand, _)| self.breach(*demand))
            .collect();
        let limit = self.scope.services.as_ref();
        let mut collect = |passed: Passed| {
            let parts = passed.named(self.ground, limit);
            for (breach, (demand, through)) in found.iter_mut().zip(demands) {
                if !governed(self.ground, &passed, *demand, *through) {
                    parts
                        .iter()
                        .for_each(|part| self.add(breach, &passed, part));
                }
            }
        };
        let (scope, sender) = (self.scope, self.sender());
        let coverage = passing(self.ground, scope, sender, self.to, limit, &mut collect);
        Looked {
            breaches: found.into_iter().flat_map(some).collect(),
            coverage,
        }
    }

    /// What the receivers can start.
    pub fn started_back(&self) -> Looked {
        let mut found = self.breach(Demand::OneWay);
        let mut collect = |passed: Passed| self.add(&mut found, &passed, &passed.sent);
        let (scope, sender) = (self.scope, self.sender());
        let coverage = passing(self.ground, scope, sender, self.to, None, &mut collect);
        Looked {
            breaches: some(found),
            coverage,
        }
    }
}

fn some(breach: Breach) -> Vec<Breach> {
    let shown = breach.services.is_some();
    std::iter::once(breach).filter(|_| shown).collect()
}

fn governed(
    ground: &Ground<'_>,
    passed: &Passed,
    demand: Demand,
    through: Option<Through>,
) -> bool {
    let mut decided = deciders_of_flow(ground.plan, &passed.flow).into_iter();
    let rule = |(router, rule): DecidedBy| {
        let filter = ground.network.site.router(router).filter()?;
        filter.rules.get(rule?)
    };
    match (demand, through) {
        (Demand::Logged, _) => decided.any(|one| rule(one).is_some_and(|rule| rule.log)),
        (Demand::Inspected, _) => decided.any(|one| rule(one).is_some_and(|rule| rule.inspect)),
        (_, Some(Through::Gateway(wanted))) => decided.any(|(router, _)| router == wanted),
        (_, _) => decided.next().is_some(),
    }
}

/// Says where a packet stops, and by what.
fn explain(ground: &Ground<'_>, sender: Sender, packet: &Packet, found: &mut Breach) {
    if let Some((stop, deciders)) = where_it_stops(ground.network, ground.plan, sender, packet) {
        found.stop = Some(stop);
        found.deciders = deciders;
    }
}
