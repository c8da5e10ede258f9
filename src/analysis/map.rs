//! A site as a graph to be drawn: what is plugged into what, and which segments gateways join.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_model::{Forwards, HostId, RouterId, SegmentId, Site, SwitchId, ZoneId};

use super::cabling::{CableEnd, Cabling, Equipment};
use super::topology_tree::{ThingId, TopologyTree, TreeEdge};

/// Something on a map.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum MapNode {
    /// A gateway or router.
    Router(RouterId),
    /// A switch.
    Switch(SwitchId),
    /// A segment.
    Segment(SegmentId),
    /// A host.
    Host(HostId),
}

impl MapNode {
    /// Its name.
    pub fn name(self, site: &Site) -> &str {
        match self {
            Self::Router(id) => &site.router(id).name.value,
            Self::Switch(id) => &site.switches[id.0].name.value,
            Self::Segment(id) => &site.segment(id).name.value,
            Self::Host(id) => &site.host(id).name.value,
        }
    }

    /// The zone of a segment; devices have none.
    pub fn zone(self, site: &Site) -> Option<ZoneId> {
        match self {
            Self::Segment(id) => Some(site.segment(id).zone),
            Self::Router(_) | Self::Switch(_) | Self::Host(_) => None,
        }
    }
}

impl From<ThingId> for MapNode {
    fn from(thing: ThingId) -> Self {
        match thing {
            ThingId::Router(id) => Self::Router(id),
            ThingId::Switch(id) => Self::Switch(id),
            ThingId::Segment(id) => Self::Segment(id),
        }
    }
}

impl From<Equipment> for MapNode {
    fn from(device: Equipment) -> Self {
        match device {
            Equipment::Router(id) => Self::Router(id),
            Equipment::Switch(id) => Self::Switch(id),
            Equipment::Host(id) => Self::Host(id),
        }
    }
}

/// Two things that are joined.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct MapLink<'s> {
    /// What it joins, by number in [`Map::nodes`].
    pub ends: [usize; 2],
    /// The port, LAG or interface at each end; `None` at a segment.
    pub ports: [Option<&'s str>; 2],
    /// Member ports at each end, where that is a LAG.
    pub members: [Vec<&'s str>; 2],
    /// What is written on the cable.
    pub label: Option<&'s str>,
}

/// A graph of a site. Nodes and links stand in the order of the file, and are the same in every run.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
#[non_exhaustive]
pub struct Map<'s> {
    /// Each thing once.
    pub nodes: Vec<MapNode>,
    /// Each cable (of a LAG: all its cables together) and each interface once.
    pub links: Vec<MapLink<'s>>,
}

impl<'s> Map<'s> {
    /// Devices and cables: gateways, routers, switches, hosts; segments only where they lead out or where no switch
    /// carries them. Hosts that no cable leads to are left out, unless their segment is on the map. O(cables + interfaces).
    pub fn physical(site: &'s Site, cabling: &Cabling<'s>) -> Self {
        let topology_tree = TopologyTree::new(site, cabling);
        let mut map = Self::default();
        let mut known = FxHashMap::default();
        let outside = site
            .segment_ids()
            .filter(|&id| site.segment(id).external)
            .map(MapNode::Segment);
        let things = topology_tree
            .tree_nodes
            .iter()
            .map(|tree_node| MapNode::from(tree_node.thing));
        for node in outside.chain(things) {
            map.number(&mut known, node);
        }
        map.outward(site, &mut known);
        let own = topology_tree
            .tree_nodes
            .iter()
            .filter_map(|tree_node| tree_node.tree_edge.as_ref());
        for tree_edge in own.chain(&topology_tree.extra) {
            map.join(cabling, &mut known, tree_edge);
        }
        map.hosts(site, cabling, &mut known);
        map
    }

