//! What single packets say of gateways in a row.
//!
//! In a copy of a site every rule and every default permits. The simulator walks a packet there by the routes and names the
//! rule that decides at each gateway; what that rule really does stands in the site.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::net::IpAddr;

use boundwalk::analysis::{Decider, Denial, Endpoint, Pair};
use boundwalk::model::{Action, Date, Family, Role, RouterId, SegmentId, Site};

use crate::probes::Probes;
use crate::simulator::{Decision, Outcome, Probe, Simulator, Spot, Stance};

/// Between whom, on which side, what permits, what denies.
pub type Key = (Pair, Denial, Decider, Decider);

/// The site in which every rule and every default permits.
pub fn permitting(site: &Site) -> Site {
    let mut open = site.clone();
    for router in &mut open.routers {
        if let Role::Gateway(filter) = &mut router.role {
            filter.default.value = Action::Permit;
            filter
                .rules
                .iter_mut()
                .for_each(|rule| rule.action.value = Action::Permit);
        }
    }
    open
}

pub fn party(spot: Spot) -> Endpoint {
    match spot {
        Spot::Segment(segment) => Endpoint::Segment(SegmentId(segment)),
        Spot::Router(router) => Endpoint::Device(RouterId(router)),
    }
}

/// The gateways that decide on the way of an outcome, with what decides.
pub fn gates(outcome: &Outcome) -> Vec<Decider> {
    let hops = outcome.hops.iter().filter_map(|hop| {
        let rule = match hop.decided? {
            Decision::Rule(rule) => Some(rule),
            Decision::Default => None,
        };
        Some(Decider {
            router: RouterId(hop.device),
            rule,
        })
    });
    hops.collect()
}

/// Everything that single packets say of a site.
pub struct Oracle<'s> {
    site: &'s Site,
    pub simulator: Simulator<'s>,
    pub addresses: BTreeMap<bool, Vec<IpAddr>>,
}

impl<'s> Oracle<'s> {
    /// `open` is the [`permitting`] copy of `site`.
    pub fn new(site: &'s Site, open: &'s Site, today: Date) -> Self {
        let pool = Probes::new(site);
        let families = Family::ALL.iter();
        let addresses =
            families.map(|&family| (family == Family::V4, pool.addresses(family).to_vec()));
        Self {
            site,
            simulator: Simulator::new(open, today),
            addresses: addresses.collect(),
        }
    }

    /// All ways on which a packet goes that devices on a segment send, plain ones and hosts.
    pub fn ways(&self, from: SegmentId, probe: Probe) -> Vec<(Endpoint, Vec<Decider>)> {
        let outcomes = self.simulator.send(from, probe, Stance::Configured);
        let mut ways: Vec<(Endpoint, Vec<Decider>)> = outcomes
            .iter()
            .map(|outcome| (party(outcome.place), gates(outcome)))
            .collect();
        ways.sort();
        ways.dedup();
        ways
    }

    /// The gateways on each way from one segment to another, over all addresses that the site tells apart.
    pub fn routers(&self, from: SegmentId, to: SegmentId) -> BTreeSet<Vec<RouterId>> {
        let mut found = BTreeSet::new();
        for list in self.addresses.values() {
            for &source in list {
                for &destination in list {
                    let probe = Probe {
                        source,
                        destination,
                        protocol: 6,
                        source_port: 7,
                        destination_port: 7,
                    };
                    for (place, gates) in self.ways(from, probe) {
                        if place == Endpoint::Segment(to) {
                            found.insert(gates.iter().map(|gate| gate.router).collect());
                        }
                    }
                }
            }
        }
        found
    }

    pub fn stateful(&self, router: RouterId) -> bool {
        self.site
            .router(router)
            .filter()
            .expect("a gateway on the way")
            .stateful
    }

    pub fn permits(&self, by: Decider) -> bool {
        let filter = self.site.router(by.router).filter().expect("a gateway");
        let action = by
            .rule
            .map_or(filter.default.value, |rule| filter.rules[rule].action.value);
        action == Action::Permit
    }

    /// What one packet says: which rule permits it and which denies it, on each way.
    pub fn keys(&self, from: SegmentId, probe: Probe, questions: &Questions) -> BTreeSet<Key> {
        let mut keys = BTreeSet::new();
        for (to, gates) in self.ways(from, probe) {
            for (at, &own) in gates.iter().enumerate() {
                if !self.permits(own) {
                    continue;
                }
                let denies = |other: &&Decider| {
                    !self.permits(**other) && self.loses(questions, (from, to), own, **other)
                };
                let mut note = |denial, other: Option<&Decider>| {
                    keys.extend(other.map(|&other| ((from, to), denial, own, other)));
                };
                note(Denial::Upstream, gates[..at].iter().find(denies));
                note(Denial::Downstream, gates[at + 1..].iter().find(denies));
            }
        }
        keys
    }

    /// Whether a denial at `other` really loses what `own` permits: no reply that `other` lets pass unasked.
    pub fn loses(
        &self,
        questions: &Questions,
        (from, to): Pair,
        own: Decider,
        other: Decider,
    ) -> bool {
        match (self.stateful(own.router), self.stateful(other.router), to) {
            (_, false, _) => true,
            (false, true, _) => false,
            (true, true, Endpoint::Segment(to)) => {
                let mut known = questions.borrow_mut();
                let ways = known
                    .entry((to, from))
                    .or_insert_with(|| self.routers(to, from));
                ways.iter()
                    .all(|way| way.contains(&own.router) || !way.contains(&other.router))
            }
            (true, true, _) => true,
        }
    }
}

/// Gateways on the ways of each pair, kept because they take long to find.
pub type Questions = RefCell<BTreeMap<(SegmentId, SegmentId), BTreeSet<Vec<RouterId>>>>;
