//! On random fabrics: is a certificate of isolation closed under what ports do with frames, as an independent
//! simulator has it? Does the set that closes all ways round really close them, and does no smaller one?

#[path = "support/frame_isolation.rs"]
mod frame_isolation;
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

use boundwalk::analysis::{
    Bypass, Certificate, IsolationVerdict, Needed, Setting, bypasses, closing, isolation,
};
use boundwalk::forwarding::layer2::{
    Frame, InterfaceId, InterfaceOf, NodeKind, PortId, PortName, Start, flood,
};
use boundwalk::forwarding::{Network, Origin};
use boundwalk::load::load_text;
use boundwalk::model::{Date, HostId, Site};

use frame_isolation::{carried, exchanges};
use frames::{Frames, Jack, Spot, WiredInterface};
use random_fabric::random_fabric;
use seeds::seeds;

/// Random sites that a usual run looks at.
const SITES: u64 = 500;

const TODAY: Date = Date::constant(2026, 11, 25);

fn site(text: &str) -> Site {
    load_text("drawn", text).site.expect("a random site loads")
}

/// A random site in which each segment is a zone of its own.
fn drawn(seed: u64) -> String {
    let text = random_fabric(seed);
    let mut zoned = String::new();
    let mut zones = String::new();
    for (number, part) in text.split("zone = \"z\"").enumerate() {
        if number > 0 {
            zoned.push_str(&format!("zone = \"z{number}\""));
            zones.push_str(&format!("[zones.z{number}]\ntrust = {number}\n"));
        }
        zoned.push_str(part);
    }
    zones + &zoned.replace("[zones.z]\ntrust = 50\n", "")
}

/// The place of the simulator that a port is; `None` for one without a name.
fn spot(network: &Network<'_>, id: PortId) -> Option<Spot> {
    match network.fabric.port(id).name {
        PortName::Port(switch, port) => Some(Spot::Port(switch.0, port)),
        PortName::Lag(switch, lag) => Some(Spot::Lag(switch.0, lag)),
        PortName::Interface(host, at) => Some(Spot::Interface(host.0, at)),
        PortName::Unnamed => match network.fabric.node(network.fabric.port(id).node).kind {
            NodeKind::Bridge(HostId(host)) => Some(Spot::Inside(host)),
            _ => None,
        },
    }
}

/// Tag stacks that a frame of the model stands for, over some VLANs.
fn stacks(frame: Frame, vlans: &[u16]) -> Vec<Vec<u16>> {
    let mut all = vec![frame.tags().to_vec()];
    let mut longer = all.clone();
    for _ in 0..frame.free() {
        longer = longer
            .iter()
            .flat_map(|tags| vlans.iter().map(|&vlan| [&tags[..], &[vlan]].concat()))
            .collect();
        all.extend(longer.iter().cloned());
    }
    all
}

/// Checks a certificate against the simulator; `None` where a place of it has no name.
fn check(
    network: &Network<'_>,
    certificate: &Certificate,
    vlans: &[u16],
) -> Option<Result<(), String>> {
    let site = network.site;
    let frames = Frames::new(site);
    let mut sends: BTreeSet<(Spot, Vec<u16>)> = BTreeSet::new();
    for (port, frame) in &certificate.sends {
        let spot = spot(network, *port)?;
        sends.extend(stacks(*frame, vlans).into_iter().map(|tags| (spot, tags)));
    }
    let mut arrivals: Vec<(Spot, Vec<u16>)> = Vec::new();
    for attach_point in network.fabric.attach_points(certificate.segment) {
        let here = spot(network, attach_point.port)?;
        arrivals.extend(
            stacks(Frame::HOSTILE, vlans)
                .into_iter()
                .map(|tags| (here, tags)),
        );
    }
    for (spot, tags) in &sends {
        for jack in frames.at(*spot) {
            match jack {
                Jack::Spot(next) => arrivals.push((*next, tags.clone())),
                Jack::Interfaces(interfaces) => {
                    for &interface in interfaces
                        .iter()
                        .filter(|&&interface| frames.takes(interface, tags))
                    {
                        if let Err(why) = may_take(network, certificate, interface) {
                            return Some(Err(why));
                        }
                    }
                }
                Jack::Dead => {}
            }
        }
    }
    for (spot, tags) in arrivals {
        for (out, left) in frames.passes(spot, &tags) {
            if !sends.contains(&(out, left.clone())) {
                return Some(Err(format!(
                    "{spot:?} {tags:?} leaves by {out:?} with {left:?}"
                )));
            }
        }
    }
    Some(Ok(()))
}

