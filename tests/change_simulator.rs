//! Is what a change opens and closes exactly what single packets find to pass in one version only?
//!
//! Small random sites, edited at random. Every packet is sent through the slow, obvious simulator in both versions.

#[path = "support/edited_site.rs"]
mod edited_site;
#[path = "oracles/pairs.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod pairs;
#[path = "support/probes.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod probes;
#[path = "support/random.rs"]
mod random;
#[path = "support/random_site.rs"]
mod random_site;
#[path = "oracles/simulator.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod simulator;

use std::collections::{BTreeMap, BTreeSet};
use std::net::IpAddr;

use boundwalk::analysis::change::{Changed, PairChange, ReachChange, Spot, Twin, reach_change};
use boundwalk::analysis::{By, Party};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, RouterId, SegmentId, Site};

use edited_site::{edited, shuffled};
use pairs::{Pairs, Service, one_of_each};
use probes::Probes;
use random::Random;
use simulator::Simulator;

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);
/// Sites with more packets than this in a family are left out.
const MOST_PACKETS: usize = 30_000;

fn sites() -> u64 {
    let wanted = std::env::var("BOUNDWALK_SITES").ok();
    wanted.and_then(|text| text.parse().ok()).unwrap_or(120)
}

fn site(text: &str) -> Site {
    let loaded = load_text("drawn", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}\n{text}", loaded.problems))
}

