//! Hosts: first their interfaces, which address lists may name, later their routes.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{Forwards, Host, HostId, HostInterface, SegmentId};

use super::context::{Context, Device, HostPort, NO_SEGMENT, owned};
use super::interface_check::read_addresses;
use super::keys;
use super::kinds;
use super::literal;
use super::name_index::NameIndex;
use super::names::twice;
use super::quote::shown;
use super::reader::{Entry, Table, Value, Words, wrong_type};
use super::routes::{self, OwnInterface};
use super::segments::{addresses, vlan_of};
use super::text::check_port_name;

const FORWARDS: &Words<Forwards> = &[
    ("no", Forwards::No),
    ("routes", Forwards::Routes),
    ("bridges", Forwards::Bridges),
];

/// Reads all hosts but for their routes.
pub(super) fn read_interfaces(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for (number, entry) in outline.hosts.iter().enumerate() {
        let host = read_host(cx, HostId(number), entry);
        cx.site.hosts.push(host);
    }
}

/// Reads the routes of all hosts.
pub(super) fn read_routes(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for (number, entry) in outline.hosts.iter().enumerate() {
        let Some(table) = Table::reopen(entry.value, &keys::HOST) else {
            continue;
        };
        let interfaces = &cx.site.hosts[number].interfaces;
        let own_interfaces: Vec<OwnInterface> = interfaces
            .iter()
            .map(|interface| OwnInterface {
                name: interface.name.value.clone(),
                segment: interface.segment,
                addresses: interface.addresses.clone(),
            })
            .collect();
        let routes = routes::read(
            cx,
            &table,
            &keys::HOST_ROUTE,
            (entry.name.value, &own_interfaces),
        );
        cx.site.hosts[number].routes = routes;
    }
}

fn read_host(cx: &mut Context<'_>, id: HostId, entry: &Entry<'_>) -> Host {
    let mut host = Host {
        name: owned(entry.name),
        interfaces: Vec::new(),
        default_gateway: Vec::new(),
        routes: Vec::new(),
        forwards: Spanned::new(Forwards::No, entry.name.span),
        description: String::new(),
    };
    let Some(table) = Table::open(&mut cx.report, entry.value, &keys::HOST) else {
        return host;
    };
    if let Some(forwards) = read_forwards(cx, &table) {
        host.forwards = forwards;
    }
    host.description = table.prose(&mut cx.report, "description");
    host.default_gateway = addresses(&mut cx.report, &table, "default_gateway");
    let items = table.items(&mut cx.report, "interfaces");
    if items.is_empty()
        && table
            .get("interfaces")
            .is_some_and(|value| value.list().is_some())
    {
        let message = format!("the host `{}` has no interface", shown(entry.name.value));
        let problem = Problem::at(&kinds::EMPTY_LIST, table.key_span("interfaces"), message);
        cx.report(problem.help("add `[[hosts.NAME.interfaces]]` with its segment"));
    }
    let mut names: FxHashMap<String, Span> = FxHashMap::default();
    for (position, value) in items.into_iter().enumerate() {
        if let Some(interface) = read_interface(cx, id, value, position) {
            if let Some(&first) = names.get(&interface.name.value) {
                let name = Spanned::new(interface.name.value.as_str(), interface.name.span);
                cx.report(twice("interface", name, first));
            }
            names.insert(interface.name.value.clone(), interface.name.span);
            host.interfaces.push(interface);
        }
    }
    host
}

/// `false` says the same as `"no"`; `true` does not say what it means.
fn read_forwards(cx: &mut Context<'_>, table: &Table<'_>) -> Option<Spanned<Forwards>> {
    let value = table.get("forwards")?;
    match value.inner {
        toml::de::DeValue::Boolean(false) => Some(Spanned::new(Forwards::No, value.span)),
        toml::de::DeValue::String(_) => table.word(&mut cx.report, "forwards", FORWARDS),
        _ => {
            let problem = wrong_type(value, "forwards", "`no`, `routes` or `bridges`");
            cx.report(problem.help("write \"routes\" for packets or \"bridges\" for frames"));
            None
        }
    }
}

fn read_interface(
    cx: &mut Context<'_>,
    host: HostId,
    value: Value<'_>,
    position: usize,
) -> Option<HostInterface> {
    let table = Table::open(&mut cx.report, value, &keys::HOST_INTERFACE)?;
    let name = match table.text(&mut cx.report, "name") {
        Some(name) => {
            check_port_name(&mut cx.report, name);
            owned(name)
        }
        None => Spanned::new((position + 1).to_string(), table.span),
    };
    let segment = read_segment(cx, &table);
    let vlan = vlan_of(&mut cx.report, &table);
    let (addresses, shared) = read_addresses(cx, &table, Device::Host(host), segment);
    if let Some(port) = table.text(&mut cx.report, "port") {
        cx.host_ports.push(HostPort {
            host,
            interface: name.clone(),
            vlan: vlan.map(|vlan| vlan.value),
            port: owned(port),
        });
    }
    super::gateways::check_tag(cx, (Device::Host(host), &name.value), segment, vlan);
    Some(HostInterface {
        name,
        segment,
        addresses,
        shared,
        vlan: vlan.map(|vlan| vlan.value),
    })
}

/// The segment as it is named, or the one that holds the first address.
fn read_segment(cx: &mut Context<'_>, table: &Table<'_>) -> SegmentId {
    if table.get("segment").is_some() {
        let name = table.text(&mut cx.report, "segment");
        let found = name.and_then(|name| cx.segments.require(&mut cx.report, name));
        return found.map_or(NO_SEGMENT, SegmentId);
    }
    let value = table.get("addresses");
    let texts = value.and_then(|value| match value.text() {
        Some(text) => Some(vec![text]),
        None => Some(value.list()?.iter().filter_map(Value::text).collect()),
    });
    let mut wrong = false;
    for text in texts.unwrap_or_default() {
        match literal::interface(text.value) {
            Ok((address, _)) => {
                if let Some(placed) = cx.prefixes.locate(address) {
                    return placed.segment;
                }
            }
            // Reported where the addresses are read; the segment can't be told for it.
            Err(_) => wrong = true,
        }
    }
    if !wrong {
        let message = "nothing says which segment this interface is on";
        let problem = Problem::at(&kinds::MISSING_KEY, table.span, message);
        cx.report(problem.help("add `segment = …`, or an address that lies in a segment's prefix"));
    }
    NO_SEGMENT
}
