//! Every pair of segments, compared.

use crate::forwarding::Network;
use crate::model::{Family, RouterId, Rule, SegmentId};
use crate::packet::{ClassSet, IntervalSet};

use super::super::intent::Ground;
use super::counterparts::{Counterparts, Twin};
use super::delta::Delta;
use super::pair::{Changed, Fates, Narrow, difference};

/// A place in both versions.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Spot {
    /// A segment.
    Segment(Twin<SegmentId>),
    /// A gateway or router itself.
    Router(Twin<RouterId>),
}

impl Spot {
    /// "segment" or "gateway".
    pub fn kind(self) -> &'static str {
        match self {
            Self::Segment(_) => "segment",
            Self::Router(_) => "gateway",
        }
    }

    /// Its column in one version; `None`: it is not there.
    pub(in crate::analysis) fn column(self, ground: &Ground<'_>, new: bool) -> Option<usize> {
        let segments = ground.network.site.segments.len();
        match self {
            Self::Segment(twin) => side(twin, new).map(|segment| segment.0),
            Self::Router(twin) => side(twin, new).map(|router| segments + router.0),
        }
    }
}

/// What a change does between one pair in one family.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PairChange {
    /// Who sends.
    pub from: Twin<SegmentId>,
    /// Who receives.
    pub to: Spot,
    /// The family.
    pub family: Family,
    /// What passes now and did not before.
    pub opened: Vec<Changed>,
    /// What passed before and does not now.
    pub closed: Vec<Changed>,
    /// Whether the lists are complete.
    pub complete: bool,
}

/// What a change does to who reaches what, as configured.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ReachChange {
    /// Pairs with a difference, in the order of the site.
    pub pairs: Vec<PairChange>,
    /// What corresponds to what.
    pub counterparts: Counterparts,
    /// Pairs looked at, each family counted.
    pub looked_at: usize,
    /// Whether only rules differ, so that only what they name was looked at.
    pub only_rules: bool,
}

impl ReachChange {
    /// Whether nothing opens or closes, for certain.
    pub fn is_empty(&self) -> bool {
        self.pairs.is_empty()
    }

    /// Whether every list is complete.
    pub fn complete(&self) -> bool {
        self.pairs.iter().all(|pair| pair.complete)
    }
}

/// Compares two versions that were prepared together ([`Network::versions`]).
///
/// Where only rules differ, only packets that removed, added, changed or moved rules name are looked at; else every
/// pair. Cost: two walks through the rules for each pair looked at.
pub fn reach_change(
    old: &Network<'_>,
    new: &Network<'_>,
    progress: &mut dyn FnMut(usize, usize),
) -> ReachChange {
    let counterparts = Counterparts::new(old.site, new.site);
    let delta = Delta::new(old, new);
    let mut change = ReachChange {
        pairs: Vec::new(),
        looked_at: 0,
        only_rules: matches!(delta, Delta::Rules(_)),
        counterparts: counterparts.clone(),
    };
    if let Delta::Rules(rules) = &delta
        && rules.is_empty()
    {
        return change;
    }
    let spots = spots(&counterparts);
    let total = Family::ALL.len() * counterparts.segments.len();
    for (number, family) in Family::ALL.into_iter().enumerate() {
        let grounds = [Ground::new(old, family), Ground::new(new, family)];
        let reader = match &delta {
            Delta::Rules(rules) => Some(Named::new(&grounds, rules)),
            Delta::Anything => None,
        };
        for (at, &from) in counterparts.segments.iter().enumerate() {
            progress(number * counterparts.segments.len() + at, total);
            for &to in &spots {
                if to == Spot::Segment(from) {
                    continue;
                }
                let Some(narrow) = narrow(&grounds, reader.as_ref(), from, to) else {
                    continue;
                };
                change.looked_at += 1;
                change.pairs.extend(compare(&grounds, from, to, &narrow));
            }
        }
    }
    change
}

fn spots(counterparts: &Counterparts) -> Vec<Spot> {
    let segments = counterparts.segments.iter().copied().map(Spot::Segment);
    segments
        .chain(counterparts.routers.iter().copied().map(Spot::Router))
        .collect()
}

fn side<T>(twin: Twin<T>, new: bool) -> Option<T> {
    match new {
        true => twin.new,
        false => twin.old,
    }
}

