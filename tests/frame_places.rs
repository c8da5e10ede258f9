//! What a VLAN number means where, and where devices may stand: the simulator of single frames held to its own
//! definitions on sites of a few lines, each worked out by hand.

#[path = "support/frame_names.rs"]
mod frame_names;
#[path = "oracles/frames.rs"]
#[allow(dead_code, unused_imports, reason = "each test uses its part")]
mod frames;

use boundwalk::model::Site;

use frame_names::{group, groups, names, of_port, segment, site, spot, takers};
use frames::{Frames, Stance};

/// Segments of the brewery; two of them, in two buildings, have the number 10.
const SEGMENTS: &str = r#"
[zones.works]
trust = 60
[segments.office]
zone = "works"
vlan = 10
prefixes = ["10.44.10.0/24"]
[segments.depot-office]
zone = "works"
vlan = 10
prefixes = ["10.45.10.0/24"]
[segments.brewhouse]
zone = "works"
vlan = 60
prefixes = ["10.44.60.0/24"]
"#;

fn brewery(rest: &str) -> Site {
    site(&format!("{SEGMENTS}{rest}"))
}

/// Interfaces that devices of a segment reach as they are set up.
fn plain<'s>(site: &'s Site, from: &str) -> Vec<&'s str> {
    let frames = Frames::new(site);
    takers(
        site,
        &frames.reach_of_segment(segment(site, from), Stance::Configured),
    )
}

const NOBODY: [&str; 0] = [];

/// One switch in each building; what is plugged in, and which cables there are, is added.
const TWO_BUILDINGS: &str = r#"
[switches.core.ports]
"1" = { access = 10 }
"2" = { access = 10 }
"3" = { access = 10 }
[switches.shed.ports]
"1" = { access = 10 }
"2" = { access = 10 }
"3" = { access = 10 }
"#;

/// The desk of a building, plugged in at port 1.
fn desk(segment: &str, switch: &str) -> String {
    format!("[[hosts.at-{switch}.interfaces]]\nsegment = \"{segment}\"\nport = \"{switch}:1\"\n")
}

#[test]
fn a_number_that_two_segments_have_is_that_of_the_one_the_part_names() {
    let both = [
        TWO_BUILDINGS,
        &desk("office", "core"),
        &desk("depot-office", "shed"),
    ]
    .concat();
    let site = brewery(&both);
    let frames = Frames::new(&site);
    assert_eq!(of_port(&site, &frames, "core:3"), ["office"]);
    assert_eq!(of_port(&site, &frames, "shed:3"), ["depot-office"]);
    assert_eq!(plain(&site, "office"), ["at-core"]);
}

#[test]
fn a_number_in_a_part_that_names_nobody_is_that_of_those_nobody_names() {
    let one = [TWO_BUILDINGS, &desk("office", "core")].concat();
    let site = brewery(&one);
    let frames = Frames::new(&site);
    assert_eq!(of_port(&site, &frames, "core:3"), ["office"]);
    assert_eq!(
        of_port(&site, &frames, "shed:3"),
        ["depot-office"],
        "the one left over"
    );
    // Both are named in the first building: nothing is left for the second, and its ports are unclaimed.
    let other = "[[hosts.guest.interfaces]]\nsegment = \"depot-office\"\nport = \"core:2\"\n";
    let site = brewery(&format!("{one}{other}"));
    let frames = Frames::new(&site);
    assert_eq!(
        of_port(&site, &frames, "core:3"),
        ["office", "depot-office"]
    );
    assert_eq!(of_port(&site, &frames, "shed:3"), NOBODY);
    assert_eq!(groups(&site, frames.unclaimed()), ["shed 10: 1 2 3"]);
}

#[test]
fn a_number_that_nobody_names_is_that_of_all_who_have_it() {
    let site = brewery(TWO_BUILDINGS);
    let frames = Frames::new(&site);
    for port in ["core:3", "shed:3"] {
        assert_eq!(
            of_port(&site, &frames, port),
            ["office", "depot-office"],
            "{port}"
        );
    }
}

#[test]
fn a_number_that_one_segment_has_is_its_own_everywhere() {
    let rest = r#"
[switches.core.ports]
"1" = { access = 60 }
[switches.shed.ports]
"1" = { access = 60 }
[[hosts.kettle.interfaces]]
segment = "brewhouse"
port = "core:1"
"#;
    let site = brewery(rest);
    let frames = Frames::new(&site);
    assert_eq!(
        of_port(&site, &frames, "shed:1"),
        ["brewhouse"],
        "named elsewhere only"
    );
}

