//! Translations reviewed like rules: by hand, and on random sites packet by packet.

#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;
#[path = "support/random_site.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random_site;

use std::collections::BTreeSet;

use boundwalk::checks::run;
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};
use seeds::seeds;

#[path = "support/seeds.rs"]
mod seeds;

const TODAY: Date = Date::constant(2026, 4, 1);

const HEAD: &str = r#"
[zones.outside]
trust = 0
[zones.house]
trust = 50
[segments.internet]
zone = "outside"
external = true
prefixes = ["203.0.113.0/29"]
[segments.office]
zone = "house"
prefixes = ["10.44.10.0/24"]
[segments.published]
zone = "house"
prefixes = ["10.44.40.0/24"]
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.wan]
segment = "internet"
addresses = ["203.0.113.2/29"]
[gateways.edge.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24"]
[gateways.edge.interfaces.published]
segment = "published"
addresses = ["10.44.40.1/24"]
[[gateways.edge.routes]]
to = "default"
via = "203.0.113.1"
[[gateways.edge.routes]]
to = "10.0.0.0/8"
discard = true
[[gateways.edge.rules]]
name = "shop"
destination = ["10.44.40.10"]
services = ["tcp/8443"]
action = "permit"
"#;

fn site(lines: &str) -> Site {
    let loaded = load_text("translations.toml", &format!("{HEAD}{lines}"));
    let problems = loaded.problems;
    loaded.site.unwrap_or_else(|| panic!("{problems:#?}"))
}

fn arriving(name: &str, rest: &str) -> String {
    format!("[[gateways.edge.destination_translations]]\nname = \"{name}\"\n{rest}\n")
}

fn leaving(name: &str, rest: &str) -> String {
    format!("[[gateways.edge.source_translations]]\nname = \"{name}\"\n{rest}\n")
}

/// What the checks of translations say: check and line.
fn said(lines: &[String]) -> Vec<(&'static str, String)> {
    let site = site(&lines.concat());
    let network = Network::new(&site, TODAY);
    let mut said: Vec<(&str, String)> = run(&network)
        .into_iter()
        .filter(|finding| finding.check.name.starts_with("translation-"))
        .map(|finding| (finding.check.name, finding.message))
        .collect();
    said.sort();
    said
}

#[track_caller]
fn says(lines: &[String], expected: &[(&str, &str)]) {
    let said = said(lines);
    assert_eq!(said.len(), expected.len(), "{said:#?}");
    for ((check, message), (wanted, part)) in said.iter().zip(expected) {
        assert!(check == wanted && message.contains(part), "{said:#?}");
    }
}

const PUBLIC: &str = "destination = [\"203.0.113.2\"]\nservices = [\"tcp/443\"]\n";
const SHOP: &str = "to_address = \"10.44.40.10\"\nto_port = 8443";

#[test]
fn in_from_outside_with_the_port_changed_is_fine() {
    says(
        &[arriving(
            "shop",
            &format!("from = [\"internet\"]\n{PUBLIC}{SHOP}"),
        )],
        &[],
    );
}

#[test]
fn the_rule_is_asked_about_the_port_that_is_written() {
    let to = "to_address = \"10.44.40.10\"";
    says(
        &[arriving(
            "shop",
            &format!("from = [\"internet\"]\n{PUBLIC}{to}"),
        )],
        &[("translation-undelivered", "a packet is denied")],
    );
}

#[test]
fn an_address_without_a_route_is_nowhere() {
    let open = "[[gateways.edge.rules]]\nname = \"open\"\naction = \"permit\"\n".to_owned();
    let nowhere = format!("from = [\"internet\"]\n{PUBLIC}to_address = \"10.44.99.9\"");
    says(
        &[open, arriving("shop", &nowhere)],
        &[("translation-undelivered", "stopped: the route discards it")],
    );
}

#[test]
fn a_line_behind_the_union_of_two_is_dead_and_behind_one_of_them_is_not() {
    let half = |name: &str, list: &str| arriving(name, &format!("from = [{list}]\n{PUBLIC}{SHOP}"));
    let both = half("both", "\"internet\", \"office\"");
    let (one, other) = (half("one", "\"internet\""), half("other", "\"office\""));
    says(
        &[one.clone(), other, both.clone()],
        &[("translation-dead", "\"one\", \"other\" take all")],
    );
    says(&[one, both], &[]);
}

#[test]
fn out_and_both_ways() {
    let out = "to = [\"internet\"]\nsource = [\"10.44.0.0/16\"]\nto_address = \"interface\"";
    let part = "to = [\"internet\"]\nsource = [\"10.44.10.0/24\"]\nto_address = \"203.0.113.3\"";
    let shop = arriving("shop", &format!("from = [\"internet\"]\n{PUBLIC}{SHOP}"));
    says(
        &[shop.clone(), leaving("part", part), leaving("out", out)],
        &[],
    );
    says(
        &[shop, leaving("out", out), leaving("part", part)],
        &[("translation-dead", "\"out\" takes all")],
    );
}

#[test]
fn a_client_beside_the_server_needs_its_source_translated_too() {
    let hairpin = arriving("shop", &format!("{PUBLIC}{SHOP}"));
    says(
        std::slice::from_ref(&hairpin),
        &[(
            "translation-unanswered",
            "packets from published to the server",
        )],
    );
    let back = "to = [\"published\"]\nsource = [\"10.44.40.0/24\"]\nto_address = \"interface\"";
    says(&[hairpin, leaving("back", back)], &[]);
}

/// A chain of two: the second gateway publishes what the first one sends it.
#[test]
fn behind_a_second_gateway() {
    let second = |port: u16| {
        format!(
            "[segments.cellar]\nzone = \"house\"\nprefixes = [\"10.44.60.0/24\"]\n\
             [gateways.inner]\ndefault = \"deny\"\n\
             [gateways.inner.interfaces.published]\nsegment = \"published\"\naddresses = [\"10.44.40.10/24\"]\n\
             [gateways.inner.interfaces.cellar]\nsegment = \"cellar\"\naddresses = [\"10.44.60.1/24\"]\n\
             [[gateways.inner.routes]]\nto = \"default\"\nvia = \"10.44.40.1\"\n\
             [[gateways.inner.destination_translations]]\nname = \"on\"\nfrom = [\"published\"]\ndestination = [\"10.44.40.10\"]\n\
             services = [\"tcp/{port}\"]\nto_address = \"10.44.60.9\"\n\
             [[gateways.inner.rules]]\nname = \"in\"\ndestination = [\"10.44.60.9\"]\naction = \"permit\"\n"
        )
    };
    let first = arriving("shop", &format!("from = [\"internet\"]\n{PUBLIC}{SHOP}"));
    says(&[second(8443), first.clone()], &[]);
    // Where the second one asks for another port, the shop's packets end at the gateway itself.
    let said = said(&[second(9999), first]);
    assert!(
        said.iter().all(|(check, _)| *check != "translation-dead"),
        "{said:#?}"
    );
}

/// Single packets: what a line is said to do to none of them, it does to none of many.
#[test]
fn on_random_sites_a_dead_line_never_applies() {
    use boundwalk::forwarding::{Origin, Packet, Sender, trace};
    use boundwalk::model::{Family, TCP, UDP};

    let (mut dead, mut undelivered, mut alive, mut sent) = (0, 0, 0, 0);
    for seed in seeds(150) {
        let text = random_site::random_site(seed);
        let site = load_text("drawn.toml", &text)
            .site
            .expect("random sites load");
        let network = Network::new(&site, TODAY);
        let findings = run(&network);
        let of = |check: &str| -> BTreeSet<String> {
            findings
                .iter()
                .filter(|finding| finding.check.name == check)
                .flat_map(|finding| finding.subjects.clone())
                .collect()
        };
        let (never, nowhere) = (of("translation-dead"), of("translation-undelivered"));
        dead += never.len();
        undelivered += nowhere.len();
        // Addresses that lines name, and some of each segment.
        let lines = site
            .routers
            .iter()
            .filter_map(|router| router.filter())
            .flat_map(|filter| &filter.destination_translations);
        let mut addresses: BTreeSet<(Family, u128)> = BTreeSet::new();
        for family in Family::ALL {
            for segment in &network.plan(family).segments {
                let low = segment.addresses.intervals().iter().map(|part| part.low());
                addresses.extend(low.take(2).map(|address| (family, address)));
            }
            for line in lines.clone().filter_map(|line| line.destination.as_ref()) {
                let parts = line.set.of(family).intervals().iter();
                addresses
                    .extend(parts.flat_map(|part| [(family, part.low()), (family, part.high())]));
            }
        }
        for origin in network
            .fabric
            .origins()
            .filter(|origin| matches!(origin, Origin::Segment(_)))
        {
            for &(family, source) in addresses.iter().step_by(3) {
                for &(_, destination) in addresses.iter().filter(|(own, _)| *own == family) {
                    for (protocol, port) in [(TCP, 80), (UDP, 53), (TCP, 443)] {
                        let packet = Packet {
                            source: family.address(source),
                            destination: family.address(destination),
                            protocol,
                            source_port: 50_000,
                            destination_port: port,
                        };
                        sent += 1;
                        for way in trace(&network, Sender::Hostile(origin), &packet) {
                            let delivered =
                                matches!(way.outcome, boundwalk::forwarding::Outcome::Delivered(_));
                            for step in &way.steps {
                                let Some(line) = step.destination_translation else {
                                    continue;
                                };
                                let router = &site.routers[step.device.0];
                                let filter = router.filter().expect("it translates");
                                let name = &filter.destination_translations[line].name.value;
                                let subject = format!("{} \"{name}\"", router.name.value);
                                assert!(
                                    !never.contains(&subject),
                                    "seed {seed}: {packet:?}\n{text}"
                                );
                                let lost = nowhere.contains(&subject);
                                assert!(!(lost && delivered), "seed {seed}: {packet:?}\n{text}");
                                alive += 1;
                            }
                        }
                    }
                }
            }
        }
    }
    assert!(
        3 <= dead && 5 < undelivered && 500 < alive && 10_000 < sent,
        "{dead} {undelivered} {alive} {sent}"
    );
}
