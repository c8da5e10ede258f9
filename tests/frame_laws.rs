//! The simulator of single frames on random fabrics: what must hold whatever a site looks like, and whether the
//! sites show what they are drawn for.

#[path = "support/fabric_features.rs"]
mod fabric_features;
#[path = "oracles/frames.rs"]
#[allow(dead_code, unused_imports, reason = "each test uses its part")]
mod frames;
#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/random_fabric.rs"]
mod random_fabric;
#[path = "support/seeds.rs"]
mod seeds;

use std::collections::BTreeSet;

use boundwalk::load::load_text;
use boundwalk::model::{SegmentId, Site};

use fabric_features::Features;
use frames::{Frames, Group, Spot, Stance, WiredInterface};
use random_fabric::{loose_fabric, random_fabric};
use seeds::seeds;

/// Random sites that a usual run looks at.
const SITES: u64 = 200;

fn site(text: &str) -> Site {
    let loaded = load_text("drawn", text);
    let problems = loaded.problems;
    loaded
        .site
        .unwrap_or_else(|| panic!("{problems:#?}\n{text}"))
}

/// A fabric of each kind.
fn texts(seed: u64) -> [String; 2] {
    [random_fabric(seed), loose_fabric(seed)]
}

#[test]
fn random_fabrics_show_what_they_are_drawn_for() {
    let mut features = Features::default();
    for seed in seeds(SITES) {
        features.count(&Frames::new(&site(&random_fabric(seed))));
    }
    features.assert_all(seeds(SITES).count());
}

/// Every live port of a switch has a live cable to something that passes frames on, or to a gateway or router, or to
/// a dead port, or is a place of a segment, or is in exactly one unclaimed group.
#[test]
fn every_live_port_is_accounted_for() {
    let (mut claimed, mut unclaimed, mut cabled) = (0, 0, 0);
    for text in seeds(SITES).flat_map(texts) {
        let site = site(&text);
        let frames = Frames::new(&site);
        let attach_points: BTreeSet<Spot> = frames
            .all_seats()
            .iter()
            .map(|attach_point| attach_point.1)
            .collect();
        let groups: Vec<Spot> = frames.unclaimed().into_values().flatten().collect();
        for spot in frames.spots() {
            let times = groups.iter().filter(|&&known| known == spot).count();
            let place = frames.places().contains(&spot);
            match (attach_points.contains(&spot), times) {
                (true, 0) => claimed += 1,
                (false, 1) => {
                    assert!(place && frames.at(spot).is_empty(), "{spot:?}\n{text}");
                    unclaimed += 1;
                }
                (false, 0) => {
                    // A port that no device can stand at, or one of a host that bridges or of a segment's wire.
                    let inside = !matches!(spot, Spot::Port(..) | Spot::Lag(..));
                    assert!(inside || !place, "{spot:?}\n{text}");
                    cabled += 1;
                }
                found => panic!("{spot:?}: {found:?}\n{text}"),
            }
        }
    }
    assert!(
        500 < claimed && 200 < unclaimed && 500 < cabled,
        "too tame: {claimed}, {unclaimed}, {cabled}"
    );
}

/// What all on a site see: who takes frames of each segment and group, and which segments and groups hear them.
type View = Vec<(
    BTreeSet<WiredInterface>,
    BTreeSet<SegmentId>,
    BTreeSet<SegmentId>,
    BTreeSet<Group>,
)>;

fn view(frames: &Frames<'_>, segments: usize) -> View {
    let stances = [Stance::Configured, Stance::Hostile];
    let senders = (0..segments)
        .map(SegmentId)
        .flat_map(|id| stances.map(|stance| frames.reach_of_segment(id, stance)));
    let groups = frames.unclaimed();
    let unclaimed = groups.values().map(|places| frames.hostile_at(places));
    let all = senders.chain(unclaimed).map(|reach| {
        let hears = frames.unclaimed_that_hear(&reach).into_keys().collect();
        let takes = frames.segments_that_take(&reach);
        let all = frames.segments_that_hear(&reach);
        (reach.interfaces, takes, all, hears)
    });
    all.collect()
}

