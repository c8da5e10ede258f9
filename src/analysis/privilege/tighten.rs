//! Tighter rules: each permit that is wider than what is used becomes one rule, or a few, that hold it.

use std::collections::BTreeMap;
use std::fmt;

use num_bigint::BigUint;

use boundwalk_forwarding::Network;
use boundwalk_load::{RuleField, services as read_services};
use boundwalk_model::{
    AddressSet, Family, PerFamily, RouterId, Rule, RuleParty, SegmentId, Site, ZoneId,
    show_interval,
};
use boundwalk_packet::{ClassSet, IntervalSet};

use super::super::service_labels::ServiceLabels;
use super::bounding_rules::{BoundingRule, bounding_rules, join};
use super::found::RuleUse;
use super::measure::{Projection, all_services, widen};

/// The fields of a rule that change, with their items as the file writes them.
pub type NewFields = BTreeMap<RuleField, Vec<String>>;

/// Why a rule stays as it is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Kept {
    /// Everything that it permits is used.
    Fits,
    /// Nothing of it is used: whether it goes is for its owner to say.
    Unused,
    /// It can't be written in fewer words: the reason.
    Fixed(&'static str),
}

impl fmt::Display for Kept {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Fits => "everything that the rule permits is used",
            Self::Unused => "nothing that the rule permits is used",
            Self::Fixed(reason) => reason,
        })
    }
}

impl std::error::Error for Kept {}

/// What becomes of a rule.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Tightened {
    /// The gateway.
    pub router: RouterId,
    /// The rule, by number.
    pub rule: usize,
    /// The rules in its place, each with the fields that differ from it; one of them at least.
    pub rules: Vec<NewFields>,
}

/// Ranges without a name that a list of addresses may hold.
const MOST_RANGES: usize = 6;

/// Suggests tighter rules for a permit, at most `most` in its place (1 or more): few rules are easy to read, many
/// hold less that nobody uses.
///
/// # Errors
/// Why the rule stays as it is.
pub fn tighten(
    network: &Network<'_>,
    naming: &ServiceLabels<'_>,
    rule: &RuleUse,
    most: usize,
) -> Result<Tightened, Kept> {
    let site = network.site;
    let (Some(number), Some(filter)) = (rule.rule, site.router(rule.router).filter()) else {
        return Err(Kept::Fixed("it is the default, not a rule"));
    };
    if rule.measure.packets.used == BigUint::ZERO {
        return Err(Kept::Unused);
    }
    if rule.measure.packets.used == rule.measure.packets.permitted {
        return Err(Kept::Fits);
    }
    if let Some(reason) = rule.fixed {
        return Err(Kept::Fixed(reason));
    }
    let bounding_rules = join(network, bounding_rules(network, &rule.pieces), most.max(1));
    let writer = Writer {
        network,
        naming,
        rule,
        old: &filter.rules[number],
    };
    let rules: Option<Vec<NewFields>> = bounding_rules
        .iter()
        .map(|bounding_rule| writer.fields(bounding_rule))
        .collect();
    let rules = rules.ok_or(Kept::Fixed("its services can't be written as a list"))?;
    if rules.len() == 1 && rules[0].is_empty() {
        return Err(Kept::Fixed(
            "what is used reaches into every field: only several rules in its place would be tighter",
        ));
    }
    Ok(Tightened {
        router: rule.router,
        rule: number,
        rules,
    })
}

/// Writes a group as the fields of a rule.
struct Writer<'a, 'n> {
    network: &'a Network<'n>,
    naming: &'a ServiceLabels<'a>,
    rule: &'a RuleUse,
    old: &'a Rule,
}

