//! Gateways and routers: everything but rules and translations, which need address groups first.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{
    Action, Filter, Interface, Role, Router, RouterId, RouterLag, SegmentId, SourceCheck, VlanId,
};

use super::context::{Context, Device, NO_SEGMENT, owned};
use super::interface_check::read_addresses;
use super::keys::{self, Keys};
use super::kinds;
use super::name_index::NameIndex;
use super::ports::read_lags;
use super::reader::{Entry, Table, Words};
use super::routes::{self, OwnInterface};
use super::segments::vlan_of;
use super::text::{check_name, check_port_name};

/// What a rule or a default does.
pub(super) const ACTIONS: &Words<Action> = &[
    ("permit", Action::Permit),
    ("deny", Action::Deny),
    ("reject", Action::Reject),
];

const SOURCE_CHECKS: &Words<SourceCheck> = &[
    ("off", SourceCheck::Off),
    ("loose", SourceCheck::Loose),
    ("strict", SourceCheck::Strict),
];

/// The tables that make up one role.
struct Shape {
    table: &'static Keys,
    interface: &'static Keys,
    lag: &'static Keys,
    route: &'static Keys,
}

/// Reads all gateways, then all routers.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    let gateway = Shape {
        table: &keys::GATEWAY,
        interface: &keys::GATEWAY_INTERFACE,
        lag: &keys::GATEWAY_LAG,
        route: &keys::GATEWAY_ROUTE,
    };
    let router = Shape {
        table: &keys::ROUTER,
        interface: &keys::ROUTER_INTERFACE,
        lag: &keys::ROUTER_LAG,
        route: &keys::ROUTER_ROUTE,
    };
    let gateways = outline.gateways.iter().map(|entry| (entry, &gateway));
    let routers = outline.routers.iter().map(|entry| (entry, &router));
    for (number, (entry, shape)) in gateways.chain(routers).enumerate() {
        let router = read_router(cx, RouterId(number), entry, shape);
        cx.site.routers.push(router);
    }
}

/// Warns of an interface whose tag is not its segment's VLAN.
pub(super) fn check_tag(
    cx: &mut Context<'_>,
    (device, interface): (Device, &str),
    segment: SegmentId,
    tag: Option<Spanned<VlanId>>,
) {
    let Some(tag) = tag else { return };
    let Some(found) = cx.site.segments.get(segment.0) else {
        return;
    };
    let (name, vlan) = (found.name.value.clone(), found.vlan);
    let Some(vlan) = vlan.filter(|vlan| vlan.value != tag.value) else {
        return;
    };
    let message = format!(
        "the tag {} of an interface on the segment `{name}`, which is VLAN {}",
        tag.value, vlan.value
    );
    let problem = Problem::at(&kinds::TAG_DIFFERS, tag.span, message)
        .about(cx.interface_name(device, interface))
        .note(vlan.span, "the VLAN of the segment");
    cx.report(problem.help(format!("did you mean vlan = {}?", vlan.value)));
}

fn read_router(cx: &mut Context<'_>, id: RouterId, entry: &Entry<'_>, shape: &Shape) -> Router {
    let mut router = Router {
        name: owned(entry.name),
        role: Role::Router,
        interfaces: Vec::new(),
        routes: Vec::new(),
        lags: Vec::new(),
        description: String::new(),
    };
    let filters = *shape.table == keys::GATEWAY;
    if filters {
        router.role = Role::Gateway(Box::new(empty_filter()));
    }
    let Some(table) = Table::open(&mut cx.report, entry.value, shape.table) else {
        return router;
    };
    if filters {
        router.role = Role::Gateway(Box::new(read_filter(cx, &table)));
    }
    router.description = table.prose(&mut cx.report, "description");
    router.lags = read_lags(&mut cx.report, &table, shape.lag)
        .into_iter()
        .map(|lag| RouterLag {
            name: lag.name,
            ports: lag.ports,
            lacp: lag.lacp,
            speed: lag.speed,
        })
        .collect();
    for entry in table.entries(&mut cx.report, "interfaces") {
        if let Some(interface) = read_interface(cx, id, &entry, shape.interface) {
            router.interfaces.push(interface);
        }
    }
    check_interfaces(cx, &router);
    let own_interfaces: Vec<OwnInterface> = router.interfaces.iter().map(own_interface).collect();
    router.routes = routes::read(cx, &table, shape.route, (entry.name.value, &own_interfaces));
    router
}

fn own_interface(interface: &Interface) -> OwnInterface {
    OwnInterface {
        name: interface.name.value.clone(),
        segment: interface.segment,
        addresses: interface.addresses.clone(),
    }
}

