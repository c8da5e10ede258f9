//! Layer 2 of small sites, worked out by hand: what random sites do not show, and what others published.

use boundwalk::forwarding::Origin;
use boundwalk::forwarding::layer2::{
    Admitted, Arrival, Fabric, Frame, InterfaceId, InterfaceOf, NodeKind, PortId, PortName, Start,
    Wiring, flood, hostile_starts,
};
use boundwalk::load::load_text;
use boundwalk::model::{HostId, RouterId, SegmentId, Site, SwitchId, VlanId};

/// Two segments of a brewery, each with a VLAN.
const SEGMENTS: &str = r#"
[zones.works]
trust = 60
[segments.office]
zone = "works"
vlan = 10
prefixes = ["10.44.10.0/24"]
[segments.brewhouse]
zone = "works"
vlan = 60
prefixes = ["10.44.60.0/24"]
"#;

/// Two segments without VLANs: a cable leads from the gateway to a desk of the office.
const CABLED: &str = r#"
[zones.works]
trust = 60
[segments.office]
zone = "works"
prefixes = ["10.44.10.0/24"]
[segments.brewhouse]
zone = "works"
prefixes = ["10.44.60.0/24"]
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
port = "lan"
[[hosts.desk.interfaces]]
segment = "office"
port = "edge:lan"
"#;

/// A gateway in the office by a LAG of two ports.
const GATEWAY: &str = r#"
[gateways.edge]
default = "deny"
[gateways.edge.lags.trunk]
ports = ["a", "b"]
lacp = "active"
[gateways.edge.interfaces.office]
segment = "office"
port = "trunk"
vlan = 10
"#;

fn site(parts: &[&str]) -> Site {
    let loaded = load_text("case", &parts.concat());
    let problems = format!("{:#?}", loaded.problems);
    loaded.site.expect(&problems)
}

/// The interface of a device with one, or that of a name as in `edge.office`.
fn interface(site: &Site, fabric: &Fabric, name: &str) -> InterfaceId {
    let (device, interface) = name.split_once('.').unwrap_or((name, "1"));
    let host = site.hosts.iter().position(|host| host.name.value == device);
    if let Some(host) = host {
        let mut interfaces = site.hosts[host].interfaces.iter();
        let at = interfaces.position(|known| known.name.value == interface);
        return fabric.interface_of(InterfaceOf::Host(HostId(host), at.expect("an interface")));
    }
    let mut routers = site.routers.iter();
    let router = routers
        .position(|router| router.name.value == device)
        .expect("a device");
    let mut interfaces = site.routers[router].interfaces.iter();
    let at = interfaces.position(|known| known.name.value == interface);
    fabric.interface_of(InterfaceOf::Router(
        RouterId(router),
        at.expect("an interface"),
    ))
}

/// Whether plain frames of the first get to the second, and the other way.
fn passes(site: &Site, one: &str, other: &str) -> (bool, bool) {
    let fabric = Fabric::new(site);
    let [one, other] = [one, other].map(|name| interface(site, &fabric, name));
    let reaches = |from, to| flood(&fabric, &[Start::WiredInterface(from)]).reaches(to);
    (reaches(one, other), reaches(other, one))
}

const BOTH: (bool, bool) = (true, true);
const NEITHER: (bool, bool) = (false, false);

/// Frames with these tags, put in at a port of the first switch, and who takes them.
fn from_port(site: &Site, port: &str, tags: &[u16], to: &str) -> bool {
    let fabric = Fabric::new(site);
    let mut ports = site.switches[0].ports.iter();
    let at = ports
        .position(|known| known.name.value == port)
        .expect("a port");
    let name = PortName::Port(SwitchId(0), at);
    let port = fabric.port_ids().find(|&id| fabric.port(id).name == name);
    let start = Start::AttachPoint(port.expect("a live port"), Frame::with_tags(tags));
    flood(&fabric, &[start]).reaches(interface(site, &fabric, to))
}

