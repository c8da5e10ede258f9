//! Small sites where layer 2 decides, each worked out by hand: does the simulator of single frames say the same?
//!
//! What is so stands at the top of each file of `tests/cases/`.

#[path = "oracles/frames.rs"]
#[allow(dead_code, unused_imports, reason = "each test uses its part")]
mod frames;

use std::collections::BTreeSet;

use boundwalk::load::load_text;
use boundwalk::model::{SegmentId, Site, VlanId};

use frames::{Foot, Frames, Group, Reach, Spot, Stance};

/// A site of `tests/cases/`.
fn case(name: &str) -> Site {
    let path = format!("{}/tests/cases/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    site(&std::fs::read_to_string(&path).expect(&path))
}

fn site(text: &str) -> Site {
    let loaded = load_text("case", text);
    let problems = format!("{:#?}\n{text}", loaded.problems);
    loaded.site.expect(&problems)
}

/// The place of a port, as in `core:3`.
fn spot(site: &Site, name: &str) -> Spot {
    let (switch, port) = name.split_once(':').expect("a switch and a port");
    let mut switches = site.switches.iter();
    let number = switches.position(|known| known.name.value == switch);
    let number = number.expect(name);
    Spot::Port(number, site.switches[number].port(port).expect(name))
}

fn segment(site: &Site, name: &str) -> SegmentId {
    let mut ids = site.segment_ids();
    ids.find(|&id| site.segment(id).name.value == name)
        .expect(name)
}

/// Names of segments.
fn names(site: &Site, segments: impl IntoIterator<Item = SegmentId>) -> Vec<&str> {
    let names = segments
        .into_iter()
        .map(|id| site.segment(id).name.value.as_str());
    names.collect()
}

/// A group by switch and VLAN, with its ports.
fn groups(site: &Site, found: impl IntoIterator<Item = (Group, BTreeSet<Spot>)>) -> Vec<String> {
    let shown = found.into_iter().map(|((switch, vlan), spots)| {
        let ports = spots.iter().map(|spot| match *spot {
            Spot::Port(_, port) => site.switches[switch].ports[port].name.value.as_str(),
            _ => "?",
        });
        let ports: Vec<&str> = ports.collect();
        let vlan = vlan.map_or("none".to_owned(), |vlan| vlan.to_string());
        format!(
            "{} {vlan}: {}",
            site.switches[switch].name.value,
            ports.join(" ")
        )
    });
    shown.collect()
}

/// Names of devices that take frames.
fn takers<'s>(site: &'s Site, reach: &Reach) -> Vec<&'s str> {
    let devices = reach.feet.iter().map(|foot| match *foot {
        Foot::Router(router, _) => site.routers[router].name.value.as_str(),
        Foot::Host(host, _) => site.hosts[host].name.value.as_str(),
    });
    let devices: BTreeSet<&str> = devices.collect();
    devices.into_iter().collect()
}

/// The group of switch number 0 or 1 in a VLAN.
fn group(switch: usize, vlan: u16) -> Group {
    (switch, VlanId::new(vlan))
}

/// Segments of the places of a port.
fn of_port<'s>(site: &'s Site, frames: &Frames<'_>, port: &str) -> Vec<&'s str> {
    let spot = spot(site, port);
    let seats = frames.all_seats().iter().filter(|seat| seat.1 == spot);
    let segments: BTreeSet<SegmentId> = seats.map(|seat| seat.0).collect();
    names(site, segments)
}

#[test]
fn a_device_at_an_unused_port_sends_the_tag_of_management() {
    for name in ["unused-port-filter-off", "unused-port-empty"] {
        let site = case(name);
        let frames = Frames::new(&site);
        assert_eq!(groups(&site, frames.unclaimed()), ["core 1: 3"], "{name}");
        let reach = frames.from_group(group(0, 1));
        assert_eq!(takers(&site, &reach), ["console", "desk", "edge"], "{name}");
        let into = frames.segments_that_take(&reach);
        assert_eq!(names(&site, into), ["office", "management"], "{name}");
        for from in ["office", "management"] {
            let id = segment(&site, from);
            let out = frames.from_segment(id, Stance::Hostile);
            let heard = frames.unclaimed_that_hear(&out);
            assert_eq!(
                groups(&site, heard),
                [""; 0],
                "{name}: {from} comes out at core:3"
            );
            assert!(!frames.apart_from_unclaimed(id), "{name}: {from}");
        }
    }
}

#[test]
fn a_port_in_the_offices_vlan_is_the_offices() {
    let site = case("unused-port-pvid-10");
    let frames = Frames::new(&site);
    assert_eq!(groups(&site, frames.unclaimed()), [""; 0]);
    assert_eq!(of_port(&site, &frames, "core:3"), ["office"]);
    let office = segment(&site, "office");
    let hostile = frames.from_segment(office, Stance::Hostile);
    assert!(takers(&site, &hostile).contains(&"console"));
    let plain = frames.from_segment(office, Stance::Configured);
    assert_eq!(takers(&site, &plain), ["desk", "edge"]);
    let back = frames.from_segment(segment(&site, "management"), Stance::Hostile);
    assert_eq!(takers(&site, &back), [""; 0], "one way only");
}

