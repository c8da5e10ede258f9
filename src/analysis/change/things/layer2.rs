//! Switches, their ports and LAGs, and cables.

use boundwalk_diagnostic::Spanned;
use boundwalk_model::{
    Lag, Link, LinkEnd, Port, PortVlans, RouterLag, Site, Speed, Switch, VlanSet,
};

use super::layer3;
use super::setting::{Thing, ThingSetting, text};

pub(super) fn switches(site: &Site) -> Vec<Thing> {
    let one = |switch: &Switch| {
        let Switch {
            name,
            vlan_aware,
            // Each of these is a kind of its own.
            ports: _,
            lags: _,
            named,
            description,
        } = switch;
        // Ports show numbers: which of the segments with one number they mean is told here.
        let shared = named.iter().map(|&id| site.segment(id)).filter(|one| {
            let alike = site.segments.iter().filter(|other| other.vlan == one.vlan);
            1 < alike.count()
        });
        let settings = vec![
            (
                "ports",
                super::setting::set(shared.map(|one| one.name.value.clone())),
            ),
            ("vlan_aware", vlan_aware.to_string()),
            ("description", description.clone()),
        ];
        Thing::named(&name.value, name.span, settings)
    };
    site.switches.iter().map(one).collect()
}

pub(super) fn ports(site: &Site) -> Vec<Thing> {
    let of_switch = |switch: &Switch| {
        switch
            .ports
            .iter()
            .map(|one| port(&switch.name.value, one))
            .collect::<Vec<_>>()
    };
    site.switches.iter().flat_map(of_switch).collect()
}

fn port(switch: &str, port: &Port) -> Thing {
    let Port {
        name,
        vlans: of_port,
        isolated,
        enabled,
        speed: mbits,
        description,
    } = port;
    let mut settings = vlans(of_port.as_ref());
    settings.extend([
        ("isolated", isolated.to_string()),
        ("enabled", enabled.to_string()),
        ("speed", speed(mbits)),
        ("description", description.clone()),
    ]);
    Thing::named(format!("{switch}:{}", name.value), name.span, settings)
}

fn speed(speed: &Option<Speed>) -> String {
    speed.map_or(String::new(), |speed| speed.to_string())
}

/// The VLANs of a port by the keys of their long form; the short form sets several of them.
fn vlans(vlans: Option<&PortVlans>) -> Vec<ThingSetting> {
    let list = |set: &VlanSet| text(&set.iter().map(|vlan| vlan.get()).collect::<Vec<_>>());
    let Some(vlans) = vlans else {
        let keys = ["pvid", "untagged", "tagged", "ingress_filter", "accept"];
        return keys.map(|key| (key, String::new())).to_vec();
    };
    let PortVlans {
        pvid,
        untagged,
        tagged,
        ingress_filter,
        accept,
    } = vlans;
    vec![
        ("pvid", text(pvid)),
        ("untagged", list(untagged)),
        ("tagged", list(tagged)),
        ("ingress_filter", ingress_filter.to_string()),
        ("accept", text(accept)),
    ]
}

/// LAGs of switches, then of gateways and routers.
pub(super) fn lags(site: &Site) -> Vec<Thing> {
    let of_switch = |switch: &Switch| {
        switch
            .lags
            .iter()
            .map(|one| lag(&switch.name.value, one))
            .collect::<Vec<_>>()
    };
    let of_switches = site.switches.iter().flat_map(of_switch);
    let of_routers = site.routers.iter().flat_map(|router| {
        router
            .lags
            .iter()
            .map(|one| router_lag(&router.name.value, one))
            .collect::<Vec<_>>()
    });
    of_switches.chain(of_routers).collect()
}

fn members(ports: &[Spanned<String>]) -> String {
    super::setting::set(ports.iter().map(|port| port.value.clone()))
}

fn lag(switch: &str, lag: &Lag) -> Thing {
    let Lag {
        name,
        ports,
        lacp,
        speed: mbits,
        vlans: of_lag,
        place: _,
        isolated,
    } = lag;
    let mut settings = vlans(Some(of_lag));
    settings.extend([
        ("ports", members(ports)),
        ("lacp", text(lacp)),
        ("isolated", isolated.to_string()),
        ("speed", speed(mbits)),
    ]);
    Thing::named(format!("{switch}:{}", name.value), name.span, settings)
}

fn router_lag(router: &str, lag: &RouterLag) -> Thing {
    let RouterLag {
        name,
        ports,
        lacp,
        speed: mbits,
    } = lag;
    let settings = vec![
        ("ports", members(ports)),
        ("lacp", text(lacp)),
        ("speed", speed(mbits)),
    ];
    Thing::named(format!("{router}:{}", name.value), name.span, settings)
}

pub(super) fn cables(site: &Site) -> Vec<Thing> {
    let one = |link: &Link| {
        let Link {
            ends,
            label,
            place,
            // No file says so.
            pulled: _,
        } = link;
        let mut ends = ends.each_ref().map(|one| end(site, &one.value));
        ends.sort();
        let [(name, key), (other_name, other_key)] = ends;
        Thing {
            name: format!("{name} - {other_name}"),
            key: format!("{key} - {other_key}"),
            place: *place,
            settings: vec![("label", text(label))],
        }
    };
    site.links.iter().map(one).collect()
}

/// An end of a cable: its name, and what it is found again by. Interfaces of hosts that the file does not name are
/// numbered in its order, which means nothing.
pub(super) fn end(site: &Site, end: &LinkEnd) -> (String, String) {
    match end {
        LinkEnd::Switch(id, port) => {
            let name = format!("{}:{port}", site.switches[id.0].name.value);
            (name.clone(), name)
        }
        LinkEnd::Router(id, port) => {
            let name = format!("{}:{port}", site.router(*id).name.value);
            (name.clone(), name)
        }
        LinkEnd::Host(id, port) => {
            let host = site.host(*id);
            let mut interfaces = host.interfaces.iter().enumerate();
            let found = interfaces.find(|(_, interface)| interface.name.value == *port);
            let name = format!("{}:{port}", host.name.value);
            let key = found.map_or_else(
                || name.clone(),
                |(at, interface)| layer3::host_interface_key(site, host, at, interface),
            );
            (name, key)
        }
    }
}
