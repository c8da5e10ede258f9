//! Gateways, routers and hosts as namespaces.

use std::net::IpAddr;

use boundwalk::forwarding::layer2::InterfaceOf;
use boundwalk::model::{
    Family, Forwards, Host, HostId, InterfaceAddress, RouterId, Site, SourceCheck, VlanId,
};

use serde_json::{Value, json};

use crate::filters;
use crate::switches::bond_steps;
use crate::topology::{
    Owner, Plug, Space, Topology, default_step, host_space, owners, route_step, router_space,
};

pub fn build(topology: &mut Topology<'_>) {
    let site = topology.site;
    for number in 0..site.routers.len() {
        let space = router(topology, RouterId(number));
        topology.spaces.push(space);
    }
    for number in 0..site.hosts.len() {
        let space = host(topology, HostId(number));
        topology.spaces.push(space);
    }
    let owners = owners(site, &topology.fabric);
    for owner in &owners {
        let lines = neighbour_lines(topology, owner, &owners);
        let space = topology
            .spaces
            .iter_mut()
            .find(|space| space.name == owner.space);
        space.expect("made above").again.extend(lines);
    }
}

/// Settings that make a kernel do what it is told and nothing else.
fn settings(forwards: bool) -> Vec<(String, String)> {
    let forwarding = if forwards { "1" } else { "0" };
    let mut list = vec![("net/ipv4/ip_forward".to_owned(), forwarding.to_owned())];
    let mut push = |name: &str, value: &str| list.push((name.to_owned(), value.to_owned()));
    push("net/ipv4/tcp_syn_retries", "1");
    for group in ["all", "default"] {
        push(&format!("net/ipv6/conf/{group}/forwarding"), forwarding);
        for (name, value) in [
            ("ipv4/conf/{}/rp_filter", "0"),
            ("ipv4/conf/{}/arp_announce", "2"),
            ("ipv4/conf/{}/accept_redirects", "0"),
            ("ipv4/conf/{}/send_redirects", "0"),
            ("ipv6/conf/{}/accept_redirects", "0"),
            ("ipv6/conf/{}/accept_ra", "0"),
            ("ipv6/conf/{}/accept_dad", "0"),
            ("ipv6/conf/{}/dad_transmits", "0"),
            ("ipv6/conf/{}/router_solicitations", "0"),
        ] {
            push(&format!("net/{}", name.replace("{}", group)), value);
        }
    }
    list
}

/// A cable or bond with what stands on it.
struct Base {
    device: String,
    interfaces: Vec<(usize, Option<VlanId>)>,
}

impl Base {
    fn bare(&self) -> bool {
        self.interfaces.iter().all(|(_, tag)| tag.is_some())
    }
}

/// The device of each interface, and the lines that make them.
fn send_point(bases: &[Base], space: &mut Space, number: usize) -> Vec<(usize, String)> {
    let mut names = Vec::new();
    let mac = mac(number);
    for base in bases {
        let device = &base.device;
        space.steps.push(json!(["up", device]));
        space.again.push(json!(["hardware", device, mac]));
        for &(interface, tag) in &base.interfaces {
            let Some(tag) = tag else {
                names.push((interface, device.clone()));
                continue;
            };
            let name = format!("f{interface}");
            space.steps.push(json!(["tagged", device, name, tag.get()]));
            space.again.push(json!(["hardware", name, mac]));
            names.push((interface, name));
        }
        if base.bare() {
            // Untagged frames meet no interface of the site's: nobody answers there.
            space.steps.push(json!(["silent", device]));
            let name = format!("net/ipv6/conf/{device}/disable_ipv6");
            space.late_settings.push((name, "1".to_owned()));
        }
    }
    names.sort();
    names
}

/// The hardware address of a device in the second pass.
fn mac(number: usize) -> String {
    format!("06:00:00:00:00:{number:02x}")
}

