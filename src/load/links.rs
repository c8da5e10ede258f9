//! Cables.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{HostId, Link, LinkEnd, Site, VlanId};

use super::context::{Context, Device, HostPort};
use super::keys;
use super::kinds;
use super::name_index::NameIndex;
use super::names::some_of;
use super::quote::shown;
use super::reader::{Table, Value};

/// Names of ports and LAGs of each device, and which LAG a port is in.
#[derive(Default)]
struct PortTable {
    known: FxHashMap<Device, FxHashSet<String>>,
    /// In the order of the file, for suggestions.
    listed: FxHashMap<Device, Vec<String>>,
    lag_of: FxHashMap<(Device, String), String>,
    /// Where a cable is plugged in already.
    used: FxHashMap<(Device, String), Span>,
    /// LAGs of which a member port has a cable of its own.
    used_members: FxHashMap<(Device, String), Span>,
}

/// Reads all links, then the short forms at hosts.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    let mut port_table = collect(&cx.site);
    for &value in &outline.links {
        if let Some(link) = read_link(cx, &mut port_table, value) {
            cx.site.links.push(link);
        }
    }
    let mut trunks = FxHashMap::default();
    for short in std::mem::take(&mut cx.host_ports) {
        if let Some(link) = read_short(cx, &mut port_table, &mut trunks, &short) {
            cx.site.links.push(link);
        }
    }
}

/// Ports that a host's interfaces name, with the tags taken so far: interfaces with tags of their own share
/// one cable.
type Trunks = FxHashMap<(Device, String), (HostId, FxHashSet<Option<VlanId>>)>;

/// The `port` of a host's interface.
fn read_short(
    cx: &mut Context<'_>,
    port_table: &mut PortTable,
    trunks: &mut Trunks,
    short: &HostPort,
) -> Option<Link> {
    let span = short.port.span;
    let near_key = (Device::Host(short.host), short.interface.value.clone());
    let far = read_end(cx, port_table, Spanned::new(&short.port.value, span));
    let near_free = plug(cx, port_table, near_key, span);
    let (key, far) = far?;
    let shared = trunks
        .get_mut(&key)
        .is_some_and(|(host, tags)| *host == short.host && tags.insert(short.vlan));
    if !shared && !plug(cx, port_table, key.clone(), span) {
        return None;
    }
    if !shared {
        trunks.insert(key, (short.host, [short.vlan].into_iter().collect()));
    }
    let near = LinkEnd::Host(short.host, short.interface.value.clone());
    near_free.then(|| Link {
        ends: [
            Spanned::new(near, short.interface.span),
            Spanned::new(far, span),
        ],
        label: None,
        place: span,
        pulled: false,
    })
}

fn collect(site: &Site) -> PortTable {
    let mut port_table = PortTable::default();
    for (number, switch) in site.switches.iter().enumerate() {
        let device = Device::Switch(boundwalk_model::SwitchId(number));
        let ports = switch.ports.iter().map(|port| port.name.value.as_str());
        add(&mut port_table, device, ports);
        for lag in &switch.lags {
            add_lag(&mut port_table, device, &lag.name.value, &lag.ports);
        }
    }
    for (number, router) in site.routers.iter().enumerate() {
        let device = Device::Router(boundwalk_model::RouterId(number));
        let ports = router
            .interfaces
            .iter()
            .filter_map(|interface| interface.port.as_ref());
        add(
            &mut port_table,
            device,
            ports.map(|port| port.value.as_str()),
        );
        for lag in &router.lags {
            add_lag(&mut port_table, device, &lag.name.value, &lag.ports);
        }
    }
    for (number, host) in site.hosts.iter().enumerate() {
        let device = Device::Host(HostId(number));
        add(
            &mut port_table,
            device,
            host.interfaces
                .iter()
                .map(|interface| interface.name.value.as_str()),
        );
    }
    port_table
}

fn add<'n>(port_table: &mut PortTable, device: Device, names: impl Iterator<Item = &'n str>) {
    let known = port_table.known.entry(device).or_default();
    let listed = port_table.listed.entry(device).or_default();
    for name in names {
        if known.insert(name.to_owned()) {
            listed.push(name.to_owned());
        }
    }
}

fn add_lag(port_table: &mut PortTable, device: Device, name: &str, ports: &[Spanned<String>]) {
    add(port_table, device, std::iter::once(name));
    add(
        port_table,
        device,
        ports.iter().map(|port| port.value.as_str()),
    );
    for port in ports {
        port_table
            .lag_of
            .insert((device, port.value.clone()), name.to_owned());
    }
}