/// Cables that carry frames join: one to a disabled port does not, a switch without VLANs and a host that bridges
/// do, a gateway and a host that routes do not.
#[test]
fn parts_are_joined_by_live_cables_and_by_what_passes_frames_on() {
    let desks = [desk("office", "core"), desk("depot-office", "shed")].concat();
    let cases = [
        ("[[links]]\nends = [\"core:2\", \"shed:2\"]\n", true),
        (
            "[switches.hub]\nvlan_aware = false\n[switches.hub.ports]\n\"1-2\" = {}\n\
          [[links]]\nends = [\"core:2\", \"hub:1\"]\n[[links]]\nends = [\"hub:2\", \"shed:2\"]\n",
            true,
        ),
        (
            "[switches.hub]\nvlan_aware = false\n[switches.hub.ports]\n\"1\" = {}\n\"2\" = { enabled = false }\n\
          [[links]]\nends = [\"core:2\", \"hub:1\"]\n[[links]]\nends = [\"hub:2\", \"shed:2\"]\n",
            false,
        ),
        (
            "[hosts.box]\nforwards = \"bridges\"\n[[hosts.box.interfaces]]\nsegment = \"office\"\nport = \"core:2\"\n\
          [[hosts.box.interfaces]]\nsegment = \"depot-office\"\nport = \"shed:2\"\n",
            true,
        ),
        (
            "[hosts.box]\nforwards = \"routes\"\n[[hosts.box.interfaces]]\nsegment = \"office\"\nport = \"core:2\"\n\
          [[hosts.box.interfaces]]\nsegment = \"depot-office\"\nport = \"shed:2\"\n",
            false,
        ),
        (
            "[gateways.edge]\ndefault = \"deny\"\n[gateways.edge.interfaces.a]\nsegment = \"office\"\nport = \"1\"\n\
          [gateways.edge.interfaces.b]\nsegment = \"depot-office\"\nport = \"2\"\n\
          [[links]]\nends = [\"core:2\", \"edge:1\"]\n[[links]]\nends = [\"edge:2\", \"shed:2\"]\n",
            false,
        ),
    ];
    for (tree_edge, one_part) in cases {
        let site = brewery(&[TWO_BUILDINGS, &desks, tree_edge].concat());
        let frames = Frames::new(&site);
        let expected: &[&str] = if one_part {
            &["office", "depot-office"]
        } else {
            &["office"]
        };
        assert_eq!(of_port(&site, &frames, "core:3"), expected, "{tree_edge}");
        let hears = plain(&site, "office").contains(&"at-shed");
        assert_eq!(hears, one_part, "{tree_edge}");
    }
}

#[test]
fn an_interface_without_a_cable_is_in_the_parts_where_its_segment_lives() {
    let wireless = "[[hosts.laptop.interfaces]]\nsegment = \"office\"\nvlan = 10\n";
    let both = [
        TWO_BUILDINGS,
        &desk("office", "core"),
        &desk("depot-office", "shed"),
        wireless,
    ]
    .concat();
    let site = brewery(&both);
    assert_eq!(plain(&site, "office"), ["at-core", "laptop"]);
    assert_eq!(plain(&site, "depot-office"), ["at-shed"]);
    // Where one segment alone has the number, its wire joins both buildings.
    let alone = "[switches.core.ports]\n\"1\" = { access = 60 }\n[switches.shed.ports]\n\"1\" = { tagged = [60] }\n\
                 [switches.attic.ports]\n\"1\" = { access = 10 }\n\"2\" = { pvid = 60, accept = \"untagged\" }\n\
                 [[hosts.kettle.interfaces]]\nsegment = \"brewhouse\"\nport = \"core:1\"\n\
                 [[hosts.scales.interfaces]]\nsegment = \"brewhouse\"\nport = \"shed:1\"\nvlan = 60\n\
                 [[hosts.tablet.interfaces]]\nsegment = \"brewhouse\"\n";
    let site = brewery(alone);
    assert_eq!(plain(&site, "brewhouse"), ["kettle", "scales", "tablet"]);
    let frames = Frames::new(&site);
    // A switch in whose member sets the VLAN is not is not joined, also where untagged frames take it.
    let attic = frames.reach_of_group(group(2, None));
    assert_eq!(takers(&site, &attic), NOBODY);
    assert_eq!(of_port(&site, &frames, "attic:2"), ["brewhouse"]);
}

/// Where no cable is described, a tag is nobody's business, that of a bridge neither: the interface is on its segment.
#[test]
fn a_bridge_without_a_cable_is_on_its_segment_whatever_its_tag() {
    let rest = "[switches.core.ports]\n\"1\" = { access = 60 }\n\"2\" = { access = 77 }\n\
                [hosts.box]\nforwards = \"bridges\"\n\
                [[hosts.box.interfaces]]\nsegment = \"brewhouse\"\nvlan = 60\n\
                [[hosts.box.interfaces]]\nsegment = \"brewhouse\"\nport = \"core:2\"\n\
                [[hosts.kettle.interfaces]]\nsegment = \"brewhouse\"\nport = \"core:1\"\n";
    let site = brewery(rest);
    assert_eq!(plain(&site, "brewhouse"), ["box", "kettle"]);
    let frames = Frames::new(&site);
    let kettle = frames.send(spot(&site, "core:1"), &[]);
    let out: Vec<_> = kettle
        .left
        .keys()
        .filter(|(at, _)| *at == spot(&site, "core:2"))
        .collect();
    assert_eq!(
        out.len(),
        0,
        "the bridge sends it into VLAN 77, of which core:2 is the only port"
    );
    assert_eq!(kettle.interfaces.len(), 2, "both addresses of the bridge");
}