fn router(topology: &mut Topology<'_>, id: RouterId) -> Space {
    let router = topology.site.router(id);
    let mut space = Space {
        name: router_space(id),
        settings: settings(true),
        ..Space::default()
    };
    let bases = router_bases(topology, id, &mut space);
    let names = send_point(&bases, &mut space, id.0);
    let devices: Vec<String> = names.into_iter().map(|(_, name)| name).collect();
    for (at, interface) in router.interfaces.iter().enumerate() {
        let wired = topology.interface(InterfaceOf::Router(id, at));
        let plug = Plug {
            space: space.name.clone(),
            device: devices[at].clone(),
        };
        topology.interfaces[wired.0 as usize] = plug;
        let addresses = interface.addresses.iter().map(|address| address.value);
        space
            .steps
            .extend(addresses.map(|address| address_step(address, &devices[at])));
        let value = match interface.source_check {
            SourceCheck::Off => "0",
            SourceCheck::Strict => "1",
            SourceCheck::Loose => "2",
        };
        let name = format!("net/ipv4/conf/{}/rp_filter", devices[at]);
        space.late_settings.push((name, value.to_owned()));
    }
    let routes = router.routes.iter();
    space
        .steps
        .extend(routes.map(|route| route_step(route.destination, &route.via, &devices)));
    (space.filter, space.sets) = filters::router(topology.site, id, &devices, &silent(&bases));
    space
}

/// LAGs and ports of a router with the interfaces on them; the LAGs are made as bonds.
fn router_bases(topology: &mut Topology<'_>, id: RouterId, space: &mut Space) -> Vec<Base> {
    let router = topology.site.router(id);
    let mut bases: Vec<Base> = Vec::new();
    for (at, lag) in router.lags.iter().enumerate() {
        let members: Vec<String> = lag
            .ports
            .iter()
            .map(|port| topology.router_port(id, &port.value))
            .collect();
        let plugged: Vec<String> = members
            .into_iter()
            .filter(|member| topology.is_plugged(&space.name, member))
            .collect();
        let device = format!("b{at}");
        space.steps.extend(bond_steps(&device, lag.lacp, &plugged));
        bases.push(Base {
            device,
            interfaces: Vec::new(),
        });
    }
    for (at, interface) in router.interfaces.iter().enumerate() {
        let port = interface
            .port
            .as_ref()
            .expect("every interface of the lab has a cable");
        let lag = router
            .lags
            .iter()
            .position(|lag| lag.name.value == port.value);
        let device = match lag {
            Some(lag) => format!("b{lag}"),
            None => topology.router_port(id, &port.value),
        };
        let known = bases.iter().position(|base| base.device == device);
        let known = known.unwrap_or_else(|| {
            bases.push(Base {
                device,
                interfaces: Vec::new(),
            });
            bases.len() - 1
        });
        bases[known].interfaces.push((at, interface.vlan));
    }
    bases
}

/// Cables and bonds on which untagged frames meet no interface.
fn silent(bases: &[Base]) -> Vec<String> {
    bases
        .iter()
        .filter(|base| base.bare())
        .map(|base| base.device.clone())
        .collect()
}

fn host(topology: &mut Topology<'_>, id: HostId) -> Space {
    let host = topology.site.host(id);
    let number = topology.site.routers.len() + id.0;
    let mut space = Space {
        name: host_space(id),
        settings: settings(host.forwards.value == Forwards::Routes),
        ..Space::default()
    };
    let mut bases: Vec<Base> = Vec::new();
    for (at, interface) in host.interfaces.iter().enumerate() {
        let device = topology.host_bases.get(&(id, at));
        let device = device
            .expect("every interface of the lab has a cable")
            .clone();
        match bases.iter().position(|base| base.device == device) {
            Some(known) => bases[known].interfaces.push((at, interface.vlan)),
            None => bases.push(Base {
                device,
                interfaces: vec![(at, interface.vlan)],
            }),
        }
    }
    let status = send_point(&bases, &mut space, number);
    let mut devices: Vec<String> = status.into_iter().map(|(_, device)| device).collect();
    if host.forwards.value == Forwards::Bridges {
        devices = bridge(&devices, &mut space, number);
    }
    for (at, interface) in host.interfaces.iter().enumerate() {
        let wired = topology.interface(InterfaceOf::Host(id, at));
        let plug = Plug {
            space: space.name.clone(),
            device: devices[at].clone(),
        };
        topology.interfaces[wired.0 as usize] = plug;
        let addresses = interface.addresses.iter().map(|address| address.value);
        space
            .steps
            .extend(addresses.map(|address| address_step(address, &devices[at])));
    }
    let routes = host.routes.iter();
    space
        .steps
        .extend(routes.map(|route| route_step(route.destination, &route.via, &devices)));
    let defaults = default_gateways(topology.site, host);
    space
        .steps
        .extend(defaults.map(|(interface, address)| default_step(address, &devices[interface])));
    let plain = host.interfaces.len() < 2 && host.forwards.value == Forwards::No;
    (space.filter, space.sets) = filters::host(&silent(&bases), plain);
    space
}

