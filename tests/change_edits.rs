//! Is every edit of a site file named, and nothing that only stands elsewhere?

use boundwalk::analysis::change::{EditKind, edits, intent_changes, reach_change};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

const TODAY: Date = Date::constant(2026, 11, 25);

/// A brew house with one of everything that the site file knows.
const SITE: &str = r#"
[site]
name = "Kettle Lane Brewery"
description = "the brew house"
review_months = 6
[zones.business]
trust = 50
description = "desks"
[zones.production]
trust = 70
[segments.office]
zone = "business"
vlan = 10
prefixes = ["10.44.10.0/24", "fd44:0:0:10::/64"]
default_gateway = ["10.44.10.1", "fd44:0:0:10::1"]
description = "desks"
[segments.brewhouse]
zone = "production"
vlan = 60
prefixes = ["10.44.60.0/24"]
isolated = false
[segments.wan]
zone = "business"
external = true
prefixes = ["192.0.2.0/24"]
[services]
plc = ["tcp/502", "udp/502"]
[addresses]
plcs = ["10.44.60.10", "10.44.60.12"]
[gateways.edge]
default = "deny"
stateful = true
description = "in the cellar"
[gateways.edge.lags.trunk]
ports = ["1", "2"]
lacp = "active"
speed = "1G"
[gateways.edge.interfaces.office]
segment = "office"
port = "trunk"
vlan = 10
addresses = ["10.44.10.1/24", "fd44:0:0:10::1/64"]
source_check = "strict"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
port = "trunk"
vlan = 60
addresses = ["10.44.60.1/24"]
source_check = "strict"
[gateways.edge.interfaces.wan]
segment = "wan"
port = "9"
addresses = ["192.0.2.2/24"]
[[gateways.edge.routes]]
to = "0.0.0.0/0"
via = "192.0.2.1"
[[gateways.edge.routes]]
to = "203.0.113.0/24"
discard = true
[[gateways.edge.destination_translations]]
name = "published"
from = ["wan"]
destination = ["192.0.2.2"]
services = ["tcp/443", "tcp/80"]
to_address = "10.44.10.20"
[[gateways.edge.source_translations]]
name = "out"
to = ["wan"]
to_address = "interface"
[[gateways.edge.rules]]
name = "reads"
from = ["office", "wan"]
to = ["brewhouse"]
source = ["10.44.10.0/24", "192.0.2.0/24"]
destination = ["plcs"]
services = ["plc", "tcp/80"]
action = "permit"
log = false
inspect = false
reason = "shift report"
owner = "maltster"
ticket = "C-7"
reviewed = 2026-10-01
expires = 2027-10-01
hits = 5
[[gateways.edge.rules]]
name = "none else"
to = ["brewhouse"]
action = "deny"
[switches.core]
description = "rack 1"
[switches.core.lags.uplink]
ports = ["21", "22"]
lacp = "active"
[switches.core.ports]
"1" = { access = "office", speed = "1G", description = "desk" }
"2" = { access = "brewhouse" }
"3" = { access = "office" }
"uplink" = { tagged = ["office", "brewhouse"] }
[switches.bench]
vlan_aware = false
[switches.bench.ports]
"1" = { }
"2" = { }
[[links]]
ends = ["core:uplink", "edge:trunk"]
label = "green"
[hosts.panel]
description = "the panel"
default_gateway = "10.44.60.1"
[[hosts.panel.interfaces]]
port = "core:2"
addresses = ["10.44.60.10/24"]
[[hosts.panel.interfaces]]
port = "core:3"
addresses = ["10.44.10.12/24"]
[[hosts.panel.routes]]
to = "192.0.2.0/24"
via = "10.44.60.1"
[[needs]]
from = ["office"]
to = ["brewhouse"]
destination = ["10.44.60.10"]
services = ["plc"]
reason = "shift report"
owner = "maltster"
[[needs]]
from = ["wan"]
to = ["brewhouse"]
destination = ["10.44.60.12"]
services = ["tcp/9"]
[[expectations]]
name = "guarded"
from = ["office", "wan"]
to = ["brewhouse"]
through = "edge"
reason = "as agreed"
[[accepted]]
check = "rule-unhit"
reason = "new"
owner = "network"
until = 2027-01-31
"#;

fn site(text: &str) -> Site {
    let loaded = load_text("site.toml", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}\n{text}", loaded.problems))
}

fn replaced(old: &str, new: &str) -> String {
    assert_eq!(SITE.matches(old).count(), 1, "{old}");
    SITE.replace(old, new)
}

