//! Do tighter rules keep every packet that is needed or was observed, and let nothing new pass?
//!
//! Small random sites with random needs and observed flows. Every packet is sent through the slow, obvious simulator
//! before and after the edit; the product's own proof is not asked.

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

use std::collections::BTreeSet;
use std::fmt::Write;
use std::net::IpAddr;

use boundwalk::analysis::privilege::{
    Observed, ObservedService, Privilege, Proof, Tightened, privilege, prove, tighten,
};
use boundwalk::analysis::{By, Endpoint, ServiceLabels};
use boundwalk::forwarding::Network;
use boundwalk::load::{Edit, RuleCopy, apply_edits, load_text};
use boundwalk::model::{Date, Family, Protocol, Service, Site};
use boundwalk::packet::IntervalSet;

use pairs::{Pairs, one_of_each};
use probes::Probes;
use random::Random;
use seeds::seeds;
use simulator::{Probe, Simulator};

const TODAY: Date = Date::constant(2026, 4, 1);
/// Addresses squared times services that a site may have.
const MOST_PACKETS: usize = 240_000;

#[derive(Clone, Copy, Default, Debug)]
struct Seen {
    tightened: usize,
    split: usize,
    closed: usize,
    kept: usize,
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn tighter_rules_keep_what_is_used_and_open_nothing() {
    let mut seen = Seen::default();
    for seed in seeds(800) {
        let mut random = Random::new(seed ^ 0x71e5);
        let text = format!(
            "{}{}",
            random_site::random_site(seed),
            needs(seed, &mut random)
        );
        let loaded = load_text("drawn", &text);
        let Some(site) = &loaded.site else { continue };
        let observed = observed(site, &mut random);
        let services: Vec<Service> = observed.iter().map(exact).collect();
        let network = Network::asking(site, TODAY, &services);
        let found = privilege(&network, &observed);
        let most = random.between(1, 3);
        let tightened = suggestions(&network, &found, most);
        if tightened.is_empty() {
            continue;
        }
        let Ok(files) = apply_edits(site, &loaded.sources, &edits(site, &tightened)) else {
            // Random rules may stand in braces, where they can't be split.
            continue;
        };
        let Some(file) = files.first() else { continue };
        let after = load_text("drawn", &file.after);
        let new = after
            .site
            .unwrap_or_else(|| panic!("seed {seed}: {:#?}", after.problems));
        seen.tightened += tightened.len();
        seen.split += tightened.iter().filter(|one| one.rules.len() > 1).count();
        let context = format!(
            "seed {seed}, {most} rules\n{text}\n--- after\n{}",
            file.after
        );
        compare((site, &new), &observed, &mut seen, &context);
        let [before, after] = &Network::versions(site, &new, TODAY);
        assert_eq!(prove(before, after, &observed), Proof::Holds, "{context}");
    }
    eprintln!("{seen:?}");
    let counts = [seen.tightened, seen.split, seen.closed, seen.kept];
    assert!(counts.iter().all(|&count| count > 10), "{seen:?}");
}

fn needs(seed: u64, random: &mut Random) -> String {
    let loaded = load_text("drawn", &random_site::random_site(seed));
    let site = loaded.site.expect("random sites load");
    let segments: Vec<&str> = site
        .segments
        .iter()
        .map(|one| one.name.value.as_str())
        .collect();
    let mut text = String::new();
    for number in 0..random.between(1, 3) {
        let picked = random.some(&segments, 2);
        let [from, to] = picked.as_slice() else {
            continue;
        };
        let _ = writeln!(
            text,
            "[[needs]]\nname = \"need {number}\"\nfrom = \"{from}\"\nto = \"{to}\""
        );
        if random.percent(80) {
            let services = random.pick(&[
                "\"tcp/80\"",
                "\"tcp/443\", \"udp/53\"",
                "\"icmp/8\", \"icmpv6/128\"",
                "\"udp\"",
            ]);
            let _ = writeln!(text, "services = [{services}]");
        }
    }
    text
}

/// Flows between addresses of the site, some of which pass.
fn observed(site: &Site, random: &mut Random) -> Vec<Observed> {
    let pool = Probes::new(site);
    let mut flows: Vec<Observed> = Vec::new();
    for _ in 0..random.below(30) {
        let family = *random.pick(&Family::ALL);
        let addresses = pool.addresses(family);
        let (source, destination) = (*random.pick(addresses), *random.pick(addresses));
        let protocol = Protocol(*random.pick(&[6, 17]));
        flows.push(Observed {
            source,
            destination,
            service: ObservedService {
                protocol,
                port: *random.pick(&[53, 80, 443, 445, 1023]),
            },
            records: 1,
        });
    }
    flows.sort();
    flows.dedup();
    flows
}

fn exact(observed: &Observed) -> Service {
    Service::Ports {
        protocol: observed.service.protocol,
        source: IntervalSet::range(0, 65_535),
        destination: IntervalSet::point(u128::from(observed.service.port)),
    }
}

fn suggestions(network: &Network<'_>, found: &Privilege, most: usize) -> Vec<Tightened> {
    let naming = ServiceLabels::new(network, Family::V4);
    found
        .rules
        .iter()
        .filter_map(|rule| tighten(network, &naming, rule, most).ok())
        .collect()
}

/// As the command makes them: the first rule keeps its name.
fn edits(site: &Site, tightened: &[Tightened]) -> Vec<Edit> {
    let mut edits = Vec::new();
    for one in tightened {
        let (router, rule) = (one.router, one.rule);
        let (first, others) = one.rules.split_first().expect("one rule at least");
        edits.extend(first.iter().map(|(&field, items)| Edit::SetRuleField {
            router,
            rule,
            field,
            items: items.clone(),
        }));
        let name = &site.router(router).filter().expect("it filters").rules[rule]
            .name
            .value;
        let copies = others.iter().enumerate().map(|(number, fields)| RuleCopy {
            name: format!("{name}, part {}", number + 2),
            fields: fields.clone(),
        });
        let copies: Vec<RuleCopy> = copies.collect();
        if !copies.is_empty() {
            edits.push(Edit::CopyRule {
                router,
                rule,
                copies,
            });
        }
    }
    edits
}

type Arrival = (Endpoint, IpAddr, IpAddr, usize, Endpoint);

fn compare((old, new): (&Site, &Site), observed: &[Observed], seen: &mut Seen, context: &str) {
    let services: Vec<Service> = observed.iter().map(exact).collect();
    // Classes that tell apart what either version and the flows name.
    let both: Vec<Service> = [old, new]
        .iter()
        .flat_map(|site| &site.routers)
        .filter_map(|router| router.filter())
        .flat_map(|filter| &filter.rules)
        .filter_map(|rule| rule.services.as_ref())
        .flat_map(|list| list.services.clone())
        .chain(services)
        .collect();
    let network = Network::asking(old, TODAY, &both);
    for family in Family::ALL {
        let services = one_of_each(&network.classes, true);
        let addresses = Probes::new(old).addresses(family).to_vec();
        if addresses.len() * addresses.len() * services.len() > MOST_PACKETS {
            continue;
        }
        let arrivals = |site: &Site| -> BTreeSet<Arrival> {
            let simulator = Simulator::new(site, TODAY);
            let pairs = Pairs::new(site, &simulator, By::Segment, &services, addresses.clone());
            let mut all = BTreeSet::new();
            for from in site.segment_ids().map(Endpoint::Segment) {
                for packet in pairs.sent(from) {
                    for &to in &pairs.columns {
                        let mut ends = packet.outcomes.iter();
                        if ends.any(|end| pairs.takes(to, end)) {
                            let Probe {
                                source,
                                destination,
                                ..
                            } = packet.probe;
                            all.insert((from, source, destination, packet.class, to));
                        }
                    }
                }
            }
            all
        };
        let (before, after) = (arrivals(old), arrivals(new));
        let opened: Vec<_> = after.difference(&before).collect();
        assert!(opened.is_empty(), "opens {opened:?}\n{context}");
        for arrival in &before {
            let (from, source, destination, class, to) = *arrival;
            let service = &services[class];
            let probe = service.probe(source, destination);
            let needed = old.needs.iter().any(|need| {
                let named = |parties: &[boundwalk::model::RuleParty], party: Endpoint| {
                    parties.iter().any(|one| match (one, party) {
                        (boundwalk::model::RuleParty::Segment(one), Endpoint::Segment(other)) => {
                            *one == other
                        }
                        (boundwalk::model::RuleParty::Zone(zone), Endpoint::Segment(other)) => {
                            old.segment(other).zone == *zone
                        }
                        _ => false,
                    })
                };
                named(&need.from, from)
                    && named(&need.to, to)
                    && from != to
                    && need.services.as_ref().is_none_or(|list| {
                        list.services.iter().any(|service| {
                            service.packets(family).is_some_and(|packets| {
                                packets.protocols.contains(u128::from(probe.protocol))
                                    && packets.source_ports.contains(u128::from(probe.source_port))
                                    && packets
                                        .destination_ports
                                        .contains(u128::from(probe.destination_port))
                            })
                        })
                    })
            });
            let seen_in_log = observed.iter().any(|one| {
                (one.source, one.destination) == (source, destination)
                    && one.service.protocol.0 == probe.protocol
                    && one.service.port == probe.destination_port
                    // A log tells no source port: any may have been meant, and the usual ones are.
                    && probe.source_port >= 49_152
            });
            let kept = after.contains(arrival);
            seen.closed += usize::from(!kept);
            seen.kept += usize::from(needed || seen_in_log);
            assert!(
                kept || !(needed || seen_in_log),
                "closes {arrival:?} {probe:?}\n{context}"
            );
        }
    }
}
