//! Cables between switches, and from switches to gateways and routers, whose two ends are not set alike.

use rustc_hash::{FxHashMap, FxHashSet};

use boundwalk_forwarding::layer2::frame::{Admitted, Frame, admit, admit_untagged, egress};
use boundwalk_forwarding::layer2::{Far, InterfaceOf, PortId, lacp_forms};
use boundwalk_model::{Lacp, PortVlans, RouterId, Site, Speed, SwitchId, VlanId};

use super::cabling::{Bundle, CableEnd, Cabling, Equipment};
use super::joined::{Joined, joined};
use super::setting::PortKey;

/// How the two ends of a cable differ. Numbers of ends are 0 and 1; pairs are in their order.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum LinkMismatch {
    /// This end is disabled, the other is not.
    Off(usize),
    /// Both ends are in one and the same LAG.
    ToItself,
    /// This end is a LAG, the other a single port.
    LagAtOneEnd(usize),
    /// The cables of the LAG at this end lead to different things, so many.
    LagParts(usize, usize),
    /// LAGs with so many member ports.
    Members([usize; 2]),
    /// LAGs that do not form: both passive, or static against LACP (IEEE 802.1AX).
    Lacp([Lacp; 2]),
    /// Speeds.
    Speed([Speed; 2]),
    /// VLANs that only this end carries. Of a gateway or router: VLANs that its interfaces expect.
    OneEndOnly(usize, Vec<VlanId>),
    /// VLANs that this end carries with a tag and the other without.
    TaggedAtOneEnd(usize, Vec<VlanId>),
    /// VLANs that both ends carry with a tag, and whose frames from this end the other drops.
    Dropped(usize, Vec<VlanId>),
    /// This end is a port and the other a switch that knows no VLANs: what the port sends untagged in the first
    /// VLAN comes, through that switch, to another port, which takes it into the second.
    Joins(usize, VlanId, PortKey, VlanId),
    /// What each end does without a tag: VLANs that leave so, and the VLAN that such frames are taken into
    /// (`None`: dropped).
    Untagged([(Vec<VlanId>, Option<VlanId>); 2]),
}

/// A difference between the ends of a cable.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Difference<'s> {
    /// The ends; a LAG stands for its member ports.
    pub ends: [CableEnd<'s>; 2],
    /// What differs.
    pub what: LinkMismatch,
}

/// All differences, cable by cable in the order of the file; the cables between two LAGs count as one.
/// O(cables x VLANs), and what [`joined`] takes.
#[must_use]
pub fn differences<'s>(site: &'s Site, cabling: &Cabling<'s>) -> Vec<Difference<'s>> {
    let ports = Ports::new(site, cabling);
    let pairs = pairs(cabling);
    let parts = far_ends(cabling, &pairs);
    let joined = joined(cabling.fabric);
    let mut found = Vec::new();
    let mut told = FxHashSet::default();
    for &ends in &pairs {
        for (side, end) in ends.iter().enumerate() {
            let count = parts.get(end).copied().unwrap_or_default();
            if count > 1 && told.insert(*end) {
                let what = LinkMismatch::LagParts(side, count);
                found.push(Difference { ends, what });
            }
        }
        let split = |end: &CableEnd<'s>| parts.get(end).is_some_and(|&count| count > 1);
        let split = ends.iter().any(split);
        let compared = ports.compare(ends, split).into_iter();
        let joins = ports.joins(ends, &joined);
        let all = compared.chain(joins);
        found.extend(all.map(|what| Difference { ends, what }));
    }
    found
}

/// Ends of cables between switches, gateways and routers, a switch at one end at least, each pair once.
fn pairs<'s>(cabling: &Cabling<'s>) -> Vec<[CableEnd<'s>; 2]> {
    let mut seen = FxHashSet::default();
    let mut pairs = Vec::new();
    for cable in &cabling.cables {
        let ends = cable.ends.map(|end| cabling.whole(end));
        let switch = |end: &CableEnd<'_>| matches!(end.device, Equipment::Switch(_));
        let host = |end: &CableEnd<'_>| matches!(end.device, Equipment::Host(_));
        if !ends.iter().any(switch) || ends.iter().any(host) {
            continue;
        }
        let mut key = ends;
        key.sort_unstable();
        if seen.insert(key) {
            pairs.push(ends);
        }
    }
    pairs
}

