//! Answers about small sites that were worked out by hand, for what larger tests would not miss if it were wrong.

use boundwalk::analysis::change::{EditKind, Trend, edits, isolation_changes, reach_change};
use boundwalk::analysis::privilege::{Observed, ObservedService, privilege, tighten};
use boundwalk::analysis::probes::{Asked, Expect, Obligation, plan_probes, suspects, verify};
use boundwalk::analysis::rules::{Cleaned, Effort, GatewayReview, Judge, RuleStatus};
use boundwalk::analysis::{
    Counterpart, Direction, EFFORT, Fault, Forwarding, IsolationVerdict, PortPart, ServiceLabels,
    distance, isolation,
};
use boundwalk::forwarding::layer2::PortName;
use boundwalk::forwarding::{Network, Outcome, Packet, Sender, trace};
use boundwalk::load::{RuleField, load_text, read_results};
use boundwalk::model::{Date, Family, HostId, ICMPV6, RouterId, SegmentId, Site, SwitchId, TCP};

const TODAY: Date = Date::constant(2026, 11, 25);

/// Offices, servers and a management segment around a gateway that inspects what passes by its rules.
const SEGMENTS: &str = r#"
[zones.inside]
trust = 50
[zones.servers]
trust = 70
[segments.office]
zone = "inside"
vlan = 20
prefixes = ["10.44.20.0/24"]
[segments.books]
zone = "servers"
vlan = 50
prefixes = ["10.44.50.0/24"]
[segments.management]
zone = "servers"
vlan = 90
prefixes = ["10.44.90.0/24"]
isolated = true
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
addresses = ["10.44.20.1/24"]
port = "1"
vlan = 20
[gateways.edge.interfaces.books]
segment = "books"
addresses = ["10.44.50.1/24"]
port = "1"
vlan = 50
[switches.core.ports]
"1" = { tagged = ["office", "books"] }
"2" = { access = "management" }
"3" = { access = "management" }
"4" = { access = "office" }
"5" = { access = "books" }
"6" = { access = "management", enabled = false }
[[links]]
ends = ["core:1", "edge:1"]
"#;

/// A permit of the gateway, with every field.
const RULE: &str = r#"
[[gateways.edge.rules]]
name = "clerks"
from = ["office"]
to = ["books"]
source = ["10.44.20.7"]
destination = ["10.44.50.9"]
services = ["tcp/443"]
action = "permit"
"#;

fn site(parts: &[&str]) -> Site {
    let loaded = load_text("site.toml", &parts.concat());
    let problems = format!("{:#?}", loaded.problems);
    loaded.site.expect(&problems)
}

/// A plan for everything.
fn asked() -> Asked {
    Asked {
        families: Family::ALL.to_vec(),
        from: Vec::new(),
        to: Vec::new(),
        spare_devices: true,
    }
}

fn segment(site: &Site, name: &str) -> SegmentId {
    let mut segments = site.segments.iter();
    SegmentId(
        segments
            .position(|segment| segment.name.value == name)
            .expect("a segment"),
    )
}

/// How many pairs open and how many close.
fn changed(before: &str, after: &str) -> (usize, usize) {
    let (old, new) = (site(&[SEGMENTS, before]), site(&[SEGMENTS, after]));
    let networks = Network::versions(&old, &new, TODAY);
    let change = reach_change(&networks[0], &networks[1], &mut |_, _| {});
    let with = |opens: bool| {
        let pairs = change.pairs.iter();
        pairs
            .filter(|pair| !if opens { &pair.opened } else { &pair.closed }.is_empty())
            .count()
    };
    (with(true), with(false))
}

#[test]
fn a_change_of_any_field_of_a_rule_is_one() {
    for (old, new, expected) in [
        ("10.44.20.7", "10.44.20.8", (1, 1)),
        ("10.44.50.9", "10.44.50.8", (1, 1)),
        ("tcp/443", "tcp/80", (1, 1)),
        ("source = [\"10.44.20.7\"]\n", "", (1, 0)),
        ("destination = [\"10.44.50.9\"]\n", "", (1, 0)),
        ("services = [\"tcp/443\"]\n", "", (1, 0)),
        ("from = [\"office\"]", "from = [\"books\"]", (0, 1)),
        ("to = [\"books\"]", "to = [\"office\"]", (0, 1)),
        ("\"permit\"", "\"deny\"", (0, 1)),
        ("\"clerks\"", "\"offices\"", (0, 0)),
    ] {
        assert_eq!(RULE.matches(old).count(), 1, "{old}");
        let edited = RULE.replace(old, new);
        assert_eq!(changed(RULE, &edited), expected, "{old} -> {new}");
        let (opened, closed) = expected;
        assert_eq!(changed(&edited, RULE), (closed, opened), "{new} -> {old}");
    }
    // A rule that another one hides decides nothing, wherever it stands and whatever it says.
    let denial = RULE.replace("clerks", "nobody").replace("permit", "deny");
    let twice = [RULE, &denial].concat();
    assert_eq!(changed(RULE, &twice), (0, 0));
    let first = [&denial, RULE].concat();
    assert_eq!(changed(&twice, &first), (0, 1));
}