impl Writer<'_, '_> {
    /// The fields that differ from the old rule; `None` where a list can't be written.
    fn fields(&self, bounding_rule: &BoundingRule) -> Option<NewFields> {
        let site = self.network.site;
        let mut fields = NewFields::new();
        let permitted = &self.rule.permitted;
        let from: Vec<SegmentId> = sorted(
            bounding_rule
                .interface_pair
                .iter()
                .map(|interface_pair| interface_pair.from),
        );
        let to: Vec<Option<SegmentId>> = sorted(
            bounding_rule
                .interface_pair
                .iter()
                .map(|interface_pair| interface_pair.to),
        );
        let all_from: Vec<SegmentId> =
            sorted(permitted.keys().map(|interface_pair| interface_pair.from));
        let all_to: Vec<Option<SegmentId>> =
            sorted(permitted.keys().map(|interface_pair| interface_pair.to));
        if from != all_from {
            let segments = from.iter().copied().map(Some).collect::<Vec<_>>();
            let whole = all_from.iter().copied().map(Some).collect::<Vec<_>>();
            fields.insert(RuleField::From, parties(site, &segments, &whole));
        }
        if to != all_to {
            fields.insert(RuleField::To, parties(site, &to, &all_to));
        }
        let mut reach = Projection::none(self.network);
        for (interface_pair, projections) in permitted {
            if from.contains(&interface_pair.from) && to.contains(&interface_pair.to) {
                widen(&mut reach, projections);
            }
        }
        let pair = |field: fn(&Projection) -> &IntervalSet, of: &PerFamily<Projection>| {
            PerFamily::new(|family| field(&of[family]).clone())
        };
        for (field, get, old) in [
            (
                RuleField::Source,
                source as fn(&Projection) -> &IntervalSet,
                &self.old.source,
            ),
            (RuleField::Destination, destination, &self.old.destination),
        ] {
            let (used, open) = (pair(get, &bounding_rule.projections), pair(get, &reach));
            if used != open {
                let old = old.as_ref().map(|list| &list.set);
                // What can only be written as a long list of ranges stays: a rule must be readable.
                if let Some(items) = addresses(site, &used, &open, old) {
                    fields.insert(field, items);
                }
            }
        }
        let (used, open) = (
            all_services(&bounding_rule.projections),
            all_services(&reach),
        );
        if used != open {
            fields.insert(RuleField::Services, self.services(&used)?);
        }
        Some(fields)
    }

    /// Services as the file writes them; `None` where that is not exact.
    fn services(&self, used: &ClassSet) -> Option<Vec<String>> {
        let items = self.naming.list(used);
        let mut boxes = Vec::new();
        for item in &items {
            for service in read_services(self.network.site, item).ok()? {
                boxes.extend(
                    Family::ALL
                        .iter()
                        .filter_map(|&family| service.packets(family)),
                );
            }
        }
        (self.network.classes.of(&boxes) == *used).then_some(items)
    }
}

fn source(projection: &Projection) -> &IntervalSet {
    &projection.source
}

fn destination(projection: &Projection) -> &IntervalSet {
    &projection.destination
}

fn sorted<T: Ord>(items: impl Iterator<Item = T>) -> Vec<T> {
    let mut items: Vec<T> = items.collect();
    items.sort_unstable();
    items.dedup();
    items
}

/// Interfaces as the file names them: a zone where all of its segments that matter are meant.
fn parties(site: &Site, used: &[Option<SegmentId>], all: &[Option<SegmentId>]) -> Vec<String> {
    let mut items = Vec::new();
    let mut left: Vec<SegmentId> = used.iter().flatten().copied().collect();
    for zone in (0..site.zones.len()).map(ZoneId) {
        let open: Vec<SegmentId> = all
            .iter()
            .flatten()
            .filter(|id| site.segment(**id).zone == zone)
            .copied()
            .collect();
        if open.len() > 1 && open.iter().all(|id| left.contains(id)) {
            left.retain(|id| !open.contains(id));
            items.push(party_text(site, RuleParty::Zone(zone)));
        }
    }
    items.extend(
        left.into_iter()
            .map(|id| party_text(site, RuleParty::Segment(id))),
    );
    if used.contains(&None) {
        items.push(party_text(site, RuleParty::Gateway));
    }
    items
}