fn read_link(cx: &mut Context<'_>, port_table: &mut PortTable, value: Value<'_>) -> Option<Link> {
    let table = Table::open(&mut cx.report, value, &keys::LINK)?;
    let label = table.note(&mut cx.report, "label");
    let ends = table.strings(&mut cx.report, "ends")?;
    if ends.len() != 2 {
        let message = format!("a link with {} ends", ends.len());
        let problem = Problem::at(&kinds::BAD_NUMBER, table.key_span("ends"), message);
        cx.report(
            problem.help(
                "a cable has two: ends = [\"core:1\", \"edge:1\"]; what joins more is a switch",
            ),
        );
        return None;
    }
    let mut found = Vec::with_capacity(2);
    for end in ends {
        if let Some((key, place)) = read_end(cx, port_table, end)
            && plug(cx, port_table, key, end.span)
        {
            found.push(Spanned::new(place, end.span));
        }
    }
    let ends: [Spanned<LinkEnd>; 2] = found.try_into().ok()?;
    Some(Link {
        ends,
        label,
        place: table.place(),
        pulled: false,
    })
}

/// `DEVICE:PORT`.
fn read_end(
    cx: &mut Context<'_>,
    port_table: &PortTable,
    text: Spanned<&str>,
) -> Option<((Device, String), LinkEnd)> {
    let Some((device_name, port)) = text.value.split_once(':') else {
        let message = format!("`{}` names no port", shown(text.value));
        let problem = Problem::at(&kinds::UNKNOWN_NAME, text.span, message);
        cx.report(problem.help("write device and port with a colon between, as in `core:7`"));
        return None;
    };
    let device_name = Spanned::new(device_name, text.span);
    cx.devices.require(&mut cx.report, device_name)?;
    let device = cx.device(device_name.value)?;
    if port_table
        .known
        .get(&device)
        .is_none_or(|known| !known.contains(port))
    {
        unknown_port(cx, port_table, device, Spanned::new(port, text.span));
        return None;
    }
    let port = port.to_owned();
    let end = match device {
        Device::Switch(id) => LinkEnd::Switch(id, port.clone()),
        Device::Router(id) => LinkEnd::Router(id, port.clone()),
        Device::Host(id) => LinkEnd::Host(id, port.clone()),
    };
    Some(((device, port), end))
}

fn unknown_port(cx: &mut Context<'_>, port_table: &PortTable, device: Device, port: Spanned<&str>) {
    let listed: &[String] = port_table.listed.get(&device).map_or(&[], Vec::as_slice);
    let names: Vec<&str> = listed.iter().map(String::as_str).collect();
    let what = match device {
        Device::Switch(_) => "port or LAG",
        Device::Router(_) => "port of an interface, or LAG,",
        Device::Host(_) => "interface",
    };
    let help = cx
        .report
        .did_you_mean(port.value, names.iter().copied(), || {
            some_of(what, names.iter().copied())
        });
    let message = format!(
        "`{}` has no {what} called `{}`",
        cx.device_name(device),
        shown(port.value)
    );
    cx.report(
        Problem::at(&kinds::UNKNOWN_NAME, port.span, message)
            .label("unknown name")
            .help(help),
    );
}

/// Takes a port for a cable; false, once reported, where one is plugged in already. The cables of a LAG are
/// either described one by one or as the bundle.
fn plug(
    cx: &mut Context<'_>,
    port_table: &mut PortTable,
    key: (Device, String),
    span: Span,
) -> bool {
    let bundle = port_table.lag_of.get(&key).map(|lag| (key.0, lag.clone()));
    let first = port_table
        .used
        .get(&key)
        .or_else(|| port_table.used_members.get(&key));
    let first = first.or_else(|| {
        bundle
            .as_ref()
            .and_then(|bundle| port_table.used.get(bundle))
    });
    let Some(&first) = first else {
        if let Some(bundle) = bundle {
            port_table.used_members.entry(bundle).or_insert(span);
        }
        port_table.used.insert(key, span);
        return true;
    };
    let message = format!(
        "`{}:{}` has a cable already",
        cx.device_name(key.0),
        shown(&key.1)
    );
    let problem = Problem::at(&kinds::LINK_END_TWICE, span, message).note(first, "this one");
    cx.report(
        problem
            .help("a port takes one cable, and the cables of a LAG are one link or one link each; interfaces of one host share a port where each has a tag of its own"),
    );
    false
}