/// To how many ends the cables of each LAG lead, hosts included.
fn far_ends<'s>(
    cabling: &Cabling<'s>,
    pairs: &[[CableEnd<'s>; 2]],
) -> FxHashMap<CableEnd<'s>, usize> {
    let lags = pairs
        .iter()
        .flatten()
        .filter(|&&end| cabling.lag(end).is_some());
    let count = |&end: &CableEnd<'s>| {
        let far = cabling.of_whole(end).into_iter();
        let far: FxHashSet<CableEnd<'s>> = far.map(|(_, far)| cabling.whole(far)).collect();
        (end, far.len())
    };
    lags.map(count).collect()
}

/// What one end does.
struct Side<'s> {
    lag: Option<Bundle<'s>>,
    live: bool,
    speed: Option<Speed>,
    /// `None` where tags pass unchanged.
    vlans: Option<Carried>,
}

/// How an end takes and sends frames.
struct Carried {
    /// As a port would be set: for a gateway or router the port that its interfaces amount to.
    vlans: PortVlans,
    /// Whether it is known what is untagged: an untagged interface may be on a segment without a VLAN.
    known: bool,
}

impl Carried {
    /// A frame of a VLAN as it leaves here.
    fn sent(&self, vlan: VlanId) -> Option<Frame> {
        egress(&self.vlans, vlan, Frame::UNTAGGED)
    }

    /// VLANs that leave with a tag.
    fn tagged(&self) -> Vec<VlanId> {
        let bare = |frame: Frame| frame.outer().is_none();
        let members = self.vlans.members();
        members
            .iter()
            .filter(|&vlan| !self.sent(vlan).is_some_and(bare))
            .collect()
    }

    /// VLANs that leave without one.
    fn untagged(&self) -> Vec<VlanId> {
        let members = self.vlans.members();
        members
            .iter()
            .filter(|&vlan| self.sent(vlan) == Some(Frame::UNTAGGED))
            .collect()
    }

    /// The VLAN that takes frames without a tag.
    fn takes(&self) -> Option<VlanId> {
        admit_untagged(&self.vlans).ok().map(|(vlan, _)| vlan)
    }

    /// Whether a frame gets in by a VLAN that frames of it come out of as well.
    fn lets_in(&self, frame: Frame) -> bool {
        admit(&self.vlans, frame).is_ok_and(|(.., why)| why != Admitted::Unfiltered)
    }
}

/// The ends of cables as frames meet them.
struct Ports<'s, 'c> {
    site: &'s Site,
    cabling: &'c Cabling<'s>,
    /// Live ports; of a LAG that does not form each member.
    ports: FxHashMap<PortKey, Vec<PortId>>,
}

impl<'s, 'c> Ports<'s, 'c> {
    fn new(site: &'s Site, cabling: &'c Cabling<'s>) -> Self {
        let mut ports: FxHashMap<PortKey, Vec<PortId>> = FxHashMap::default();
        for (id, port) in cabling.fabric.ports() {
            if let Some(key) = PortKey::of(site, port.name) {
                ports.entry(key).or_default().push(id);
            }
        }
        Self {
            site,
            cabling,
            ports,
        }
    }

    /// The port or LAG that an end is; `None` at a gateway, router or host.
    fn key(&self, end: CableEnd<'_>) -> Option<PortKey> {
        let Equipment::Switch(id) = end.device else {
            return None;
        };
        let switch = &self.site.switches[id.0];
        switch
            .lag(end.port)
            .map(|lag| PortKey::Lag(id, lag))
            .or_else(|| switch.port(end.port).map(|port| PortKey::Port(id, port)))
    }

    fn ports(&self, end: CableEnd<'_>) -> &[PortId] {
        let key = self.key(end);
        let known = key.and_then(|key| self.ports.get(&key));
        known.map_or(&[], Vec::as_slice)
    }

