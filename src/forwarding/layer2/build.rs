//! From a site to the graph of its layer 2.

use rustc_hash::{FxHashMap, FxHashSet};
use smallvec::{SmallVec, smallvec};

use boundwalk_diagnostic::Span;
use boundwalk_model::{
    Forwards, FrameTypes, HostId, PortVlans, RouterId, SegmentId, Site, SwitchId, VlanId,
};

use super::attach_points;
use super::fabric::{
    Fabric, FabricPort, Far, InterfaceId, InterfaceOf, Members, Node, NodeId, NodeKind, PortId,
    PortName, Tagging, WiredInterface,
};
use super::lags::{Cable, Plug, cables, spares, standing};
use super::vlan_segments::VlanSegments;

impl Fabric {
    /// The graph of a site. O(ports x VLANs they carry + cables + interfaces).
    #[must_use]
    pub fn new(site: &Site) -> Self {
        let cables = cables(site);
        let mut build = Build::default();
        build.add_interfaces(site);
        build.add_switches(site, &cables);
        build.add_bridges(site);
        for cable in &cables {
            build.plug(site, cable);
        }
        build.fabric.vlan_segments = VlanSegments::new(site, &build.fabric);
        build.join_assumed(site);
        let mut fabric = build.fabric;
        attach_points::settle(site, &mut fabric);
        fabric
    }
}

/// One end of a cable, found.
enum Found {
    FabricPort(PortId),
    Interfaces(Vec<InterfaceId>),
    Dead,
}

#[derive(Default)]
struct Build {
    fabric: Fabric,
    /// Ports of live switch ports, of LAGs that form, and of interfaces of hosts that bridge.
    ports: FxHashMap<Plug, PortId>,
    /// Interfaces and bridging interfaces that a cable is plugged into, even a dead one.
    cabled: FxHashSet<InterfaceId>,
}

impl Build {
    fn add_node(&mut self, kind: NodeKind) -> NodeId {
        self.fabric.nodes.push(Node {
            kind,
            ports: Vec::new(),
            members: Members::default(),
        });
        NodeId(self.fabric.nodes.len() as u32 - 1)
    }

    fn add_port(&mut self, node: NodeId, name: PortName, tagging: Tagging, place: Span) -> PortId {
        let id = PortId(self.fabric.ports.len() as u32);
        self.fabric.ports.push(FabricPort {
            node,
            name,
            tagging,
            isolated: false,
            far: Far::Open,
            link: None,
            place,
            takes_tags: true,
        });
        self.fabric.nodes[node.0 as usize].ports.push(id);
        id
    }

    fn port_mut(&mut self, id: PortId) -> &mut FabricPort {
        &mut self.fabric.ports[id.0 as usize]
    }

    fn add_interfaces(&mut self, site: &Site) {
        let mut interfaces = Vec::new();
        let mut first = [Vec::new(), Vec::new()];
        let wired = |of, segment, tag, place| WiredInterface {
            of,
            segment,
            tag,
            ports: SmallVec::new(),
            place,
            assumed: false,
        };
        for (number, router) in site.routers.iter().enumerate() {
            first[0].push(interfaces.len() as u32);
            for (at, interface) in router.interfaces.iter().enumerate() {
                let of = InterfaceOf::Router(RouterId(number), at);
                interfaces.push(wired(
                    of,
                    interface.segment,
                    interface.vlan,
                    interface.name.span,
                ));
            }
        }
        for (number, host) in site.hosts.iter().enumerate() {
            first[1].push(interfaces.len() as u32);
            let bridges = host.forwards.value == Forwards::Bridges;
            for (at, interface) in host.interfaces.iter().enumerate() {
                let of = InterfaceOf::Host(HostId(number), at);
                // A host that bridges has its addresses on the bridge.
                let tag = interface.vlan.filter(|_| !bridges);
                interfaces.push(wired(of, interface.segment, tag, interface.name.span));
            }
        }
        self.fabric.interfaces = interfaces;
        self.fabric.first_interface = first;
    }