/// Only hosts on the segment that do not route may take its frames, and the certificate names them.
fn may_take(
    network: &Network<'_>,
    certificate: &Certificate,
    interface: WiredInterface,
) -> Result<(), String> {
    let WiredInterface::Host(host, at) = interface else {
        return Err(format!("a router takes a frame: {interface:?}"));
    };
    let id = network
        .fabric
        .interface_of(InterfaceOf::Host(HostId(host), at));
    let there = network.fabric.interface(id).segment;
    if there == certificate.segment && certificate.takers.contains(&id) {
        Ok(())
    } else {
        Err(format!("{interface:?} takes a frame and is not named"))
    }
}

/// Tags of segments, and one more that nobody uses; 0 is a priority tag.
fn tags(site: &Site) -> Vec<u16> {
    let mut tags: Vec<u16> = site
        .segments
        .iter()
        .filter_map(|segment| segment.vlan)
        .map(|vlan| vlan.value.get())
        .collect();
    tags.extend([0, 1, 4_000]);
    tags.sort_unstable();
    tags.dedup();
    tags
}

#[test]
fn certificates_are_closed() {
    let (mut checked, mut others) = (0, 0);
    for seed in seeds(SITES) {
        let text = drawn(seed);
        let site = site(&text);
        let network = Network::new(&site, TODAY);
        for segment in site.segment_ids() {
            let IsolationVerdict::ByDesign(certificate) = isolation(&network, segment) else {
                others += 1;
                continue;
            };
            if let Some(outcome) = check(&network, &certificate, &tags(&site)) {
                outcome.unwrap_or_else(|why| panic!("seed {seed}, {segment:?}: {why}\n{text}"));
                checked += usize::from(!certificate.sends.is_empty());
            }
        }
    }
    assert!(
        checked > 20 && others > 100,
        "too tame: {checked} checked, {others} others"
    );
}

/// *Isolated by design* is said of a segment that exchanges frames with nobody, and of no other, unless somebody
/// carries packets where no frame goes.
#[test]
fn isolated_by_design_is_what_exchanges_frames_with_nobody() {
    let (mut alone, mut by_unclaimed, mut others) = (0, 0, 0);
    let mut wrong: Vec<(String, String)> = Vec::new();
    for seed in seeds(SITES) {
        let text = drawn(seed);
        let site = site(&text);
        let network = Network::new(&site, TODAY);
        let frames = Frames::new(&site);
        for segment in site.segment_ids() {
            let found = exchanges(&frames, segment);
            let by_design = matches!(isolation(&network, segment), IsolationVerdict::ByDesign(_));
            let agree = if found.is_empty() {
                by_design || carried(&frames, segment)
            } else {
                !by_design
            };
            if !agree {
                let what = format!("seed {seed}, {segment:?}, by design: {by_design}, {found:#?}");
                wrong.push((text.clone(), what));
            }
            let only_unclaimed = found.iter().all(|what| what.contains("unclaimed"));
            alone += usize::from(found.is_empty());
            by_unclaimed += usize::from(!found.is_empty() && only_unclaimed);
            others += usize::from(!found.is_empty());
        }
    }
    wrong.sort_by_key(|(text, _)| text.len());
    if let Some((text, what)) = wrong.first() {
        panic!(
            "{} verdicts differ; on the shortest site:\n{text}\n{what}",
            wrong.len()
        );
    }
    assert!(
        100 < alone && 20 < by_unclaimed && 100 < others,
        "too tame: {alone}, {by_unclaimed}, {others}"
    );
}

fn all(_: Origin, _: Origin) -> bool {
    true
}

/// Ways left once settings are undone, in a copy of the whole site.
fn left(site: &Site, set: &[Setting]) -> Vec<Bypass> {
    let mut changed = site.clone();
    set.iter().for_each(|setting| setting.undo(&mut changed));
    bypasses(&Network::new(&changed, TODAY), &all)
}

