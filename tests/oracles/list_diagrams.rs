//! A rule list as decision diagrams, and what can arrive at its gateway and leave it.
//!
//! Variables: the interface of arrival, that of departure, source, destination, service class, each as a number in
//! bits, the highest first. Addresses are elementary intervals numbered in ascending order (coding those by rank takes
//! far fewer nodes than address bits). `from` and `to` stay fields of their own here. No translations.

use boundwalk::model::{
    Action, Date, Family, Filter, Router, Rule, RuleParty, Site, SourceCheck, Via,
};
use boundwalk::packet::{
    Field, Interval, IntervalSet, PacketBox, ServiceBox, ServiceClasses, Space,
};
use oxidd::BooleanFunction;
use oxidd::bdd::BDDFunction;

use super::diagrams::{Diagrams, and, not, or};

/// The rules of the first gateway of a site in one family.
pub struct ListDiagrams<'s> {
    pub diagrams: Diagrams,
    /// Packets that can arrive and leave.
    pub possible: BDDFunction,
    /// What each rule names, whatever can arrive; nothing for one that is off.
    pub named: Vec<BDDFunction>,
    filter: &'s Filter,
}

struct Cutter<'s> {
    site: &'s Site,
    router: &'s Router,
    family: Family,
    /// Where elementary intervals begin, ascending from 0.
    starts: Vec<u128>,
    classes: ServiceClasses,
}

impl<'s> ListDiagrams<'s> {
    /// Room for so many nodes; a list of 2,000 rules wants about a million.
    pub fn new(site: &'s Site, family: Family, today: Date, nodes: usize) -> Self {
        let router = &site.routers[0];
        let filter = router.filter().expect("the first router filters");
        assert!(
            filter.destination_translations.is_empty(),
            "no translations here"
        );
        let cutter = Cutter::new(site, router, filter, family);
        let full = |count: usize| (count.next_power_of_two() - 1) as u128;
        let interfaces = full(router.interfaces.len() + 1);
        let addresses = full(cutter.starts.len());
        let space = Space::new([
            interfaces,
            interfaces,
            addresses,
            addresses,
            0,
            0,
            full(cutter.classes.len()),
        ]);
        let mut diagrams = Diagrams::with_memory(&space, nodes, nodes / 4);
        let possible = cutter.possible(&mut diagrams, &space);
        let mut named = Vec::new();
        for rule in &filter.rules {
            let packets = rule
                .active(today)
                .then(|| cutter.named(rule, &space))
                .flatten();
            named.push(match packets {
                Some(packets) => diagrams.of_box(&packets),
                None => diagrams.constant(false),
            });
        }
        Self {
            diagrams,
            possible,
            named,
            filter,
        }
    }

    /// What each rule decides, by a running union of the rules before it.
    pub fn decided(&self) -> Vec<BDDFunction> {
        let mut left = self.possible.clone();
        let mut decided = Vec::new();
        for named in &self.named {
            decided.push(and(&left, named));
            left = and(&left, &not(named));
        }
        decided
    }

    /// Of each rule: does it name anything possible, does it decide anything, would anything change without it?
    pub fn judged(&self) -> Vec<(bool, bool, bool)> {
        let decided = self.decided();
        let actions = [Action::Permit, Action::Deny, Action::Reject];
        // What the rules from some place on do with each packet, from the end.
        let mut then =
            actions.map(|action| self.diagrams.constant(action == self.filter.default.value));
        let mut judged = Vec::new();
        for (number, rule) in self.filter.rules.iter().enumerate().rev() {
            let own = actions
                .iter()
                .position(|action| *action == rule.action.value);
            let own = own.expect("one of the three");
            let changed = and(&decided[number], &not(&then[own]));
            let named = &self.named[number];
            judged.push((
                and(named, &self.possible).satisfiable(),
                decided[number].satisfiable(),
                changed.satisfiable(),
            ));
            for (action, set) in then.iter_mut().enumerate() {
                *set = if action == own {
                    or(set, named)
                } else {
                    and(set, &not(named))
                };
            }
        }
        judged.reverse();
        judged
    }
}

impl<'s> Cutter<'s> {
    fn new(site: &'s Site, router: &'s Router, filter: &Filter, family: Family) -> Self {
        let mut starts = vec![0];
        let mut cut = |low: u128, high: u128| {
            starts.push(low);
            starts.extend(high.checked_add(1).filter(|&next| next <= family.top()));
        };
        let mut boxes: Vec<ServiceBox> = Vec::new();
        for rule in &filter.rules {
            for field in [&rule.source, &rule.destination].into_iter().flatten() {
                for part in field.set.of(family).intervals() {
                    cut(part.low(), part.high());
                }
            }
            let services = rule.services.iter().flat_map(|list| &list.services);
            boxes.extend(services.filter_map(|service| service.packets(family)));
        }
        for part in family.never_forwarded().intervals() {
            cut(part.low(), part.high());
        }
        for (prefix, _) in prefixes(router, family) {
            cut(prefix.low(), prefix.high());
        }
        for own in own(router, family) {
            cut(own, own);
        }
        starts.sort_unstable();
        starts.dedup();
        boxes.sort_unstable();
        boxes.dedup();
        Self {
            site,
            router,
            family,
            starts,
            classes: ServiceClasses::new(&boxes),
        }
    }

    fn ranks(&self, set: &IntervalSet) -> IntervalSet {
        let place = |value: u128| self.starts.partition_point(|&start| start <= value) as u128 - 1;
        let parts = set
            .intervals()
            .iter()
            .filter_map(|part| Interval::new(place(part.low()), place(part.high())));
        parts.collect()
    }

