//! The rule review on small tables whose answers are worked out by hand: unions that hide a rule, the same rule twice, a
//! rule for everything, and messages that must pass.
//!
//! No interface has a source check, so that every packet of a table can arrive.

use boundwalk::analysis::rules::{Effort, Judge, RuleReview, RuleSpace, RuleStatus, Without};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, RouterId};

const TODAY: Date = Date::constant(2026, 11, 25);

/// Two zones inside, one of them with two segments, and the world.
const HEAD: &str = r#"
[zones.inside]
trust = 50
[zones.shop]
trust = 30
[zones.outside]
trust = 0
[segments.desks]
zone = "inside"
prefixes = ["10.37.0.0/24", "fd00:0:0:37::/64"]
[segments.benches]
zone = "inside"
prefixes = ["10.38.0.0/24"]
[segments.shop]
zone = "shop"
prefixes = ["10.39.0.0/24"]
[segments.world]
zone = "outside"
external = true
prefixes = ["203.0.113.0/29", "2001:db8:1::/64"]
[gateways.edge]
default = "DEFAULT"
[gateways.edge.interfaces.desks]
segment = "desks"
addresses = ["10.37.0.1/24", "fd00:0:0:37::1/64"]
source_check = "off"
[gateways.edge.interfaces.benches]
segment = "benches"
addresses = ["10.38.0.1/24"]
source_check = "off"
[gateways.edge.interfaces.shop]
segment = "shop"
addresses = ["10.39.0.1/24"]
source_check = "off"
[gateways.edge.interfaces.world]
segment = "world"
addresses = ["203.0.113.2/29", "2001:db8:1::2/64"]
source_check = "off"
[[gateways.edge.routes]]
to = "0.0.0.0/0"
via = "203.0.113.1"
[[gateways.edge.routes]]
to = "::/0"
via = "2001:db8:1::1"
"#;

/// The review of a gateway with these rules, each as lines of the file without its name.
fn reviewed(default: &str, rules: &[&str]) -> RuleReview {
    let mut text = HEAD.replace("DEFAULT", default);
    for (number, rule) in rules.iter().enumerate() {
        let name = number + 1;
        text.push_str(&format!(
            "[[gateways.edge.rules]]\nname = \"{name}\"\n{rule}\n"
        ));
    }
    let loaded = load_text("table.toml", &text);
    let problems = loaded.problems;
    let site = loaded.site.unwrap_or_else(|| panic!("{problems:#?}"));
    let network = Network::new(&site, TODAY);
    let space = RuleSpace::new(&network, RouterId(0)).expect("the gateway filters");
    RuleReview::new(&Judge::new(&space, Effort::default()))
}

/// The numbers of dead and of redundant rules, from 1.
fn kinds(review: &RuleReview) -> [Vec<usize>; 2] {
    let of = |kind: fn(&RuleStatus) -> bool| {
        review
            .rules
            .iter()
            .zip(1..)
            .filter(|(rule, _)| kind(rule))
            .map(|(_, number)| number)
            .collect()
    };
    let redundant = |rule: &RuleStatus| match rule {
        RuleStatus::Decides { without, .. } => matches!(without, Without::Same { .. }),
        _ => false,
    };
    [
        of(|rule| matches!(rule, RuleStatus::Dead(_))),
        of(redundant),
    ]
}

/// The rules that cover a dead one, and the one that decides otherwise, from 1.
#[track_caller]
fn covered(review: &RuleReview, number: usize) -> (Vec<usize>, Option<usize>) {
    let RuleStatus::Dead(dead) = &review.rules[number - 1] else {
        panic!("rule {number} is {:?}", review.rules[number - 1]);
    };
    assert!(dead.smallest && dead.judged, "{dead:?}");
    let by = dead.by.iter().map(|rule| rule + 1).collect();
    (by, dead.against.map(|against| against.rule + 1))
}

/// Of which each half is taken: in both fields at once, by zones, by segments of a zone, by where it goes.
#[test]
fn only_a_union_hides_a_rule() {
    let cases = [
        [
            "source = [\"10.37.0.0/25\"]\nservices = [\"tcp/22\", \"udp/53\"]",
            "source = [\"10.37.0.64-10.37.0.255\"]\nservices = [\"tcp\"]",
            "source = [\"10.37.0.0/24\"]\nservices = [\"tcp/22\"]",
        ],
        [
            "from = [\"inside\"]",
            "from = [\"zone:shop\", \"outside\"]",
            "services = [\"tcp/443\"]",
        ],
        [
            "from = [\"desks\"]",
            "from = [\"benches\"]",
            "from = [\"inside\"]\nto = [\"outside\"]",
        ],
        [
            "to = [\"gateway\"]",
            "to = [\"inside\", \"zone:shop\", \"outside\"]",
            "services = [\"udp\"]",
        ],
    ];
    for rules in cases {
        let rules = rules.map(|lines| format!("{lines}\naction = \"permit\""));
        let review = reviewed("deny", &rules.each_ref().map(String::as_str));
        assert_eq!(kinds(&review)[0], [3], "{rules:#?}");
        assert_eq!(covered(&review, 3), (vec![1, 2], None), "{rules:#?}");
    }
}

