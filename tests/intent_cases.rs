//! Expectations by hand, for what random sites show too seldom: hostile devices, isolation, inspection, addresses by
//! both of their names.

use boundwalk::analysis::intent::{
    Breach, Demand, IntentStatus, Link, breach_text, judge_expectations, judge_needs,
};
use boundwalk::analysis::{Endpoint, ServiceLabels};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, PerFamily, SegmentId, Site};

const TODAY: Date = Date::constant(2026, 11, 25);

/// Three segments at a gateway without a source check, one apart, and a shop that is forwarded to.
const SITE: &str = r#"
[zones.business]
trust = 50
[zones.guest]
trust = 10
[zones.world]
trust = 0
[zones.management]
trust = 90
[segments.office]
zone = "business"
prefixes = ["10.44.10.0/24"]
[segments.guests]
zone = "guest"
prefixes = ["10.44.20.0/24"]
[segments.shop]
zone = "business"
prefixes = ["10.44.40.0/24"]
[segments.internet]
zone = "world"
external = true
prefixes = ["203.0.113.0/29"]
[segments.switches]
zone = "management"
prefixes = ["10.44.90.0/24"]
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24"]
[gateways.edge.interfaces.guests]
segment = "guests"
addresses = ["10.44.20.1/24"]
[gateways.edge.interfaces.shop]
segment = "shop"
addresses = ["10.44.40.1/24"]
[gateways.edge.interfaces.wan]
segment = "internet"
addresses = ["203.0.113.2/29"]
[[gateways.edge.routes]]
to = "default"
via = "203.0.113.1"
[[gateways.edge.destination_translations]]
name = "shop"
from = "internet"
destination = ["203.0.113.2"]
services = ["tcp/443"]
to_address = "10.44.40.10"
to_port = 8443
[[gateways.edge.rules]]
name = "the shop"
from = "internet"
to = "shop"
destination = ["10.44.40.10"]
services = ["tcp/8443"]
action = "permit"
log = true
inspect = true
[[gateways.edge.rules]]
name = "the manager's desk"
source = ["10.44.10.7"]
to = "shop"
services = ["tcp/22"]
action = "permit"
"#;

fn site(lines: &str) -> Site {
    let loaded = load_text("site.toml", &format!("{SITE}{lines}"));
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems))
}

/// One expectation: `body` is what follows its name.
fn judged(body: &str) -> (Site, IntentStatus) {
    let site = site(&format!("[[expectations]]\nname = \"line\"\n{body}"));
    let network = Network::new(&site, TODAY);
    let status = judge_expectations(&network).remove(0).status;
    (site, status)
}

fn breaches(body: &str) -> Vec<Breach> {
    match judged(body).1 {
        IntentStatus::Broken(breaches) => breaches,
        other => panic!("{other:?}: {body}"),
    }
}

fn holds(body: &str) {
    assert_eq!(judged(body).1, IntentStatus::Held, "{body}");
}

#[test]
fn a_hostile_device_breaks_what_a_plain_one_keeps() {
    let line = "from = \"guests\"\nto = \"shop\"\npermit = \"nothing\"\n";
    holds(line);
    // It sends with the address of the manager's desk, and nothing checks the source.
    let found = breaches(&format!("{line}stance = \"hostile\"\n"));
    assert!(
        found
            .iter()
            .all(|breach| breach.hostile && breach.demand == Demand::Nothing)
    );
    let packet = found[0].packet.expect("a packet shows it");
    assert_eq!(packet.source.to_string(), "10.44.10.7");
    assert_eq!(packet.destination_port, 22);
}

