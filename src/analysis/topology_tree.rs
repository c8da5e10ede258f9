//! How a site hangs together: a tree of gateways, switches and segments, to be drawn.
//!
//! Gateways with a way to the outside are the roots; everything hangs where the fewest cables lead to it. What
//! the tree has no room for (loops, second ways) is listed beside it.

use std::collections::{BTreeMap, VecDeque};

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_forwarding::layer2::{Fabric, Far, Frame, InterfaceOf, PortId, PortName};
use boundwalk_model::{HostId, RouterId, SegmentId, Site, SwitchId, VlanId};

use super::cabling::{CableEnd, Cabling, Equipment};
use super::setting::PortKey;
use super::vlan_names::{segment_name_at, segments_at};
use super::worksheet::Mode;

/// Something that is drawn.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum ThingId {
    /// A gateway or router.
    Router(RouterId),
    /// A switch.
    Switch(SwitchId),
    /// A segment that no cable leads to.
    Segment(SegmentId),
}

/// What joins two things.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum TreeEdge<'s> {
    /// A cable, or the cables of a LAG: near end, far end, what is written on the first.
    Cable([CableEnd<'s>; 2], Option<&'s str>),
    /// An interface of a gateway or router on a segment, no cable described.
    Interface(RouterId, &'s str, SegmentId),
}

/// A thing in the tree.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct TreeNode<'s> {
    /// What it is.
    pub thing: ThingId,
    /// How it hangs on what is above it; `None` for a root.
    pub tree_edge: Option<TreeEdge<'s>>,
    /// Nodes below, by number in [`TopologyTree::tree_nodes`].
    pub below: Vec<usize>,
}

/// A host where it is plugged in.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Seated<'s> {
    /// Which host.
    pub host: HostId,
    /// The port on the switch, gateway or router.
    pub port: &'s str,
}

/// One VLAN of a switch; without a number: hosts whose frames take none there.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct VlanRow<'s> {
    /// Its number.
    pub vlan: Option<VlanId>,
    /// The segment that it is at this switch.
    pub segment: Option<String>,
    /// Access ports in it, disabled ones aside.
    pub access: usize,
    /// How many of them nothing is plugged into.
    pub open: usize,
    /// Hosts in it.
    pub hosts: Vec<Seated<'s>>,
}

/// A site as a tree.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
#[non_exhaustive]
pub struct TopologyTree<'s> {
    /// All things, each once.
    pub tree_nodes: Vec<TreeNode<'s>>,
    /// Numbers of those that hang on nothing.
    pub roots: Vec<usize>,
    /// What joins things besides the tree: loops and second ways.
    pub extra: Vec<TreeEdge<'s>>,
    /// By switch: its VLANs in order.
    pub rows: Vec<Vec<VlanRow<'s>>>,
    /// By gateway or router: hosts with a cable to it.
    pub at_router: Vec<Vec<Seated<'s>>>,
    /// By segment: hosts on it that no cable to a switch, gateway or router is described for.
    pub loose: Vec<Vec<HostId>>,
}

impl<'s> TopologyTree<'s> {
    /// The tree of a site. O(ports x VLANs + cables + interfaces).
    #[must_use]
    pub fn new(site: &'s Site, cabling: &Cabling<'s>) -> Self {
        let mut topology_tree = Self {
            at_router: vec![Vec::new(); site.routers.len()],
            loose: vec![Vec::new(); site.segments.len()],
            ..Self::default()
        };
        topology_tree.grow(site, &Joints::new(site, cabling));
        for number in 0..site.switches.len() {
            let rows = rows(site, cabling.fabric, SwitchId(number));
            topology_tree.rows.push(rows);
        }
        topology_tree.attach_point(site, cabling);
        topology_tree
    }

    /// Whether a thing is in the tree.
    pub fn shows(&self, thing: ThingId) -> bool {
        self.tree_nodes
            .iter()
            .any(|tree_node| tree_node.thing == thing)
    }