    fn of_pieces(&self, wanted: impl Fn(u128) -> bool) -> IntervalSet {
        self.starts
            .iter()
            .enumerate()
            .filter(|(_, start)| wanted(**start))
            .map(|(rank, _)| Interval::point(rank as u128))
            .collect()
    }

    /// Longest match by a look at every prefix.
    fn way(&self, prefixes: &[(Interval, Option<usize>)], address: u128) -> Option<usize> {
        let holding = prefixes
            .iter()
            .filter(|(prefix, _)| prefix.contains(address));
        // Of equals the first: on-link comes before static.
        let longest = holding.min_by_key(|(prefix, _)| prefix.high() - prefix.low());
        longest.and_then(|(_, way)| *way)
    }

    fn possible(&self, diagrams: &mut Diagrams, space: &Space) -> BDDFunction {
        let prefixes = prefixes(self.router, self.family);
        let nobody = self.family.never_forwarded();
        let own = own(self.router, self.family);
        let ways: Vec<Option<usize>> = self
            .starts
            .iter()
            .map(|&start| self.way(&prefixes, start))
            .collect();
        let way = |start: u128| ways[self.starts.partition_point(|&one| one < start)];
        let full = PacketBox::full(space);
        let (mut arriving, mut leaving) = (diagrams.constant(false), diagrams.constant(false));
        for (number, interface) in self.router.interfaces.iter().enumerate() {
            let at = IntervalSet::point(number as u128);
            let sources = self.of_pieces(|start| {
                !nobody.contains(start)
                    && match interface.source_check {
                        SourceCheck::Off => true,
                        SourceCheck::Loose => way(start).is_some(),
                        SourceCheck::Strict => way(start) == Some(number),
                    }
            });
            let packets = full.clone().with(Field::Ingress, at.clone());
            arriving = or(
                &arriving,
                &diagrams.of_box(&packets.with(Field::Source, sources)),
            );
            let destinations = self.of_pieces(|start| {
                !nobody.contains(start) && !own.contains(&start) && way(start) == Some(number)
            });
            let packets = full.clone().with(Field::Egress, at);
            let packets = packets.with(Field::Destination, destinations);
            leaving = or(&leaving, &diagrams.of_box(&packets));
        }
        let itself = IntervalSet::point(self.router.interfaces.len() as u128);
        let packets = full.clone().with(Field::Egress, itself);
        let packets = packets.with(
            Field::Destination,
            self.of_pieces(|start| own.contains(&start)),
        );
        leaving = or(&leaving, &diagrams.of_box(&packets));
        // Numbers past the last class stand for nothing.
        let classes = IntervalSet::range(0, self.classes.len() as u128 - 1);
        let real = diagrams.of_box(&full.with(Field::DestinationPort, classes));
        and(&and(&arriving, &leaving), &real)
    }

    /// What a rule names; `None` where a field leaves nothing.
    fn named(&self, rule: &Rule, space: &Space) -> Option<PacketBox> {
        let mut packets = PacketBox::full(space);
        for (field, parties) in [(Field::Ingress, &rule.from), (Field::Egress, &rule.to)] {
            if let Some(parties) = parties {
                packets = packets.with(field, self.interfaces(parties));
            }
        }
        for (field, addresses) in [
            (Field::Source, &rule.source),
            (Field::Destination, &rule.destination),
        ] {
            if let Some(addresses) = addresses {
                packets = packets.with(field, self.ranks(addresses.set.of(self.family)));
            }
        }
        if let Some(list) = &rule.services {
            let boxes: Vec<_> = list
                .services
                .iter()
                .filter_map(|one| one.packets(self.family))
                .collect();
            let classes = self.classes.of(&boxes);
            let classes = classes.iter().map(|class| Interval::point(class as u128));
            packets = packets.with(Field::DestinationPort, classes.collect());
        }
        (!packets.is_empty()).then_some(packets)
    }

    fn interfaces(&self, parties: &[RuleParty]) -> IntervalSet {
        let itself = self.router.interfaces.len();
        let named = |at: &usize| {
            parties.iter().any(|party| match *party {
                RuleParty::Gateway => *at == itself,
                RuleParty::Segment(own) => {
                    *at < itself && self.router.interfaces[*at].segment == own
                }
                RuleParty::Zone(own) => {
                    *at < itself && {
                        let segment = self.router.interfaces[*at].segment;
                        self.site.segment(segment).zone == own
                    }
                }
            })
        };
        (0..=itself)
            .filter(named)
            .map(|at| Interval::point(at as u128))
            .collect()
    }
}

/// On-link prefixes, then static routes, with the interface that each leads to.
fn prefixes(router: &Router, family: Family) -> Vec<(Interval, Option<usize>)> {
    let on_link = router
        .interfaces
        .iter()
        .enumerate()
        .flat_map(|(number, interface)| {
            let own = interface.addresses.iter();
            let own = own.filter(move |own| own.value.family() == family);
            own.map(move |own| (own.value.prefix().interval(), Some(number)))
        });
    let routes = router
        .routes
        .iter()
        .filter(|route| route.destination.family() == family)
        .map(|route| {
            let way = match route.via {
                Via::NextHop { interface, .. } => Some(interface),
                Via::Discard => None,
            };
            (route.destination.interval(), way)
        });
    on_link.chain(routes).collect()
}

fn own(router: &Router, family: Family) -> std::collections::BTreeSet<u128> {
    router
        .interfaces
        .iter()
        .flat_map(|one| &one.addresses)
        .filter(|own| own.value.family() == family)
        .map(|own| Family::value(own.value.address()))
        .collect()
}