#[test]
fn what_closes_the_ways_round_closes_them_and_nothing_smaller_does() {
    let (mut closed, mut compared) = (0, 0);
    for seed in seeds(SITES) {
        let text = drawn(seed);
        let site = site(&text);
        let network = Network::new(&site, TODAY);
        let pairs = bypasses(&network, &all);
        let Some(closing) = closing(&network, &pairs, &all) else {
            continue;
        };
        let stays = |pair: &Bypass| closing.stay.contains(&(pair.from, pair.to));
        for set in &closing.sets {
            let open: Vec<Bypass> = left(&site, set)
                .into_iter()
                .filter(|pair| !stays(pair))
                .collect();
            assert!(
                open.is_empty(),
                "seed {seed}: {set:?} leaves {open:?}\n{text}"
            );
            closed += 1;
        }
        // Of sets that cut nothing else: no smaller one, by trying all.
        let size = closing.sets.first().map_or(0, Vec::len);
        if !closing.smallest || !closing.needed.is_empty() || !(2..=3).contains(&size) {
            continue;
        }
        let needed = Needed::new(&network);
        let mut universe: Vec<Setting> = pairs
            .iter()
            .flat_map(|pair| pair.settings.clone())
            .collect();
        universe.sort_unstable();
        universe.dedup();
        for one in 0..universe.len() {
            for other in one..universe.len() {
                let smaller = &[universe[one], universe[other]][..size - 1];
                let works = left(&site, smaller).iter().all(stays);
                // Pulling a cable takes more away than the fault of plugging it in there, and so does retagging
                // both ends.
                let pulled = |setting: &Setting| {
                    matches!(setting, Setting::Plugged(_) | Setting::Untagged(..))
                };
                let heavy = smaller
                    .iter()
                    .any(|setting| needed.has(*setting) || pulled(setting));
                assert!(
                    !works || heavy,
                    "seed {seed}: {smaller:?} is enough\n{text}"
                );
            }
        }
        compared += 1;
    }
    assert!(
        closed > 50 && compared > 10,
        "too tame: {closed} sets, {compared} compared"
    );
}

/// Senders whose frames start in one state share a flood, and so do states that lead back to each other: what
/// is noted for each must be what a flood of its own finds, but for itself.
#[test]
fn what_is_noted_for_a_sender_is_what_its_own_flood_reaches() {
    let mut compared = 0;
    for seed in seeds(SITES) {
        let text = drawn(seed);
        let site = site(&text);
        let network = Network::new(&site, TODAY);
        let (fabric, wiring) = (&network.fabric, &network.wiring);
        for interface in fabric.interface_ids() {
            let own = flood(fabric, &[Start::WiredInterface(interface)]);
            let mut reached: Vec<InterfaceId> = own
                .interfaces()
                .filter(|&other| other != interface)
                .collect();
            reached.sort_unstable();
            let noted: Vec<InterfaceId> = wiring
                .from_interface(interface)
                .interfaces
                .iter()
                .copied()
                .filter(|&other| other != interface)
                .collect();
            assert_eq!(noted, reached, "seed {seed}, {interface:?}\n{text}");
            compared += reached.len();
        }
        for (number, free_port) in wiring.free_ports.iter().enumerate() {
            let attach_point = free_port.attach_point;
            let start = Start::AttachPoint(attach_point.port, Frame::of(attach_point.tag));
            let own = flood(fabric, &[start]);
            // What is plugged in at the same port is itself.
            let here = |interface: &InterfaceId| {
                fabric
                    .interface(*interface)
                    .ports
                    .contains(&attach_point.port)
            };
            let mut reached: Vec<InterfaceId> = own
                .interfaces()
                .filter(|interface| !here(interface))
                .collect();
            reached.sort_unstable();
            let noted: Vec<InterfaceId> = wiring
                .from_vacancy(number as u32)
                .interfaces
                .iter()
                .copied()
                .filter(|interface| !here(interface))
                .collect();
            assert_eq!(noted, reached, "seed {seed}, {attach_point:?}\n{text}");
        }
        for to in site.segment_ids() {
            for from in site.segment_ids() {
                let into = wiring.hostile_into(to).contains(&Origin::Segment(from));
                let touches = wiring.touches(wiring.from_hostile(Origin::Segment(from)), to);
                assert_eq!(into, touches, "seed {seed}, {from:?} {to:?}");
            }
        }
    }
    assert!(compared > 500, "too tame: {compared}");
}
