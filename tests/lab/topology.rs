//! A site as namespaces, cables and settings of a kernel.
//!
//! One namespace for each gateway, router, host and free port, one for all switches: bridges do not know each other.
//! A switch is a bridge, a LAG a bond, a tagged interface an 802.1Q sub-interface, a cable a veth pair.

use std::collections::BTreeMap;
use std::net::IpAddr;

use boundwalk::forwarding::layer2::{Fabric, Far, InterfaceId, InterfaceOf, PortId, PortName};
use boundwalk::model::{HostId, InterfaceAddress, Lacp, LinkEnd, Prefix, RouterId, Site, Via};
use serde::Serialize;
use serde_json::{Value, json};

use crate::{devices, switches};

/// A namespace and the lines that set it up.
#[derive(Serialize, Default)]
pub struct Space {
    pub name: String,
    /// Kernel settings before there is any device.
    pub settings: Vec<(String, String)>,
    /// Steps of `netlink.py` that make its interfaces, addresses and routes.
    pub steps: Vec<Value>,
    /// Kernel settings of single devices.
    pub late_settings: Vec<(String, String)>,
    /// Rules of the packet filter, and the sets that it records in.
    pub filter: String,
    pub sets: Vec<String>,
    /// Steps before the second pass: one hardware address for each device, permanent neighbours, no
    /// learning.
    pub again: Vec<Value>,
}

/// Name of the namespace of all switches.
pub const SWITCHES: &str = "switches";

/// One end of a cable that exists in the kernel.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Plug {
    pub space: String,
    pub device: String,
}

/// A site laid out for the kernel.
pub struct Topology<'s> {
    pub site: &'s Site,
    pub fabric: Fabric,
    pub spaces: Vec<Space>,
    /// Namespace, interface and hardware address of both ends of every cable.
    pub cables: Vec<Value>,
    /// Every plugged end.
    pub plugs: Vec<Plug>,
    /// Names of the ports of each router, in the order in which they get numbers.
    pub ports: Vec<Vec<String>>,
    /// The cable that each interface of each host stands on.
    pub host_bases: BTreeMap<(HostId, usize), String>,
    /// Where each interface of a gateway, router or host is.
    pub interfaces: Vec<Plug>,
    /// Devices of nobody's at the free ports of switches, each with its port.
    pub spares: Vec<(PortId, Plug)>,
}

pub fn router_space(router: RouterId) -> String {
    format!("r{}", router.0)
}

pub fn host_space(host: HostId) -> String {
    format!("h{}", host.0)
}

impl<'s> Topology<'s> {
    pub fn new(site: &'s Site) -> Self {
        let fabric = Fabric::new(site);
        let interfaces = fabric.interface_ids().map(|_| Plug {
            space: String::new(),
            device: String::new(),
        });
        let mut topology = Self {
            site,
            interfaces: interfaces.collect(),
            spaces: Vec::new(),
            cables: Vec::new(),
            plugs: Vec::new(),
            ports: site.routers.iter().map(|_| Vec::new()).collect(),
            host_bases: BTreeMap::new(),
            spares: Vec::new(),
            fabric,
        };
        topology.lay_cables();
        topology.lay_spares();
        switches::build(&mut topology);
        devices::build(&mut topology);
        topology
    }

    pub fn interface(&self, of: InterfaceOf) -> InterfaceId {
        self.fabric.interface_of(of)
    }

    pub fn plug_of(&self, interface: InterfaceId) -> &Plug {
        &self.interfaces[interface.0 as usize]
    }

    pub fn is_plugged(&self, space: &str, device: &str) -> bool {
        self.plugs
            .iter()
            .any(|plug| plug.space == space && plug.device == device)
    }

    /// Whether anything negotiates, which takes some seconds.
    pub fn negotiates(&self) -> bool {
        self.site
            .switches
            .iter()
            .flat_map(|switch| &switch.lags)
            .into_iter()
            .any(|lag| lag.lacp != Lacp::Static)
    }

    /// A namespace for each free port that is enabled: whoever plugs in there.
    fn lay_spares(&mut self) {
        let ports: Vec<PortId> = self.fabric.port_ids().collect();
        for id in ports {
            let port = self.fabric.port(id);
            let (PortName::Port(switch, port), Far::Open) = (port.name, &port.far) else {
                continue;
            };
            let name = format!("x{}", self.spares.len());
            let spare = plug(&name, "c0".to_owned());
            let port = plug(SWITCHES, format!("s{}p{port}", switch.0));
            self.spaces.push(Space {
                settings: ["all", "default"]
                    .map(|group| {
                        (
                            format!("net/ipv6/conf/{group}/disable_ipv6"),
                            "1".to_owned(),
                        )
                    })
                    .to_vec(),
                steps: vec![json!(["up", spare.device])],
                name,
                ..Space::default()
            });
            self.lay(&port, &spare);
            self.spares.push((id, spare));
        }
    }

    fn lay(&mut self, near: &Plug, far: &Plug) {
        let number = self.plugs.len();
        let mac = |end: u8| format!("02:00:00:00:{number:02x}:{end:02x}");
        let line = json!([
            near.space,
            near.device,
            mac(1),
            far.space,
            far.device,
            mac(2)
        ]);
        self.cables.push(line);
        self.plugs.extend([near.clone(), far.clone()]);
    }