#[test]
fn a_certificate_counts_the_ports_that_carry_the_segment() {
    let site = site(&[SEGMENTS]);
    let network = Network::new(&site, TODAY);
    let IsolationVerdict::ByDesign(proof) = isolation(&network, segment(&site, "management"))
    else {
        panic!("no trunk carries it");
    };
    assert_eq!(proof.extent(), (2, 1), "ports 2 and 3 of one switch");
    let parts: Vec<(PortName, PortPart)> = proof.ports.clone();
    let part = |at: usize| {
        let name = PortName::Port(SwitchId(0), at);
        parts
            .iter()
            .find(|(port, _)| *port == name)
            .map(|(_, part)| *part)
    };
    use PortPart::{Carries, Closed, Off};
    let expected = [Closed, Carries, Carries, Closed, Closed, Off].map(Some);
    assert_eq!([0, 1, 2, 3, 4, 5].map(part), expected);
}

#[test]
fn a_new_segment_that_is_isolated_is_no_change_for_the_worse() {
    let without = SEGMENTS.replace(", enabled = false", "");
    let without = without.replace(
        "[segments.management]\nzone = \"servers\"\nvlan = 90\nprefixes = [\"10.44.90.0/24\"]\nisolated = true\n",
        "",
    );
    let (old, new) = (
        site(&[&without.replace("\"management\"", "90")]),
        site(&[SEGMENTS]),
    );
    let networks = Network::versions(&old, &new, TODAY);
    let reach = reach_change(&networks[0], &networks[1], &mut |_, _| {});
    let changes = isolation_changes(&networks[0], &networks[1], &reach);
    for change in &changes {
        assert!(change.before.is_none() && !change.is_unknown());
        assert_eq!(change.trend(), Trend::Same, "{change:?}");
    }
}

#[test]
fn tighter_rules_use_the_names_of_the_site() {
    let text = r#"
[[hosts.desk.interfaces]]
segment = "office"
addresses = ["10.44.20.7/24"]
[[hosts.ledger.interfaces]]
segment = "books"
addresses = ["10.44.50.9/24"]
[[gateways.edge.rules]]
name = "clerks"
from = ["office"]
to = ["books"]
services = ["tcp/443"]
action = "permit"
[[needs]]
name = "the clerk keeps the books"
from = "office"
to = "books"
source = ["desk"]
destination = ["ledger"]
services = ["tcp/443"]
"#;
    let site = site(&[SEGMENTS, text]);
    let network = Network::new(&site, TODAY);
    let found = privilege(&network, &[]);
    let used = found.rules.iter().find(|rule| rule.rule == Some(0));
    let naming = ServiceLabels::new(&network, Family::V4);
    let tightened = tighten(&network, &naming, used.expect("the permit"), 1).expect("it is wide");
    let [fields] = &tightened.rules[..] else {
        panic!("{tightened:?}");
    };
    assert_eq!(fields[&RuleField::Source], ["desk"]);
    assert_eq!(fields[&RuleField::Destination], ["ledger"]);
}

#[test]
fn a_plan_of_probes_has_none_that_the_others_make_useless() {
    let site = site(&[include_str!("../policies/kettle-lane/site.toml")]);
    let network = Network::new(&site, TODAY);
    let plan = plan_probes(&network, &asked());
    let needed = |one: &Obligation| one.required();
    for probe in &plan.probes {
        let others = plan
            .probes
            .iter()
            .filter(|other| other.number != probe.number);
        let others: Vec<&Obligation> = others.flat_map(|other| &other.covers).collect();
        let mut own = probe.covers.iter().filter(|one| needed(one));
        assert!(own.any(|one| !others.contains(&one)), "{probe:#?}");
    }
    let denies = |one: &Obligation| matches!(one, Obligation::Denies { .. });
    let mut covered = plan.probes.iter().flat_map(|probe| &probe.covers);
    assert!(
        covered.any(|one| denies(one) && !one.required()),
        "denials come by the way"
    );
    assert!(plan.untouched.iter().all(|one| !denies(&one.obligation)));
}