/// Edits in words, from one text to another.
fn told(old: &str, new: &str) -> Vec<String> {
    let (old, new) = (site(old), site(new));
    let words = edits(&old, &new).into_iter().map(|edit| {
        let kind = match &edit.kind {
            EditKind::Added => "added".to_owned(),
            EditKind::Removed => "removed".to_owned(),
            EditKind::Moved => "moved".to_owned(),
            EditKind::Renamed(old) => format!("was {old}"),
            EditKind::Changed(settings) => settings.join(" "),
        };
        format!("{}: {kind}", edit.what)
    });
    words.collect()
}

/// Each line: what stands in the file, what is written instead, and the edit that is named.
const CHANGED: &[(&str, &str, &str)] = &[
    (
        "name = \"Kettle Lane Brewery\"",
        "name = \"Kettle Lane\"",
        "site: name",
    ),
    ("description = \"the brew house\"", "", "site: description"),
    (
        "review_months = 6",
        "review_months = 12",
        "site: review_months",
    ),
    ("trust = 70", "trust = 80", "zone production: trust"),
    (
        "trust = 70",
        "trust = 70\ndescription = \"hall\"",
        "zone production: description",
    ),
    (
        "isolated = false",
        "isolated = true",
        "segment brewhouse: isolated",
    ),
    (
        "isolated = false",
        "description = \"hall\"\nisolated = false",
        "segment brewhouse: description",
    ),
    (
        "prefixes = [\"10.44.60.0/24\"]",
        "prefixes = [\"10.44.60.0/23\"]",
        "segment brewhouse: prefixes",
    ),
    (
        "description = \"in the cellar\"",
        "",
        "gateway edge: description",
    ),
    (
        "default = \"deny\"",
        "default = \"reject\"",
        "gateway edge: default",
    ),
    (
        "speed = \"1G\"\n[gateways.edge.int",
        "speed = \"10G\"\n[gateways.edge.int",
        "LAG edge:trunk: speed",
    ),
    (
        "lacp = \"active\"\nspeed",
        "lacp = \"passive\"\nspeed",
        "LAG edge:trunk: lacp",
    ),
    (
        "source_check = \"strict\"\n[gateways.edge.interfaces.wan]",
        "[gateways.edge.interfaces.wan]",
        "interface edge:brewhouse: source_check",
    ),
    (
        "addresses = [\"192.0.2.2/24\"]",
        "addresses = [\"192.0.2.2/24\", \"192.0.2.3/24\"]",
        "interface edge:wan: addresses",
    ),
    (
        "via = \"192.0.2.1\"",
        "via = \"192.0.2.9\"",
        "route edge to 0.0.0.0/0: via",
    ),
    (
        "[[gateways.edge.routes]]\nto = \"203.0.113.0/24\"\ndiscard = true\n",
        "",
        "route edge to 203.0.113.0/24: removed",
    ),
    (
        "to_address = \"10.44.10.20\"",
        "to_address = \"10.44.10.21\"",
        "edge translation \"published\": to_address",
    ),
    (
        "name = \"published\"",
        "name = \"the shop\"",
        "edge translation \"the shop\": was published",
    ),
    ("log = false", "log = true", "edge rule \"reads\": log"),
    (
        "inspect = false",
        "inspect = true",
        "edge rule \"reads\": inspect",
    ),
    (
        "ticket = \"C-7\"",
        "ticket = \"C-8\"",
        "edge rule \"reads\": ticket",
    ),
    (
        "reviewed = 2026-10-01",
        "reviewed = 2026-11-01",
        "edge rule \"reads\": reviewed",
    ),
    (
        "expires = 2027-10-01",
        "expires = 2027-11-01",
        "edge rule \"reads\": expires",
    ),
    ("hits = 5", "hits = 6", "edge rule \"reads\": hits"),
    (
        "reason = \"shift report\"\nowner = \"maltster\"\nticket",
        "reason = \"x\"\nowner = \"brewer\"\nticket",
        "edge rule \"reads\": reason owner",
    ),
    (
        "services = [\"plc\", \"tcp/80\"]",
        "services = [\"tcp/502\", \"udp/502\", \"tcp/80\"]",
        "edge rule \"reads\": services",
    ),
    (
        "name = \"reads\"",
        "name = \"reads the panel\"",
        "edge rule \"reads the panel\": was reads",
    ),
    ("description = \"rack 1\"", "", "switch core: description"),
    (
        "vlan_aware = false",
        "vlan_aware = true",
        "switch bench: vlan_aware",
    ),
    (
        "speed = \"1G\", description",
        "speed = \"100M\", description",
        "switch port core:1: speed",
    ),
    (
        "description = \"desk\"",
        "description = \"table\"",
        "switch port core:1: description",
    ),
    (
        "\"2\" = { access = \"brewhouse\" }",
        "\"2\" = { access = \"brewhouse\", isolated = true }",
        "switch port core:2: isolated",
    ),
    (
        "\"2\" = { access = \"brewhouse\" }",
        "\"2\" = { untagged = [\"brewhouse\"], pvid = 60 }",
        "switch port core:2: ingress_filter accept",
    ),
    (
        "\"uplink\" = { tagged = [\"office\", \"brewhouse\"] }",
        "\"uplink\" = { tagged = [\"office\"] }",
        "LAG core:uplink: tagged",
    ),
    (
        "label = \"green\"",
        "label = \"red\"",
        "cable core:uplink - edge:trunk: label",
    ),
    ("description = \"the panel\"", "", "host panel: description"),
    (
        "default_gateway = \"10.44.60.1\"",
        "forwards = \"routes\"\ndefault_gateway = \"10.44.60.1\"",
        "host panel: forwards",
    ),
    (
        "addresses = [\"10.44.10.12/24\"]",
        "addresses = [\"10.44.10.13/24\"]",
        "interface panel:2: addresses",
    ),
    (
        "to = \"192.0.2.0/24\"\nvia = \"10.44.60.1\"",
        "to = \"192.0.2.0/24\"\nvia = \"10.44.60.9\"",
        "route panel to 192.0.2.0/24: via",
    ),
    (
        "services = [\"tcp/9\"]",
        "services = [\"tcp/9\"]\nowner = \"cooper\"",
        "need \"need 2\": owner",
    ),
    (
        "reason = \"as agreed\"",
        "reason = \"otherwise\"",
        "expectation \"guarded\": reason",
    ),
    (
        "through = \"edge\"",
        "through = \"edge\"\nstance = \"hostile\"",
        "expectation \"guarded\": stance",
    ),
    (
        "until = 2027-01-31",
        "until = 2027-02-28",
        "accepted finding rule-unhit: until",
    ),
    (
        "owner = \"network\"",
        "owner = \"cooper\"",
        "accepted finding rule-unhit: owner",
    ),
];