/// What is not described is assumed clean: an interface without a cable stands on its segment, at every
/// switch with its VLAN, as if it had an access port there.
#[test]
fn an_interface_without_a_cable_meets_the_switches_that_carry_its_vlan() {
    let rest = r#"
[switches.core.ports]
"1" = { access = "office" }
"2" = { access = "brewhouse" }
"3" = { tagged = ["office"] }
"4" = { tagged = ["brewhouse"] }
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
vlan = 60
[[hosts.desk.interfaces]]
segment = "office"
port = "core:1"
[[hosts.kettle.interfaces]]
segment = "brewhouse"
port = "core:2"
[[hosts.scales.interfaces]]
segment = "brewhouse"
"#;
    let site = site(&[SEGMENTS, rest]);
    assert_eq!(passes(&site, "desk", "edge.office"), BOTH);
    assert_eq!(passes(&site, "desk", "edge.brewhouse"), NEITHER);
    // Its tag is its own affair where the cable is not described.
    assert_eq!(passes(&site, "kettle", "edge.brewhouse"), BOTH);
    assert_eq!(passes(&site, "kettle", "scales"), BOTH);
    assert_eq!(passes(&site, "scales", "edge.brewhouse"), BOTH);
    assert_eq!(passes(&site, "scales", "desk"), NEITHER);
    assert!(from_port(&site, "3", &[10], "edge.office"));
    assert!(
        !from_port(&site, "4", &[10], "edge.office"),
        "no member, and it filters"
    );
    // A tag below shows where the VLAN leaves untagged; nobody there takes it.
    assert!(!from_port(&site, "3", &[10, 60], "edge.brewhouse"));
}

/// Without any switch a segment is one wire; a switch that does not carry its VLAN is no part of it.
#[test]
fn a_segment_that_no_switch_carries_is_a_wire_of_its_own() {
    let rest = r#"
[switches.core.ports]
"1" = { access = "office" }
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
[[hosts.desk.interfaces]]
segment = "office"
port = "core:1"
[[hosts.kettle.interfaces]]
segment = "brewhouse"
[hosts.dray]
forwards = "bridges"
[[hosts.dray.interfaces]]
segment = "office"
[[hosts.dray.interfaces]]
segment = "brewhouse"
"#;
    let without = rest.split("[hosts.dray]").next().expect("the first part");
    let clean = site(&[SEGMENTS, without]);
    assert_eq!(passes(&clean, "kettle", "edge.brewhouse"), BOTH);
    assert_eq!(passes(&clean, "kettle", "desk"), NEITHER);
    // A host that bridges joins the two, cables or not.
    let bridged = site(&[SEGMENTS, rest]);
    assert_eq!(passes(&bridged, "kettle", "desk"), BOTH);
    assert_eq!(passes(&bridged, "kettle", "dray.2"), BOTH);
}

/// A segment without any cable is a wire, also where another one has cables and no VLAN either.
#[test]
fn a_segment_without_cables_is_a_wire_beside_one_with_cables() {
    let rest = r#"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
[[hosts.lost.interfaces]]
segment = "office"
[[hosts.kettle.interfaces]]
segment = "brewhouse"
"#;
    let site = site(&[CABLED, rest]);
    assert_eq!(passes(&site, "desk", "edge.office"), BOTH);
    assert_eq!(passes(&site, "kettle", "edge.brewhouse"), BOTH);
    assert_eq!(passes(&site, "lost", "edge.office"), NEITHER);
}

/// A segment of which nothing is described is a wire too. A hostile device there sends frames as plain devices do.
#[test]
fn a_segment_that_nothing_describes_is_a_wire_for_plain_frames() {
    let site = site(&[CABLED]);
    let fabric = Fabric::new(&site);
    let brewhouse = Origin::Segment(SegmentId(1));
    let starts = hostile_starts(&fabric, brewhouse);
    let [Start::AttachPoint(_, frame)] = starts[..] else {
        panic!("{starts:?}");
    };
    assert_eq!(frame, Frame::of(None));
    // Only devices at its free ports are there, and they hear each other.
    assert!(Wiring::new(&fabric).hears(SegmentId(1), brewhouse));
}