/// A party as the file writes it; what kind it is only where a zone and a segment share the name.
pub fn party_text(site: &Site, party: RuleParty) -> String {
    let zone = |name: &str| site.zones.iter().any(|zone| zone.name.value == name);
    let segment = |name: &str| site.segments.iter().any(|one| one.name.value == name);
    let (kind, name, shared) = match party {
        RuleParty::Zone(id) => {
            let name = &site.zone(id).name.value;
            ("zone", name.as_str(), segment(name))
        }
        RuleParty::Segment(id) => {
            let segment = site.segment(id);
            let name = &segment.name.value;
            // A zone of one segment that bears its name means the same.
            let same = site.zone(segment.zone).name == segment.name
                && site.segments_in(segment.zone).count() == 1;
            ("segment", name.as_str(), zone(name) && !same)
        }
        RuleParty::Gateway => ("gateway", "gateway", false),
    };
    if shared {
        format!("{kind}:{name}")
    } else {
        name.to_owned()
    }
}

/// Addresses as the file writes them: names of the site where they hold nothing else that matters, then prefixes and
/// ranges; `None` where that would be a long list. What can't get there anyway may come with a name, but nothing that
/// the old list does not hold.
fn addresses(
    site: &Site,
    used: &PerFamily<IntervalSet>,
    open: &PerFamily<IntervalSet>,
    old: Option<&AddressSet>,
) -> Option<Vec<String>> {
    let mut left = used.clone();
    let mut items = Vec::new();
    let mut candidates = candidates(site);
    candidates.sort_by_key(|(_, set)| {
        let size: BigUint = Family::ALL
            .iter()
            .map(|&family| set.of(family).size())
            .sum();
        std::cmp::Reverse(size)
    });
    for (name, set) in candidates {
        let fits = Family::ALL.into_iter().all(|family| {
            let own = set.of(family);
            own.intersection(&open[family]).is_subset(&used[family])
                && old.is_none_or(|old| own.is_subset(old.of(family)))
        });
        let helps = Family::ALL
            .into_iter()
            .any(|family| set.of(family).overlaps(&left[family]));
        if fits && helps {
            for family in Family::ALL {
                left[family] = left[family].difference(set.of(family));
            }
            items.push(name.to_owned());
        }
    }
    for family in Family::ALL {
        let rest = left[family].intervals().iter();
        items.extend(rest.map(|&part| show_interval(family, part)));
    }
    let rest: usize = left
        .as_slice()
        .iter()
        .map(|set| set.intervals().len())
        .sum();
    (rest <= MOST_RANGES).then_some(items)
}

/// Everything with a name that a list of addresses may hold.
fn candidates(site: &Site) -> Vec<(&str, AddressSet)> {
    let groups = site
        .addresses
        .iter()
        .map(|group| (group.name.value.as_str(), group.set.clone()));
    let segments = site
        .segments
        .iter()
        .filter(|segment| !segment.external)
        .map(|segment| (segment.name.value.as_str(), segment.addresses()));
    let hosts = site.hosts.iter().map(|host| {
        let mut set = AddressSet::default();
        let addresses = host
            .interfaces
            .iter()
            .flat_map(|interface| &interface.addresses);
        for address in addresses {
            let value = Family::value(address.value.address());
            set.insert(
                address.value.family(),
                boundwalk_packet::Interval::point(value),
            );
        }
        (host.name.value.as_str(), set)
    });
    // A name that stands for two things is no use in a list.
    let all: Vec<(&str, AddressSet)> = groups.chain(segments).chain(hosts).collect();
    let unique = |name: &str| all.iter().filter(|(other, _)| *other == name).count() == 1;
    let empty = AddressSet::default();
    all.iter()
        .filter(|(name, set)| unique(name) && *set != empty)
        .cloned()
        .collect()
}
