//! Does the flood through a fabric bring frames where a slow, obvious simulator of single frames brings them?
//!
//! Small random sites; frames from every interface, and from every place with every stack of two tags at
//! most. Who takes a frame and where it leaves must be equal both ways, none missing and none too many; a
//! hostile device is all its single frames; every way that is shown must be one that a frame goes.

#[path = "support/fabric_checks.rs"]
mod fabric_checks;
#[path = "support/fabric_growth.rs"]
mod fabric_growth;
#[path = "support/fabric_seen.rs"]
mod fabric_seen;
#[path = "oracles/frames.rs"]
#[allow(dead_code, unused_imports, reason = "each test uses its part")]
mod frames;
#[path = "support/loose_checks.rs"]
mod loose_checks;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/random_fabric.rs"]
mod random_fabric;
#[path = "support/seeds.rs"]
mod seeds;

use boundwalk::load::load_text;
use boundwalk::model::Site;

use fabric_checks::Checks;
use fabric_seen::Seen;
use random_fabric::{loose_fabric, random_fabric};
use seeds::seeds;

/// Random sites that a usual run looks at.
const SITES: u64 = 300;

fn site(seed: u64, text: &str) -> Site {
    let loaded = load_text("drawn", text);
    let problems = loaded.problems;
    loaded
        .site
        .unwrap_or_else(|| panic!("seed {seed}: {problems:#?}\n{text}"))
}

/// Runs one check over all sites, and fails with the shortest site that differs.
fn over_all_sites(check: impl Fn(&mut Checks<'_>)) -> Seen {
    let mut seen = Seen::default();
    let mut wrong: Option<(String, String)> = None;
    let mut count = 0;
    for seed in seeds(SITES) {
        let text = random_fabric(seed);
        let site = site(seed, &text);
        let mut checks = Checks::new(&site);
        check(&mut checks);
        seen.add(&checks.seen);
        if let Some(first) = checks.wrong.first() {
            count += 1;
            if wrong
                .as_ref()
                .is_none_or(|(known, _)| text.len() < known.len())
            {
                wrong = Some((text, format!("seed {seed}: {first}")));
            }
        }
    }
    if let Some((text, first)) = wrong {
        panic!("{count} sites differ; the shortest:\n{text}\n{first}");
    }
    seen
}

#[test]
fn single_frames_go_where_the_simulator_brings_them() {
    let seen = over_all_sites(|checks| checks.single_frames());
    seen.assert_varied();
}

#[test]
fn a_hostile_device_is_all_its_single_frames() {
    let seen = over_all_sites(|checks| checks.hostile_frames());
    assert!(1000 < seen.taken && 1000 < seen.left, "too tame: {seen:?}");
}

#[test]
fn seats_are_where_devices_of_the_segment_can_sit() {
    let seen = over_all_sites(|checks| checks.attach_points());
    assert!(500 < seen.named && 500 < seen.vacant, "too tame: {seen:?}");
}

/// Interfaces without a cable are where their segment lives: with each other, and at the switches that carry its VLAN
/// there.
#[test]
fn loose_interfaces_meet_whom_the_simulator_brings_them_to() {
    let mut seen = 0;
    let mut wrong: Vec<(String, String)> = Vec::new();
    for seed in seeds(SITES) {
        let text = loose_fabric(seed);
        let (difference, loose) = loose_checks::differences(&site(seed, &text));
        seen += loose;
        wrong.extend(difference.map(|what| (text, format!("seed {seed}: {what}"))));
    }
    wrong.sort_by_key(|(text, _)| text.len());
    if let Some((text, what)) = wrong.first() {
        panic!(
            "{} sites differ; the shortest:\n{text}\n{what}",
            wrong.len()
        );
    }
    assert!(500 < seen, "too tame: {seen}");
}

/// One more tagged VLAN on a port takes nothing away: what was relayed is relayed still, and no place reads
/// a frame's tags otherwise than before.
#[test]
fn one_more_tagged_vlan_never_ends_a_delivery() {
    let mut grown = 0;
    let mut more = 0;
    for seed in seeds(SITES) {
        let text = random_fabric(seed);
        let old = site(seed, &text);
        for (what, new) in fabric_growth::with_one_more_tagged(&old) {
            let (lost, gained) = fabric_growth::compared(&old, &new);
            assert_eq!(lost, [], "seed {seed}, {what}\n{text}");
            grown += 1;
            more += usize::from(gained);
        }
    }
    assert!(500 < grown && 50 < more, "too tame: {grown}, {more}");
}

/// The same seed gives the same site: a failure can be looked at again.
#[test]
fn random_fabrics_repeat() {
    assert_eq!(random_fabric(3), random_fabric(3));
    assert_ne!(random_fabric(3), random_fabric(4));
}