/// Three that overlap in a row, and one of the other action between them that is not needed for it.
#[test]
fn the_union_of_three_hides_a_rule() {
    let rules = [
        "destination = [\"198.51.100.0-198.51.100.99\"]\naction = \"permit\"",
        "destination = [\"198.51.100.120\"]\naction = \"deny\"",
        "destination = [\"198.51.100.90-198.51.100.199\"]\naction = \"permit\"",
        "destination = [\"198.51.100.180-198.51.100.255\"]\naction = \"permit\"",
        "destination = [\"198.51.100.0/24\"]\nservices = [\"tcp/80\"]\naction = \"permit\"",
    ];
    // Rules that permit name all of it, so nothing is against it although the second one denies a part.
    assert_eq!(covered(&reviewed("deny", &rules), 5), (vec![1, 3, 4], None));
    // Without one of the three the rule decides again.
    let fewer = [rules[0], rules[1], rules[3], rules[4]];
    assert_eq!(kinds(&reviewed("deny", &fewer))[0], Vec::<usize>::new());
}

/// What stands below a rule for everything is dead, and the same rule a second time too.
#[test]
fn a_rule_for_everything_and_a_rule_twice() {
    let twice = "source = [\"10.37.0.7\"]\nservices = [\"tcp/22\"]\naction = \"permit\"";
    let all = "action = \"deny\"";
    let review = reviewed("reject", &[twice, twice, all, twice, all]);
    // Of two that are the same, the first can go or the second, not both: 1 and 3 are redundant, 2 and 5 dead.
    assert_eq!(kinds(&review), [vec![2, 4, 5], vec![1, 3]]);
    assert_eq!(
        (review.together.as_slice(), review.largest),
        (&[1, 3, 4][..], false)
    );
    assert_eq!(covered(&review, 2), (vec![1], None));
    assert_eq!(covered(&review, 4), (vec![1], None));
    assert_eq!(covered(&review, 5), (vec![3], None));
    let other = "source = [\"10.37.0.7\"]\nservices = [\"tcp/23\"]\naction = \"permit\"";
    let review = reviewed("deny", &[twice, all, other]);
    assert_eq!(covered(&review, 3), (vec![2], Some(2)));
}

/// Deny and reject are two things.
#[test]
fn deny_and_reject_are_not_the_same() {
    let some = "from = [\"inside\"]\naction = \"reject\"";
    let all = "action = \"deny\"";
    assert_eq!(kinds(&reviewed("deny", &[some, all])), [vec![], vec![2]]);
    assert_eq!(
        covered(&reviewed("permit", &[all, some]), 2),
        (vec![1], Some(1))
    );
}

/// Messages that must not be dropped in transit (RFC 4890 section 4.3.1): types 1 and 2, type 3 code 0, type 4 codes 1
/// and 2, types 128 and 129. Below a rule that denies all of ICMPv6 a rule that permits them is dead.
#[test]
fn icmpv6_that_must_pass_below_a_rule_that_denies_it() {
    let needed = "services = [\"icmpv6/1\", \"icmpv6/2\", \"icmpv6/3/0\", \"icmpv6/4/1\", \"icmpv6/4/2\", \
                  \"icmpv6/128\", \"icmpv6/129\"]\naction = \"permit\"";
    let all = "services = [\"icmpv6\"]\naction = \"deny\"";
    assert_eq!(
        covered(&reviewed("reject", &[all, needed]), 2),
        (vec![1], Some(1))
    );
    assert_eq!(
        kinds(&reviewed("reject", &[needed, all])).concat(),
        Vec::<usize>::new()
    );
    // Denying the rest of type 4 leaves its codes 1 and 2 alone, and code 0 dead below it.
    let rest = "services = [\"icmpv6/4\"]\naction = \"deny\"";
    let again = "services = [\"icmpv6/4/0\", \"icmpv6/4/2\"]\naction = \"permit\"";
    assert_eq!(
        covered(&reviewed("reject", &[needed, rest, again]), 3),
        (vec![2], Some(2))
    );
}

/// A firewall must let in the answers that say a packet was too large (RFC 2979 section 3): ICMP type 3 code 4. Echo may
/// be blocked, and hides nothing of it.
#[test]
fn too_large_answers_below_blocked_messages() {
    let large = "from = [\"outside\"]\nservices = [\"icmp/3/4\"]\naction = \"permit\"";
    let echo = "from = [\"outside\"]\nservices = [\"icmp/8\"]\naction = \"deny\"";
    assert_eq!(
        kinds(&reviewed("reject", &[echo, large]))[0],
        Vec::<usize>::new()
    );
    let unreachable = "services = [\"icmp/3\"]\naction = \"deny\"";
    let review = reviewed("reject", &[echo, unreachable, large]);
    assert_eq!(covered(&review, 3), (vec![2], Some(2)));
}