#[test]
fn each_edit_is_named_by_its_key() {
    for (old, new, expected) in CHANGED {
        let after = replaced(old, new);
        assert_eq!(told(SITE, &after), [*expected], "{old} > {new}");
        // The way back names the same settings.
        let back = told(&after, SITE);
        let kinds = ["removed", "was "];
        if !kinds.iter().any(|kind| expected.contains(kind)) {
            assert_eq!(back, [*expected], "back: {old} > {new}");
        }
        assert_eq!(back.len(), 1, "back: {back:?}");
    }
    // Nothing is translated without state.
    let lines = SITE
        .find("[[gateways.edge.destination")
        .expect("the first translation");
    let rules = SITE
        .find("[[gateways.edge.rules]]")
        .expect("the first rule");
    let plain = [&SITE[..lines], &SITE[rules..]].concat();
    let stateless = plain.replace("stateful = true", "stateful = false");
    assert_eq!(told(&plain, &stateless), ["gateway edge: stateful"]);
}

/// What stands in another order, and means the same.
const REORDERED: &[(&str, &str)] = &[
    (
        "prefixes = [\"10.44.10.0/24\", \"fd44:0:0:10::/64\"]",
        "prefixes = [\"fd44:0:0:10::/64\", \"10.44.10.0/24\"]",
    ),
    (
        "default_gateway = [\"10.44.10.1\", \"fd44:0:0:10::1\"]",
        "default_gateway = [\"fd44:0:0:10::1\", \"10.44.10.1\"]",
    ),
    (
        "plc = [\"tcp/502\", \"udp/502\"]",
        "plc = [\"udp/502\", \"tcp/502\"]",
    ),
    (
        "plcs = [\"10.44.60.10\", \"10.44.60.12\"]",
        "plcs = [\"10.44.60.12\", \"10.44.60.10\"]",
    ),
    ("ports = [\"1\", \"2\"]", "ports = [\"2\", \"1\"]"),
    ("ports = [\"21\", \"22\"]", "ports = [\"22\", \"21\"]"),
    (
        "services = [\"tcp/443\", \"tcp/80\"]",
        "services = [\"tcp/80\", \"tcp/443\"]",
    ),
    (
        "from = [\"office\", \"wan\"]\nto = [\"brewhouse\"]\nsource",
        "from = [\"wan\", \"office\"]\nto = [\"brewhouse\"]\nsource",
    ),
    (
        "from = [\"office\", \"wan\"]\nto = [\"brewhouse\"]\nthrough",
        "from = [\"wan\", \"office\"]\nto = [\"brewhouse\"]\nthrough",
    ),
    (
        "source = [\"10.44.10.0/24\", \"192.0.2.0/24\"]",
        "source = [\"192.0.2.0/24\", \"10.44.10.0/24\"]",
    ),
    (
        "services = [\"plc\", \"tcp/80\"]",
        "services = [\"tcp/80\", \"plc\"]",
    ),
    (
        "tagged = [\"office\", \"brewhouse\"]",
        "tagged = [\"brewhouse\", \"office\"]",
    ),
    (
        "ends = [\"core:uplink\", \"edge:trunk\"]",
        "ends = [\"edge:trunk\", \"core:uplink\"]",
    ),
    (
        "\"1\" = { access = \"office\", speed = \"1G\", description = \"desk\" }\n\"2\" = { access = \"brewhouse\" }",
        "\"2\" = { access = \"brewhouse\" }\n\"1\" = { description = \"desk\", access = \"office\", speed = \"1G\" }",
    ),
];