#[test]
fn a_destination_counts_by_the_address_sent_and_by_the_one_that_it_arrives_at() {
    for (destination, service) in [("203.0.113.2", "tcp/443"), ("10.44.40.10", "tcp/8443")] {
        let to = format!(
            "from = \"internet\"\nto = \"shop\"\ndestination = [\"{destination}\"]\nservices = [\"{service}\"]\n"
        );
        holds(&format!("{to}permit = \"exactly\"\n"));
        holds(&format!(
            "{to}permit = \"at-least\"\nthrough = \"edge\"\nlogged = true\ninspected = true\n"
        ));
        let found = breaches(&format!("{to}permit = \"nothing\"\n"));
        let packet = found[0].packet.expect("a packet shows it");
        // By its public name, or straight to the shop: nothing here keeps a private address from coming in.
        let shown = format!("{}:{}", packet.destination, packet.destination_port);
        assert!(
            ["203.0.113.2:443", "10.44.40.10:8443"].contains(&shown.as_str()),
            "{shown}"
        );
    }
    // Another port of the same address is neither sent nor does it arrive.
    let other = "from = \"internet\"\nto = \"shop\"\ndestination = [\"203.0.113.2\"]\nservices = [\"tcp/80\"]\n";
    holds(&format!("{other}permit = \"nothing\"\n"));
    assert_eq!(
        breaches(&format!("{other}permit = \"at-least\"\n"))[0].demand,
        Demand::AtLeast
    );
}

#[test]
fn demands_on_the_deciding_rule_name_what_is_missing() {
    let desk = "from = \"office\"\nto = \"shop\"\n";
    for (demand, key) in [(Demand::Logged, "logged"), (Demand::Inspected, "inspected")] {
        let found = breaches(&format!("{desk}{key} = true\n"));
        assert_eq!(found[0].demand, demand);
        assert_eq!(found[0].deciders.len(), 1);
        holds(&format!(
            "from = \"internet\"\nto = \"shop\"\n{key} = true\n"
        ));
    }
    holds(&format!("{desk}through = \"gateway\"\n"));
    holds(&format!("{desk}one_way = true\n"));
    let back = breaches("from = \"shop\"\nto = \"office\"\none_way = true\n");
    assert_eq!(back[0].demand, Demand::OneWay);
}

#[test]
fn isolation_is_about_ways_and_not_about_rules() {
    holds("from = \"switches\"\nto = [\"office\", \"guests\", \"internet\"]\nisolated = true\n");
    // Rules deny everything between the two, and the gateway joins them all the same.
    let (site, status) =
        judged("from = \"guests\"\nto = \"office\"\npermit = \"nothing\"\nisolated = true\n");
    let IntentStatus::Broken(found) = status else {
        panic!("{status:?}");
    };
    let [breach] = found.as_slice() else {
        panic!("{found:?}");
    };
    assert!(matches!(
        breach.chain[..],
        [
            Link::Segment(SegmentId(1)),
            Link::Router(_),
            Link::Segment(SegmentId(0))
        ]
    ));
    let network = Network::new(&site, TODAY);
    let namings = PerFamily::new(|family| ServiceLabels::new(&network, family));
    let text = breach_text(&network, &namings, breach);
    assert_eq!(
        text,
        "there is a way between guests and office: guests - edge - office"
    );
    assert_eq!(breach.to, Endpoint::Segment(SegmentId(0)));
}

#[test]
fn a_line_about_nobody_is_vacuous() {
    for body in [
        "from = \"guests\"\nto = \"office\"\ndestination = [\"10.44.50.1\"]\npermit = \"nothing\"\n",
        "from = \"guests\"\nto = \"office\"\nsource = [\"10.44.10.7\"]\npermit = \"nothing\"\n",
        "from = \"guests\"\nto = \"office\"\ndestination = [\"fd44:0:0:10::7\"]\nservices = [\"https\"]\npermit = \"exactly\"\n",
    ] {
        assert_eq!(judged(body).1, IntentStatus::Vacuous, "{body}");
    }
    // A hostile guest may well send from the office's address.
    let forged = "from = \"guests\"\nto = \"shop\"\nsource = [\"10.44.10.7\"]\npermit = \"nothing\"\nstance = \"hostile\"\n";
    assert_eq!(breaches(forged).len(), 1);
}

#[test]
fn an_unmet_need_names_the_rule_that_denies_it() {
    let site = site(
        "[[needs]]\nname = \"both\"\nfrom = \"office\"\nto = \"shop\"\nsource = [\"10.44.10.7\", \"10.44.10.8\"]\nservices = [\"ssh\"]\n",
    );
    let network = Network::new(&site, TODAY);
    let IntentStatus::Broken(found) = judge_needs(&network).remove(0).status else {
        panic!("it is unmet");
    };
    let packet = found[0].packet.expect("a packet shows it");
    assert_eq!(packet.source.to_string(), "10.44.10.8");
    assert_eq!(found[0].deciders, [(boundwalk::model::RouterId(0), None)]);
}