    /// A port for each live port that is no part of a LAG that forms, and for each such LAG.
    fn add_switches(&mut self, site: &Site, cables: &[Cable]) {
        let formed: FxHashSet<Plug> = cables.iter().flat_map(|cable| cable.ends).collect();
        let spares = spares(site);
        for (number, switch) in site.switches.iter().enumerate() {
            let id = SwitchId(number);
            let node = self.add_node(if switch.vlan_aware {
                NodeKind::Aware(id)
            } else {
                NodeKind::Unaware(id)
            });
            let tagging = |vlans: &PortVlans| {
                if switch.vlan_aware {
                    Tagging::Vlans(Box::new(vlans.clone()))
                } else {
                    Tagging::Through(None)
                }
            };
            let lag_of: FxHashMap<&str, usize> = switch
                .lags
                .iter()
                .enumerate()
                .flat_map(|(at, lag)| lag.ports.iter().map(move |port| (port.value.as_str(), at)))
                .collect();
            let forms = |lag: usize| formed.contains(&Plug::Lag(id, lag));
            for (at, port) in switch.ports.iter().enumerate() {
                let lag = lag_of.get(port.name.value.as_str()).copied();
                let spare = spares.contains(&Plug::Port(id, at));
                if !port.enabled || (lag.is_some_and(forms) && !spare) {
                    continue;
                }
                let bundle = lag.map(|lag| &switch.lags[lag]);
                let own = port.vlans.clone().unwrap_or_default();
                let vlans = bundle.map_or(&own, |lag| &lag.vlans);
                let place = bundle.map_or(port.name.span, |lag| lag.place);
                let live = self.add_port(node, PortName::Port(id, at), tagging(vlans), place);
                self.port_mut(live).isolated = bundle.map_or(port.isolated, |lag| lag.isolated);
                self.ports.insert(Plug::Port(id, at), live);
            }
            for (at, lag) in switch.lags.iter().enumerate() {
                let live = |name: &str| {
                    let mut ports = switch.ports.iter();
                    ports.any(|port| port.name.value == name && port.enabled)
                };
                if forms(at) && lag.ports.iter().any(|port| live(&port.value)) {
                    let name = PortName::Lag(id, at);
                    let port = self.add_port(node, name, tagging(&lag.vlans), lag.place);
                    self.port_mut(port).isolated = lag.isolated;
                    self.ports.insert(Plug::Lag(id, at), port);
                }
            }
        }
    }

    /// A node for each host that bridges, its interfaces inside.
    fn add_bridges(&mut self, site: &Site) {
        for (number, host) in site.hosts.iter().enumerate() {
            if host.forwards.value != Forwards::Bridges {
                continue;
            }
            let id = HostId(number);
            let node = self.add_node(NodeKind::Bridge(id));
            for (at, interface) in host.interfaces.iter().enumerate() {
                let tagging = Tagging::Through(interface.vlan);
                let name = PortName::Interface(id, at);
                let port = self.add_port(node, name, tagging, interface.name.span);
                self.port_mut(port).far = Far::Dead;
                self.ports.insert(Plug::Host(id, at), port);
            }
            let place = host.name.span;
            let inside = self.add_port(node, PortName::Unnamed, Tagging::Through(None), place);
            let interfaces: Vec<InterfaceId> = (0..host.interfaces.len())
                .map(|at| self.fabric.interface_of(InterfaceOf::Host(id, at)))
                .collect();
            self.attach(inside, &interfaces);
        }
    }

    fn attach(&mut self, port: PortId, interfaces: &[InterfaceId]) {
        for &interface in interfaces {
            self.fabric.interfaces[interface.0 as usize]
                .ports
                .push(port);
        }
        match &mut self.port_mut(port).far {
            Far::Interfaces(known) => known.extend_from_slice(interfaces),
            far => *far = Far::Interfaces(interfaces.into()),
        }
    }

    /// Both directions of a cable between two ports.
    fn join(&mut self, one: PortId, other: PortId) {
        for (near, far) in [(one, other), (other, one)] {
            match &mut self.port_mut(near).far {
                Far::Ports(known) if !known.contains(&far) => known.push(far),
                Far::Ports(_) => {}
                end => *end = Far::Ports(smallvec![far]),
            }
        }
    }

    fn find(&mut self, site: &Site, plug: Plug) -> Found {
        match plug {
            Plug::Port(..) | Plug::Lag(..) => match self.ports.get(&plug) {
                Some(&port) => Found::FabricPort(port),
                None => Found::Dead,
            },
            Plug::Router(router, port) => {
                let interfaces = standing(site, router, port).into_iter();
                let interfaces =
                    interfaces.map(|at| self.fabric.interface_of(InterfaceOf::Router(router, at)));
                Found::Interfaces(interfaces.collect())
            }
            Plug::Host(host, at) => {
                let interface = self.fabric.interface_of(InterfaceOf::Host(host, at));
                match self.ports.get(&plug) {
                    Some(&port) => {
                        self.cabled.insert(interface);
                        Found::FabricPort(port)
                    }
                    None => Found::Interfaces(vec![interface]),
                }
            }
        }
    }

