//! Which rules differ between two versions that are else alike: only packets that they name can be decided
//! otherwise.

use std::hash::{Hash, Hasher};

use rustc_hash::{FxHashMap, FxHasher};
use similar::{Algorithm, DiffOp, capture_diff_slices};

use crate::forwarding::Network;
use crate::model::{Filter, Host, Role, Route, Router, Rule, Site, Switch};

/// What differs.
pub(super) enum Delta<'s> {
    /// Nothing but these rules: removed, added, changed or moved, of either version.
    Rules(Vec<&'s Rule>),
    /// More than rules.
    Anything,
}

impl<'s> Delta<'s> {
    /// Compares two versions. Cost: the rules, times those that differ.
    pub(super) fn new(old: &Network<'s>, new: &Network<'s>) -> Self {
        if !alike(old.site, new.site) {
            return Self::Anything;
        }
        let mut rules = Vec::new();
        for (old_router, new_router) in old.site.routers.iter().zip(&new.site.routers) {
            if let (Some(one), Some(other)) = (old_router.filter(), new_router.filter()) {
                let active = |filter: &'s Filter| {
                    let active = filter.rules.iter();
                    active.filter(|rule| rule.active(old.today)).collect()
                };
                differing(&active(one), &active(other), &mut rules);
            }
        }
        Self::Rules(rules)
    }
}

/// A rule without what does not decide.
#[derive(PartialEq, Eq)]
struct Deciding<'r>(&'r Rule);

impl Hash for Deciding<'_> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        let rule = self.0;
        (&rule.from, &rule.to, rule.action.value).hash(state);
        for list in [&rule.source, &rule.destination] {
            list.as_ref().map(|list| &list.set).hash(state);
        }
        rule.services
            .as_ref()
            .map(|list| &list.services)
            .hash(state);
    }
}

fn same(one: &Rule, other: &Rule) -> bool {
    let sets = |rule: &Rule| {
        let set =
            |list: &Option<crate::model::AddressMatch>| list.as_ref().map(|list| list.set.clone());
        (set(&rule.source), set(&rule.destination))
    };
    let services = |rule: &Rule| rule.services.as_ref().map(|list| list.services.clone());
    one.from == other.from
        && one.to == other.to
        && one.action == other.action
        && services(one) == services(other)
        && sets(one) == sets(other)
}

/// Rules of either list that are not in the longest common list, up to what the algorithm finds.
fn differing<'s>(old: &Vec<&'s Rule>, new: &Vec<&'s Rule>, into: &mut Vec<&'s Rule>) {
    let mut numbers: FxHashMap<u64, Vec<(&'s Rule, u32)>> = FxHashMap::default();
    let mut next = 0;
    let mut number = |rule: &'s Rule| {
        let mut hasher = FxHasher::default();
        Deciding(rule).hash(&mut hasher);
        let known = numbers.entry(hasher.finish()).or_default();
        if let Some((_, number)) = known.iter().find(|(other, _)| same(other, rule)) {
            return *number;
        }
        next += 1;
        known.push((rule, next));
        next
    };
    let old_numbers: Vec<u32> = old.iter().map(|rule| number(rule)).collect();
    let new_numbers: Vec<u32> = new.iter().map(|rule| number(rule)).collect();
    for operation in capture_diff_slices(Algorithm::Myers, &old_numbers, &new_numbers) {
        if !matches!(operation, DiffOp::Equal { .. }) {
            into.extend(&old[operation.old_range()]);
            into.extend(&new[operation.new_range()]);
        }
    }
}

/// Whether two versions differ in rules at most, and in what decides nothing.
fn alike(old: &Site, new: &Site) -> bool {
    old.zones.len() == new.zones.len()
        && all(&old.segments, &new.segments, |one, other| {
            one.name == other.name
                && one.zone == other.zone
                && one.vlan == other.vlan
                && one.prefixes == other.prefixes
                && one.external == other.external
                && one.default_gateway == other.default_gateway
        })
        && all(&old.routers, &new.routers, alike_routers)
        && all(&old.hosts, &new.hosts, alike_hosts)
        && all(&old.switches, &new.switches, alike_switches)
        && all(&old.links, &new.links, |one, other| {
            one.ends == other.ends && one.pulled == other.pulled
        })
}

fn all<T>(old: &[T], new: &[T], same: impl Fn(&T, &T) -> bool) -> bool {
    old.len() == new.len() && old.iter().zip(new).all(|(one, other)| same(one, other))
}

fn alike_routers(one: &Router, other: &Router) -> bool {
    let role = match (&one.role, &other.role) {
        (Role::Router, Role::Router) => true,
        (Role::Gateway(one), Role::Gateway(other)) => {
            one.default == other.default
                && one.stateful == other.stateful
                && one.destination_translations == other.destination_translations
                && one.source_translations == other.source_translations
        }
        _ => false,
    };
    role && one.name == other.name
        && one.interfaces == other.interfaces
        && one.lags == other.lags
        && all(&one.routes, &other.routes, alike_routes)
}

fn alike_routes(one: &Route, other: &Route) -> bool {
    one.destination == other.destination && one.via == other.via
}

fn alike_hosts(one: &Host, other: &Host) -> bool {
    one.name == other.name
        && one.interfaces == other.interfaces
        && one.default_gateway == other.default_gateway
        && one.forwards == other.forwards
        && all(&one.routes, &other.routes, alike_routes)
}

fn alike_switches(one: &Switch, other: &Switch) -> bool {
    one.name == other.name
        && one.vlan_aware == other.vlan_aware
        && all(&one.ports, &other.ports, |one, other| {
            one.name == other.name
                && one.vlans == other.vlans
                && one.isolated == other.isolated
                && one.enabled == other.enabled
        })
        && all(&one.lags, &other.lags, |one, other| {
            one.name == other.name
                && one.ports == other.ports
                && one.lacp == other.lacp
                && one.vlans == other.vlans
                && one.isolated == other.isolated
        })
}