/// RFC 1122 section 3.3.4.2: a host of the weak model answers by each of its interfaces for all of its IPv4 addresses.
#[test]
fn a_host_answers_for_its_dead_interface_by_the_other_one() {
    let with = |port: &str| {
        let hosts = format!(
            r#"
[[hosts.nas.interfaces]]
segment = "office"
addresses = ["10.44.20.7/24"]
port = "core:{port}"
[[hosts.nas.interfaces]]
segment = "office"
addresses = ["10.44.20.8/24"]
port = "core:4"
[switches.core.ports."7"]
access = "office"
enabled = false
[switches.core.ports."8"]
access = "office"
[[gateways.edge.rules]]
name = "all"
action = "permit"
"#
        );
        let site = site(&[SEGMENTS, &hosts]);
        let network = Network::new(&site, TODAY);
        let packet = Packet {
            source: [10, 44, 50, 9].into(),
            destination: [10, 44, 20, 7].into(),
            protocol: TCP,
            source_port: 40_000,
            destination_port: 443,
        };
        let from = Sender::Segment(segment(&site, "books"));
        let ways = trace(&network, from, &packet);
        ways.iter()
            .any(|way| matches!(way.outcome, Outcome::Delivered(_)))
    };
    assert!(with("8"), "both interfaces have their cable");
    assert!(with("7"), "that of the address has none");
}

#[test]
fn other_parties_of_a_rule_are_an_edit_of_it() {
    for (old, new, field) in [
        ("from = [\"office\"]", "from = [\"zone:servers\"]", "from"),
        ("to = [\"books\"]", "to = [\"gateway\"]", "to"),
    ] {
        let edited = RULE.replace(old, new).replace("10.44.50.9", "10.44.50.1");
        let before = RULE.replace("10.44.50.9", "10.44.50.1");
        let sites = [site(&[SEGMENTS, &before]), site(&[SEGMENTS, &edited])];
        let found = edits(&sites[0], &sites[1]);
        let kinds: Vec<&EditKind> = found.iter().map(|edit| &edit.kind).collect();
        assert_eq!(kinds, [&EditKind::Changed(vec![field])]);
    }
}

#[test]
fn the_packet_shown_for_a_rule_arrives_and_leaves_where_it_must() {
    let back = RULE.replace("from = [\"office\"]", "from = [\"books\"]");
    let back = back.replace("to = [\"books\"]", "to = [\"office\"]");
    let back = back.replace("source = [\"10.44.20.7\"]\n", "");
    let back = back.replace("destination = [\"10.44.50.9\"]\n", "");
    for (rule, ways) in [(RULE, (0, Some(1))), (&back, (1, Some(0)))] {
        let site = site(&[SEGMENTS, rule]);
        let network = Network::new(&site, TODAY);
        let gateway = GatewayReview::new(&network, RouterId(0)).expect("it filters");
        let RuleStatus::Decides { witness, .. } = &gateway.review.rules[0] else {
            panic!("{:?}", gateway.review.rules);
        };
        assert_eq!((witness.ingress, witness.egress), ways);
    }
}

#[test]
fn rules_become_one_only_where_nothing_written_about_them_differs() {
    let other = RULE
        .replace("clerks", "more clerks")
        .replace("10.44.20.7", "10.44.20.8");
    let merges = |more: &str| {
        let site = site(&[SEGMENTS, RULE, &other, more]);
        let network = Network::new(&site, TODAY);
        let gateway = GatewayReview::new(&network, RouterId(0)).expect("it filters");
        let judge = Judge::new(&gateway.space, Effort::default());
        Cleaned::new(&judge, &gateway.review).merges.len()
    };
    assert_eq!(merges(""), 1);
    assert_eq!(merges("log = true\n"), 0);
    assert_eq!(merges("reason = \"the auditor's\"\n"), 0);
}

/// RFC 4443 section 4.2: a node answers an echo request, of IPv6 too.
#[test]
fn a_permitted_echo_request_is_expected_to_be_answered() {
    let v6 = SEGMENTS
        .replace("\"10.44.20.0/24\"", "\"fd44:0:0:20::/64\"")
        .replace("\"10.44.20.1/24\"", "\"fd44:0:0:20::1/64\"")
        .replace("\"10.44.50.0/24\"", "\"fd44:0:0:50::/64\"")
        .replace("\"10.44.50.1/24\"", "\"fd44:0:0:50::1/64\"");
    let rule = "[[gateways.edge.rules]]\nname = \"echo\"\nservices = [\"icmpv6/128\"]\naction = \"permit\"\n";
    let site = site(&[&v6, rule]);
    let network = Network::new(&site, TODAY);
    let plan = plan_probes(&network, &asked());
    let echo = plan
        .probes
        .iter()
        .find(|probe| probe.packet.protocol == ICMPV6);
    assert_eq!(
        echo.map(|probe| probe.predicted.expect),
        Some(Expect::Answered)
    );
}