    fn grow(&mut self, site: &'s Site, tree_edges: &Joints<'s>) {
        let mut found: FxHashMap<ThingId, usize> = FxHashMap::default();
        let mut used: FxHashSet<usize> = FxHashSet::default();
        let outside = |&id: &RouterId| {
            let interfaces = &site.router(id).interfaces;
            interfaces
                .iter()
                .any(|on| site.segment(on.segment).external)
        };
        let first: Vec<ThingId> = (0..site.routers.len())
            .map(RouterId)
            .filter(outside)
            .map(ThingId::Router)
            .collect();
        self.spread(&first, tree_edges, &mut found, &mut used);
        for thing in tree_edges.things(site) {
            self.spread(&[thing], tree_edges, &mut found, &mut used);
        }
        let rest = tree_edges
            .list
            .iter()
            .enumerate()
            .filter(|(number, _)| !used.contains(number));
        self.extra = rest.map(|(_, (_, tree_edge))| tree_edge.clone()).collect();
    }

    /// Adds roots, as far as they are new, and all that hangs on them, nearest first.
    fn spread(
        &mut self,
        roots: &[ThingId],
        tree_edges: &Joints<'s>,
        found: &mut FxHashMap<ThingId, usize>,
        used: &mut FxHashSet<usize>,
    ) {
        let mut waiting = VecDeque::new();
        for &thing in roots {
            if !found.contains_key(&thing) {
                let tree_node = self.add(thing, None, found);
                self.roots.push(tree_node);
                waiting.push_back(tree_node);
            }
        }
        while let Some(near) = waiting.pop_front() {
            let here = self.tree_nodes[near].thing;
            for &(number, there) in tree_edges.at.get(&here).map_or(&[][..], Vec::as_slice) {
                if found.contains_key(&there) {
                    continue;
                }
                used.insert(number);
                let tree_edge = seen_from(here, &tree_edges.list[number]);
                let tree_node = self.add(there, Some(tree_edge), found);
                self.tree_nodes[near].below.push(tree_node);
                waiting.push_back(tree_node);
            }
        }
    }

    fn add(
        &mut self,
        thing: ThingId,
        tree_edge: Option<TreeEdge<'s>>,
        found: &mut FxHashMap<ThingId, usize>,
    ) -> usize {
        let number = self.tree_nodes.len();
        found.insert(thing, number);
        self.tree_nodes.push(TreeNode {
            thing,
            tree_edge,
            below: Vec::new(),
        });
        number
    }

    /// Hosts at gateways, and hosts without a cable.
    fn attach_point(&mut self, site: &'s Site, cabling: &Cabling<'s>) {
        for (number, host) in site.hosts.iter().enumerate() {
            let id = HostId(number);
            for interface in &host.interfaces {
                let end = CableEnd {
                    device: Equipment::Host(id),
                    port: &interface.name.value,
                };
                let far: Vec<CableEnd<'s>> = cabling.plugged(end).map(|(_, far)| far).collect();
                let host_only = |far: &CableEnd<'_>| matches!(far.device, Equipment::Host(_));
                let loose = &mut self.loose[interface.segment.0];
                if far.iter().all(host_only) && loose.last() != Some(&id) {
                    loose.push(id);
                }
                for end in far {
                    if let Equipment::Router(router) = end.device {
                        let seated = Seated {
                            host: id,
                            port: end.port,
                        };
                        self.at_router[router.0].push(seated);
                    }
                }
            }
        }
    }
}

/// A joint with the near end first.
fn seen_from<'s>(
    near: ThingId,
    (things, tree_edge): &([ThingId; 2], TreeEdge<'s>),
) -> TreeEdge<'s> {
    match tree_edge {
        TreeEdge::Cable([one, other], label) if things[0] != near => {
            TreeEdge::Cable([*other, *one], *label)
        }
        tree_edge => tree_edge.clone(),
    }
}

