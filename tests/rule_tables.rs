//! The rule review on published rule tables.
//!
//! Addresses are mapped one to one to private and documentation prefixes; interfaces have no source check, so that
//! every packet of a table can arrive.

use boundwalk::analysis::rules::{
    Comparison, Effort, GatewayReview, Judge, Rank, Relation, RulePairs, RuleStatus, Without,
};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, RouterId, Site};
use boundwalk::packet::{IntervalSet, ServiceBox, ServiceClasses};

const TODAY: Date = Date::constant(2026, 11, 25);

/// A gateway between a network 10.37.0.0/16 and the world, with rules given as: source, destination, services,
/// action.
fn site(rules: &[(&str, &str, &str, &str)]) -> Site {
    let mut text = String::from(
        "[zones.inside]\ntrust = 50\n[zones.outside]\ntrust = 0\n\
         [segments.inside]\nzone = \"zone:inside\"\nprefixes = [\"10.37.0.0/16\"]\n\
         [segments.outside]\nzone = \"zone:outside\"\nexternal = true\nprefixes = [\"203.0.113.0/29\"]\n\
         [gateways.edge]\ndefault = \"deny\"\n\
         [gateways.edge.interfaces.inside]\nsegment = \"inside\"\naddresses = [\"10.37.255.1/16\"]\n\
         [gateways.edge.interfaces.outside]\nsegment = \"outside\"\naddresses = [\"203.0.113.2/29\"]\n\
         [[gateways.edge.routes]]\nto = \"default\"\nvia = \"203.0.113.1\"\n",
    );
    text = text.replace("\"zone:", "\"");
    for (number, (source, destination, services, action)) in rules.iter().enumerate() {
        text.push_str(&format!(
            "[[gateways.edge.rules]]\nname = \"{}\"\n",
            number + 1
        ));
        for (key, value) in [
            ("source", source),
            ("destination", destination),
            ("services", services),
        ] {
            if *value != "any" {
                text.push_str(&format!("{key} = [\"{value}\"]\n"));
            }
        }
        text.push_str(&format!("action = \"{action}\"\n"));
    }
    let loaded = load_text("table.toml", &text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:?}", loaded.problems))
}

fn gateway_review(network: &Network<'static>) -> GatewayReview<'static> {
    // Leaked so that a test can keep all it looks at.
    let network: &'static Network<'static> = Box::leak(Box::new(Network::new(network.site, TODAY)));
    GatewayReview::new(network, RouterId(0)).expect("the gateway filters")
}

fn reviewed(rules: &[(&str, &str, &str, &str)]) -> GatewayReview<'static> {
    let site: &'static Site = Box::leak(Box::new(site(rules)));
    gateway_review(&Network::new(site, TODAY))
}

/// Numbers, from 1, of the rules for which something holds.
fn numbers(gateway_review: &GatewayReview<'_>, holds: impl Fn(&RuleStatus) -> bool) -> Vec<usize> {
    gateway_review
        .review
        .rules
        .iter()
        .enumerate()
        .filter(|(_, status)| holds(status))
        .map(|(number, _)| number + 1)
        .collect()
}

fn dead(gateway_review: &GatewayReview<'_>) -> Vec<usize> {
    numbers(gateway_review, |status| {
        matches!(status, RuleStatus::Dead(_))
    })
}

fn redundant(gateway_review: &GatewayReview<'_>) -> Vec<usize> {
    let same = |status: &RuleStatus| {
        matches!(
            status,
            RuleStatus::Decides {
                without: Without::Same { .. },
                ..
            }
        )
    };
    numbers(gateway_review, same)
}

const NET: &str = "10.37.0.0/24";
const OTHER: &str = "10.38.0.0/24";
const SERVER: &str = "198.51.100.40";
const TWELVE: [(&str, &str, &str, &str); 12] = [
    ("10.37.0.20", "any", "tcp/80", "deny"),
    (NET, "any", "tcp/80", "permit"),
    ("any", SERVER, "tcp/80", "permit"),
    (NET, SERVER, "tcp/80", "deny"),
    ("10.37.0.30", "any", "tcp/21", "deny"),
    (NET, "any", "tcp/21", "permit"),
    (NET, SERVER, "tcp/21", "permit"),
    ("any", "any", "tcp", "deny"),
    (NET, SERVER, "udp/53", "permit"),
    ("any", SERVER, "udp/53", "permit"),
    (OTHER, "192.0.2.0/24", "udp", "permit"),
    ("any", "any", "udp", "deny"),
];

