//! Which rules differ between two versions that are else alike: only packets that they name can be decided
//! otherwise.

use rustc_hash::FxHashMap;
use similar::{Algorithm, DiffOp, capture_diff_slices};

use crate::forwarding::Network;
use crate::model::{
    Action, AddressMatch, AddressSet, Filter, Host, Party, Role, Route, Router, Rule, Service,
    Site, Switch,
};

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
                let active = |filter: &'s Filter| -> Vec<&'s Rule> {
                    let active = filter.rules.iter();
                    active.filter(|rule| rule.active(old.today)).collect()
                };
                differing(&active(one), &active(other), &mut rules);
            }
        }
        Self::Rules(rules)
    }
}

/// What decides of a rule.
type Deciding<'s> = (
    [&'s Option<Vec<Party>>; 2],
    [Option<&'s AddressSet>; 2],
    Option<&'s [Service]>,
    Action,
);

fn deciding(rule: &Rule) -> Deciding<'_> {
    let services = rule.services.as_ref();
    (
        [&rule.from, &rule.to],
        [set(&rule.source), set(&rule.destination)],
        services.map(|list| list.services.as_slice()),
        rule.action.value,
    )
}

fn set(list: &Option<AddressMatch>) -> Option<&AddressSet> {
    list.as_ref().map(|list| &list.set)
}

/// Rules of either list that are not in the longest common list, up to what the algorithm finds.
fn differing<'s>(old: &[&'s Rule], new: &[&'s Rule], into: &mut Vec<&'s Rule>) {
    let mut numbers: FxHashMap<Deciding<'s>, usize> = FxHashMap::default();
    let mut number = |rule: &&'s Rule| {
        let next = numbers.len();
        *numbers.entry(deciding(rule)).or_insert(next)
    };
    let old_numbers: Vec<usize> = old.iter().map(&mut number).collect();
    let new_numbers: Vec<usize> = new.iter().map(&mut number).collect();
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