    fn side(&self, end: CableEnd<'s>, other: CableEnd<'s>) -> Side<'s> {
        match end.device {
            Equipment::Switch(id) => self.of_switch(id, end),
            Equipment::Router(id) => self.of_router(id, end, other),
            // Cables to hosts are not compared.
            Equipment::Host(_) => Side {
                lag: None,
                live: true,
                speed: None,
                vlans: None,
            },
        }
    }

    fn of_switch(&self, id: SwitchId, end: CableEnd<'s>) -> Side<'s> {
        let lag = self.cabling.lag(end);
        let first = self.ports(end).first();
        let vlans = first.and_then(|&port| self.cabling.fabric.vlans(port));
        let switch = &self.site.switches[id.0];
        let port = switch.port(end.port).map(|port| &switch.ports[port]);
        Side {
            lag,
            live: first.is_some(),
            speed: match lag {
                Some(lag) => lag.speed,
                None => port.and_then(|port| port.speed),
            },
            vlans: vlans.map(|vlans| Carried {
                vlans: vlans.clone(),
                known: true,
            }),
        }
    }

    /// A gateway or router, by its interfaces at the other end's ports.
    fn of_router(&self, id: RouterId, end: CableEnd<'s>, other: CableEnd<'s>) -> Side<'s> {
        let fabric = self.cabling.fabric;
        let mut vlans = PortVlans {
            pvid: None,
            ingress_filter: true,
            ..PortVlans::default()
        };
        let mut known = true;
        let interfaces = self
            .ports(other)
            .iter()
            .flat_map(|&port| match &fabric.port(port).far {
                Far::Interfaces(interfaces) => &interfaces[..],
                _ => &[],
            });
        for interface in interfaces.map(|&interface| fabric.interface(interface)) {
            if !self.stands_on(interface.of, id, end) {
                continue;
            }
            let own = self
                .site
                .segment(interface.segment)
                .vlan
                .map(|vlan| vlan.value);
            match (interface.tag, own) {
                (Some(tag), _) => {
                    vlans.tagged.insert(tag);
                }
                (None, Some(vlan)) => {
                    vlans.untagged.insert(vlan);
                    vlans.pvid.get_or_insert(vlan);
                }
                (None, None) => known = false,
            }
        }
        let lag = self.cabling.lag(end);
        Side {
            lag,
            live: true,
            speed: lag.and_then(|lag| lag.speed),
            vlans: Some(Carried { vlans, known }),
        }
    }

    fn stands_on(&self, interface: InterfaceOf, id: RouterId, end: CableEnd<'_>) -> bool {
        let InterfaceOf::Router(router, at) = interface else {
            return false;
        };
        let port = self.site.router(router).interfaces[at].port.as_ref();
        router == id && port.is_some_and(|port| port.value == end.port)
    }

    fn compare(&self, ends: [CableEnd<'s>; 2], split: bool) -> Vec<LinkMismatch> {
        if ends[0] == ends[1] {
            return vec![LinkMismatch::ToItself];
        }
        let sides = [self.side(ends[0], ends[1]), self.side(ends[1], ends[0])];
        let mut found = Vec::new();
        match (sides[0].live, sides[1].live) {
            (true, true) => {}
            (false, false) => return found,
            (one, _) => return vec![LinkMismatch::Off(usize::from(one))],
        }
        match (sides[0].lag, sides[1].lag) {
            (None, None) => {}
            (Some(_), None) | (None, Some(_)) if split => {}
            (Some(_), None) => found.push(LinkMismatch::LagAtOneEnd(0)),
            (None, Some(_)) => found.push(LinkMismatch::LagAtOneEnd(1)),
            (Some(one), Some(other)) => lags(one, other, &mut found),
        }
        if let (Some(one), Some(other)) = (sides[0].speed, sides[1].speed)
            && one != other
        {
            found.push(LinkMismatch::Speed([one, other]));
        }
        let [one, other] = sides.map(|side| side.vlans);
        if let (Some(one), Some(other)) = (one, other) {
            vlans(&[one, other], &mut found);
        }
        found
    }

    /// VLANs that the switch at one end joins with those of the port at the other.
    fn joins(&self, ends: [CableEnd<'s>; 2], joined: &[Joined]) -> Vec<LinkMismatch> {
        let name = |port: PortId| {
            let name = self.cabling.fabric.port(port).name;
            PortKey::of(self.site, name)
        };
        let mut found = Vec::new();
        for (near, end) in ends.iter().enumerate() {
            let far = ends[1 - near].device;
            let here = self.ports(*end);
            for one in joined {
                let at_this_end = here.contains(&one.from) && far == Equipment::Switch(one.by);
                if let Some(to) = name(one.to).filter(|_| at_this_end) {
                    found.push(LinkMismatch::Joins(near, one.vlan, to, one.into));
                }
            }
        }
        found
    }
}

fn lags(one: Bundle<'_>, other: Bundle<'_>, found: &mut Vec<LinkMismatch>) {
    let counts = [one.ports.len(), other.ports.len()];
    if counts[0] != counts[1] {
        found.push(LinkMismatch::Members(counts));
    }
    if !lacp_forms(one.lacp, other.lacp) {
        found.push(LinkMismatch::Lacp([one.lacp, other.lacp]));
    }
}

fn vlans(sides: &[Carried; 2], found: &mut Vec<LinkMismatch>) {
    let known = sides.iter().all(|side| side.known);
    let retagged = |near: usize| -> Vec<VlanId> {
        let bare = sides[1 - near].untagged();
        sides[near]
            .tagged()
            .into_iter()
            .filter(|vlan| bare.contains(vlan))
            .collect()
    };
    let retagged = [retagged(0), retagged(1)];
    // What leaves untagged is told with the untagged VLANs, or not known to be missing.
    for near in [0, 1] {
        let there = &sides[1 - near];
        let lost = sides[near].tagged().into_iter().filter(|&vlan| {
            !there.lets_in(Frame::of(Some(vlan))) && !retagged[near].contains(&vlan)
        });
        let (dropped, alone): (Vec<_>, Vec<_>) = lost.partition(|&vlan| there.vlans.carries(vlan));
        if !alone.is_empty() {
            found.push(LinkMismatch::OneEndOnly(near, alone));
        }
        if !dropped.is_empty() {
            found.push(LinkMismatch::Dropped(near, dropped));
        }
    }
    let both = retagged.concat();
    for (near, vlans) in retagged.into_iter().enumerate() {
        if !vlans.is_empty() {
            found.push(LinkMismatch::TaggedAtOneEnd(near, vlans));
        }
    }
    if known {
        found.extend(untagged(sides, &both));
    }
}

/// The difference without tags; `None` where there is none but for VLANs that the other end tags.
fn untagged(sides: &[Carried; 2], retagged: &[VlanId]) -> Option<LinkMismatch> {
    let rest = |side: &Carried| -> Vec<VlanId> {
        side.untagged()
            .into_iter()
            .filter(|vlan| !retagged.contains(vlan))
            .collect()
    };
    let takes = |side: &Carried| side.takes().filter(|vlan| !retagged.contains(vlan));
    let [one, other] = sides;
    if rest(one) == rest(other) && takes(one) == takes(other) {
        return None;
    }
    let told = |side: &Carried| (side.untagged(), side.takes());
    Some(LinkMismatch::Untagged([told(one), told(other)]))
}

#[cfg(test)]
mod tests {
    use boundwalk_forwarding::layer2::Fabric;

    use super::*;

    /// What differs in a site of three segments with VLANs and some more text; the names of the ends of the
    /// first difference.
    fn told(text: &str) -> Vec<LinkMismatch> {
        let base = "[zones.inside]\ntrust = 50\n\
            [segments.office]\nzone = \"inside\"\nvlan = 10\nprefixes = [\"10.44.10.0/24\"]\n\
            [segments.cellar]\nzone = \"inside\"\nvlan = 20\nprefixes = [\"10.44.20.0/24\"]\n\
            [segments.yard]\nzone = \"inside\"\nprefixes = [\"10.44.30.0/24\"]\n";
        let loaded = boundwalk_load::load_text("site.toml", &format!("{base}{text}"));
        let problems: Vec<_> = loaded.problems.iter().map(|found| &found.message).collect();
        let site = loaded.site.unwrap_or_else(|| panic!("{problems:?}"));
        let fabric = Fabric::new(&site);
        let found = differences(&site, &Cabling::new(&site, &fabric));
        found
            .into_iter()
            .map(|difference| difference.what)
            .collect()
    }

    /// Two switches with one port each, and a cable.
    fn ports(one: &str, other: &str) -> Vec<LinkMismatch> {
        told(&format!(
            "[switches.a.ports]\n\"1\" = {{ {one} }}\n[switches.b.ports]\n\"1\" = {{ {other} }}\n\
             [[links]]\nends = [\"a:1\", \"b:1\"]\n"
        ))
    }

    /// Two switches with a LAG each, and cables.
    fn lags(one: &str, other: &str, links: &[&str]) -> Vec<LinkMismatch> {
        let mut text = String::new();
        for (name, lag) in [("a", one), ("b", other)] {
            text += &format!(
                "[switches.{name}.lags.up]\n{lag}\n[switches.{name}.ports]\n\"up\" = {{ tagged = 10 }}\n\
                 \"8-9\" = {{ tagged = 10 }}\n"
            );
        }
        for ends in links {
            text += &format!("[[links]]\nends = [{ends}]\n");
        }
        told(&text)
    }

    /// A switch port and a gateway with interfaces on port 1.
    fn gateway(port: &str, interfaces: &[(&str, &str)]) -> Vec<LinkMismatch> {
        let mut text = format!("[switches.a.ports]\n\"1\" = {{ {port} }}\n[gateways.edge]\n");
        text += "default = \"deny\"\n";
        for (segment, rest) in interfaces {
            text += &format!(
                "[gateways.edge.interfaces.{segment}]\nsegment = \"{segment}\"\nport = \"1\"\n{rest}\n"
            );
        }
        told(&format!("{text}[[links]]\nends = [\"a:1\", \"edge:1\"]\n"))
    }

    fn vlans(numbers: &[u16]) -> Vec<VlanId> {
        numbers.iter().copied().filter_map(VlanId::new).collect()
    }

    /// The interfaces of another gateway, and of another port, do not stand on a cable.
    #[test]
    fn each_cable_has_the_interfaces_of_its_own_port() {
        let text = "[switches.a.ports]\n\"1\" = { access = 10 }\n\"2\" = { access = 20 }\n\"3\" = { access = 20 }\n\
            [gateways.edge]\ndefault = \"deny\"\n\
            [gateways.edge.interfaces.office]\nsegment = \"office\"\nport = \"1\"\n\
            [gateways.edge.interfaces.cellar]\nsegment = \"cellar\"\nport = \"2\"\n\
            [routers.attic.interfaces.cellar]\nsegment = \"cellar\"\nport = \"1\"\n\
            [[links]]\nends = [\"a:1\", \"edge:1\"]\n\
            [[links]]\nends = [\"a:2\", \"edge:2\"]\n\
            [[links]]\nends = [\"a:3\", \"attic:1\"]\n";
        assert_eq!(told(text), []);
        let swapped = text
            .replace("\"edge:1\"", "\"edge:9\"")
            .replace("\"edge:2\"", "\"edge:1\"");
        assert!(!told(&swapped.replace("\"edge:9\"", "\"edge:2\"")).is_empty());
    }

    #[test]
    fn ends_that_are_alike_differ_in_nothing() {
        for port in [
            "access = \"office\"",
            "tagged = [10, 20]",
            "untagged = 10, tagged = [20], speed = \"1G\"",
            "enabled = false",
            "",
        ] {
            assert_eq!(ports(port, port), [], "{port}");
        }
        // Written in two ways, meant alike: no untagged frame is taken in.
        assert_eq!(ports("tagged = 10", "tagged = 10, accept = \"tagged\""), []);
        let bundle = ["\"a:up\", \"b:up\""];
        let lag = "ports = [\"1-2\"]\nlacp = \"active\"\nspeed = \"1G\"";
        assert_eq!(lags(lag, lag, &bundle), []);
        let single = ["\"a:1\", \"b:1\"", "\"a:2\", \"b:2\""];
        assert_eq!(lags(lag, lag, &single), []);
    }

    #[test]
    fn a_vlan_at_one_end_only_is_told_once_for_each_end() {
        assert_eq!(
            ports("tagged = [10, 20, 30, 31]", "tagged = [20, 40]"),
            [
                LinkMismatch::OneEndOnly(0, vlans(&[10, 30, 31])),
                LinkMismatch::OneEndOnly(1, vlans(&[40])),
            ]
        );
    }

    #[test]
    fn untagged_vlans_and_pvids_are_compared_as_frames_meet_them() {
        let ten = (vlans(&[10]), VlanId::new(10));
        let twenty = (vlans(&[20]), VlanId::new(20));
        assert_eq!(
            ports("access = 10", "access = 20"),
            [LinkMismatch::Untagged([ten.clone(), twenty])]
        );
        let lost = (vlans(&[10]), VlanId::new(20));
        assert_eq!(
            ports("access = 10", "pvid = 20, untagged = 10"),
            [LinkMismatch::Untagged([ten.clone(), lost])]
        );
        // PVID 20 without membership and with ingress filtering: untagged frames are dropped.
        let dropped = (vlans(&[10]), None);
        assert_eq!(
            ports(
                "access = 10",
                "pvid = 20, untagged = 10, ingress_filter = true"
            ),
            [LinkMismatch::Untagged([ten.clone(), dropped])]
        );
        assert_eq!(
            ports("untagged = 10, tagged = 20", "tagged = 20"),
            [LinkMismatch::Untagged([ten, (vec![], None)])]
        );
    }

    #[test]
    fn a_vlan_tagged_at_one_end_only_is_no_other_difference() {
        assert_eq!(
            ports("untagged = 10, tagged = 20", "tagged = [10, 20]"),
            [LinkMismatch::TaggedAtOneEnd(1, vlans(&[10]))]
        );
    }

    #[test]
    fn speed_and_disabled_ends_are_told() {
        let speeds = [Speed(1000), Speed(100)];
        assert_eq!(
            ports(
                "access = 10, speed = \"1G\"",
                "access = 10, speed = \"100M\""
            ),
            [LinkMismatch::Speed(speeds)]
        );
        assert_eq!(ports("access = 10, speed = \"1G\"", "access = 10"), []);
        assert_eq!(
            ports("access = 10", "enabled = false"),
            [LinkMismatch::Off(1)],
            "where nothing passes, VLANs do not matter"
        );
    }

    /// IEEE 802.1AXdz-2025, module ieee802-dot1ax-types: one end at least must be active. A static LAG speaks no LACP.
    #[test]
    fn lags_differ_in_members_speed_and_lacp() {
        let lag = |ports, lacp, speed| {
            format!("ports = [\"{ports}\"]\nlacp = \"{lacp}\"\nspeed = \"{speed}\"")
        };
        let bundle = ["\"a:up\", \"b:up\""];
        assert_eq!(
            lags(
                &lag("1-2", "active", "1G"),
                &lag("1-3", "passive", "10G"),
                &bundle
            ),
            [
                LinkMismatch::Members([2, 3]),
                LinkMismatch::Speed([Speed(1000), Speed(10_000)]),
            ]
        );
        for (one, other, words) in [
            ("passive", "passive", [Lacp::Passive, Lacp::Passive]),
            ("static", "active", [Lacp::Static, Lacp::Active]),
        ] {
            assert_eq!(
                lags(&lag("1-2", one, "1G"), &lag("1-2", other, "1G"), &bundle),
                [LinkMismatch::Lacp(words)]
            );
        }
    }

    #[test]
    fn a_lag_wants_one_lag_at_the_other_end() {
        let lag = "ports = [\"1-2\"]\nlacp = \"active\"";
        assert_eq!(
            lags(lag, lag, &["\"a:up\", \"b:8\""]),
            [LinkMismatch::LagAtOneEnd(0)]
        );
        assert_eq!(
            lags(lag, lag, &["\"a:8\", \"b:1\""]),
            [LinkMismatch::LagAtOneEnd(1)]
        );
        assert_eq!(
            lags(lag, lag, &["\"a:1\", \"b:8\"", "\"a:2\", \"b:9\""]),
            [LinkMismatch::LagParts(0, 2)]
        );
        assert_eq!(
            lags(lag, lag, &["\"a:1\", \"a:2\""]),
            [LinkMismatch::ToItself]
        );
    }

    #[test]
    fn a_gateway_expects_the_tags_of_its_interfaces() {
        let office = ("office", "vlan = 10");
        let cellar = ("cellar", "vlan = 20");
        assert_eq!(gateway("tagged = [10, 20]", &[office, cellar]), []);
        assert_eq!(
            gateway("tagged = [10, 90]", &[office, cellar]),
            [
                LinkMismatch::OneEndOnly(0, vlans(&[90])),
                LinkMismatch::OneEndOnly(1, vlans(&[20])),
            ]
        );
    }

    #[test]
    fn an_untagged_interface_wants_its_segment_untagged() {
        let office = ("office", "");
        let ten = (vlans(&[10]), VlanId::new(10));
        assert_eq!(gateway("untagged = 10", &[office]), []);
        assert_eq!(
            gateway("tagged = 10", &[office]),
            [LinkMismatch::TaggedAtOneEnd(0, vlans(&[10]))]
        );
        assert_eq!(
            gateway("access = 20", &[office]),
            [LinkMismatch::Untagged([
                (vlans(&[20]), VlanId::new(20)),
                ten
            ])]
        );
        // A segment without a VLAN: nothing tells which one its frames should be in.
        assert_eq!(gateway("access = 10", &[("yard", "")]), []);
    }

    #[test]
    fn a_switch_that_knows_no_vlans_has_none_to_compare() {
        let text = "[switches.a.ports]\n\"1\" = { tagged = [10, 20] }\n\
            [switches.b]\nvlan_aware = false\n[switches.b.ports]\n\"1\" = { }\n\
            [[links]]\nends = [\"a:1\", \"b:1\"]\n";
        assert_eq!(told(text), []);
    }
}