#[test]
fn a_priority_tag_hides_another_from_ports_in_vlan_1() {
    let site = case("vlan1-everywhere");
    let frames = Frames::new(&site);
    assert_eq!(
        groups(&site, frames.unclaimed()),
        ["core 1: 5", "cellar 1: 7"]
    );
    let reach = frames.from_group(group(0, 1));
    assert_eq!(takers(&site, &reach), ["cellar-console", "cellar-desk"]);
    assert_eq!(
        groups(&site, frames.unclaimed_that_hear(&reach)),
        ["cellar 1: 7"]
    );
    let reach = frames.from_group(group(1, 1));
    assert_eq!(takers(&site, &reach), ["console", "desk", "edge"]);
    assert_eq!(
        groups(&site, frames.unclaimed_that_hear(&reach)),
        ["core 1: 5"]
    );
    for from in ["office", "management"] {
        let out = frames.from_segment(segment(&site, from), Stance::Hostile);
        let into = frames.segments_that_hear(&out);
        assert_eq!(names(&site, into), [from], "its frames stay in its VLAN");
        assert_eq!(groups(&site, frames.unclaimed_that_hear(&out)), [""; 0]);
        assert!(!frames.apart_from_unclaimed(segment(&site, from)));
    }
    // The frame itself: a priority tag, 90 below it.
    let trip = frames.send(spot(&site, "core:5"), &[0, 90]);
    assert_eq!(trip.feet.len(), 1);
    let trip = frames.send(spot(&site, "core:5"), &[1, 90]);
    assert!(trip.feet.is_empty(), "tagged frames are not let in");
}

#[test]
fn one_number_in_two_buildings_is_two_vlans() {
    for name in ["twin-vlan", "twin-vlan-2"] {
        let site = case(name);
        let frames = Frames::new(&site);
        assert_eq!(groups(&site, frames.unclaimed()), [""; 0], "{name}");
        assert_eq!(of_port(&site, &frames, "core:1"), ["office"], "{name}");
        assert_eq!(
            of_port(&site, &frames, "shed:1"),
            ["depot-office"],
            "{name}"
        );
        for (from, reached) in [
            ("office", ["desk", "edge"]),
            ("depot-office", ["depot-desk", "depot-edge"]),
        ] {
            let out = frames.from_segment(segment(&site, from), Stance::Hostile);
            assert_eq!(takers(&site, &out), reached, "{name}");
            assert_eq!(
                names(&site, frames.segments_that_hear(&out)),
                [from],
                "{name}"
            );
        }
    }
}

#[test]
fn isolated_ports_keep_a_two_tag_frame_from_the_trunk() {
    let site = case("isolated-ports");
    let frames = Frames::new(&site);
    assert_eq!(groups(&site, frames.unclaimed()), [""; 0]);
    for (from, port) in [("office", "core:1"), ("servers", "cellar:2")] {
        assert_eq!(of_port(&site, &frames, port), [from]);
        let out = frames.from_segment(segment(&site, from), Stance::Hostile);
        assert_eq!(out, Reach::default(), "{from}");
    }
    // Were the trunk not isolated, a priority tag would hide the tag of the servers.
    let mut open = site.clone();
    open.switches[0].ports[1].isolated = false;
    let frames = Frames::new(&open);
    let out = frames.from_segment(segment(&open, "office"), Stance::Hostile);
    assert_eq!(names(&open, frames.segments_that_take(&out)), ["servers"]);
}

#[test]
fn a_switch_that_knows_no_vlans_joins_two() {
    for (name, both, from, to, free) in [
        (
            "hub",
            ["office", "servers"],
            "desk",
            "files",
            ["hub:3", "hub:4"],
        ),
        (
            "dumb-switch",
            ["office", "brewhouse"],
            "desk",
            "mash-tun",
            ["stairs:3", "stairs:5"],
        ),
    ] {
        let site = case(name);
        let frames = Frames::new(&site);
        assert_eq!(groups(&site, frames.unclaimed()), [""; 0], "{name}");
        for port in free {
            assert_eq!(of_port(&site, &frames, port), both, "{name}");
        }
        for (segment_of, hears) in [(both[0], to), (both[1], from)] {
            let out = frames.from_segment(segment(&site, segment_of), Stance::Configured);
            assert!(takers(&site, &out).contains(&hears), "{name}: {segment_of}");
            assert_eq!(
                names(&site, frames.segments_that_take(&out)),
                both,
                "{name}"
            );
        }
    }
}