/// A port that carries a segment's VLAN with a tag is a place of it: a device there takes frames with that tag.
#[test]
fn a_device_on_a_tagged_port_takes_frames_of_an_unclaimed_one() {
    let rest = "[switches.core.ports]\n\"1\" = {}\n\"2\" = { tagged = [60] }\n\"3\" = { enabled = false }\n";
    let site = brewery(rest);
    let frames = Frames::new(&site);
    let brewhouse = segment(&site, "brewhouse");
    let reach = frames.reach_of_group(group(0, Some(1)));
    assert_eq!(
        names(&site, frames.segments_that_take(&reach)),
        ["brewhouse"]
    );
    assert!(!frames.apart_from_unclaimed(brewhouse));
    let out = frames.reach_of_segment(brewhouse, Stance::Hostile);
    assert_eq!(
        groups(&site, frames.unclaimed_that_hear(&out)),
        NOBODY,
        "one way only"
    );
}

/// A segment that no switch carries is a wire of its own, with all that is on it.
#[test]
fn a_segment_that_no_switch_carries_is_a_wire() {
    let rest = "[[hosts.kettle.interfaces]]\nsegment = \"brewhouse\"\n\
                [[hosts.scales.interfaces]]\nsegment = \"brewhouse\"\nvlan = 60\n\
                [hosts.box]\nforwards = \"bridges\"\n[[hosts.box.interfaces]]\nsegment = \"brewhouse\"\n\
                [[hosts.box.interfaces]]\nsegment = \"depot-office\"\n\
                [[hosts.shelf.interfaces]]\nsegment = \"depot-office\"\n\
                [[hosts.desk.interfaces]]\nsegment = \"office\"\n";
    let site = brewery(rest);
    assert_eq!(
        plain(&site, "brewhouse"),
        ["box", "kettle", "scales", "shelf"]
    );
    assert_eq!(
        plain(&site, "office"),
        ["desk"],
        "other plain devices are there"
    );
}

/// A place is of each segment whose frames it takes in with a tag or without; by what it puts out alone it is
/// of none, and hears all the same.
#[test]
fn a_place_is_of_the_segments_whose_frames_it_takes_in() {
    let rest = r#"
[switches.core.ports]
"1" = { access = 60 }
"2" = { pvid = 1, untagged = [60], accept = "untagged" }
"3" = { pvid = 1, untagged = [60] }
"4" = { pvid = "none", tagged = [99] }
"5" = { untagged = 60, tagged = [99] }
"6" = { tagged = [60, 99] }
"7" = { pvid = 60, accept = "tagged", ingress_filter = true }
"8" = { enabled = false }
"9" = {}
"10" = { pvid = 99 }
[switches.spare]
vlan_aware = false
[switches.spare.ports]
"1-2" = {}
[[hosts.kettle.interfaces]]
segment = "brewhouse"
port = "core:10"
[routers.r.interfaces.a]
segment = "brewhouse"
port = "1"
[[links]]
ends = ["core:9", "r:1"]
"#;
    let site = brewery(rest);
    let frames = Frames::new(&site);
    for port in ["1", "3", "5", "6", "10"] {
        let port = format!("core:{port}");
        assert_eq!(of_port(&site, &frames, &port), ["brewhouse"], "{port}");
    }
    assert_eq!(
        groups(&site, frames.unclaimed()),
        ["core none: 4 7", "core 1: 2", "spare none: 1 2"],
        "a disabled port and that of a router are no places"
    );
    let brewhouse = segment(&site, "brewhouse");
    let out = frames.reach_of_segment(brewhouse, Stance::Configured);
    let heard = frames.unclaimed_that_hear(&out);
    assert_eq!(
        groups(&site, heard),
        ["core none: 4", "core 1: 2"],
        "the kettle, at a wrong port, sends in VLAN 99"
    );
    let deaf = frames.reach_of_group(group(1, None));
    assert_eq!(names(&site, frames.segments_that_hear(&deaf)), NOBODY);
    let groups = frames.unclaimed_that_hear(&deaf);
    assert_eq!(
        groups.len(),
        1,
        "the other port of the switch that knows no VLANs"
    );
}

/// A member of a LAG counts by itself where it has no cable.
#[test]
fn a_lag_is_no_place_and_its_loose_members_are() {
    let rest = r#"
[switches.core.lags.up]
ports = ["1", "2"]
lacp = "static"
[switches.core.ports]
"up" = { tagged = [60] }
[switches.shed.lags.up]
ports = ["1", "2"]
lacp = "active"
[switches.shed.ports]
"up" = { tagged = [77] }
[[links]]
ends = ["core:1", "shed:1"]
"#;
    let site = brewery(rest);
    let frames = Frames::new(&site);
    assert_eq!(of_port(&site, &frames, "core:2"), ["brewhouse"]);
    assert_eq!(groups(&site, frames.unclaimed()), ["shed none: 2"]);
    assert_eq!(
        of_port(&site, &frames, "core:1"),
        NOBODY,
        "a cable to a switch"
    );
}
