//! What gateways in a row say to each other's packets, counted from single packets.
//!
//! Small random sites. In a copy every rule and every default permits; the slow, obvious simulator then walks a packet
//! by the routes and names the rule that decides at each gateway, and what that rule really does stands in the site.
//! So each packet says by itself which rule permits it and which other one on the way denies it. The sets must hold
//! exactly those packets: none missing, none too many.

#[path = "oracles/in_a_row.rs"]
mod in_a_row;
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

use std::collections::BTreeSet;
use std::path::Path;

use boundwalk::analysis::{BlockedPermit, Cascade, Denial, Endpoint, Wasted, wasted};
use boundwalk::forwarding::{Network, Packet};
use boundwalk::load::{load_path, load_text};
use boundwalk::model::{Date, Family, Role, RouterId, SegmentId, Site};

use in_a_row::{Key, Oracle, Questions, gates, party, permitting};
use probes::Probes;
use random::Random;
use seeds::seeds;
use simulator::{Probe, Stance};

/// Random sites that a usual run looks at.
const SITES: u64 = 400;

/// Random rules expire on the day before this one or on it.
const TODAY: Date = Date::constant(2026, 4, 1);

/// What was seen, so that a test that compares nothing with nothing fails.
#[derive(Default, Debug)]
struct Seen {
    in_a_row: usize,
    three_in_a_row: usize,
    barred_further_on: usize,
    barred_before: usize,
    by_default: usize,
    replies_spared: usize,
    wasted: usize,
}

/// The site without translations.
fn untranslated(mut site: Site) -> Site {
    for router in &mut site.routers {
        if let Role::Gateway(filter) = &mut router.role {
            filter.destination_translations.clear();
            filter.source_translations.clear();
        }
    }
    site
}

fn holds(network: &Network<'_>, blocked: &BlockedPermit, probe: &Probe) -> bool {
    let classes = &network.classes;
    let class = classes.class_of(probe.protocol, probe.source_port, probe.destination_port);
    let (source, destination) = (probe.source, probe.destination);
    blocked.packets.iter().any(|(family, region)| {
        *family == Family::of(source)
            && region.contains(Family::value(source), Family::value(destination), class)
    })
}

fn said(network: &Network<'_>, cascade: &Cascade, from: SegmentId, probe: &Probe) -> BTreeSet<Key> {
    cascade
        .blocked
        .iter()
        .filter(|one| one.pair.0 == from)
        .filter(|one| holds(network, one, probe))
        .map(|one| (one.pair, one.denial, one.permits, one.denies))
        .collect()
}

fn probe_of(packet: &Packet) -> Probe {
    Probe {
        source: packet.source,
        destination: packet.destination,
        protocol: packet.protocol.0,
        source_port: packet.source_port,
        destination_port: packet.destination_port,
    }
}

/// Packets of a site to look at: drawn ones, and a witness of everything that is said to be barred.
fn packets(
    site: &Site,
    network: &Network<'_>,
    oracle: &Oracle<'_>,
    cascade: &Cascade,
    seed: u64,
) -> Vec<(SegmentId, Probe)> {
    let (pool, mut random) = (Probes::new(site), Random::new(seed ^ 0xca5c));
    let mut packets = Vec::new();
    for from in site.segment_ids() {
        let likely = |address| oracle.simulator.lives_on(from, address);
        for family in Family::ALL {
            let drawn = (0..60).map(|_| (from, pool.draw(&mut random, family, likely)));
            packets.extend(drawn);
        }
    }
    let everything = network.classes.all();
    for one in &cascade.blocked {
        let example = one.example(network, &everything);
        let example = example.expect("nothing barred is empty");
        packets.push((one.pair.0, probe_of(&example)));
    }
    packets
}

#[test]
fn sets_hold_what_single_packets_say() {
    let mut seen = Seen::default();
    for seed in seeds(SITES) {
        let text = random_site::random_site(seed);
        let site = untranslated(load_text("drawn", &text).site.expect("random sites load"));
        let open = permitting(&site);
        let network = Network::new(&site, TODAY);
        let oracle = Oracle::new(&site, &open, TODAY);
        let cascade = Cascade::new(&network);
        assert!(
            cascade.complete && cascade.unjudged.is_empty(),
            "seed {seed}"
        );
        let questions = Questions::default();
        for (from, probe) in packets(&site, &network, &oracle, &cascade, seed) {
            let expected = oracle.keys(from, probe, &questions);
            let found = said(&network, &cascade, from, &probe);
            assert_eq!(found, expected, "seed {seed}, {from:?}, {probe:?}\n{text}");
            seen.count(&oracle, from, probe, &found);
        }
        let known = wasted(&network, &cascade);
        seen.wasted += known.len();
        for one in &known {
            assert_wasted(&oracle, one, &questions, (seed, &text));
        }
    }
    seen.assert_varied();
}

/// Every packet of the services from one party to the other that the rule permits is denied by another gateway on
/// that side: tried for all addresses that the site tells apart, with the ports and message of the example.
fn assert_wasted(
    oracle: &Oracle<'_>,
    one: &Wasted,
    questions: &Questions,
    (seed, text): (u64, &str),
) {
    let example = probe_of(&one.example);
    let mut tried = 0;
    let list = &oracle.addresses[&(one.family == Family::V4)];
    for &(from, to) in &one.pairs {
        for (source, destination) in list.iter().flat_map(|&s| list.iter().map(move |&d| (s, d))) {
            let probe = Probe {
                source,
                destination,
                ..example
            };
            for (place, gates) in oracle.ways(from, probe) {
                let own = gates
                    .iter()
                    .position(|gate| (gate.router, gate.rule) == (one.rule.0, Some(one.rule.1)));
                let Some(at) = own.filter(|_| place == to) else {
                    continue;
                };
                let side = match one.denial {
                    Denial::Downstream => &gates[at + 1..],
                    Denial::Upstream => &gates[..at],
                };
                let lost = side.iter().any(|&other| {
                    !oracle.permits(other) && oracle.loses(questions, (from, to), gates[at], other)
                });
                assert!(lost, "seed {seed}: {one:?} does not lose {probe:?}\n{text}");
                tried += 1;
            }
        }
    }
    assert!(tried > 0, "seed {seed}: {one:?} permits nothing\n{text}");
}

