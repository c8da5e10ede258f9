//! Which rules differ between two versions that are else alike: only packets that they name can be decided
//! otherwise.

use rustc_hash::FxHashMap;
use similar::{Algorithm, DiffOp, capture_diff_slices};

use boundwalk_forwarding::{DeviceIndex, Network, Plan, SendPoint};
use boundwalk_model::{
    Action, AddressMatch, AddressSet, Filter, Host, Interface, Lag, Link, Port, Role, Route,
    Router, RouterLag, Rule, RuleParty, Segment, Service, Site, Switch,
};

/// What differs.
pub(super) enum Delta<'s> {
    /// Nothing but these rules: removed, added, changed or moved, of either version.
    Rules(Vec<&'s Rule>),
    /// Nothing but switches and cables.
    Wiring,
    /// More than rules.
    Anything,
}

impl<'s> Delta<'s> {
    /// Compares two versions. Cost: the rules, times those that differ.
    pub(super) fn new(old: &Network<'s>, new: &Network<'s>) -> Self {
        if !alike(old.site, new.site) {
            return Self::Anything;
        }
        let wired = alike_wiring(old.site, new.site);
        let mut rules = Vec::new();
        for (old_router, new_router) in old.site.routers.iter().zip(&new.site.routers) {
            if let (Some(one), Some(other)) = (old_router.filter(), new_router.filter()) {
                let active = |filter: &'s Filter| -> Vec<&'s Rule> {
                    filter
                        .rules
                        .iter()
                        .filter(|rule| rule.active(old.today))
                        .collect()
                };
                differing(&active(one), &active(other), &mut rules);
            }
        }
        match (wired, rules.is_empty()) {
            (true, _) => Self::Rules(rules),
            (false, true) => Self::Wiring,
            (false, false) => Self::Anything,
        }
    }
}