/// All that joins things, and what hangs where.
#[derive(Default)]
struct Joints<'s> {
    list: Vec<([ThingId; 2], TreeEdge<'s>)>,
    /// Number of the joint and the other thing, by thing.
    at: FxHashMap<ThingId, Vec<(usize, ThingId)>>,
    /// Segments that are drawn as things.
    segments: Vec<SegmentId>,
}

impl<'s> Joints<'s> {
    fn new(site: &'s Site, cabling: &Cabling<'s>) -> Self {
        let mut tree_edges = Self::default();
        let fabric = cabling.fabric;
        let mut seen = FxHashSet::default();
        for cable in &cabling.cables {
            let ends = cable.ends.map(|end| cabling.whole(end));
            let mut key = ends;
            key.sort_unstable();
            // Cables of hosts are drawn with the hosts, but for those between two of them.
            if let [Some(one), Some(other)] = ends.map(thing)
                && seen.insert(key)
            {
                tree_edges.join([one, other], TreeEdge::Cable(ends, cable.label));
            }
        }
        for (number, router) in site.routers.iter().enumerate() {
            let id = RouterId(number);
            for (at, interface) in router.interfaces.iter().enumerate() {
                let wired = fabric.interface(fabric.interface_of(InterfaceOf::Router(id, at)));
                let segment = wired.segment;
                if site.segment(segment).external || !wired.assumed {
                    continue;
                }
                let tree_edge = TreeEdge::Interface(id, &interface.name.value, segment);
                tree_edges.join([ThingId::Router(id), ThingId::Segment(segment)], tree_edge);
            }
        }
        tree_edges.segments = standing_alone(site, fabric);
        tree_edges
    }

    fn join(&mut self, things: [ThingId; 2], tree_edge: TreeEdge<'s>) {
        let number = self.list.len();
        for (near, far) in [(things[0], things[1]), (things[1], things[0])] {
            self.at.entry(near).or_default().push((number, far));
        }
        self.list.push((things, tree_edge));
    }

    /// Everything to be drawn, most important first.
    fn things(&self, site: &Site) -> Vec<ThingId> {
        let external = |&&id: &&SegmentId| site.segment(id).external;
        let outside = self
            .segments
            .iter()
            .filter(external)
            .copied()
            .map(ThingId::Segment);
        let routers = (0..site.routers.len()).map(|number| ThingId::Router(RouterId(number)));
        let switches = (0..site.switches.len()).map(|number| ThingId::Switch(SwitchId(number)));
        let segments = self.segments.iter().copied().map(ThingId::Segment);
        let inside = routers.chain(switches).chain(segments);
        outside.chain(inside).collect()
    }
}

fn thing(end: CableEnd<'_>) -> Option<ThingId> {
    match end.device {
        Equipment::Router(id) => Some(ThingId::Router(id)),
        Equipment::Switch(id) => Some(ThingId::Switch(id)),
        Equipment::Host(_) => None,
    }
}

/// Segments that neither a switch carries nor a router leads out to: nothing else would show them.
fn standing_alone(site: &Site, fabric: &Fabric) -> Vec<SegmentId> {
    let mut carried: FxHashSet<SegmentId> = FxHashSet::default();
    for (_, port, vlans) in fabric.vlan_ports() {
        for vlan in vlans.members().iter() {
            carried.extend(segments_at(fabric, port.node, vlan));
        }
    }
    let mut routed = FxHashSet::default();
    for router in &site.routers {
        routed.extend(router.interfaces.iter().map(|interface| interface.segment));
    }
    let alone = |&id: &SegmentId| {
        let led_to = site.segment(id).external && routed.contains(&id);
        !(carried.contains(&id) || led_to)
    };
    site.segment_ids().filter(alone).collect()
}