/// What was met in all sites.
#[derive(Clone, Copy, Default, Debug)]
struct Seen {
    pairs: usize,
    opened: usize,
    closed: usize,
    nothing: usize,
    only_rules: usize,
    anything: usize,
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn what_opens_and_closes_is_what_single_packets_find() {
    let halves = std::thread::scope(|scope| {
        let halves = [0, 1].map(|half| scope.spawn(move || run((half..sites()).step_by(2))));
        halves.map(|half| half.join().expect("no half panics"))
    });
    let mut seen = Seen::default();
    let mut wrong: Vec<String> = Vec::new();
    for (part, more) in halves {
        seen.pairs += part.pairs;
        seen.opened += part.opened;
        seen.closed += part.closed;
        seen.nothing += part.nothing;
        seen.only_rules += part.only_rules;
        seen.anything += part.anything;
        wrong.extend(more);
    }
    let shown = &wrong[..wrong.len().min(2)];
    assert!(
        wrong.is_empty(),
        "{} differ:\n{}",
        wrong.len(),
        shown.join("\n")
    );
    eprintln!("{seen:?}");
    let counts = [
        seen.opened,
        seen.closed,
        seen.nothing,
        seen.only_rules,
        seen.anything,
    ];
    assert!(counts.iter().all(|&count| count > 8), "{seen:?}");
}

fn run(seeds: impl Iterator<Item = u64>) -> (Seen, Vec<String>) {
    let (mut seen, mut wrong) = (Seen::default(), Vec::new());
    for seed in seeds {
        let before = random_site::random_site(seed);
        let Some(after) = edited(&before, &mut Random::new(seed ^ 0xed17)) else {
            continue;
        };
        let (old, new) = (site(&before), site(&after));
        let networks = Network::versions(&old, &new, TODAY);
        let change = reach_change(&networks[0], &networks[1], &mut |_, _| {});
        match change.only_rules {
            true => seen.only_rules += 1,
            false => seen.anything += 1,
        }
        let context = format!("seed {seed}\n--- before\n{before}\n--- after\n{after}");
        if let Err(what) = mirrored(&networks, &change) {
            wrong.push(format!("{what}\n{context}"));
        }
        for family in Family::ALL {
            let found = compare((&old, &new), &networks, &change, family, &mut seen);
            if let Err(what) = found {
                wrong.push(format!("{what}\n{context}"));
                break;
            }
        }
    }
    (seen, wrong)
}

/// The way back opens what the way there closes.
fn mirrored(networks: &[Network<'_>; 2], change: &ReachChange) -> Result<(), String> {
    let back = reach_change(&networks[1], &networks[0], &mut |_, _| {});
    if back.pairs.len() != change.pairs.len() {
        return Err(format!(
            "{} pairs there, {} back",
            change.pairs.len(),
            back.pairs.len()
        ));
    }
    for pair in &change.pairs {
        let turned = back.pairs.iter().find(|other| {
            other.family == pair.family
                && (other.from.old, other.from.new) == (pair.from.new, pair.from.old)
                && spot(other.to, false) == spot(pair.to, true)
                && spot(other.to, true) == spot(pair.to, false)
        });
        let Some(turned) = turned else {
            return Err(format!("no way back for {pair:?}"));
        };
        if !same(&pair.opened, &turned.closed) || !same(&pair.closed, &turned.opened) {
            return Err(format!("not mirrored: {pair:#?}\n{turned:#?}"));
        }
    }
    Ok(())
}

/// Whether two lists hold the same packets.
fn same(one: &[Changed], other: &[Changed]) -> bool {
    let beyond = |these: &[Changed], those: &[Changed]| {
        these.iter().any(|one| {
            let mut left = vec![one.packets.clone()];
            for other in those {
                left = left
                    .into_iter()
                    .flat_map(|part| part.difference(&other.packets))
                    .collect();
            }
            !left.is_empty()
        })
    };
    !beyond(one, other) && !beyond(other, one)
}

fn spot(spot: Spot, new: bool) -> Option<Party> {
    fn side<T>(twin: Twin<T>, new: bool) -> Option<T> {
        if new { twin.new } else { twin.old }
    }
    match spot {
        Spot::Segment(twin) => side(twin, new).map(Party::Segment),
        Spot::Router(twin) => side(twin, new).map(Party::Device),
    }
}

type Packet = (IpAddr, IpAddr, usize);
/// Packets that arrive, by names of sender and receiver.
type Arrived = BTreeMap<(String, String), BTreeSet<Packet>>;

fn arrived(site: &Site, services: &[Service], addresses: Vec<IpAddr>) -> Arrived {
    let simulator = Simulator::new(site, TODAY);
    let pairs = Pairs::new(site, &simulator, By::Segment, services, addresses);
    let name = |party: Party| boundwalk::analysis::party_name(site, party).into_owned();
    let mut all = Arrived::new();
    for from in site.segment_ids() {
        for packet in pairs.sent(Party::Segment(from)) {
            for &to in &pairs.columns {
                let mut ends = packet.outcomes.iter();
                if to != Party::Segment(from) && ends.any(|end| pairs.takes(to, end)) {
                    let key = (
                        name(Party::Segment(from)),
                        format!("{to:?}").split('(').next().unwrap_or("").to_owned() + &name(to),
                    );
                    let probe = packet.probe;
                    let packets = all.entry(key).or_default();
                    packets.insert((probe.source, probe.destination, packet.class));
                }
            }
        }
    }
    all
}

fn compare(
    (old, new): (&Site, &Site),
    networks: &[Network<'_>; 2],
    change: &ReachChange,
    family: Family,
    seen: &mut Seen,
) -> Result<(), String> {
    let services = one_of_each(&networks[0].classes, true);
    let mut addresses: Vec<IpAddr> = Probes::new(old).addresses(family).to_vec();
    addresses.extend(Probes::new(new).addresses(family));
    addresses.sort();
    addresses.dedup();
    if addresses.len() * addresses.len() * services.len() > MOST_PACKETS * 8 {
        return Ok(());
    }
    let before = arrived(old, &services, addresses.clone());
    let after = arrived(new, &services, addresses.clone());
    let keys: BTreeSet<&(String, String)> = before.keys().chain(after.keys()).collect();
    let none = BTreeSet::new();
    let mut told = BTreeSet::new();
    for key in keys {
        let one = before.get(key).unwrap_or(&none);
        let other = after.get(key).unwrap_or(&none);
        let opened: BTreeSet<Packet> = other.difference(one).copied().collect();
        let closed: BTreeSet<Packet> = one.difference(other).copied().collect();
        let pair = change
            .pairs
            .iter()
            .find(|pair| pair.family == family && named(pair, old, new) == *key);
        seen.pairs += 1;
        seen.opened += usize::from(!opened.is_empty());
        seen.closed += usize::from(!closed.is_empty());
        seen.nothing += usize::from(opened.is_empty() && closed.is_empty());
        told.insert(key.clone());
        for (what, packets, list) in [
            ("opened", &opened, pair.map(|pair| &pair.opened)),
            ("closed", &closed, pair.map(|pair| &pair.closed)),
        ] {
            let list = list.map_or(&[][..], Vec::as_slice);
            let tried: BTreeSet<Packet> = one.union(other).copied().collect();
            let held = |packet: &Packet| {
                let (source, destination, class) = *packet;
                let (source, destination) = (Family::value(source), Family::value(destination));
                let mut list = list.iter();
                list.any(|changed| changed.packets.contains(source, destination, class))
            };
            for packet in &tried {
                if held(packet) != packets.contains(packet) {
                    return Err(format!(
                        "{key:?}, {family:?}: {what} {packet:?}: told {}, is {}",
                        held(packet),
                        packets.contains(packet)
                    ));
                }
            }
            if packets.is_empty() != list.is_empty()
                && list.iter().all(|changed| inside(changed, &addresses))
            {
                return Err(format!("{key:?}, {family:?}: {what} tells {list:?}"));
            }
        }
    }
    // Pairs of which no packet arrives in either version are not told.
    for pair in change.pairs.iter().filter(|pair| pair.family == family) {
        let key = named(pair, old, new);
        let all = pair.opened.iter().chain(&pair.closed);
        if !told.contains(&key) && all.clone().any(|changed| inside(changed, &addresses)) {
            return Err(format!("{key:?} is told and no packet differs: {pair:?}"));
        }
    }
    Ok(())
}

/// Whether some packet of it was tried.
fn inside(changed: &Changed, addresses: &[IpAddr]) -> bool {
    let holds = |set: &boundwalk::packet::IntervalSet| {
        addresses
            .iter()
            .any(|&address| set.contains(Family::value(address)))
    };
    holds(&changed.packets.source) && holds(&changed.packets.destination)
}

fn named(pair: &PairChange, old: &Site, new: &Site) -> (String, String) {
    let segment = |twin: Twin<SegmentId>| match (twin.old, twin.new) {
        (Some(id), _) => old.segment(id).name.value.clone(),
        (_, Some(id)) => new.segment(id).name.value.clone(),
        _ => String::new(),
    };
    let router = |twin: Twin<RouterId>| match (twin.old, twin.new) {
        (Some(id), _) => old.router(id).name.value.clone(),
        (_, Some(id)) => new.router(id).name.value.clone(),
        _ => String::new(),
    };
    let to = match pair.to {
        Spot::Segment(twin) => format!("Segment{}", segment(twin)),
        Spot::Router(twin) => format!("Device{}", router(twin)),
    };
    (segment(pair.from), to)
}

/// Names, order and layout decide nothing.
#[test]
fn a_site_written_otherwise_changes_nothing() {
    let mut rewritten = 0;
    for seed in 0..sites() {
        let text = random_site::random_site(seed);
        let other = shuffled(&text, &mut Random::new(seed ^ 0x51de));
        rewritten += usize::from(other != text);
        let (old, new) = (site(&text), site(&other));
        let networks = Network::versions(&old, &new, TODAY);
        let change = reach_change(&networks[0], &networks[1], &mut |_, _| {});
        assert!(
            change.is_empty(),
            "seed {seed}: {:#?}\n{text}\n--- {other}",
            change.pairs
        );
        let same = reach_change(&networks[0], &networks[0], &mut |_, _| {});
        assert!(same.is_empty() && same.only_rules && same.looked_at == 0);
    }
    assert!(rewritten > 50, "{rewritten}");
}
