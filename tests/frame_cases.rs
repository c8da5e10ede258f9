//! Small sites where layer 2 decides, each worked out by hand: does the simulator of single frames say the same?
//!
//! What is so stands at the top of each file of `tests/cases/`.

#[path = "support/frame_names.rs"]
mod frame_names;
#[path = "oracles/frames.rs"]
#[allow(dead_code, unused_imports, reason = "each test uses its part")]
mod frames;

use boundwalk::model::Site;

use frame_names::{group, groups, names, of_port, segment, site, spot, takers};
use frames::{Frames, Reach, Stance};

/// A site of `tests/cases/`.
fn case(name: &str) -> Site {
    let path = format!("{}/tests/cases/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    site(&std::fs::read_to_string(&path).expect(&path))
}

#[test]
fn a_device_at_an_unused_port_sends_the_tag_of_management() {
    for name in ["unused-port-filter-off", "unused-port-empty"] {
        let site = case(name);
        let frames = Frames::new(&site);
        assert_eq!(groups(&site, frames.unclaimed()), ["core 1: 3"], "{name}");
        let reach = frames.reach_of_group(group(0, Some(1)));
        assert_eq!(takers(&site, &reach), ["console", "desk", "edge"], "{name}");
        let into = frames.segments_that_take(&reach);
        assert_eq!(names(&site, into), ["office", "management"], "{name}");
        for from in ["office", "management"] {
            let id = segment(&site, from);
            let out = frames.reach_of_segment(id, Stance::Hostile);
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
    let hostile = frames.reach_of_segment(office, Stance::Hostile);
    assert!(takers(&site, &hostile).contains(&"console"));
    let plain = frames.reach_of_segment(office, Stance::Configured);
    assert_eq!(takers(&site, &plain), ["desk", "edge"]);
    let back = frames.reach_of_segment(segment(&site, "management"), Stance::Hostile);
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
    let reach = frames.reach_of_group(group(0, Some(1)));
    assert_eq!(takers(&site, &reach), ["cellar-console", "cellar-desk"]);
    assert_eq!(
        groups(&site, frames.unclaimed_that_hear(&reach)),
        ["cellar 1: 7"]
    );
    let reach = frames.reach_of_group(group(1, Some(1)));
    assert_eq!(takers(&site, &reach), ["console", "desk", "edge"]);
    assert_eq!(
        groups(&site, frames.unclaimed_that_hear(&reach)),
        ["core 1: 5"]
    );
    for from in ["office", "management"] {
        let out = frames.reach_of_segment(segment(&site, from), Stance::Hostile);
        let into = frames.segments_that_hear(&out);
        assert_eq!(names(&site, into), [from], "its frames stay in its VLAN");
        assert_eq!(groups(&site, frames.unclaimed_that_hear(&out)), [""; 0]);
        assert!(!frames.apart_from_unclaimed(segment(&site, from)));
    }
    // The frame itself: a priority tag, 90 below it.
    let trip = frames.send(spot(&site, "core:5"), &[0, 90]);
    assert_eq!(trip.interfaces.len(), 1);
    let trip = frames.send(spot(&site, "core:5"), &[1, 90]);
    assert!(trip.interfaces.is_empty(), "tagged frames are not let in");
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
            let out = frames.reach_of_segment(segment(&site, from), Stance::Hostile);
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
        let out = frames.reach_of_segment(segment(&site, from), Stance::Hostile);
        assert_eq!(out, Reach::default(), "{from}");
    }
    // Were the trunk not isolated, a priority tag would hide the tag of the servers.
    let mut open = site.clone();
    open.switches[0].ports[1].isolated = false;
    let frames = Frames::new(&open);
    let out = frames.reach_of_segment(segment(&open, "office"), Stance::Hostile);
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
            let out = frames.reach_of_segment(segment(&site, segment_of), Stance::Configured);
            assert!(takers(&site, &out).contains(&hears), "{name}: {segment_of}");
            assert_eq!(
                names(&site, frames.segments_that_take(&out)),
                both,
                "{name}"
            );
        }
    }
}