/// The VLANs of a switch with their access ports and hosts. Disabled ports are in none.
fn rows<'s>(site: &'s Site, fabric: &Fabric, id: SwitchId) -> Vec<VlanRow<'s>> {
    let mut rows: BTreeMap<Option<VlanId>, VlanRow<'s>> = BTreeMap::new();
    let node = fabric.switch(id);
    let ports = node.map_or(&[][..], |node| &fabric.node(node).ports);
    for &port in ports {
        let known = fabric.port(port).name;
        let Some(name) = port_name(site, known) else {
            continue;
        };
        let vlans = fabric.vlans(port);
        for vlan in vlans.into_iter().flat_map(|vlans| {
            let members: Vec<VlanId> = vlans.members().iter().collect();
            members
        }) {
            rows.entry(Some(vlan)).or_default();
        }
        for (host, vlan) in hosts_at(fabric, port) {
            let row = rows.entry(vlan).or_default();
            row.hosts.push(Seated { host, port: name });
        }
        let single = matches!(PortKey::of(site, known), Some(PortKey::Port(..)));
        let access = vlans.filter(|vlans| single && Mode::of(vlans) == Mode::Access);
        if let Some(vlan) = access.and_then(|vlans| vlans.untagged.iter().next()) {
            let row = rows.entry(Some(vlan)).or_default();
            row.access += 1;
            row.open += usize::from(fabric.port(port).far == Far::Open);
        }
    }
    let named = rows.into_iter().map(|(vlan, row)| VlanRow {
        vlan,
        segment: vlan.and_then(|vlan| segment_name_at(site, fabric, id, vlan)),
        ..row
    });
    named.collect()
}

/// The name of a port, or of the LAG that it is a member of, on its switch.
fn port_name(site: &Site, name: PortName) -> Option<&str> {
    Some(match PortKey::of(site, name)? {
        PortKey::Port(switch, port) => &site.switches[switch.0].ports[port].name.value,
        PortKey::Lag(switch, lag) => &site.switches[switch.0].lags[lag].name.value,
    })
}