/// Joins interfaces to one bridge, which then stands for each of them.
fn bridge(devices: &[String], space: &mut Space, number: usize) -> Vec<String> {
    let bridge = "bridge0";
    space.again.clear();
    space.steps.push(json!(["bridge", bridge, 0]));
    for device in devices {
        space.steps.push(json!(["master", device, bridge]));
        space.again.push(json!(["deaf", device]));
    }
    let mac = mac(number);
    space.again.push(json!(["hardware", bridge, mac]));
    vec![bridge.to_owned(); devices.len()]
}

fn address_step(address: InterfaceAddress, device: &str) -> Value {
    json!(["address", device, address.address(), address.0.prefix_len()])
}

/// The next hop of each family that the host has no default route in: the host's own, else that of the first segment that it has an address on, else
/// the first router there.
pub fn default_gateways<'s>(
    site: &'s Site,
    host: &'s Host,
) -> impl Iterator<Item = (usize, IpAddr)> + 's {
    let routed = |family: &Family| {
        let mut routes = host.routes.iter().map(|route| route.destination.net());
        routes.any(|net| net.prefix_len() == 0 && Family::of(net.addr()) == *family)
    };
    Family::ALL
        .into_iter()
        .filter(move |family| !routed(family))
        .filter_map(move |family| {
            let in_family = |address: &IpAddr| Family::of(*address) == family;
            let own = host
                .default_gateway
                .iter()
                .map(|address| address.value)
                .find(in_family);
            if let Some(address) = own {
                let holds = |interface: &boundwalk::model::HostInterface| {
                    site.segment(interface.segment)
                        .addresses()
                        .contains(address)
                };
                let interface = host.interfaces.iter().position(holds)?;
                return Some((interface, address));
            }
            let addressed = |interface: &boundwalk::model::HostInterface| {
                let mut addresses = interface.addresses.iter();
                addresses.any(|address| address.value.family() == family)
            };
            let interface = host.interfaces.iter().position(addressed)?;
            let segment = host.interfaces[interface].segment;
            let named = site
                .segment(segment)
                .default_gateway
                .iter()
                .map(|address| address.value)
                .find(in_family);
            let mut addresses = site
                .routers
                .iter()
                .flat_map(|router| &router.interfaces)
                .filter(|other| other.segment == segment)
                .flat_map(|other| &other.addresses);
            let first = addresses.find(|address| address.value.family() == family);
            let address = named.or(first.map(|address| address.value.address()))?;
            Some((interface, address))
        })
}

/// Permanent entries for everybody's addresses that are on-link by an interface's own addresses.
fn neighbour_lines(topology: &Topology<'_>, here: &Owner, owners: &[Owner]) -> Vec<Value> {
    let mut lines = Vec::new();
    for other in owners.iter().filter(|other| other.number != here.number) {
        for &(interface, own) in &here.addresses {
            let device = &topology.plug_of(interface).device;
            for (_, address) in &other.addresses {
                let address = address.address();
                if own.prefix().contains(address) {
                    let mac = mac(other.number);
                    let line = json!(["neighbour", device, address, mac]);
                    if !lines.contains(&line) {
                        lines.push(line);
                    }
                }
            }
        }
    }
    lines
}