/// What decides of a rule.
type Deciding<'s> = (
    [&'s Option<Vec<RuleParty>>; 2],
    [Option<&'s AddressSet>; 2],
    Option<&'s [Service]>,
    Action,
);

/// Whether every device finds the same on its wires in two versions that differ in switches and cables only, and has the
/// same to send to.
pub(super) fn inside_alike(old: &Plan, new: &Plan) -> bool {
    let mut segments = old.segments.iter().zip(&new.segments);
    let mut devices = old.devices.iter().enumerate();
    segments.all(|(one, other)| one.addresses == other.addresses && one.cover == other.cover)
        && devices.all(|(at, device)| {
            (0..device.interfaces.len()).all(|interface| {
                let send_point = SendPoint::WiredInterface(DeviceIndex(at), interface);
                old.wire(send_point) == new.wire(send_point)
            })
        })
}

fn deciding(rule: &Rule) -> Deciding<'_> {
    let Rule {
        name: _,
        from,
        to,
        source,
        destination,
        services,
        action,
        log: _,
        inspect: _,
        // Only rules that are active on the day are compared.
        enabled: _,
        expires: _,
        reviewed: _,
        reason: _,
        owner: _,
        ticket: _,
        hits: _,
        place: _,
    } = rule;
    let services = services.as_ref();
    (
        [from, to],
        [set(source), set(destination)],
        services.map(|list| list.services.as_slice()),
        action.value,
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

/// Whether two versions differ in rules, switches and cables at most, and in what decides nothing. Every field of the
/// model is named here, so that a new one stops the build until somebody says whether it decides.
fn alike(old: &Site, new: &Site) -> bool {
    let Site {
        name: _,
        description: _,
        review_months: _,
        // Rules and segments refer to them by number.
        zones,
        segments,
        // Rules hold what groups come to.
        addresses: _,
        services: _,
        service_names: _,
        routers,
        hosts,
        // Compared apart.
        switches: _,
        links: _,
        needs: _,
        expectations: _,
        accepted: _,
        remarks: _,
    } = old;
    zones.len() == new.zones.len()
        && all(segments, &new.segments, alike_segments)
        && all(routers, &new.routers, alike_routers)
        && all(hosts, &new.hosts, alike_hosts)
}

/// Whether switches and cables are alike in all that decides.
fn alike_wiring(old: &Site, new: &Site) -> bool {
    all(&old.switches, &new.switches, alike_switches) && all(&old.links, &new.links, alike_links)
}

fn all<T>(old: &[T], new: &[T], same: impl Fn(&T, &T) -> bool) -> bool {
    old.len() == new.len() && old.iter().zip(new).all(|(one, other)| same(one, other))
}

fn alike_segments(one: &Segment, other: &Segment) -> bool {
    let Segment {
        name,
        zone,
        vlan,
        prefixes,
        isolated: _,
        external,
        routes,
        default_gateway,
        description: _,
    } = one;
    *name == other.name
        && *zone == other.zone
        && *vlan == other.vlan
        && *prefixes == other.prefixes
        && *external == other.external
        && *routes == other.routes
        && *default_gateway == other.default_gateway
}

fn alike_routers(one: &Router, other: &Router) -> bool {
    let Router {
        name,
        role,
        interfaces,
        routes,
        lags,
        description: _,
    } = one;
    *name == other.name
        && alike_roles(role, &other.role)
        && all(interfaces, &other.interfaces, alike_interfaces)
        && all(lags, &other.lags, alike_router_lags)
        && all(routes, &other.routes, alike_routes)
}

fn alike_roles(one: &Role, other: &Role) -> bool {
    let (one, other) = match (one, other) {
        (Role::Router, Role::Router) => return true,
        (Role::Gateway(one), Role::Gateway(other)) => (one, other),
        (Role::Router, Role::Gateway(_)) | (Role::Gateway(_), Role::Router) => return false,
    };
    let Filter {
        default,
        stateful,
        rules: _,
        destination_translations,
        source_translations,
    } = one.as_ref();
    *default == other.default
        && *stateful == other.stateful
        && *destination_translations == other.destination_translations
        && *source_translations == other.source_translations
}

fn alike_interfaces(one: &Interface, other: &Interface) -> bool {
    let Interface {
        name,
        segment,
        addresses,
        shared,
        port,
        vlan,
        source_check,
    } = one;
    *name == other.name
        && *segment == other.segment
        && *addresses == other.addresses
        && *shared == other.shared
        && *port == other.port
        && *vlan == other.vlan
        && *source_check == other.source_check
}

fn alike_router_lags(one: &RouterLag, other: &RouterLag) -> bool {
    let RouterLag {
        name,
        ports,
        lacp,
        speed: _,
    } = one;
    *name == other.name && *ports == other.ports && *lacp == other.lacp
}

fn alike_routes(one: &Route, other: &Route) -> bool {
    let Route {
        destination,
        via,
        preference,
        place: _,
    } = one;
    *destination == other.destination && *via == other.via && *preference == other.preference
}

fn alike_hosts(one: &Host, other: &Host) -> bool {
    let Host {
        name,
        interfaces,
        default_gateway,
        routes,
        forwards,
        description: _,
    } = one;
    *name == other.name
        && *interfaces == other.interfaces
        && *default_gateway == other.default_gateway
        && *forwards == other.forwards
        && all(routes, &other.routes, alike_routes)
}

fn alike_switches(one: &Switch, other: &Switch) -> bool {
    let Switch {
        name,
        vlan_aware,
        ports,
        lags,
        named,
        description: _,
    } = one;
    *name == other.name
        && *named == other.named
        && *vlan_aware == other.vlan_aware
        && all(ports, &other.ports, alike_ports)
        && all(lags, &other.lags, alike_lags)
}

fn alike_ports(one: &Port, other: &Port) -> bool {
    let Port {
        name,
        vlans,
        isolated,
        enabled,
        speed: _,
        description: _,
    } = one;
    *name == other.name
        && *vlans == other.vlans
        && *isolated == other.isolated
        && *enabled == other.enabled
}

fn alike_lags(one: &Lag, other: &Lag) -> bool {
    let Lag {
        name,
        ports,
        lacp,
        speed: _,
        vlans,
        place: _,
        isolated,
    } = one;
    *name == other.name
        && *ports == other.ports
        && *lacp == other.lacp
        && *vlans == other.vlans
        && *isolated == other.isolated
}

fn alike_links(one: &Link, other: &Link) -> bool {
    let Link {
        ends,
        label: _,
        place: _,
        pulled,
    } = one;
    *ends == other.ends && *pulled == other.pulled
}