fn narrow(
    grounds: &[Ground<'_>; 2],
    named: Option<&Named>,
    from: Twin<SegmentId>,
    to: Spot,
) -> Option<Narrow> {
    let Some(named) = named else {
        return Some(Narrow::default());
    };
    let to = to.column(&grounds[1], true)?;
    named.between(&grounds[1], from.new?, to)
}

fn compare(
    grounds: &[Ground<'_>; 2],
    from: Twin<SegmentId>,
    to: Spot,
    narrow: &Narrow,
) -> Option<PairChange> {
    let places = [false, true].map(|new| {
        let ground = &grounds[usize::from(new)];
        Some((side(from, new)?, to.column(ground, new)?))
    });
    let fates = [0, 1].map(|at| match places[at] {
        Some((from, to)) => Fates::new(&grounds[at], from, to, narrow),
        None => Fates::none(),
    });
    let [before, after] = &fates;
    if before.surely_alike(after) {
        return None;
    }
    let other = |at: usize| places[at].map(|(from, _)| (&grounds[at], from));
    let (opened, all_opened) = difference(after, before, &grounds[1], other(0));
    let (closed, all_closed) = difference(before, after, &grounds[0], other(1));
    let complete = all_opened && all_closed;
    if opened.is_empty() && closed.is_empty() && complete {
        return None;
    }
    Some(PairChange {
        from,
        to,
        family: grounds[0].family(),
        opened,
        closed,
        complete,
    })
}

/// What the rules that differ name, in one family.
struct Named {
    rules: Vec<NamedRule>,
    /// Whether rules see the source that was sent.
    sees_source: bool,
    /// Whether rules see the destination that the packet arrives at.
    sees_destination: bool,
    /// Whether no destination is rewritten.
    keeps_destination: bool,
    /// Whether ports are rewritten.
    rewrites_ports: bool,
    /// Whether packets arrive at the only device that forwards from their segment and leave it into that of their
    /// target.
    direct: bool,
}

struct NamedRule {
    /// Columns of the interfaces that it names; `None`: any.
    from: Option<Vec<usize>>,
    to: Option<Vec<usize>>,
    source: Option<IntervalSet>,
    destination: Option<IntervalSet>,
    services: Option<ClassSet>,
}

impl Named {
    fn new(grounds: &[Ground<'_>; 2], rules: &[&Rule]) -> Self {
        let ground = &grounds[1];
        let devices = ground.plan.devices.iter();
        let filters: Vec<_> = devices
            .filter_map(|device| device.filter.as_ref())
            .collect();
        let alone = filters.len() < 2;
        Self {
            rules: rules
                .iter()
                .filter_map(|rule| named(ground, rule))
                .collect(),
            sees_source: alone || filters.iter().all(|filter| filter.departures.is_empty()),
            sees_destination: alone || filters.iter().all(|filter| filter.arrivals.is_empty()),
            keeps_destination: filters.iter().all(|filter| filter.arrivals.is_empty()),
            rewrites_ports: ground.rewrites_ports,
            direct: grounds.iter().all(direct),
        }
    }

    /// What to ask of a pair; `None`: no rule that differs names any of its packets.
    fn between(&self, ground: &Ground<'_>, from: SegmentId, to: usize) -> Option<Narrow> {
        let sources = &ground.plan.segment(from).addresses;
        let own = &ground.columns[to].addresses;
        let meets = |set: &Option<IntervalSet>, other: &IntervalSet| {
            set.as_ref().is_none_or(|set| set.overlaps(other))
        };
        let rules = self.rules.iter();
        let rules: Vec<&NamedRule> = rules
            .filter(|rule| !self.direct || rule.between(from, to))
            .filter(|rule| !self.sees_source || meets(&rule.source, sources))
            .filter(|rule| {
                let there = |rule: &NamedRule| {
                    // A device may put out there what is another segment's.
                    meets(&rule.destination, own) || meets(&rule.destination, ground.extra(to))
                };
                !self.sees_destination || there(rule)
            })
            .collect();
        if rules.is_empty() {
            return None;
        }
        let destinations = rules.iter().map(|rule| rule.destination.as_ref());
        let destinations = destinations.collect::<Option<Vec<_>>>();
        let services = rules.iter().map(|rule| rule.services.as_ref());
        let services = services.collect::<Option<Vec<_>>>();
        let union = |sets: Vec<&IntervalSet>| {
            let parts = sets.iter().flat_map(|set| set.intervals());
            parts.copied().collect::<IntervalSet>()
        };
        Some(Narrow {
            destinations: destinations.filter(|_| self.keeps_destination).map(union),
            services: services.filter(|_| !self.rewrites_ports).map(|sets| {
                let none = ground.network.classes.none();
                sets.into_iter().fold(none, |all, one| all.union(one))
            }),
        })
    }
}

/// Whether one device forwards, and every segment's devices send to it by an interface of their own segment.
fn direct(ground: &Ground<'_>) -> bool {
    let plan = ground.plan;
    let mut hops = plan.segments.iter().enumerate();
    let forwarding = plan.devices.iter().filter(|device| device.forwards);
    // A host with several interfaces takes what is for another of its addresses.
    let mut hosts = plan.devices.iter().filter(|device| !device.forwards);
    forwarding.count() < 2
        && hosts.all(|host| host.interfaces.len() < 2)
        && hops.all(|(at, segment)| {
            let mut hops = segment.first_hops.iter();
            hops.all(|&(device, interface)| {
                plan.device(device).interfaces[interface].segment == SegmentId(at)
            })
        })
}

impl NamedRule {
    /// Whether the interfaces that it names are those of a pair.
    fn between(&self, from: SegmentId, to: usize) -> bool {
        let among = |columns: &Option<Vec<usize>>, column: usize| {
            let named = columns.as_ref();
            named.is_none_or(|columns| columns.contains(&column))
        };
        among(&self.from, from.0) && among(&self.to, to)
    }
}

/// A rule in one family; `None` where it matches no packet of it.
fn named(ground: &Ground<'_>, rule: &Rule) -> Option<NamedRule> {
    let family = ground.family();
    let set = |list: &Option<crate::model::AddressMatch>| {
        let set = list.as_ref().map(|list| list.set.of(family).clone());
        match set {
            Some(set) if set.is_empty() => Err(()),
            other => Ok(other),
        }
    };
    let services = rule.services.as_ref().map(|list| ground.services(list));
    let (source, destination) = (set(&rule.source).ok()?, set(&rule.destination).ok()?);
    if services.as_ref().is_some_and(ClassSet::is_empty) {
        return None;
    }
    Some(NamedRule {
        from: rule.from.as_ref().map(|from| ground.targets(from)),
        to: rule.to.as_ref().map(|to| ground.targets(to)),
        source,
        destination,
        services,
    })
}