#[test]
fn an_observed_flow_counts_for_the_need_that_it_meets() {
    let need = |name: &str, service: &str| {
        format!(
            "[[needs]]\nname = \"{name}\"\nfrom = \"office\"\nto = \"books\"\nservices = [\"{service}\"]\n"
        )
    };
    let rule = RULE.replace("\"tcp/443\"", "\"tcp/443\", \"tcp/22\"");
    let site = site(&[
        SEGMENTS,
        &rule,
        &need("pages", "tcp/443"),
        &need("shells", "tcp/22"),
    ]);
    let network = Network::new(&site, TODAY);
    let flow = Observed {
        source: [10, 44, 20, 7].into(),
        destination: [10, 44, 50, 9].into(),
        service: ObservedService {
            protocol: TCP,
            port: 22,
        },
        records: 3,
    };
    let found = privilege(&network, &[flow]);
    let observed: Vec<usize> = found.needs.iter().map(|need| need.observed).collect();
    assert_eq!(observed, [0, 1]);
}

#[test]
fn what_tcp_and_udp_may_do_is_tried_by_tcp() {
    let site = site(&[
        SEGMENTS,
        &RULE.replace("\"tcp/443\"", "\"udp/443\", \"tcp/443\""),
    ]);
    let network = Network::new(&site, TODAY);
    let plan = plan_probes(&network, &asked());
    let permits = |one: &Obligation| matches!(one, Obligation::Permits { rule: 0, .. });
    let mut probes = plan.probes.iter();
    let probe = probes.find(|probe| probe.covers.iter().any(permits));
    assert_eq!(probe.map(|probe| probe.packet.protocol), Some(TCP));
}

#[test]
fn a_packet_that_got_through_casts_suspicion_on_the_rule_that_denies_it() {
    let denial = RULE.replace("\"permit\"", "\"deny\"");
    let site = site(&[SEGMENTS, &denial]);
    let network = Network::new(&site, TODAY);
    let results =
        "source,destination,protocol,port,result\n10.44.20.7,10.44.50.9,tcp,443,answered\n";
    let rows = read_results(results.as_bytes(), &site).expect("results");
    let verified = verify(&network, &rows);
    let reasons = suspects(&network, &verified.rows[0]);
    assert!(
        reasons[0].contains("\"clerks\"") && reasons[0].contains("missing"),
        "{reasons:?}"
    );
    assert!(reasons[1].contains("way round edge"), "{reasons:?}");
}

/// A server with an interface in the management segment and one without an address elsewhere joins the two once it
/// forwards.
#[test]
fn a_host_with_two_interfaces_is_one_fault_from_the_end_of_an_isolation() {
    let host = r#"
[[hosts.vault.interfaces]]
segment = "books"
port = "core:5"
[[hosts.vault.interfaces]]
segment = "management"
addresses = ["10.44.90.9"]
port = "core:3"
[[hosts.console.interfaces]]
segment = "management"
addresses = ["10.44.90.8"]
port = "core:2"
"#;
    let site = site(&[SEGMENTS, host]);
    let network = Network::new(&site, TODAY);
    let management = segment(&site, "management");
    let verdict = isolation(&network, management);
    let found = distance(&network, management, &verdict, EFFORT);
    let forwards: Vec<Fault> = found
        .one
        .iter()
        .copied()
        .filter(|fault| matches!(fault, Fault::Forwards(..)))
        .collect();
    // To route it would need an address there.
    assert_eq!(forwards, [Fault::Forwards(HostId(0), Forwarding::Bridges)]);
}

/// A device of the office plugged into a port of the management segment: whatever it sends enters, and it is named as one
/// of the office.
#[test]
fn what_enters_an_isolated_segment_names_the_segment_of_its_sender() {
    let host = r#"
[[hosts.clerk.interfaces]]
segment = "office"
addresses = ["10.44.20.7"]
port = "core:2"
"#;
    let site = site(&[SEGMENTS, host]);
    let verdict = isolation(&Network::new(&site, TODAY), segment(&site, "management"));
    let IsolationVerdict::Reachable { contacts, .. } = verdict else {
        panic!("{verdict:?}");
    };
    let mut into = contacts
        .iter()
        .filter(|contact| contact.direction == Direction::Into);
    let met = into.next().expect("something enters").met;
    assert_eq!(met, Counterpart::Segment(segment(&site, "office")));
}