/// A host that bridges two VLANs of a router; nothing but its own cables leads to it.
const BRIDGING: &str = r#"
[zones.office]
trust = 50
[zones.plant]
trust = 90
[segments.office]
zone = "office"
vlan = 10
prefixes = ["10.44.10.0/24"]
[segments.brewhouse]
zone = "plant"
vlan = 40
prefixes = ["10.44.40.0/24"]
[switches.hall.ports]
"3" = {}
[routers.hall-router.interfaces.office]
segment = "office"
port = "x"
vlan = 10
addresses = ["10.44.10.1/24"]
[routers.hall-router.interfaces.brewhouse]
segment = "brewhouse"
port = "x"
vlan = 40
addresses = ["10.44.40.1/24"]
[hosts.recorder]
forwards = "bridges"
[[hosts.recorder.interfaces]]
segment = "brewhouse"
vlan = 40
addresses = ["10.44.40.11/24"]
[[hosts.recorder.interfaces]]
segment = "office"
vlan = 10
addresses = ["10.44.10.12/24"]
[[links]]
ends = ["recorder:1", "hall-router:x"]
[[links]]
ends = ["hall:3", "recorder:2"]
"#;

#[test]
fn what_a_host_that_bridges_sends_from_behind_its_own_cables_counts_in_both_stances() {
    let line = |name: &str, demand: &str| {
        format!(
            "[[expectations]]\nname = \"{name}\"\nfrom = \"office\"\nto = \"brewhouse\"\n{demand}"
        )
    };
    let text = [
        BRIDGING,
        &line("configured", "permit = \"nothing\"\n"),
        &line("hostile", "permit = \"nothing\"\nstance = \"hostile\"\n"),
        &line("isolated", "isolated = true\n"),
    ];
    let loaded = load_text("site.toml", &text.concat());
    let site = loaded.site.expect("it loads");
    let network = Network::new(&site, TODAY);
    let standings: Vec<IntentStatus> = judge_expectations(&network)
        .into_iter()
        .map(|judged| judged.status)
        .collect();
    // No other device can be plugged in behind its bridge, and it sends nothing to itself as it is set up.
    assert_eq!(standings[0], IntentStatus::Held);
    // Taken over, its frames reach the router, which passes on without rules.
    for status in &standings[1..] {
        assert!(matches!(status, IntentStatus::Broken(_)), "{status:?}");
    }
}

/// A gateway sends what is for the till to the safe, and what is for the shelf to the till: a line about the till speaks
/// of the second too, though both are in its own segment.
#[test]
fn a_destination_counts_also_where_a_neighbour_of_it_is_translated_to_it() {
    let to_host = |name: &str, from: &str, to: &str| {
        format!(
            "[[gateways.edge.destination_translations]]\nname = \"{name}\"\nfrom = \"office\"\n\
             destination = [\"{from}\"]\nservices = [\"tcp/5000\"]\nto_address = \"{to}\"\n"
        )
    };
    let text = [
        &to_host("till to safe", "10.44.40.10", "10.44.40.30"),
        &to_host("shelf to till", "10.44.40.20", "10.44.40.10"),
        "[[gateways.edge.rules]]\nname = \"till\"\nfrom = \"office\"\nto = \"shop\"\n\
         destination = [\"10.44.40.10\"]\nservices = [\"tcp/5000\"]\naction = \"permit\"\n",
        "[[expectations]]\nname = \"line\"\nfrom = \"office\"\nto = \"shop\"\n\
         destination = [\"10.44.40.10\"]\nservices = [\"tcp/5000\"]\npermit = \"nothing\"\n",
    ];
    let site = site(&text.concat());
    let status = judge_expectations(&Network::new(&site, TODAY))
        .remove(0)
        .status;
    let IntentStatus::Broken(breaches) = status else {
        panic!("{status:?}");
    };
    let packet = breaches[0].packet.expect("a packet shows it");
    assert_eq!(packet.destination.to_string(), "10.44.40.20");
}
