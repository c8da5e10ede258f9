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
#[path = "support/seeds.rs"]
mod seeds;
#[path = "oracles/simulator.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod simulator;

use std::collections::{BTreeMap, BTreeSet};
use std::net::IpAddr;

use boundwalk::analysis::change::{Changed, PairChange, ReachChange, Spot, reach_change};
use boundwalk::analysis::{By, Endpoint};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, Site};

use edited_site::{edited, shuffled};
use pairs::{Pairs, Service, one_of_each};
use probes::Probes;
use random::Random;
use seeds::seeds;
use simulator::{Outcome, Probe, Simulator, Stance};

/// Random sites that a usual run looks at.
const SITES: u64 = 120;

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);
/// Sites with more packets than this in a family are left out.
const MOST_PACKETS: usize = 30_000;

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
    opened_for_hostile: usize,
    closed_for_hostile: usize,
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn what_opens_and_closes_is_what_single_packets_find() {
    let halves = std::thread::scope(|scope| {
        let halves =
            [0, 1].map(|half| scope.spawn(move || run(seeds(SITES).skip(half).step_by(2))));
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
        seen.opened_for_hostile += part.opened_for_hostile;
        seen.closed_for_hostile += part.closed_for_hostile;
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
        seen.opened_for_hostile,
        seen.closed_for_hostile,
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
        if change.only_rules {
            seen.only_rules += 1;
        } else {
            seen.anything += 1;
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

/// The way back opens what the way there closes, in both stances.
fn mirrored(networks: &[Network<'_>; 2], change: &ReachChange) -> Result<(), String> {
    let back = reach_change(&networks[1], &networks[0], &mut |_, _| {});
    let lists = [
        (&change.pairs, &back.pairs),
        (&change.hostile, &back.hostile),
    ];
    for (there, back) in lists {
        if back.len() != there.len() {
            return Err(format!("{} pairs there, {} back", there.len(), back.len()));
        }
        for pair in there {
            let turned = back.iter().find(|other| {
                other.family == pair.family
                    && [other.from, other.to].map(|at| spot(at, false))
                        == [pair.from, pair.to].map(|at| spot(at, true))
                    && [other.from, other.to].map(|at| spot(at, true))
                        == [pair.from, pair.to].map(|at| spot(at, false))
            });
            let Some(turned) = turned else {
                return Err(format!("no way back for {pair:?}"));
            };
            if !same(&pair.opened, &turned.closed) || !same(&pair.closed, &turned.opened) {
                return Err(format!("not mirrored: {pair:#?}\n{turned:#?}"));
            }
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

fn spot(spot: Spot, new: bool) -> Option<Endpoint> {
    match spot {
        Spot::Segment(matched) => matched.side(new).map(Endpoint::Segment),
        Spot::Router(matched) => matched.side(new).map(Endpoint::Device),
        Spot::Unclaimed(_) => panic!("no site here has ports"),
    }
}

type Packet = (IpAddr, IpAddr, usize);
/// Packets that arrive, by names of sender and receiver.
type Arrived = BTreeMap<(String, String), BTreeSet<Packet>>;

fn arrived(site: &Site, services: &[Service], addresses: &[IpAddr], stance: Stance) -> Arrived {
    let simulator = Simulator::new(site, TODAY);
    let pairs = Pairs::new(site, &simulator, By::Segment, services, addresses.to_vec());
    let name = |party: Endpoint| boundwalk::analysis::party_name(site, party).into_owned();
    let mut all = Arrived::new();
    for from in site.segment_ids() {
        let sender = Endpoint::Segment(from);
        let sent: Vec<(Probe, usize, Vec<Outcome>)> = match stance {
            Stance::Configured => pairs
                .sent(sender)
                .into_iter()
                .map(|packet| (packet.probe, packet.class, packet.outcomes))
                .collect(),
            Stance::Hostile => {
                let packets = pairs.packets(addresses);
                packets
                    .map(|(probe, class)| (probe, class, simulator.send(from, probe, stance)))
                    .collect()
            }
        };
        for (probe, class, outcomes) in sent {
            for &to in &pairs.columns {
                let mut ends = outcomes.iter();
                if to != sender && ends.any(|end| pairs.takes(to, end)) {
                    let kind = format!("{to:?}");
                    let kind = kind.split('(').next().unwrap_or("").to_owned();
                    let packets = all.entry((name(sender), kind + &name(to))).or_default();
                    packets.insert((probe.source, probe.destination, class));
                }
            }
        }
    }
    all
}

/// The same without sources.
fn reached(arrived: Arrived) -> Arrived {
    let pairs = arrived.into_iter().map(|(pair, packets)| {
        let reached = packets
            .into_iter()
            .map(|(_, destination, class)| (destination, destination, class));
        (pair, reached.collect())
    });
    pairs.collect()
}

fn compare(
    sites: (&Site, &Site),
    networks: &[Network<'_>; 2],
    change: &ReachChange,
    family: Family,
    seen: &mut Seen,
) -> Result<(), String> {
    let (old, new) = sites;
    let services = one_of_each(&networks[0].classes, true);
    let mut addresses: Vec<IpAddr> = Probes::new(old).addresses(family).to_vec();
    addresses.extend(Probes::new(new).addresses(family));
    addresses.sort();
    addresses.dedup();
    let packets = addresses.len() * addresses.len() * services.len();
    if packets > MOST_PACKETS * 8 {
        return Ok(());
    }
    let of = |stance| [old, new].map(|site| arrived(site, &services, &addresses, stance));
    let plain = of(Stance::Configured);
    let mut tried = Tried {
        sites,
        family,
        addresses: &addresses,
        by_any_source: false,
    };
    let counts = tried.compare(&change.pairs, &plain, &[])?;
    seen.pairs += counts[0];
    seen.opened += counts[1];
    seen.closed += counts[2];
    seen.nothing += counts[3];
    // A hostile device tries every source from every segment.
    if packets > MOST_PACKETS {
        return Ok(());
    }
    // It counts what it reaches, by whatever source.
    tried.by_any_source = true;
    let hostile = of(Stance::Hostile).map(reached);
    let arrived = plain.map(reached);
    let besides: Vec<&Arrived> = arrived.iter().collect();
    let counts = tried.compare(&change.hostile, &hostile, &besides)?;
    seen.opened_for_hostile += counts[1];
    seen.closed_for_hostile += counts[2];
    Ok(())
}

/// What was tried of two sites.
struct Tried<'a> {
    sites: (&'a Site, &'a Site),
    family: Family,
    addresses: &'a [IpAddr],
    /// Whether packets stand for what is reached, whatever their source.
    by_any_source: bool,
}

impl Tried<'_> {
    /// Whether the pairs listed hold what arrives in one version only and is not among what is known besides; how many
    /// pairs there are, how many open, how many close, how many do neither.
    fn compare(
        &self,
        listed: &[PairChange],
        [before, after]: &[Arrived; 2],
        besides: &[&Arrived],
    ) -> Result<[usize; 4], String> {
        let (old, new) = self.sites;
        let listed: Vec<&PairChange> = listed
            .iter()
            .filter(|pair| pair.family == self.family)
            .collect();
        let keys: BTreeSet<&(String, String)> = [before, after]
            .into_iter()
            .chain(besides.iter().copied())
            .flat_map(BTreeMap::keys)
            .collect();
        let none = BTreeSet::new();
        let mut counts = [0; 4];
        let mut named_pairs = BTreeSet::new();
        for key in keys {
            let one = before.get(key).unwrap_or(&none);
            let other = after.get(key).unwrap_or(&none);
            let known: BTreeSet<Packet> = besides
                .iter()
                .flat_map(|arrived| arrived.get(key).unwrap_or(&none))
                .copied()
                .collect();
            let beyond = |these: &BTreeSet<Packet>, those: &BTreeSet<Packet>| -> BTreeSet<Packet> {
                these
                    .difference(those)
                    .filter(|at| !known.contains(*at))
                    .copied()
                    .collect()
            };
            let (opened, closed) = (beyond(other, one), beyond(one, other));
            let pair = listed.iter().find(|pair| named(pair, old, new) == *key);
            counts[0] += 1;
            counts[1] += usize::from(!opened.is_empty());
            counts[2] += usize::from(!closed.is_empty());
            counts[3] += usize::from(opened.is_empty() && closed.is_empty());
            named_pairs.insert(key.clone());
            let tried: BTreeSet<Packet> = one.union(other).copied().collect();
            for (what, packets, list) in [
                ("opened", &opened, pair.map(|pair| &pair.opened)),
                ("closed", &closed, pair.map(|pair| &pair.closed)),
            ] {
                let list = list.map_or(&[][..], Vec::as_slice);
                self.held(packets, list, &tried)
                    .map_err(|wrong| format!("{key:?}, {:?}: {what} {wrong}", self.family))?;
            }
        }
        // Pairs of which no packet arrives in either version are not listed.
        for pair in listed {
            let key = named(pair, old, new);
            let mut all = pair.opened.iter().chain(&pair.closed);
            let some = all.any(|changed| inside(changed, self.addresses));
            if !named_pairs.contains(&key) && some {
                return Err(format!("{key:?} is listed and no packet differs: {pair:?}"));
            }
        }
        Ok(counts)
    }

    /// Whether a list holds exactly these of the packets tried.
    fn held(
        &self,
        packets: &BTreeSet<Packet>,
        list: &[Changed],
        tried: &BTreeSet<Packet>,
    ) -> Result<(), String> {
        for packet in tried {
            let (source, destination, class) = *packet;
            let (source, destination) = (Family::value(source), Family::value(destination));
            let mut changed = list.iter().map(|changed| &changed.packets);
            let held = changed.any(|set| {
                let source = set
                    .source
                    .lowest()
                    .filter(|_| self.by_any_source)
                    .unwrap_or(source);
                set.contains(source, destination, class)
            });
            if held != packets.contains(packet) {
                return Err(format!(
                    "{packet:?}: listed {held}, is {}",
                    packets.contains(packet)
                ));
            }
        }
        let all_tried = list.iter().all(|changed| inside(changed, self.addresses));
        if packets.is_empty() != list.is_empty() && all_tried {
            Err(format!("lists {list:?}"))
        } else {
            Ok(())
        }
    }
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
    let name = |at: Spot| {
        let (site, party) = match (spot(at, false), spot(at, true)) {
            (Some(party), _) => (old, party),
            (None, Some(party)) => (new, party),
            (None, None) => return String::new(),
        };
        boundwalk::analysis::party_name(site, party).into_owned()
    };
    let to = match pair.to {
        Spot::Router(_) => format!("Device{}", name(pair.to)),
        Spot::Segment(_) | Spot::Unclaimed(_) => format!("Segment{}", name(pair.to)),
    };
    (name(pair.from), to)
}

/// Names, order and layout decide nothing.
#[test]
fn a_site_written_otherwise_changes_nothing() {
    let mut rewritten = 0;
    for seed in seeds(SITES) {
        let text = random_site::random_site(seed);
        let other = shuffled(&text, &mut Random::new(seed ^ 0x51de));
        rewritten += usize::from(other != text);
        let (old, new) = (site(&text), site(&other));
        let networks = Network::versions(&old, &new, TODAY);
        let change = reach_change(&networks[0], &networks[1], &mut |_, _| {});
        assert!(
            change.is_empty(),
            "seed {seed}: {:#?} {:#?}\n{text}\n--- {other}",
            change.pairs,
            change.hostile
        );
        let same = reach_change(&networks[0], &networks[0], &mut |_, _| {});
        assert!(same.is_empty() && same.only_rules && same.looked_at == 0);
    }
    assert!(rewritten > 50, "{rewritten}");
}