    /// Segments, and the gateways, routers and forwarding hosts that stand between them. O(interfaces).
    #[must_use]
    pub fn logical(site: &'s Site) -> Self {
        let mut map = Self::default();
        let mut known = FxHashMap::default();
        for id in site.segment_ids() {
            map.number(&mut known, MapNode::Segment(id));
        }
        for (number, router) in site.routers.iter().enumerate() {
            let node = map.number(&mut known, MapNode::Router(RouterId(number)));
            for interface in &router.interfaces {
                map.interface(&known, node, &interface.name.value, interface.segment);
            }
        }
        for (number, host) in site.hosts.iter().enumerate() {
            if host.forwards.value == Forwards::No && host.interfaces.len() < 2 {
                continue;
            }
            let node = map.number(&mut known, MapNode::Host(HostId(number)));
            for interface in &host.interfaces {
                map.interface(&known, node, &interface.name.value, interface.segment);
            }
        }
        map
    }

    /// How many links end at each node.
    pub fn degrees(&self) -> Vec<usize> {
        let mut degrees = vec![0; self.nodes.len()];
        for end in self.links.iter().flat_map(|link| link.ends) {
            degrees[end] += 1;
        }
        degrees
    }

    fn number(&mut self, known: &mut FxHashMap<MapNode, usize>, node: MapNode) -> usize {
        *known.entry(node).or_insert_with(|| {
            self.nodes.push(node);
            self.nodes.len() - 1
        })
    }

    fn interface(
        &mut self,
        known: &FxHashMap<MapNode, usize>,
        node: usize,
        name: &'s str,
        segment: SegmentId,
    ) {
        if let Some(&far) = known.get(&MapNode::Segment(segment)) {
            self.links.push(MapLink {
                ends: [node, far],
                ports: [Some(name), None],
                members: [Vec::new(), Vec::new()],
                label: None,
            });
        }
    }

    /// Interfaces that lead out.
    fn outward(&mut self, site: &'s Site, known: &mut FxHashMap<MapNode, usize>) {
        for (number, router) in site.routers.iter().enumerate() {
            for interface in &router.interfaces {
                if site.segment(interface.segment).external {
                    let node = self.number(known, MapNode::Router(RouterId(number)));
                    self.interface(known, node, &interface.name.value, interface.segment);
                }
            }
        }
    }

    fn join(
        &mut self,
        cabling: &Cabling<'s>,
        known: &mut FxHashMap<MapNode, usize>,
        tree_edge: &TreeEdge<'s>,
    ) {
        match tree_edge {
            TreeEdge::Cable(ends, label) => self.cable(cabling, known, *ends, *label),
            TreeEdge::Interface(router, name, segment) => {
                let node = self.number(known, MapNode::Router(*router));
                self.number(known, MapNode::Segment(*segment));
                self.interface(known, node, name, *segment);
            }
        }
    }