    fn lay_cables(&mut self) {
        for link in &self.site.links {
            let [one, other] = [0, 1].map(|end| &link.ends[end].value);
            if self.shares(one, other) || self.shares(other, one) {
                continue;
            }
            let [near, far] = [one, other].map(|end| self.ends(end));
            for (near, far) in near.into_iter().zip(far) {
                self.lay(&near, &far);
            }
        }
    }

    /// Whether a host's interface stands on a cable that is laid already, next to another interface.
    fn shares(&mut self, near: &LinkEnd, far: &LinkEnd) -> bool {
        let LinkEnd::Host(host, name) = near else {
            return false;
        };
        let interface = interface_of(self.site, *host, name);
        let first = self.site.links.iter().find_map(|link| {
            let ends = [&link.ends[0].value, &link.ends[1].value];
            let at = ends.iter().position(|end| *end == far)?;
            match ends[1 - at] {
                LinkEnd::Host(other, first) if other == host => {
                    Some(interface_of(self.site, *host, first))
                }
                _ => None,
            }
        });
        let first = first.unwrap_or(interface);
        self.host_bases
            .insert((*host, interface), format!("c{first}"));
        first != interface
    }

    /// The devices at one end of a link: several where it is a LAG.
    fn ends(&mut self, end: &LinkEnd) -> Vec<Plug> {
        match end {
            LinkEnd::Switch(switch, name) => {
                let here = &self.site.switches[switch.0];
                let lag = here.lags.iter().find(|lag| lag.name.value == *name);
                let names: Vec<&str> = match lag {
                    Some(lag) => lag.ports.iter().map(|port| port.value.as_str()).collect(),
                    None => vec![name],
                };
                let number =
                    |name: &str| here.ports.iter().position(|port| port.name.value == name);
                names
                    .into_iter()
                    .filter_map(number)
                    .map(|port| plug(SWITCHES, format!("s{}p{port}", switch.0)))
                    .collect()
            }
            LinkEnd::Router(router, name) => {
                let lags = &self.site.router(*router).lags;
                let lag = lags.iter().find(|lag| lag.name.value == *name);
                let names: Vec<String> = match lag {
                    Some(lag) => lag.ports.iter().map(|port| port.value.clone()).collect(),
                    None => vec![name.clone()],
                };
                let space = router_space(*router);
                names
                    .iter()
                    .map(|name| plug(&space, self.router_port(*router, name)))
                    .collect()
            }
            LinkEnd::Host(host, name) => {
                let interface = interface_of(self.site, *host, name);
                vec![plug(&host_space(*host), format!("c{interface}"))]
            }
        }
    }

    /// The kernel's name of a router's port.
    pub fn router_port(&mut self, router: RouterId, name: &str) -> String {
        let ports = &mut self.ports[router.0];
        let at = ports
            .iter()
            .position(|port| port == name)
            .unwrap_or_else(|| {
                ports.push(name.to_owned());
                ports.len() - 1
            });
        format!("p{at}")
    }
}

fn plug(space: &str, device: String) -> Plug {
    Plug {
        space: space.to_owned(),
        device,
    }
}

fn interface_of(site: &Site, host: HostId, name: &str) -> usize {
    let mut interfaces = site.host(host).interfaces.iter();
    let at = interfaces.position(|interface| interface.name.value == name);
    at.expect("a valid site")
}

/// A device that holds addresses: what the addresses of gateways, routers and hosts have in common.
pub struct Owner {
    pub space: String,
    /// Number of the device, for its hardware address.
    pub number: usize,
    pub addresses: Vec<(InterfaceId, InterfaceAddress)>,
}

/// All devices with their addresses, routers first.
pub fn owners(site: &Site, fabric: &Fabric) -> Vec<Owner> {
    let mut owners = Vec::new();
    for (number, router) in site.routers.iter().enumerate() {
        let addresses = router
            .interfaces
            .iter()
            .enumerate()
            .flat_map(|(at, interface)| {
                let wired = fabric.interface_of(InterfaceOf::Router(RouterId(number), at));
                interface
                    .addresses
                    .iter()
                    .map(move |address| (wired, address.value))
            });
        owners.push(Owner {
            space: router_space(RouterId(number)),
            number: owners.len(),
            addresses: addresses.collect(),
        });
    }
    for (number, host) in site.hosts.iter().enumerate() {
        let addresses = host
            .interfaces
            .iter()
            .enumerate()
            .flat_map(|(at, interface)| {
                let wired = fabric.interface_of(InterfaceOf::Host(HostId(number), at));
                interface
                    .addresses
                    .iter()
                    .map(move |address| (wired, address.value))
            });
        owners.push(Owner {
            space: host_space(HostId(number)),
            number: owners.len(),
            addresses: addresses.collect(),
        });
    }
    owners
}

/// The step for one route; `devices` are the names of the interfaces.
pub fn route_step(destination: Prefix, via: &Via, devices: &[String]) -> Value {
    let (network, length) = (destination.net().addr(), destination.net().prefix_len());
    match via {
        Via::NextHop { address, interface } => {
            json!(["route", network, length, address, devices[*interface]])
        }
        Via::Discard => json!(["route", network, length, null, null]),
    }
}

/// The step for a default route.
pub fn default_step(via: IpAddr, device: &str) -> Value {
    let everything = if via.is_ipv4() { "0.0.0.0" } else { "::" };
    json!(["route", everything, 0, via, device])
}