fn empty_filter() -> Filter {
    Filter {
        default: Spanned::new(Action::Deny, Span::default()),
        stateful: true,
        rules: Vec::new(),
        destination_translations: Vec::new(),
        source_translations: Vec::new(),
    }
}

fn read_filter(cx: &mut Context<'_>, table: &Table<'_>) -> Filter {
    let mut filter = empty_filter();
    if let Some(default) = table.word(&mut cx.report, "default", ACTIONS) {
        filter.default = default;
    }
    if let Some(stateful) = table.flag(&mut cx.report, "stateful") {
        filter.stateful = stateful.value;
    }
    filter
}

fn read_interface(
    cx: &mut Context<'_>,
    router: RouterId,
    entry: &Entry<'_>,
    keys: &'static Keys,
) -> Option<Interface> {
    check_name(&mut cx.report, "an interface", entry.name);
    let table = Table::open(&mut cx.report, entry.value, keys)?;
    let segment = table.text(&mut cx.report, "segment");
    let segment = segment.and_then(|name| cx.segments.require(&mut cx.report, name));
    let segment = segment.map_or(NO_SEGMENT, SegmentId);
    let vlan = vlan_of(&mut cx.report, &table);
    let (addresses, shared) = read_addresses(cx, &table, Device::Router(router), segment);
    let check = table.word(&mut cx.report, "source_check", SOURCE_CHECKS);
    if let Some(check) = check.filter(|check| check.value != SourceCheck::Off)
        && table
            .get("addresses")
            .is_none_or(|value| value.list().is_some_and(|list| list.is_empty()))
    {
        let message = "a source check on an interface without addresses";
        let name = cx.interface_name(Device::Router(router), entry.name.value);
        let problem = Problem::at(&kinds::SOURCE_CHECK_IDLE, check.span, message).about(name);
        cx.report(problem.help("without an on-link prefix a strict check refuses what the segment sends; add the addresses, or turn it off"));
    }
    let port = table.text(&mut cx.report, "port");
    if let Some(port) = port {
        check_port_name(&mut cx.report, port);
    }
    let device = Device::Router(router);
    check_tag(cx, (device, entry.name.value), segment, vlan);
    Some(Interface {
        name: owned(entry.name),
        segment,
        addresses,
        shared,
        port: port.map(owned),
        vlan: vlan.map(|vlan| vlan.value),
        source_check: check.map_or(SourceCheck::Off, |check| check.value),
    })
}

fn check_interfaces(cx: &mut Context<'_>, router: &Router) {
    let mut segments: FxHashMap<SegmentId, Span> = FxHashMap::default();
    for interface in &router.interfaces {
        let here = interface.name.span;
        let first = segments.get(&interface.segment);
        if let Some(&first) = first.filter(|_| interface.segment != NO_SEGMENT) {
            let name = cx.segment_name(interface.segment);
            let message = format!("a second interface on the segment `{name}`");
            let subject = format!("{}:{}", router.name.value, interface.name.value);
            let problem = Problem::at(&kinds::SEGMENT_TWICE, here, message).about(subject);
            cx.report(problem.note(first, "the first one").help(
                "one interface may have several addresses; is one of the two on another segment?",
            ));
        }
        segments.entry(interface.segment).or_insert(here);
    }
    check_ports(cx, router);
}

fn check_ports(cx: &mut Context<'_>, router: &Router) {
    let mut tags: FxHashMap<(&str, VlanId), Span> = FxHashMap::default();
    let mut members: FxHashMap<&str, &RouterLag> = FxHashMap::default();
    for lag in &router.lags {
        members.extend(lag.ports.iter().map(|port| (port.value.as_str(), lag)));
    }
    for interface in &router.interfaces {
        let Some(port) = &interface.port else {
            continue;
        };
        if let Some(lag) = members.get(port.value.as_str()) {
            let name = &lag.name.value;
            let message = format!("the port `{}` is a member of the LAG `{name}`", port.value);
            let problem = Problem::at(&kinds::LAG_MEMBER_VLANS, port.span, message);
            let help = format!("put the interface on the LAG: port = \"{name}\"");
            cx.report(problem.note(lag.name.span, "the LAG").help(help));
        }
        let here = interface.name.span;
        // An untagged interface of a device may have addresses of two segments: two interfaces here.
        let Some(vlan) = interface.vlan else {
            continue;
        };
        let key = (port.value.as_str(), vlan);
        if let Some(&first) = tags.get(&key) {
            let message = format!(
                "two interfaces take the tag {vlan} of the port `{}`",
                port.value
            );
            let problem =
                Problem::at(&kinds::TAG_TWICE, here, message).note(first, "the first one");
            cx.report(problem.help("give each interface of a port a tag of its own, `vlan = …`"));
        }
        tags.entry(key).or_insert(here);
    }
}