    fn cable(
        &mut self,
        cabling: &Cabling<'s>,
        known: &mut FxHashMap<MapNode, usize>,
        ends: [CableEnd<'s>; 2],
        label: Option<&'s str>,
    ) {
        let members = |end: CableEnd<'s>| -> Vec<&'s str> {
            let lag = cabling.lag(end);
            lag.map_or(&[][..], |lag| lag.ports)
                .iter()
                .map(|port| port.value.as_str())
                .collect()
        };
        let link = MapLink {
            ends: ends.map(|end| self.number(known, end.device.into())),
            ports: ends.map(|end| Some(end.port)),
            members: ends.map(members),
            label,
        };
        self.links.push(link);
    }

    /// Hosts with their cables, and those that only a segment on the map tells of.
    fn hosts(
        &mut self,
        site: &'s Site,
        cabling: &Cabling<'s>,
        known: &mut FxHashMap<MapNode, usize>,
    ) {
        let mut seen = FxHashSet::default();
        for cable in &cabling.cables {
            let of_host = |end: &CableEnd<'_>| matches!(end.device, Equipment::Host(_));
            let ends = cable.ends.map(|end| cabling.whole(end));
            let mut key = ends;
            key.sort_unstable();
            if ends.iter().any(of_host) && seen.insert(key) {
                self.cable(cabling, known, ends, cable.label);
            }
        }
        for (number, host) in site.hosts.iter().enumerate() {
            let id = HostId(number);
            for interface in &host.interfaces {
                let end = CableEnd {
                    device: Equipment::Host(id),
                    port: &interface.name.value,
                };
                let segment = MapNode::Segment(interface.segment);
                if cabling.plugged(end).next().is_none() && known.contains_key(&segment) {
                    let node = self.number(known, MapNode::Host(id));
                    self.interface(known, node, &interface.name.value, interface.segment);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use boundwalk_forwarding::layer2::Fabric;

    use super::*;

    const SITE: &str = "[zones.inside]\ntrust = 50\n\
        [segments.office]\nzone = \"inside\"\nvlan = 10\nprefixes = [\"10.44.10.0/24\"]\n\
        [segments.lab]\nzone = \"inside\"\nvlan = 20\nprefixes = [\"10.44.20.0/24\"]\n\
        [segments.world]\nzone = \"inside\"\nexternal = true\nprefixes = [\"203.0.113.0/29\"]\n\
        [gateways.edge]\ndefault = \"deny\"\n[gateways.edge.lags.trunk]\nports = [\"1\", \"2\"]\nlacp = \"active\"\n\
        [gateways.edge.interfaces.wan]\nsegment = \"world\"\naddresses = [\"203.0.113.2/29\"]\n\
        [gateways.edge.interfaces.office]\nsegment = \"office\"\nport = \"trunk\"\nvlan = 10\n\
        addresses = [\"10.44.10.1/24\"]\n\
        [switches.core.lags.up]\nports = [\"1\", \"2\"]\nlacp = \"active\"\n\
        [switches.core.ports]\nup = { tagged = 10 }\n\"3\" = { access = 10 }\n\"4\" = { access = 20 }\n\
        [[links]]\nends = [\"edge:1\", \"core:1\"]\n[[links]]\nends = [\"edge:2\", \"core:2\"]\n\
        [hosts.desk]\n[[hosts.desk.interfaces]]\nsegment = \"office\"\nport = \"core:3\"\n\
        [hosts.bridge]\n[[hosts.bridge.interfaces]]\nsegment = \"office\"\n\
        [[hosts.bridge.interfaces]]\nname = \"second\"\nsegment = \"lab\"\nport = \"core:4\"\n";

    fn drawn(map: &Map<'_>, site: &Site) -> Vec<String> {
        let end = |link: &MapLink<'_>, side: usize| {
            let name = map.nodes[link.ends[side]].name(site);
            let members = link.members[side].join("+");
            format!("{name}:{}[{members}]", link.ports[side].unwrap_or("-"))
        };
        map.links
            .iter()
            .map(|link| format!("{} {}", end(link, 0), end(link, 1)))
            .collect()
    }

    fn site() -> Site {
        let loaded = boundwalk_load::load_text("site.toml", SITE);
        let problems: Vec<_> = loaded.problems.iter().map(|found| &found.message).collect();
        loaded.site.unwrap_or_else(|| panic!("{problems:?}"))
    }

    #[test]
    fn cables_of_a_lag_are_one_link() {
        let site = site();
        let fabric = Fabric::new(&site);
        let map = Map::physical(&site, &Cabling::new(&site, &fabric));
        let expected = [
            "edge:wan[] world:-[]",
            "edge:trunk[1+2] core:up[1+2]",
            "desk:1[] core:3[]",
            "bridge:second[] core:4[]",
        ];
        assert_eq!(drawn(&map, &site), expected);
    }

    #[test]
    fn a_segment_without_a_gateway_has_only_its_hosts() {
        let site = site();
        let map = Map::logical(&site);
        let degree = |name: &str| {
            let at = map.nodes.iter().position(|node| node.name(&site) == name);
            at.map(|at| map.degrees()[at])
        };
        assert_eq!(degree("edge"), Some(2));
        assert_eq!(degree("lab"), Some(1), "its bridge");
        assert_eq!(degree("bridge"), Some(2));
        assert_eq!(degree("desk"), None, "one foot: no way between segments");
    }
}