/// RFC 5517, Table 1 and Figure 1, as far as isolated ports say it: isolated and promiscuous ports of one
/// switch. Communities are not expressible.
#[test]
fn isolated_and_promiscuous_ports_talk_as_published() {
    let rest = r#"
[switches.core.ports]
"p1" = { access = "office" }
"p2" = { access = "office" }
"i1" = { access = "office", isolated = true }
"i2" = { access = "office", isolated = true }
[routers.r.interfaces.office]
segment = "office"
port = "up"
[[hosts.spare.interfaces]]
segment = "office"
port = "core:p2"
[[hosts.a.interfaces]]
segment = "office"
port = "core:i1"
[[hosts.b.interfaces]]
segment = "office"
port = "core:i2"
[[links]]
ends = ["core:p1", "r:up"]
"#;
    let site = site(&[SEGMENTS, rest]);
    assert_eq!(passes(&site, "a", "b"), NEITHER, "isolated, isolated");
    assert_eq!(
        passes(&site, "a", "r.office"),
        BOTH,
        "isolated, promiscuous"
    );
    assert_eq!(
        passes(&site, "b", "r.office"),
        BOTH,
        "isolated, promiscuous"
    );
    assert_eq!(
        passes(&site, "r.office", "spare"),
        BOTH,
        "promiscuous, promiscuous"
    );
}

/// RFC 5517, Table 1, inter-switch row: in the isolated VLAN a trunk does not reach isolated ports. A plain
/// isolated port knows no isolated VLAN, so it does, unless the trunk is isolated as well.
#[test]
fn isolation_ends_at_the_switch_unless_the_trunk_is_isolated_too() {
    let switch = |name: &str, trunk: &str| {
        format!(
            r#"
[switches.{name}.ports]
"1" = {{ access = "office", isolated = true }}
"2" = {{ tagged = ["office"]{trunk} }}
[[hosts.at-{name}.interfaces]]
segment = "office"
port = "{name}:1"
"#
        )
    };
    let cable = "[[links]]\nends = [\"left:2\", \"right:2\"]\n";
    for (trunk, expected) in [("", BOTH), (", isolated = true", NEITHER)] {
        let [left, right] = ["left", "right"].map(|name| switch(name, trunk));
        let site = site(&[SEGMENTS, &left, &right, cable]);
        assert_eq!(passes(&site, "at-left", "at-right"), expected);
    }
}

/// A member of a LAG that has no cable is a live port with the LAG's VLANs; a LAG with no live cable is none.
#[test]
fn a_member_without_a_cable_is_a_place_to_plug_in() {
    let rest = |lacp: &str| {
        format!(
            r#"
[switches.core.lags.up]
ports = ["1", "2"]
lacp = "{lacp}"
[switches.core.ports]
"up" = {{ tagged = ["office"] }}
[[links]]
ends = ["edge:a", "core:1"]
"#
        )
    };
    for lacp in ["active", "static"] {
        let site = site(&[SEGMENTS, GATEWAY, &rest(lacp)]);
        assert!(from_port(&site, "2", &[10], "edge.office"), "{lacp}");
        assert!(!from_port(&site, "2", &[60], "edge.office"), "{lacp}");
    }
}

/// Of the cables of a LAG one leads to its partner, the other to the bundle of a third device: none forms.
#[test]
fn a_lag_that_is_split_to_two_devices_is_its_single_cables() {
    let rest = r#"
[switches.core.lags.up]
ports = ["1", "2"]
lacp = "active"
[switches.core.ports]
"up" = { tagged = ["office"] }
[switches.hall.lags.up]
ports = ["1", "2"]
lacp = "active"
[switches.hall.ports]
"up" = { tagged = ["office"] }
"3" = { access = "office" }
[[hosts.desk.interfaces]]
segment = "office"
port = "hall:3"
[[links]]
ends = ["core:1", "edge:a"]
[[links]]
ends = ["hall:up", "core:2"]
"#;
    let site = site(&[SEGMENTS, GATEWAY, rest]);
    assert_eq!(passes(&site, "desk", "edge.office"), BOTH);
}

