//! Permits that come to nothing between two parties, because another gateway on the way denies all of it.

use rustc_hash::FxHashMap;

use boundwalk_forwarding::{Network, Packet};
use boundwalk_model::{Family, ICMP, ICMPV6, RouterId, Rule, Service};
use boundwalk_packet::{ClassSet, IntervalSet};

use super::cascade::{BlockedPermit, Cascade, Decider, Denial, Pair, Passed};
use super::party::Endpoint;

/// A rule that permits services which come to nothing between some parties.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Wasted {
    /// The gateway and its rule.
    pub rule: (RouterId, usize),
    /// Where the gateway stands that denies.
    pub denial: Denial,
    /// The services.
    pub services: ClassSet,
    /// Whether the rule permits no others between these parties.
    pub whole: bool,
    /// Between whom.
    pub pairs: Vec<Pair>,
    /// What denies it.
    pub denied_by: Vec<Decider>,
    /// The family of the addresses below.
    pub family: Family,
    /// Sources of what is denied, in that family.
    pub sources: IntervalSet,
    /// Its destinations.
    pub destinations: IntervalSet,
    /// Whether the other family is concerned too.
    pub both_families: bool,
    /// One packet.
    pub example: Packet,
}

/// Permits that come to nothing, by rule.
///
/// A wide permit that another gateway narrows is ordinary, so only whole services of a rule count, of which no
/// packet between the two parties gets past the others; and only where the rule names the party behind the other gateway by
/// its addresses, or comes to nothing whoever sends and whoever it is for. Messages of ICMP and ICMPv6 are left out:
/// devices on the way send them too. Nothing is said where [`Cascade::complete`] is false.
#[must_use]
pub fn wasted(network: &Network<'_>, cascade: &Cascade) -> Vec<Wasted> {
    let mut found = Vec::new();
    if !cascade.complete {
        return found;
    }
    let mut rules: Vec<(RouterId, usize)> = cascade.passed.keys().copied().collect();
    rules.sort_unstable();
    let mut blocked: FxHashMap<(RouterId, usize), Vec<&BlockedPermit>> = FxHashMap::default();
    for one in &cascade.blocked {
        if let Some(rule) = one.permits.rule {
            blocked
                .entry((one.permits.router, rule))
                .or_default()
                .push(one);
        }
    }
    let parts = Parts::new(network);
    for key in rules {
        let Some(blocked) = blocked.get(&key) else {
            continue;
        };
        let filter = network.site.router(key.0).filter();
        let Some(rule) = filter.and_then(|filter| filter.rules.get(key.1)) else {
            continue;
        };
        let looked = Looked {
            network,
            cascade,
            key,
            rule,
            parts: parts.of(rule),
            passed: &cascade.passed[&key],
            blocked,
        };
        for denial in [Denial::Downstream, Denial::Upstream] {
            looked.add(denial, &mut found);
        }
    }
    found
}

/// Services of rules as sets of classes.
struct Parts<'n> {
    network: &'n Network<'n>,
    /// All but messages.
    plain: ClassSet,
}

impl<'n> Parts<'n> {
    fn new(network: &'n Network<'_>) -> Self {
        let messages = [ICMP, ICMPV6].map(Service::Whole);
        let messages = classes(network, &messages);
        Self {
            network,
            plain: network.classes.all().difference(&messages),
        }
    }

    /// Each service that a rule names, without messages.
    fn of(&self, rule: &Rule) -> Vec<ClassSet> {
        let Some(list) = &rule.services else {
            return vec![self.plain.clone()];
        };
        list.services
            .iter()
            .map(|one| classes(self.network, std::slice::from_ref(one)))
            .map(|set| set.intersection(&self.plain))
            .filter(|set| !set.is_empty())
            .collect()
    }
}

fn classes(network: &Network<'_>, services: &[Service]) -> ClassSet {
    let families = Family::ALL.iter();
    let boxes =
        families.flat_map(|&family| services.iter().filter_map(move |one| one.packets(family)));
    network.classes.of(&boxes.collect::<Vec<_>>())
}

/// A rule of which another gateway denies something.
struct Looked<'a> {
    network: &'a Network<'a>,
    cascade: &'a Cascade,
    key: (RouterId, usize),
    rule: &'a Rule,
    parts: Vec<ClassSet>,
    passed: &'a FxHashMap<Pair, Passed>,
    blocked: &'a [&'a BlockedPermit],
}