/// Pairs of blocks that follow each other, in one order and in the other.
const EXCHANGED: &[(&str, &str)] = &[
    (
        "[[hosts.panel.interfaces]]\nport = \"core:2\"",
        "[[hosts.panel.interfaces]]\nport = \"core:3\"",
    ),
    (
        "[[gateways.edge.routes]]\nto = \"0.0",
        "[[gateways.edge.routes]]\nto = \"203",
    ),
    (
        "[[needs]]\nfrom = [\"office\"]",
        "[[needs]]\nfrom = [\"wan\"]",
    ),
    ("[zones.business]", "[zones.production]"),
    ("[segments.office]", "[segments.brewhouse]"),
    (
        "[gateways.edge.interfaces.office]",
        "[gateways.edge.interfaces.brewhouse]",
    ),
];

/// The text with the block that begins so behind the one that begins so.
fn exchanged(first: &str, second: &str) -> String {
    let (one, two) = (SITE.find(first), SITE.find(second));
    let (one, two) = (one.expect("the first"), two.expect("the second"));
    let end = SITE[two + 1..].find("\n[").expect("another block") + two + 2;
    [&SITE[..one], &SITE[two..end], &SITE[one..two], &SITE[end..]].concat()
}

#[test]
fn what_only_stands_elsewhere_is_no_edit_and_opens_nothing() {
    let reordered = REORDERED.iter().map(|(old, new)| replaced(old, new));
    let swapped = EXCHANGED.iter().map(|(one, two)| exchanged(one, two));
    let old = site(SITE);
    for text in reordered.chain(swapped) {
        assert_ne!(text, SITE);
        let new = site(&text);
        assert_eq!(told(SITE, &text), [] as [String; 0], "{text}");
        let networks = Network::versions(&old, &new, TODAY);
        let found = reach_change(&networks[0], &networks[1], &mut |_, _| {});
        assert!(
            found.is_empty() && found.complete(),
            "{:#?} {:#?}\n{text}",
            found.pairs,
            found.hostile
        );
        let intent = intent_changes(&networks[0], &networks[1]);
        assert!(intent.is_empty(), "{intent:?}\n{text}");
    }
    // One of these needs is met and the other is not: a number is no name.
    let networks = Network::versions(&old, &old, TODAY);
    let judged = boundwalk::analysis::intent::judge_needs(&networks[0]);
    assert_ne!(judged[0].status, judged[1].status);
}

#[test]
fn a_line_of_an_ordered_list_that_moves_is_an_edit() {
    let moved = exchanged(
        "[[gateways.edge.rules]]\nname = \"reads\"",
        "[[gateways.edge.rules]]\nname = \"none",
    );
    let found = told(SITE, &moved);
    let either = [
        "edge rule \"reads\": moved",
        "edge rule \"none else\": moved",
    ];
    assert!(
        matches!(&found[..], [one] if either.contains(&one.as_str())),
        "{found:?}"
    );
    // A line above the others does not move them.
    let above = replaced(
        "[[gateways.edge.destination_translations]]",
        "[[gateways.edge.destination_translations]]\nname = \"first\"\ndestination = [\"192.0.2.9\"]\nto_address = \"10.44.10.9\"\n\
         [[gateways.edge.destination_translations]]",
    );
    assert_eq!(told(SITE, &above), ["edge translation \"first\": added"]);
    // The first address of an interface is the one that a translation writes.
    let two = replaced(
        "addresses = [\"192.0.2.2/24\"]",
        "addresses = [\"192.0.2.2/24\", \"192.0.2.3/24\"]",
    );
    let turned = replaced(
        "addresses = [\"192.0.2.2/24\"]",
        "addresses = [\"192.0.2.3/24\", \"192.0.2.2/24\"]",
    );
    assert_eq!(told(&two, &turned), ["interface edge:wan: addresses"]);
}