/// The table of twelve rules of Al-Shaer and Hamed (2003; the table from several equal copies, the pairwise results by
/// their definitions, the semantic results computed): dead 4 and 7, removable 4, 7 and 9, and all three at once.
///
/// Here the default denies, so rules 8 and 12, which deny all of a protocol at the end, are redundant too.
#[test]
fn the_table_of_twelve_rules() {
    let gateway_review = reviewed(&TWELVE);
    assert_eq!(dead(&gateway_review), [4, 7]);
    assert_eq!(redundant(&gateway_review), [8, 9, 12]);
    // 4 is shadowed by 2 and by 3: either alone covers it, with the other action. 7 only repeats 6.
    let RuleStatus::Dead(four) = &gateway_review.review.rules[3] else {
        panic!("4 is dead");
    };
    assert!(four.smallest && four.by.len() == 1 && [1, 2].contains(&four.by[0]));
    assert!([1, 2].contains(&four.against.expect("2 and 3 permit").rule));
    let RuleStatus::Dead(seven) = &gateway_review.review.rules[6] else {
        panic!("7 is dead");
    };
    assert_eq!((seven.by.as_slice(), seven.against), (&[5][..], None));
    // With the default given as what the last two say, those stand out; 4, 7 and 9 go together.
    let together: Vec<usize> = gateway_review
        .review
        .together
        .iter()
        .map(|rule| rule + 1)
        .collect();
    assert_eq!(together, [4, 7, 8, 9, 12]);
    assert!(gateway_review.review.largest);
}

/// The same table, pairs by the definitions: 1 and 3 are correlated, 5 and 7 too; 2 generalises 1, 6 generalises 5, 8
/// generalises 2, 3, 6 and 7, 12 generalises 9, 10 and 11.
#[test]
fn pairs_of_the_table_of_twelve_rules() {
    let gateway_review = reviewed(&TWELVE);
    let of = |relation: Relation, idle: bool| {
        let mut pairs: Vec<(usize, usize)> = gateway_review
            .pairs
            .pairs
            .iter()
            .filter(|pair| pair.relation == relation && (idle || pair.rank != Rank::Idle))
            .map(|pair| (pair.first + 1, pair.second + 1))
            .collect();
        pairs.sort_unstable();
        pairs
    };
    assert_eq!(of(Relation::Correlated, true), [(1, 3), (5, 7)]);
    let generalised = [
        (1, 2),
        (2, 8),
        (3, 8),
        (5, 6),
        (6, 8),
        (7, 8),
        (9, 12),
        (10, 12),
        (11, 12),
    ];
    assert_eq!(of(Relation::Generalises, true), generalised);
    // Rule 2 stands between 1 and 3, 6 between 5 and 7, 10 between 9 and 12: there the order of the two does not matter.
    assert_eq!(of(Relation::Correlated, false), []);
    let order = [(1, 2), (2, 8), (3, 8), (5, 6), (6, 8), (10, 12), (11, 12)];
    assert_eq!(of(Relation::Generalises, false), order);
}

/// Kurose and Ross, *Computer Networking*: an access list in which every rule is needed (the last one repeats the
/// default here).
#[test]
fn the_access_list_of_a_textbook() {
    let gateway_review = reviewed(&[
        (NET, "any", "tcp/80", "permit"),
        ("any", NET, "tcp/1024-65535 from 80", "permit"),
        (NET, "any", "udp/53", "permit"),
        ("any", NET, "udp/1024-65535 from 53", "permit"),
        ("any", "any", "any", "deny"),
    ]);
    assert_eq!(dead(&gateway_review), Vec::<usize>::new());
    assert_eq!(redundant(&gateway_review), [5]);
}

/// The example of rule order in *Building Internet Firewalls* (rules from copies, results computed): in the order A, B, C
/// rule B changes nothing; in the order B, A, C it does. A and B are correlated either way.
#[test]
fn the_order_of_three_rules() {
    let a = ("10.0.0.0/8", "172.16.6.0/24", "any", "permit");
    let b = ("10.1.99.0/24", "172.16.0.0/16", "any", "deny");
    let c = ("any", "any", "any", "deny");
    let gateway_review = reviewed(&[a, b, c]);
    assert_eq!(redundant(&gateway_review), [2, 3]);
    assert_eq!(gateway_review.pairs.pairs[0].rank, Rank::Pierced);
    let gateway_review = reviewed(&[b, a, c]);
    assert_eq!(redundant(&gateway_review), [3]);
    let first = &gateway_review.pairs.pairs[0];
    assert_eq!(
        (first.relation, first.rank),
        (Relation::Correlated, Rank::Narrowed)
    );
}