impl Looked<'_> {
    fn add(&self, denial: Denial, found: &mut Vec<Wasted>) {
        let mut pairs: Vec<Pair> = self.passed.keys().copied().collect();
        pairs.sort_unstable();
        let nowhere: Vec<bool> = self
            .parts
            .iter()
            .map(|part| self.nowhere(part, denial))
            .collect();
        let first = found.len();
        for pair in pairs {
            let named = self.names(pair, denial);
            let passed = &self.passed[&pair];
            let mut services = self.network.classes.none();
            for (part, nowhere) in self.parts.iter().zip(&nowhere) {
                if (named || *nowhere) && comes_to_nothing(part, passed, denial) {
                    services.union_with(&part.intersection(&passed.permitted));
                }
            }
            if services.is_empty() || self.cascade.unjudged.contains(&pair) {
                continue;
            }
            if let Some(one) = self.describe(pair, denial, services) {
                join(&mut found[first..], &one).unwrap_or_else(|| found.push(one));
            }
        }
    }

    /// Whether a service of the rule comes to nothing between all parties.
    fn nowhere(&self, part: &ClassSet, denial: Denial) -> bool {
        let mut passed = self.passed.values();
        let doubtful = self.cascade.doubtful.contains(&self.key.0);
        !doubtful && passed.all(|passed| !part.overlaps(passed.through(denial)))
    }

    /// Whether the rule names addresses of the party behind the other gateway, and of nobody else with them.
    fn names(&self, (from, to): Pair, denial: Denial) -> bool {
        let (field, party) = match denial {
            Denial::Downstream => (&self.rule.destination, to),
            Denial::Upstream => (&self.rule.source, Endpoint::Segment(from)),
        };
        let Some(field) = field else {
            return false;
        };
        Family::ALL.iter().any(|&family| {
            let plan = self.network.plan(family);
            let theirs = match party {
                Endpoint::Segment(segment) => &plan.segment(segment).cover,
                Endpoint::Device(router) => &plan.device(plan.router_index(router)).own,
                Endpoint::Zone(_) | Endpoint::Host(_) | Endpoint::Unclaimed(..) => return false,
            };
            let mut named = field.set.of(family).intervals().iter();
            named.any(|part| IntervalSet::range(part.low(), part.high()).is_subset(theirs))
        })
    }

    fn describe(&self, pair: Pair, denial: Denial, services: ClassSet) -> Option<Wasted> {
        let mine: Vec<&&BlockedPermit> = self
            .blocked
            .iter()
            .filter(|one| one.pair == pair && one.denial == denial)
            .filter(|one| one.services(self.network).overlaps(&services))
            .collect();
        let example = mine
            .iter()
            .find_map(|one| one.example(self.network, &services))?;
        let family = Family::of(example.source);
        let (mut sources, mut destinations) = (IntervalSet::empty(), IntervalSet::empty());
        let mut both_families = false;
        for (own, region) in mine.iter().flat_map(|one| &one.packets) {
            if !region.services.overlaps(&services) {
                continue;
            }
            both_families |= *own != family;
            if *own == family {
                sources = sources.union(&region.source);
                destinations = destinations.union(&region.destination);
            }
        }
        Some(Wasted {
            rule: self.key,
            denial,
            whole: self.passed[&pair].permitted.is_subset(&services),
            services,
            pairs: vec![pair],
            denied_by: mine.iter().map(|one| one.denies).collect(),
            family,
            sources,
            destinations,
            both_families,
            example,
        })
    }
}

/// Whether a rule permits something of a service and nothing of it gets through.
fn comes_to_nothing(part: &ClassSet, passed: &Passed, denial: Denial) -> bool {
    part.overlaps(&passed.permitted) && !part.overlaps(passed.through(denial))
}

/// Adds a pair to a finding that says the same of other pairs; `None` where there is none.
fn join(known: &mut [Wasted], one: &Wasted) -> Option<()> {
    let gateways = |one: &Wasted| {
        let mut routers: Vec<RouterId> = one.denied_by.iter().map(|by| by.router).collect();
        routers.sort_unstable();
        routers.dedup();
        routers
    };
    let same = |old: &&mut Wasted| {
        let family = (old.family, old.both_families) == (one.family, one.both_families);
        let services = old.services == one.services && old.whole == one.whole;
        family && services && gateways(old) == gateways(one)
    };
    let old = known.iter_mut().find(same)?;
    old.pairs.extend(&one.pairs);
    old.sources = old.sources.union(&one.sources);
    old.destinations = old.destinations.union(&one.destinations);
    for by in &one.denied_by {
        if !old.denied_by.contains(by) {
            old.denied_by.push(*by);
        }
    }
    Some(())
}