#[test]
fn a_hostile_device_reaches_what_a_plain_one_reaches() {
    let mut more = 0;
    for text in seeds(SITES).flat_map(texts) {
        let site = site(&text);
        let view = view(&Frames::new(&site), site.segments.len());
        for pair in view[..2 * site.segments.len()].chunks(2) {
            let (plain, hostile) = (&pair[0], &pair[1]);
            let less = plain.0.is_subset(&hostile.0)
                && plain.1.is_subset(&hostile.1)
                && plain.2.is_subset(&hostile.2)
                && plain.3.is_subset(&hostile.3);
            assert!(less, "{plain:?}\n{hostile:?}\n{text}");
            assert!(hostile.1.is_subset(&hostile.2), "{hostile:?}\n{text}");
            more += usize::from(plain != hostile);
        }
    }
    assert!(100 < more, "too tame: {more}");
}

/// A building that no cable joins, with the same VLAN numbers on segments of its own, changes nothing here, as long as
/// each part names what is in it.
#[test]
fn a_building_that_no_cable_joins_changes_nothing() {
    let mut compared = 0;
    for text in seeds(SITES).map(random_fabric) {
        let site_before = site(&text);
        let numbers = site_before
            .segments
            .iter()
            .filter_map(|segment| segment.vlan);
        let mut matched = text.clone();
        let mut named = true;
        for vlan in numbers.map(|vlan| vlan.value.get()) {
            let own = format!(
                "[segments.far{vlan}]\nzone = \"z\"\nvlan = {vlan}\nprefixes = [\"10.9.{vlan}.0/24\"]\n\
                 [switches.far{vlan}.ports]\n\"1-2\" = {{ access = {vlan} }}\n\
                 [[hosts.kettle{vlan}.interfaces]]\nsegment = \"far{vlan}\"\nport = \"far{vlan}:1\"\n"
            );
            // Two segments with one number already are no twin of one.
            named &= !matched.contains(&format!("[segments.far{vlan}]"));
            matched += &own;
        }
        if !named {
            continue;
        }
        let site_after = site(&matched);
        let [before, after] = [&site_before, &site_after].map(Frames::new);
        let known = site_before.segments.len();
        let nameless = |frames: &Frames<'_>| {
            (0..site_before.switches.len()).any(|switch| {
                let mut owners = (0..known)
                    .map(SegmentId)
                    .filter_map(|id| site_before.segment(id).vlan)
                    .map(|vlan| frames.segments_of(switch, vlan.value));
                owners.any(|owners| owners.is_empty())
            })
        };
        if nameless(&after) {
            // A part that names nobody: what it is then depends on who else is there.
            continue;
        }
        assert_eq!(view(&before, known), view(&after, known), "{text}");
        compared += 1;
    }
    assert!(30 < compared, "too tame: {compared}");
}

/// A disabled port more changes nothing; a live one takes nothing away.
#[test]
fn one_more_port_takes_nothing_away() {
    let mut more = 0;
    for text in seeds(SITES).flat_map(texts) {
        let site = site(&text);
        let old = Frames::new(&site);
        for enabled in [false, true] {
            let mut grown = site.clone();
            let mut port = grown.switches[0].ports[0].clone();
            let lags = &grown.switches[0].lags;
            port.vlans.get_or_insert_with(|| lags[0].vlans.clone());
            port.name.value = "spare".to_owned();
            (port.enabled, port.isolated) = (enabled, false);
            grown.switches[0].ports.push(port);
            let new = Frames::new(&grown);
            for id in site.segment_ids() {
                let [before, after] =
                    [&old, &new].map(|frames| frames.reach_of_segment(id, Stance::Hostile));
                if enabled {
                    assert!(before.interfaces.is_subset(&after.interfaces), "{text}");
                } else {
                    assert_eq!(before, after, "{text}");
                }
                more += usize::from(before != after);
            }
        }
    }
    assert!(100 < more, "too tame: {more}");
}