    fn plug(&mut self, site: &Site, cable: &Cable) {
        let [one, other] = cable.ends.map(|end| self.find(site, end));
        let pulled = site.links[cable.link].pulled;
        for found in [&one, &other] {
            match found {
                Found::Interfaces(interfaces) => self.cabled.extend(interfaces.iter().copied()),
                Found::FabricPort(port) => self.port_mut(*port).link = Some(cable.link),
                Found::Dead => {}
            }
        }
        match (one, other) {
            (one, other) if pulled => self.block([one, other]),
            (Found::FabricPort(one), Found::FabricPort(other)) => self.join(one, other),
            (Found::FabricPort(port), Found::Interfaces(interfaces))
            | (Found::Interfaces(interfaces), Found::FabricPort(port)) => {
                self.attach(port, &interfaces);
            }
            (Found::FabricPort(port), Found::Dead) | (Found::Dead, Found::FabricPort(port)) => {
                self.port_mut(port).far = Far::Dead;
            }
            (Found::Interfaces(one), Found::Interfaces(other)) => {
                let node = self.add_node(NodeKind::Neighbours(cable.link));
                let place = site.links[cable.link].place;
                for interfaces in [one, other] {
                    let through = Tagging::Through(None);
                    let port = self.add_port(node, PortName::Unnamed, through, place);
                    self.port_mut(port).link = Some(cable.link);
                    self.attach(port, &interfaces);
                }
            }
            (Found::Interfaces(_) | Found::Dead, Found::Dead)
            | (Found::Dead, Found::Interfaces(_)) => {}
        }
    }

    /// Both ends of a pulled cable: nothing else is plugged in there.
    fn block(&mut self, ends: [Found; 2]) {
        for end in ends {
            if let Found::FabricPort(port) = end {
                self.port_mut(port).far = Far::Dead;
            }
        }
    }

    /// Interfaces without a cable stand on a clean layer 2 of their segment, joined to every switch that
    /// carries its VLAN.
    fn join_assumed(&mut self, site: &Site) {
        let mut homes: FxHashMap<SegmentId, NodeId> = FxHashMap::default();
        for interface in self.fabric.interface_ids() {
            if self.cabled.contains(&interface) {
                continue;
            }
            let WiredInterface {
                of,
                segment,
                tag,
                place,
                ..
            } = self.fabric.interface(interface).clone();
            let bridging = match of {
                InterfaceOf::Host(host, at) => self.ports.get(&Plug::Host(host, at)).copied(),
                InterfaceOf::Router(..) => None,
            };
            let node = match homes.get(&segment) {
                Some(&node) => node,
                None => {
                    let node = self.add_assumed(site, segment);
                    homes.insert(segment, node);
                    node
                }
            };
            // What is assumed speaks to an interface with the tag that it expects; a bridge has it on its port.
            let expected = match of {
                InterfaceOf::Host(host, at) if bridging.is_some() => {
                    site.host(host).interfaces[at].vlan
                }
                _ => tag,
            };
            let tagging = Tagging::Through(expected);
            let port = self.add_port(node, PortName::Unnamed, tagging, place);
            self.port_mut(port).takes_tags = false;
            self.fabric.interfaces[interface.0 as usize].assumed = true;
            match bridging {
                Some(bridging) => self.join(bridging, port),
                None => self.attach(port, &[interface]),
            }
        }
        for segment in site.segment_ids() {
            let carried = site.segment(segment).vlan.is_some() && !site.switches.is_empty();
            if !carried && !homes.contains_key(&segment) && !self.described(segment) {
                self.add_assumed(site, segment);
            }
        }
    }

    /// Whether any interface of a segment has a cable.
    fn described(&self, segment: SegmentId) -> bool {
        let mut interfaces = self.fabric.interfaces.iter();
        interfaces.any(|interface| interface.segment == segment && !interface.assumed)
    }

    fn add_assumed(&mut self, site: &Site, segment: SegmentId) -> NodeId {
        let place = site.segment(segment).place();
        let node = self.add_node(NodeKind::Assumed(segment));
        let attach_point = self.add_port(node, PortName::Unnamed, Tagging::Through(None), place);
        self.port_mut(attach_point).takes_tags = false;
        let vlan = site.segment(segment).vlan.map(|vlan| vlan.value);
        let carriers: Vec<NodeId> = vlan.map_or_else(Vec::new, |vlan| self.carriers(segment, vlan));
        for carrier in carriers {
            let access = Tagging::Vlans(Box::new(access(vlan)));
            let there = self.add_port(carrier, PortName::Unnamed, access, place);
            let here = self.add_port(node, PortName::Unnamed, Tagging::Through(None), place);
            self.join(here, there);
        }
        node
    }

    /// Aware switches with a port in the VLAN of a segment.
    fn carriers(&self, segment: SegmentId, vlan: VlanId) -> Vec<NodeId> {
        let carries = |&port: &PortId| match &self.fabric.port(port).tagging {
            Tagging::Vlans(vlans) => vlans.carries(vlan),
            Tagging::Through(_) => false,
        };
        self.fabric
            .nodes
            .iter()
            .enumerate()
            .filter(|(_, node)| node.ports.iter().any(carries))
            .map(|(at, _)| NodeId(at as u32))
            .filter(|&node| self.fabric.segments_of(node, vlan).contains(&segment))
            .collect()
    }
}

/// A well-set port for devices of one VLAN.
fn access(vlan: Option<VlanId>) -> PortVlans {
    PortVlans {
        pvid: vlan,
        untagged: vlan.into_iter().collect(),
        ingress_filter: true,
        accept: FrameTypes::Untagged,
        ..PortVlans::default()
    }
}