/// A rule that only two others together hide, in each field, and one that three do.
#[test]
fn only_the_union_hides_a_rule() {
    let cases = [
        [
            ("10.37.0.0/25", "any", "tcp/80", "permit"),
            ("10.37.0.128/25", "any", "tcp/80", "permit"),
            (NET, "any", "tcp/80", "permit"),
        ],
        [
            (NET, "any", "tcp/80-89", "deny"),
            (NET, "any", "tcp/88-99", "deny"),
            (NET, SERVER, "tcp/80-99", "deny"),
        ],
        [
            (NET, "198.51.100.0/25", "tcp", "permit"),
            (NET, "198.51.100.128/25", "tcp", "permit"),
            ("10.37.0.7", "198.51.100.0/24", "tcp/22", "permit"),
        ],
    ];
    for rules in cases {
        let gateway_review = reviewed(&rules);
        let RuleStatus::Dead(third) = &gateway_review.review.rules[2] else {
            panic!("{:?}", gateway_review.review.rules[2]);
        };
        assert!(third.smallest && third.against.is_none());
        assert_eq!(third.by, [0, 1]);
    }
    // Three corners of a square, and the fourth by a rule of the other action.
    let gateway_review = reviewed(&[
        ("10.37.0.0/25", "198.51.100.0/25", "tcp", "permit"),
        ("10.37.0.0/25", "198.51.100.128/25", "tcp", "permit"),
        ("10.37.0.128/25", "198.51.100.0/25", "tcp", "permit"),
        ("10.37.0.128/25", "198.51.100.128/25", "tcp", "deny"),
        (NET, "198.51.100.0/24", "tcp", "permit"),
    ]);
    let RuleStatus::Dead(last) = &gateway_review.review.rules[4] else {
        panic!("the last rule is dead");
    };
    assert!(last.smallest && last.by.len() == 4);
    assert_eq!(last.against.map(|against| against.rule), Some(3));
}

/// Atomic predicates of destination ports: classes of packets that no predicate tells apart (*Atomic Predicates for
/// Network Verification*, 2013). The sets 0-1023, {80}, {443} and 80-89 make five, of 64,512, 1,013, 9, 1 and 1 ports.
#[test]
fn atomic_predicates_of_ports() {
    let ports = |low: u128, high: u128| ServiceBox {
        protocols: IntervalSet::point(6),
        source_ports: IntervalSet::range(0, 65_535),
        destination_ports: IntervalSet::range(low, high),
    };
    let seeds = [
        ports(0, 1023),
        ports(80, 80),
        ports(443, 443),
        ports(80, 89),
    ];
    let classes = ServiceClasses::new(&seeds);
    let mut sizes: Vec<u32> = (0..classes.len())
        .map(|class| classes.class_box(class))
        .filter(|triples| triples.protocols == IntervalSet::point(6))
        .map(|triples| triples.destination_ports.size().try_into().expect("ports"))
        .collect();
    sizes.sort_unstable();
    assert_eq!(sizes, [1, 1, 9, 1_013, 64_512]);
}

/// Many rules that each overlap many others, built against probing and cutting: it ends, and says what it does not know.
#[test]
fn a_list_built_to_be_hard_ends_within_its_bound() {
    // Grids that shift against each other in three fields: what is left of the last rule falls into ever smaller boxes.
    let mut rules = Vec::new();
    let mut text: Vec<(String, String, String)> = Vec::new();
    for number in 0..240u32 {
        let (low, wide) = (number * 7 % 200, 20 + number % 13);
        let source = format!("10.37.0.{}-10.37.0.{}", low, (low + wide).min(255));
        let destination = format!(
            "198.51.100.{}-198.51.100.{}",
            low * 3 % 180,
            low * 3 % 180 + 40
        );
        let service = format!("tcp/{}-{}", low * 5 + 1, low * 5 + 300);
        text.push((source, destination, service));
    }
    for (number, (source, destination, service)) in text.iter().enumerate() {
        let action = if number % 2 == 0 { "permit" } else { "deny" };
        rules.push((
            source.as_str(),
            destination.as_str(),
            service.as_str(),
            action,
        ));
    }
    rules.push((NET, "198.51.100.0/24", "tcp/1-1300", "permit"));
    let gateway_review = reviewed(&rules);
    let judge = Judge::new(&gateway_review.space, Effort::new(50, 3_000));
    let pairs = RulePairs::new(&judge);
    assert!(
        !pairs.complete && judge.left() == 0,
        "the bound is met and said"
    );
    // With the usual bound everything is settled.
    assert_eq!(gateway_review.tally().unknown, 0);
    let after: Vec<_> = (0..rules.len())
        .map(boundwalk::analysis::rules::After::Kept)
        .collect();
    assert_eq!(
        gateway_review.space.compare(&after, &Effort::default()),
        Comparison::Same
    );
}
