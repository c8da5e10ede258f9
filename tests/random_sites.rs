//! Does everything that has surprised somebody about a network occur in the random sites?
//!
//! The tests that hold the product against the simulator of layer 3 are worth what the sites hold. Here packets of
//! all kinds are sent through the simulator, and what they meet is counted.

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

use std::collections::BTreeMap;
use std::net::IpAddr;

use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, ICMP, ICMPV6, SegmentId, Site, TranslationTarget};

use probes::Probes;
use random::Random;
use simulator::{Hop, Outcome, Probe, Simulator, Spot, Stance};

const TODAY: Date = Date::constant(2026, 4, 1);
const SITES: u64 = 400;

/// Nobody in any random site has these; what is for them leaves by a default route or not at all.
const PRIVATE: [&str; 2] = ["10.200.0.1", "fdff::1"];
const PUBLIC: [&str; 2] = ["203.0.113.250", "2001:db8:9::1"];

#[derive(Default, Debug)]
struct Seen(BTreeMap<&'static str, usize>);

impl Seen {
    fn add(&mut self, what: &'static str, holds: bool) {
        *self.0.entry(what).or_default() += usize::from(holds);
    }
}

#[test]
#[expect(clippy::print_stderr, reason = "how much was looked at")]
fn random_sites_hold_what_surprises() {
    let mut seen = Seen::default();
    for seed in 0..SITES {
        let text = random_site::random_site(seed);
        let loaded = load_text("drawn", &text);
        let site = loaded
            .site
            .unwrap_or_else(|| panic!("seed {seed}: {:#?}\n{text}", loaded.problems));
        built(&site, &mut seen);
        sent(seed, &site, &mut seen);
    }
    eprintln!("{seen:#?}");
    for (what, count) in &seen.0 {
        assert!(20 < *count, "too tame: {count} {what}: {seen:#?}");
    }
}

/// What the file of a site says.
fn built(site: &Site, seen: &mut Seen) {
    for host in &site.hosts {
        seen.add("hosts with routes of their own", !host.routes.is_empty());
        let own = !host.default_gateway.is_empty();
        seen.add("hosts with a default gateway of their own", own);
        let mut gateways = host.default_gateway.iter().map(|address| address.value);
        let mut hosts = site.hosts.iter().flat_map(|other| &other.interfaces);
        let by_host = gateways.any(|gateway| hosts.any(|port| has(&port.addresses, gateway)));
        seen.add("hosts whose default gateway is a host", by_host);
        let segments: Vec<SegmentId> = host.interfaces.iter().map(|port| port.segment).collect();
        seen.add("hosts with two interfaces on a segment", twice(&segments));
    }
    for router in &site.routers {
        let segments: Vec<SegmentId> = router.interfaces.iter().map(|port| port.segment).collect();
        seen.add(
            "gateways with two interfaces on a segment",
            twice(&segments),
        );
        let Some(filter) = router.filter() else {
            continue;
        };
        let own = router.own_addresses();
        let named = |set: &boundwalk::model::AddressSet| {
            Family::ALL.into_iter().clone().any(|family| {
                let mut points = set.of(family).intervals().iter();
                points.any(|part| part.low() == part.high() && own.of(family).contains(part.low()))
            })
        };
        let mut sources = filter.rules.iter().filter_map(|rule| rule.source.as_ref());
        seen.add(
            "rules on the gateway's own address as source",
            sources.any(|list| named(&list.set)),
        );
        let mut lines = filter.source_translations.iter();
        let by_interface = lines.any(|line| line.target == TranslationTarget::Interface);
        let mut ports = router.interfaces.iter();
        let two_subnets = ports.any(|port| {
            let mut prefixes: Vec<_> = port
                .addresses
                .iter()
                .filter(|net| net.value.address().is_ipv4())
                .map(|net| net.value.prefix())
                .collect();
            prefixes.dedup();
            1 < prefixes.len()
        });
        seen.add(
            "translations to an interface with two subnets",
            by_interface && two_subnets,
        );
    }
    for segment in &site.segments {
        let mut four = segment
            .prefixes
            .iter()
            .map(|prefix| prefix.value.net().addr());
        let first = four.find(IpAddr::is_ipv4);
        let text = first.map(|address| address.to_string()).unwrap_or_default();
        seen.add(
            "public prefixes inside",
            !segment.external && text.starts_with("198."),
        );
        seen.add(
            "private prefixes outside",
            segment.external && text.starts_with("172."),
        );
    }
}

fn has(
    addresses: &[boundwalk::diagnostic::Spanned<boundwalk::model::InterfaceAddress>],
    wanted: IpAddr,
) -> bool {
    addresses
        .iter()
        .any(|address| address.value.address() == wanted)
}

fn twice(segments: &[SegmentId]) -> bool {
    let mut places = segments.to_vec();
    places.sort();
    places.dedup();
    places.len() < segments.len()
}

/// What packets meet.
fn sent(seed: u64, site: &Site, seen: &mut Seen) {
    let simulator = Simulator::new(site, TODAY);
    let (pool, mut random) = (Probes::new(site), Random::new(seed ^ 0x5eed));
    for from in site.segment_ids() {
        for family in Family::ALL {
            for _ in 0..60 {
                let likely = |address| simulator.has(from, address);
                let probe = pool.draw(&mut random, family, likely);
                for stance in [Stance::Configured, Stance::Hostile] {
                    let ways = simulator.send(from, probe, stance);
                    ways.iter().for_each(|way| met(site, &probe, way, seen));
                }
                by_hosts(site, &simulator, (from, probe), seen);
                half_open(site, &simulator, (from, probe), seen);
                lost(&simulator, (from, probe), seen);
            }
        }
    }
}

fn met(site: &Site, probe: &Probe, way: &Outcome, seen: &mut Seen) {
    let filters = |hop: &&Hop| hop.decided.is_some();
    seen.add("answered", way.came_back);
    seen.add("not answered", !way.came_back);
    seen.add(
        "round the gateway",
        !way.hops.iter().any(|hop| hop.decided.is_some()),
    );
    let mut devices: Vec<usize> = way.hops.iter().map(|hop| hop.device).collect();
    devices.sort_unstable();
    let gateways = 1 < way.hops.iter().filter(filters).count();
    seen.add("several gateways", gateways);
    let again = devices.windows(2).any(|pair| pair[0] == pair[1]);
    let rewritten = way.hops.iter().any(|hop| hop.rewritten[0].is_some());
    seen.add("one device twice, rewritten between", again && rewritten);
    let mut ports = site.routers.iter().flat_map(|router| &router.interfaces);
    let not_first = ports.any(|port| {
        let mut others = port
            .addresses
            .iter()
            .filter(|net| net.value.address().is_ipv4())
            .skip(1);
        others.any(|net| net.value.address() == way.arrived.source)
    });
    let translated = way.arrived.source != probe.source;
    seen.add(
        "translated to another address than an interface's first",
        translated && not_first,
    );
    let Spot::Segment(place) = way.place else {
        return;
    };
    let outside = site.segments[place].external;
    let private = |address: IpAddr| match address {
        IpAddr::V4(v4) => v4.is_private(),
        IpAddr::V6(v6) => v6.is_unique_local(),
    };
    let source = outside && private(way.arrived.source);
    seen.add(
        "a private source outside",
        source && probe.protocol != 1 && probe.protocol != 58,
    );
    let translated = outside && !private(way.arrived.source) && private(probe.source);
    seen.add("a private source translated on its way out", translated);
    let mut there = site
        .hosts
        .iter()
        .flat_map(|host| &host.interfaces)
        .filter(|port| port.segment.0 == place);
    let host = there.any(|port| has(&port.addresses, way.arrived.destination));
    let last = way
        .hops
        .last()
        .is_some_and(|hop| site.routers.len() <= hop.device);
    seen.add("at a host by another interface of it", host && last);
}

/// Packets that only a described host on the segment sends so.
fn by_hosts(
    site: &Site,
    simulator: &Simulator<'_>,
    (from, probe): (SegmentId, Probe),
    seen: &mut Seen,
) {
    let all = simulator.send(from, probe, Stance::Configured);
    let near = site.hosts.iter().enumerate().filter(|(_, host)| {
        let mut here = host.interfaces.iter().filter(|port| port.segment == from);
        here.any(|port| has(&port.addresses, probe.source))
    });
    for (host, _) in near {
        let own = simulator.send_from_host(host, probe);
        let further = own.iter().filter(|way| !way.hops.is_empty()).count();
        seen.add("what a host sends", 0 < further);
        // Some other source of the segment does not get there.
        let other = pool_twin(site, simulator, from, probe);
        let plain = other.map(|matched| simulator.send(from, matched, Stance::Configured));
        let only = plain.is_some_and(|plain| plain.is_empty() && 0 < further);
        seen.add("what only a host sends", only && !all.is_empty());
    }
}

/// The packet from a plain device beside the host.
fn pool_twin(
    site: &Site,
    simulator: &Simulator<'_>,
    from: SegmentId,
    probe: Probe,
) -> Option<Probe> {
    let pool = Probes::new(site);
    let sources = pool.addresses(Family::of(probe.source)).iter().copied();
    let mut hosts = 0..site.hosts.len();
    let mut plain = sources.filter(|&source| {
        simulator.has(from, source) && !hosts.any(|host| simulator.host_owns(host, source))
    });
    plain.next().map(|source| Probe { source, ..probe })
}

/// A way that UDP is answered on and TCP is not.
fn half_open(
    site: &Site,
    simulator: &Simulator<'_>,
    (from, probe): (SegmentId, Probe),
    seen: &mut Seen,
) {
    let family = if probe.source.is_ipv4() { ICMP } else { ICMPV6 };
    let echo = if family == ICMP { 8 * 256 } else { 128 * 256 };
    let of = |protocol: u8| {
        let (source_port, destination_port) = match protocol {
            6 | 17 => (50_000, 443),
            _ => (0, echo),
        };
        let probe = Probe {
            protocol,
            source_port,
            destination_port,
            ..probe
        };
        simulator.send(from, probe, Stance::Configured)
    };
    let (tcp, udp, ping) = (of(6), of(17), of(family.0));
    let stateful = |way: &Outcome| {
        let mut devices = way
            .hops
            .iter()
            .filter_map(|hop| site.routers.get(hop.device));
        devices.any(|router| router.filter().is_some_and(|filter| filter.stateful))
    };
    let differ = |one: &[Outcome], other: &[Outcome], crossing: bool| {
        let mut one = one.iter().filter(|way| stateful(way) == crossing);
        one.any(|one| {
            let mut same = other.iter().filter(|other| {
                let hops =
                    |way: &Outcome| way.hops.iter().map(|hop| hop.device).collect::<Vec<_>>();
                other.place == one.place && hops(other) == hops(one)
            });
            !one.came_back && same.any(|other| other.came_back)
        })
    };
    seen.add("UDP is answered and TCP is not", differ(&tcp, &udp, true));
    let only_tcp = differ(&tcp, &ping, true);
    seen.add("an echo request is answered and TCP is not", only_tcp);
    // No gateway on the way keeps state, so one on the way back takes the answer for a new flow.
    let new = differ(&tcp, &udp, false);
    seen.add("an answer passes as a new flow", new);
}

/// Private destinations that leave, and packets that claim to come from their receiver.
fn lost(simulator: &Simulator<'_>, (from, probe): (SegmentId, Probe), seen: &mut Seen) {
    let family = usize::from(!probe.source.is_ipv4());
    let to = |text: &str| {
        let destination = text.parse().expect("an address");
        let probe = Probe {
            destination,
            ..probe
        };
        !simulator.send(from, probe, Stance::Configured).is_empty()
    };
    seen.add(
        "a private destination is lost outside",
        to(PUBLIC[family]) && !to(PRIVATE[family]),
    );
    let from_itself = Probe {
        source: probe.destination,
        ..probe
    };
    let arrives = |probe| !simulator.send(from, probe, Stance::Hostile).is_empty();
    let dropped = arrives(probe) && !arrives(from_itself);
    seen.add("dropped where it claims to come from the receiver", dropped);
}
