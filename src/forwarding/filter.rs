//! The filter of a gateway in one family: rules and translations as sets.

use std::sync::{Arc, OnceLock};

use rustc_hash::FxHashMap;

use boundwalk_model::{
    Action, AddressMatch, Date, Family, Filter, Interface, Router, RuleParty, Service,
    ServiceMatch, Site, Translation, TranslationTarget,
};
use boundwalk_packet::{
    ClassSet, Interval, IntervalSet, Line, LineList, Mask, Region, ServiceBox, ServiceClasses,
};

/// What a translation writes, in one family.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Written {
    /// This address.
    Address(u128),
    /// The first address of the interface of departure.
    Interface,
    /// Nothing.
    Unchanged,
}

/// One line of a translation list. `None` matches anything.
#[derive(Clone, Debug)]
pub struct TranslationPlan {
    /// Number of the line in the site's list.
    pub line: usize,
    /// Interfaces of arrival (destination translation) or departure (source translation).
    pub interfaces: Option<IntervalSet>,
    /// Source addresses.
    pub source: Option<IntervalSet>,
    /// Destination addresses.
    pub destination: Option<IntervalSet>,
    /// Services.
    pub services: Option<Arc<ClassSet>>,
    /// What it writes.
    pub written: Written,
    /// Destination port that it writes besides.
    pub port: Option<u16>,
}

impl TranslationPlan {
    /// The part of a region that it matches on an interface; `None` where it matches nothing of it.
    pub fn matched(&self, interface: usize, region: &Region) -> Option<Region> {
        let on_interface = |set: &IntervalSet| set.contains(interface as u128);
        if !self.interfaces.as_ref().is_none_or(on_interface) {
            return None;
        }
        let narrow = |set: &IntervalSet, to: &Option<IntervalSet>| match to {
            Some(to) => set.intersection(to),
            None => set.clone(),
        };
        let part = Region {
            source: narrow(&region.source, &self.source),
            destination: narrow(&region.destination, &self.destination),
            services: match &self.services {
                Some(services) => region.services.intersection(services.as_ref()),
                None => region.services.clone(),
            },
        };
        (!part.is_empty()).then_some(part)
    }
}

/// Rules and translations of a gateway in one family.
#[derive(Debug)]
pub struct FilterPlan {
    /// Whether replies pass by themselves.
    pub stateful: bool,
    /// What happens where no rule matches.
    pub default: Action,
    /// The active rules that can match this family, in order.
    pub lines: LineList,
    /// The rule number behind each line.
    pub rules: Vec<usize>,
    /// What each line does.
    pub actions: Vec<Action>,
    /// Destination translations in order.
    pub arrivals: Vec<TranslationPlan>,
    /// Source translations in order.
    pub departures: Vec<TranslationPlan>,
    /// Departure "interface" that stands for the gateway itself: one past the real ones.
    pub itself: usize,
    ingress: OnceLock<Vec<Mask>>,
    egress: OnceLock<Vec<Mask>>,
    sources: OnceLock<Vec<Mask>>,
    destinations: OnceLock<Vec<Mask>>,
}

impl FilterPlan {
    /// Prepares a filter.
    pub fn new(
        site: &Site,
        router: &Router,
        filter: &Filter,
        family: Family,
        classes: &ServiceClasses,
        today: Date,
    ) -> Self {
        let mut reader = FilterReader::new(site, router, family, classes);
        let mut lines = Vec::new();
        let mut rules = Vec::new();
        let mut actions = Vec::new();
        let numbered = filter.rules.iter().enumerate();
        for (number, rule) in numbered.filter(|(_, rule)| rule.active(today)) {
            let Some(fields) = reader.fields(&rule.source, &rule.destination, &rule.services)
            else {
                continue;
            };
            lines.push(Line {
                ingress: rule.from.as_ref().map(|from| reader.interfaces(from)),
                egress: rule.to.as_ref().map(|to| reader.interfaces(to)),
                source: fields.source,
                destination: fields.destination,
                services: fields.services,
            });
            rules.push(number);
            actions.push(rule.action.value);
        }
        let lines = LineList::new(lines);
        let itself = router.interfaces.len();
        Self {
            stateful: filter.stateful,
            default: filter.default.value,
            ingress: OnceLock::new(),
            egress: OnceLock::new(),
            rules,
            actions,
            arrivals: reader.translations(&filter.destination_translations),
            departures: reader.translations(&filter.source_translations),
            itself,
            lines,
            sources: OnceLock::new(),
            destinations: OnceLock::new(),
        }
    }

    /// Lines that can match between two interfaces.
    pub fn between(&self, ingress: usize, egress: usize) -> Mask {
        let numbers = 0..=self.itself as u32;
        let of = |interface: fn(&LineList, u32) -> Mask| {
            let numbers = numbers.clone();
            numbers
                .map(|number| interface(&self.lines, number))
                .collect()
        };
        let arriving = self.ingress.get_or_init(|| of(LineList::from_ingress));
        let leaving = self.egress.get_or_init(|| of(LineList::to_egress));
        arriving[ingress].and(&leaving[egress])
    }