/// With translations nothing is said that a packet contradicts: where the rules of a way all see one packet, it is
/// judged, and pairs with other ways are named.
#[test]
fn translated_packets_are_left_out_or_judged_as_the_rules_see_them() {
    let mut left_out = 0;
    for seed in seeds(SITES) {
        let text = random_site::random_site(seed);
        let site = load_text("drawn", &text).site.expect("random sites load");
        let open = permitting(&site);
        let network = Network::new(&site, TODAY);
        let oracle = Oracle::new(&site, &open, TODAY);
        let cascade = Cascade::new(&network);
        for (from, probe) in packets(&site, &network, &oracle, &cascade, seed) {
            for outcome in oracle.simulator.send(from, probe, Stance::Configured) {
                let to = party(outcome.place);
                let row = gates(&outcome);
                if cascade.unjudged.contains(&(from, to)) {
                    left_out += usize::from(row.len() > 1);
                    continue;
                }
                let rewritten = outcome.hops.iter().any(|hop| hop.rewritten != [None, None]);
                if !rewritten {
                    continue;
                }
                let seen = Probe {
                    source: probe.source,
                    ..outcome.arrived
                };
                let found = said(&network, &cascade, from, &seen);
                for (at, &own) in row
                    .iter()
                    .enumerate()
                    .filter(|&(_, &own)| oracle.permits(own))
                {
                    // A stateless gateway asks its rules about replies too: what it denies is lost.
                    let mut others = row[at + 1..]
                        .iter()
                        .filter(|&&other| !oracle.permits(other));
                    let other = others.next().filter(|other| !oracle.stateful(other.router));
                    let Some(&other) = other else {
                        continue;
                    };
                    let key = ((from, to), Denial::Downstream, own, other);
                    assert!(
                        found.contains(&key),
                        "seed {seed}, {from:?}, {probe:?}: {key:?} not in {found:?}\n{text}"
                    );
                }
            }
        }
    }
    // Those that are judged are few here; `tests/cascade_cases.rs` has them by hand.
    assert!(left_out > 20, "left out {left_out}");
}

impl Seen {
    fn count(&mut self, oracle: &Oracle<'_>, from: SegmentId, probe: Probe, found: &BTreeSet<Key>) {
        for (_, gates) in oracle.ways(from, probe) {
            self.in_a_row += usize::from(gates.len() > 1);
            self.three_in_a_row += usize::from(gates.len() > 2);
            let (some, all) = (
                gates.iter().any(|&gate| oracle.permits(gate)),
                gates.iter().all(|&gate| oracle.permits(gate)),
            );
            self.replies_spared += usize::from(some && !all && found.is_empty());
        }
        for (_, denial, _, denies) in found {
            match denial {
                Denial::Downstream => self.barred_further_on += 1,
                Denial::Upstream => self.barred_before += 1,
            }
            self.by_default += usize::from(denies.rule.is_none());
        }
    }

    fn assert_varied(&self) {
        let kinds = [
            self.in_a_row,
            self.three_in_a_row,
            self.barred_further_on,
            self.barred_before,
            self.by_default,
            self.replies_spared,
            // One for each rule, not for each packet.
            self.wasted * 3,
        ];
        assert!(
            kinds.iter().all(|&count| 20 < count),
            "the sites are too tame: {self:?}"
        );
    }
}

/// The teaching case, by hand: `outer` permits 22 and 443 to the plant, `inner` 443 and 502 from anybody.
#[test]
fn two_gateways_as_its_readme_says() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/two-gateways");
    let site = load_path(&folder).site.expect("the example loads");
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let cascade = Cascade::new(&network);
    assert!(cascade.complete && cascade.unjudged.is_empty());
    let class = |port| network.classes.class_of(6, 50_000, port);
    let (office, plant) = (SegmentId(0), Endpoint::Segment(SegmentId(3)));
    let of_course = |denial| {
        let mut own = cascade.blocked.iter();
        let fits = |one: &&BlockedPermit| one.pair == (office, plant) && one.denial == denial;
        own.find(fits).expect("one of each")
    };
    let after = of_course(Denial::Downstream);
    assert_eq!((after.permits.rule, after.denies.rule), (Some(0), None));
    let services: Vec<usize> = after.services(&network).iter().collect();
    assert_eq!(services, [class(22)]);
    // 255 addresses of the office, its gateway's left out; as many of the plant; 65,536 source ports.
    assert_eq!(after.size(&network), (255_u64 * 255 * 65_536).into());
    let ahead = of_course(Denial::Upstream);
    let services: Vec<usize> = ahead.services(&network).iter().collect();
    assert_eq!(services, [class(502)]);
    // What `inner` permits from anybody the transit may use: only 22 is permitted for nothing.
    let found = wasted(&network, &cascade);
    let rows: Vec<_> = found
        .iter()
        .map(|one| (one.rule, one.denial, one.pairs.as_slice()))
        .collect();
    assert_eq!(
        rows,
        [((RouterId(0), 0), Denial::Downstream, &[(office, plant)][..])]
    );
}