/// The port of a switch, both by number.
fn port(fabric: &Fabric, switch: usize, at: usize) -> PortId {
    let name = PortName::Port(SwitchId(switch), at);
    let port = fabric.port_ids().find(|&id| fabric.port(id).name == name);
    port.expect("a live port")
}

/// A hub is a part of whatever its cable leads to: a free port is a place to plug in, and frames come out at the port
/// of the switch.
#[test]
fn a_hub_belongs_to_the_segment_of_its_cable() {
    let rest = r#"
[switches.core.ports]
"1" = { access = "office" }
"2" = { access = "brewhouse" }
[switches.hub]
vlan_aware = false
[switches.hub.ports]
"1" = {}
"2" = {}
"3" = {}
[[hosts.desk.interfaces]]
segment = "office"
port = "hub:2"
[[links]]
ends = ["core:1", "hub:1"]
"#;
    let site = site(&[SEGMENTS, rest]);
    let fabric = Fabric::new(&site);
    let kinds = [0, 1].map(|at| {
        let node = fabric.switch(SwitchId(at)).expect("a node of the switch");
        fabric.node(node).kind
    });
    let expected = [NodeKind::Aware(SwitchId(0)), NodeKind::Unaware(SwitchId(1))];
    assert_eq!(kinds, expected);
    let free = port(&fabric, 1, 2);
    let places = |segment: usize| {
        let mut places = fabric.attach_points(SegmentId(segment)).iter();
        places.any(|place| place.port == free && place.interface.is_none())
    };
    assert_eq!([0, 1].map(places), [true, false]);
    let sent = fabric.sent_by(interface(&site, &fabric, "desk"));
    let office = VlanId::new(10).expect("a VLAN");
    let taken = Arrival::Port(port(&fabric, 0, 0), Ok((office, Admitted::Pvid)));
    assert!(fabric.arrivals(&sent).contains(&taken));
}

/// A frame with two tags from a port of the VLAN that a trunk carries untagged: only who chooses its tags can do that.
#[test]
fn a_trunk_is_exposed_to_senders_that_choose_their_tags() {
    let rest = r#"
[switches.core.ports]
"1" = { access = "office" }
"2" = { untagged = "office", tagged = ["brewhouse"] }
"3" = { access = "brewhouse" }
"#;
    let site = site(&[SEGMENTS, rest]);
    let fabric = Fabric::new(&site);
    let [desk, trunk] = [0, 1].map(|at| port(&fabric, 0, at));
    let exposed = |frame| {
        let flood = flood(&fabric, &[Start::AttachPoint(desk, frame)]);
        let found = fabric.exposed(&flood).into_iter();
        found
            .map(|found| (found.port, found.vlan.get(), found.place))
            .collect::<Vec<_>>()
    };
    assert_eq!(exposed(Frame::HOSTILE), [(trunk, 10, desk)]);
    assert_eq!(exposed(Frame::UNTAGGED), []);
}

/// What a host that bridges sends by one of its interfaces leaves by that cable, though the addresses of all sit behind
/// the bridge.
#[test]
fn a_host_that_bridges_sends_by_the_cable_of_the_interface() {
    let rest = r#"
[switches.core.ports]
"1" = { access = "office" }
"2" = { access = "brewhouse" }
[hosts.dray]
forwards = "bridges"
[[hosts.dray.interfaces]]
segment = "office"
port = "core:1"
[[hosts.dray.interfaces]]
segment = "brewhouse"
port = "core:2"
"#;
    let site = site(&[SEGMENTS, rest]);
    let fabric = Fabric::new(&site);
    for (name, at) in [("dray.1", 0), ("dray.2", 1)] {
        let sent = fabric.sent_by(interface(&site, &fabric, name));
        assert_eq!(sent, [(port(&fabric, 0, at), Frame::UNTAGGED)], "{name}");
    }
}