    /// Lines that can match sources of each of the given sets; computed once, so the sets must be the same
    /// on each call (they are those of the plan's segments).
    pub fn source_masks<'a>(&self, sets: impl Iterator<Item = &'a IntervalSet>) -> &[Mask] {
        let compute = || sets.map(|set| self.lines.from_source(set)).collect();
        self.sources.get_or_init(compute)
    }

    /// The same for destinations.
    pub fn destination_masks<'a>(&self, sets: impl Iterator<Item = &'a IntervalSet>) -> &[Mask] {
        let compute = || sets.map(|set| self.lines.to_destination(set)).collect();
        self.destinations.get_or_init(compute)
    }

    /// What a line, or the default, does.
    pub fn action(&self, line: Option<usize>) -> Action {
        line.map_or(self.default, |line| self.actions[line])
    }
}

/// The packets of a list of services in one family.
pub(super) fn boxes(services: &ServiceMatch, family: Family) -> Vec<ServiceBox> {
    services
        .services
        .iter()
        .filter_map(|service| service.packets(family))
        .collect()
}

struct Fields {
    source: Option<IntervalSet>,
    destination: Option<IntervalSet>,
    services: Option<Arc<ClassSet>>,
}

/// Reads the fields of rules and translations in one family. Large rule lists name the same parties and
/// services again and again, so each list of them is worked out once.
struct FilterReader<'a> {
    site: &'a Site,
    interfaces: &'a [Interface],
    family: Family,
    classes: &'a ServiceClasses,
    known_parties: FxHashMap<&'a [RuleParty], Arc<IntervalSet>>,
    known_services: FxHashMap<&'a [Service], Arc<ClassSet>>,
}

impl<'a> FilterReader<'a> {
    fn new(
        site: &'a Site,
        router: &'a Router,
        family: Family,
        classes: &'a ServiceClasses,
    ) -> Self {
        Self {
            site,
            interfaces: &router.interfaces,
            family,
            classes,
            known_parties: FxHashMap::default(),
            known_services: FxHashMap::default(),
        }
    }

    /// Numbers of the interfaces that a list of parties names; the gateway itself is one past the last.
    fn interfaces(&mut self, parties: &'a [RuleParty]) -> Arc<IntervalSet> {
        if let Some(known) = self.known_parties.get(parties) {
            return Arc::clone(known);
        }
        let named = self.interfaces.iter().enumerate().filter(|(_, interface)| {
            parties.iter().any(|party| match *party {
                RuleParty::Zone(zone) => self.site.segment(interface.segment).zone == zone,
                RuleParty::Segment(segment) => interface.segment == segment,
                RuleParty::Gateway => false,
            })
        });
        let mut numbers: Vec<usize> = named.map(|(number, _)| number).collect();
        if parties.contains(&RuleParty::Gateway) {
            numbers.push(self.interfaces.len());
        }
        let points = numbers
            .into_iter()
            .map(|number| Interval::point(number as u128));
        let set = Arc::new(points.collect::<IntervalSet>());
        self.known_parties.insert(parties, Arc::clone(&set));
        set
    }

    /// The address and service fields; `None` where a field leaves nothing of the family.
    fn fields(
        &mut self,
        source: &'a Option<AddressMatch>,
        destination: &'a Option<AddressMatch>,
        services: &'a Option<ServiceMatch>,
    ) -> Option<Fields> {
        // The outer option: whether anything can match; the inner: whether the field limits at all.
        let addresses = |field: &Option<AddressMatch>| match field {
            None => Some(None),
            Some(list) => {
                let set = list.set.of(self.family);
                let everything = *set == self.family.full();
                (!set.is_empty()).then(|| (!everything).then(|| set.clone()))
            }
        };
        let (source, destination) = (addresses(source)?, addresses(destination)?);
        let services = match services {
            None => None,
            Some(list) => {
                let set = self.services(list);
                if set.is_empty() {
                    return None;
                }
                (*set != self.classes.all()).then_some(set)
            }
        };
        Some(Fields {
            source,
            destination,
            services,
        })
    }

    fn services(&mut self, list: &'a ServiceMatch) -> Arc<ClassSet> {
        let (classes, family) = (self.classes, self.family);
        let known = self.known_services.entry(&list.services);
        let set = known.or_insert_with(|| Arc::new(classes.of(&boxes(list, family))));
        Arc::clone(set)
    }

    fn translations(&mut self, list: &'a [Translation]) -> Vec<TranslationPlan> {
        let mut plans = Vec::new();
        for (line, translation) in list.iter().enumerate().filter(|(_, line)| line.enabled) {
            let written = match translation.target {
                TranslationTarget::Address(address) if Family::of(address) == self.family => {
                    Written::Address(Family::value(address))
                }
                TranslationTarget::Address(_) => continue,
                TranslationTarget::Interface => Written::Interface,
                TranslationTarget::Unchanged => Written::Unchanged,
            };
            let (source, destination) = (&translation.source, &translation.destination);
            if let Some(fields) = self.fields(source, destination, &translation.services) {
                let parties = translation.parties.as_ref();
                plans.push(TranslationPlan {
                    line,
                    interfaces: parties.map(|named| self.interfaces(named).as_ref().clone()),
                    source: fields.source,
                    destination: fields.destination,
                    services: fields.services,
                    written,
                    port: translation.port,
                });
            }
        }
        plans
    }
}