/// Hosts that are plugged in at a port, with the VLAN that their frames take there.
fn hosts_at(fabric: &Fabric, port: PortId) -> Vec<(HostId, Option<VlanId>)> {
    let seated = fabric
        .hosts_at(port)
        .into_iter()
        .filter_map(|(interface, tag)| {
            let InterfaceOf::Host(host, _) = fabric.interface(interface).of else {
                return None;
            };
            let taken = fabric.taken(port, Frame::of(tag));
            let vlan = taken.and_then(Result::ok).map(|(vlan, _)| vlan);
            Some((host, vlan))
        });
    seated.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SEGMENTS: &str = "[zones.inside]\ntrust = 50\n\
        [segments.office]\nzone = \"inside\"\nvlan = 10\nprefixes = [\"10.44.10.0/24\"]\n\
        [segments.world]\nzone = \"inside\"\nexternal = true\nprefixes = [\"203.0.113.0/29\"]\n\
        [gateways.edge]\ndefault = \"deny\"\n\
        [gateways.edge.interfaces.wan]\nsegment = \"world\"\naddresses = [\"203.0.113.2/29\"]\n\
        [gateways.edge.interfaces.office]\nsegment = \"office\"\nport = \"1\"\nvlan = 10\n\
        addresses = [\"10.44.10.1/24\"]\n";

    /// The tree as `name(names below)`, and how much is left beside it.
    fn grown(text: &str) -> (String, usize) {
        let loaded = boundwalk_load::load_text("site.toml", &format!("{SEGMENTS}{text}"));
        let problems: Vec<_> = loaded.problems.iter().map(|found| &found.message).collect();
        let site = loaded.site.unwrap_or_else(|| panic!("{problems:?}"));
        let fabric = Fabric::new(&site);
        let topology_tree = TopologyTree::new(&site, &Cabling::new(&site, &fabric));
        let text: Vec<String> = topology_tree
            .roots
            .iter()
            .map(|&root| shown(&site, &topology_tree, root))
            .collect();
        (text.join(" "), topology_tree.extra.len())
    }

    fn shown(site: &Site, topology_tree: &TopologyTree<'_>, tree_node: usize) -> String {
        let tree_node = &topology_tree.tree_nodes[tree_node];
        let name = match tree_node.thing {
            ThingId::Router(id) => &site.router(id).name.value,
            ThingId::Switch(id) => &site.switches[id.0].name.value,
            ThingId::Segment(id) => &site.segment(id).name.value,
        };
        let below: Vec<String> = tree_node
            .below
            .iter()
            .map(|&tree_node| shown(site, topology_tree, tree_node))
            .collect();
        if below.is_empty() {
            name.clone()
        } else {
            format!("{name}({})", below.join(" "))
        }
    }

    fn switches(names: &[&str], links: &[[&str; 2]]) -> String {
        let mut text = String::new();
        for name in names {
            text += &format!("[switches.{name}.ports]\n\"1-4\" = {{ tagged = 10 }}\n");
        }
        for [one, other] in links {
            text += &format!("[[links]]\nends = [\"{one}\", \"{other}\"]\n");
        }
        text
    }

    #[test]
    fn without_switches_segments_hang_on_gateways() {
        assert_eq!(grown(""), ("edge(office)".to_owned(), 0));
    }

    #[test]
    fn switches_hang_where_the_fewest_cables_lead_to_them() {
        let links = [
            ["b:1", "c:1"],
            ["a:2", "c:2"],
            ["a:3", "b:3"],
            ["edge:1", "a:1"],
        ];
        let text = switches(&["a", "b", "c"], &links);
        assert_eq!(
            grown(&text),
            ("edge(a(c b))".to_owned(), 1),
            "the ring is cut once"
        );
    }

    #[test]
    fn a_cable_to_itself_and_a_second_cable_stand_beside_the_tree() {
        let links = [["a:1", "a:2"], ["a:3", "b:1"], ["a:4", "b:2"]];
        let text = switches(&["a", "b"], &links);
        // The gateway's own port has no cable: the segment is on a clean layer 2 beside the switches.
        assert_eq!(grown(&text), ("edge(office) a(b)".to_owned(), 2));
    }

    #[test]
    fn hosts_stand_in_the_vlan_of_their_port() {
        let text = format!(
            "{SEGMENTS}[switches.a.ports]\n\"1-3\" = {{ access = 10 }}\n\"4\" = {{ tagged = 10 }}\n\
             [hosts.desk]\n[[hosts.desk.interfaces]]\nsegment = \"office\"\nport = \"a:1\"\n\
             [hosts.lost]\n[[hosts.lost.interfaces]]\nsegment = \"office\"\nport = \"a:4\"\n\
             [hosts.loose]\n[[hosts.loose.interfaces]]\nsegment = \"office\"\n"
        );
        let loaded = boundwalk_load::load_text("site.toml", &text);
        let problems: Vec<_> = loaded.problems.iter().map(|found| &found.message).collect();
        let site = loaded.site.unwrap_or_else(|| panic!("{problems:?}"));
        let fabric = Fabric::new(&site);
        let topology_tree = TopologyTree::new(&site, &Cabling::new(&site, &fabric));
        let [none, ten] = topology_tree.rows[0].as_slice() else {
            panic!("two rows: {:?}", topology_tree.rows);
        };
        let hosts = |row: &VlanRow<'_>| row.hosts.iter().map(|at| at.host.0).collect::<Vec<_>>();
        assert_eq!((none.vlan, hosts(none)), (None, vec![1]));
        assert_eq!((ten.vlan, hosts(ten)), (VlanId::new(10), vec![0]));
        assert_eq!((ten.access, ten.open), (3, 2));
        assert_eq!(topology_tree.loose, [vec![HostId(2)], vec![]]);
    }
}
