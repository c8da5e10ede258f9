//! Do the checks of wide permits measure what is really there? Cases by hand: what lies behind routers, what earlier
//! rules take, both families. Expected sizes are those of the prefixes written here.

use boundwalk::checks::run;
use boundwalk::diagnostic::{Finding, Severity};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::Date;

/// A gateway with an internet, guests, an office and, behind a router, a brewhouse and a laboratory.
const SITE: &str = r#"
[zones]
internet = { trust = 0 }
guest = { trust = 10 }
business = { trust = 50 }
production = { trust = 70 }
laboratory = { trust = 60 }

[segments.internet]
zone = "internet"
external = true
prefixes = ["203.0.113.0/29", "2001:db8:0:1::/64"]

[segments.guest]
zone = "guest"
prefixes = ["10.44.20.0/24"]

[segments.office]
zone = "business"
prefixes = ["10.44.10.0/24", "fd44:0:0:10::/64"]

[segments.transit]
zone = "production"
prefixes = ["10.44.1.0/30", "fd44:0:0:1::/64"]

[segments.brewhouse]
zone = "production"
prefixes = ["10.44.60.0/24", "fd44:0:0:60::/64"]

[segments.tasting]
zone = "laboratory"
prefixes = ["10.44.61.0/24"]

[addresses]
printers = ["10.44.60.20", "10.44.61.20"]

[hosts.historian]
interfaces = [{ segment = "brewhouse", addresses = ["10.44.60.20/24", "fd44:0:0:60::20/64"] }]

[hosts.recorder]
interfaces = [{ segment = "brewhouse", addresses = ["10.44.60.21/24", "fd44:0:0:60::21/64"] }]

[gateways.edge]
default = "deny"

[gateways.edge.interfaces.wan]
segment = "internet"
addresses = ["203.0.113.2/29", "2001:db8:0:1::2/64"]
source_check = "strict"

[gateways.edge.interfaces.guest]
segment = "guest"
addresses = ["10.44.20.1/24"]
source_check = "strict"

[gateways.edge.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24", "fd44:0:0:10::1/64"]
source_check = "strict"

[gateways.edge.interfaces.inside]
segment = "transit"
addresses = ["10.44.1.1/30", "fd44:0:0:1::1/64"]
source_check = "strict"

[[gateways.edge.routes]]
to = "default"
via = "203.0.113.1"

[[gateways.edge.routes]]
to = "10.44.60.0/23"
via = "10.44.1.2"

[[gateways.edge.routes]]
to = "fd44:0:0:60::/64"
via = "fd44:0:0:1::2"

[routers.inner.interfaces.transit]
segment = "transit"
addresses = ["10.44.1.2/30", "fd44:0:0:1::2/64"]

[routers.inner.interfaces.brewhouse]
segment = "brewhouse"
addresses = ["10.44.60.1/24", "fd44:0:0:60::1/64"]

[routers.inner.interfaces.tasting]
segment = "tasting"
addresses = ["10.44.61.1/24"]

[[routers.inner.routes]]
to = "default"
via = "10.44.1.1"

[[routers.inner.routes]]
to = "default"
via = "fd44:0:0:1::1"
"#;

/// What a check finds in the site with some rules, each written as `key = value` lines.
fn findings(check: &str, rules: &[&str]) -> Vec<Finding> {
    let rules = rules.iter().enumerate().map(|(number, rule)| {
        format!("[[gateways.edge.rules]]\nname = \"rule {number}\"\n{rule}\n")
    });
    let text = format!("{SITE}\n{}", rules.collect::<Vec<_>>().join("\n"));
    found_in(check, &text)
}

fn found_in(check: &str, text: &str) -> Vec<Finding> {
    let loaded = load_text("site.toml", text);
    let errors: Vec<&str> = loaded
        .problems
        .iter()
        .filter(|problem| problem.severity() == Severity::Error)
        .map(|problem| problem.message.as_str())
        .collect();
    assert_eq!(errors, Vec::<&str>::new());
    let site = loaded.site.expect("no error, so a site");
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let mut found = run(&network);
    found.retain(|finding| finding.check.name == check);
    found
}

fn messages(check: &str, rules: &[&str]) -> Vec<String> {
    findings(check, rules)
        .into_iter()
        .map(|finding| finding.message)
        .collect()
}

fn helps(check: &str, rules: &[&str]) -> Vec<String> {
    findings(check, rules)
        .into_iter()
        .filter_map(|finding| finding.help)
        .collect()
}

#[test]
fn segments_behind_a_router_exist_too() {
    let exact = r#"
from = ["production"]
source = ["10.44.60.0/23"]
to = ["office"]
destination = ["10.44.10.9"]
services = ["tcp/443"]
action = "permit""#;
    assert_eq!(messages("addresses-wide", &[exact]), Vec::<String>::new());
    let wide = exact.replace("10.44.60.0/23", "10.0.0.0/8");
    // The /30 of the transit, and two /24s behind it.
    let said = "edge \"rule 0\": `source` holds 16,777,216 IPv4 addresses, of which 516 are in segments that it can meet";
    assert_eq!(messages("addresses-wide", &[&wide]), [said]);
    assert_eq!(
        helps("addresses-wide", &[&wide]),
        ["write `source = [\"10.44.1.0/30\", \"10.44.60.0/23\"]`"]
    );
}

#[test]
fn the_world_beyond_exists_whatever_its_size() {
    let rule = |from: &str| {
        format!(
            "from = [{from}]\nsource = [\"0.0.0.0/1\"]\nto = [\"office\"]\ndestination = [\"10.44.10.9\"]\n\
             services = [\"tcp/443\"]\naction = \"permit\""
        )
    };
    assert_eq!(
        messages("addresses-wide", &[&rule("\"internet\"")]).len(),
        0
    );
    let guests = messages("addresses-wide", &[&rule("\"guest\"")]);
    assert_eq!(guests.len(), 1);
    assert!(
        guests[0].contains("2,147,483,648 IPv4 addresses, of which 256 are"),
        "{guests:?}"
    );
}

#[test]
fn addresses_of_ipv6_are_measured_apart() {
    let rule = r#"
from = ["office"]
to = ["production"]
destination = ["10.44.60.20", "fd44::/16"]
services = ["tcp/443"]
action = "permit""#;
    let said = messages("addresses-wide", &[rule]);
    assert_eq!(said.len(), 1);
    // The transit and the brewhouse have a /64 each.
    assert!(
        said[0].contains("`destination` holds 2^112 IPv6 addresses, of which 2^65 are"),
        "{said:?}"
    );
}

#[test]
fn all_of_a_family_limits_nothing() {
    let rule = |source: &str| {
        format!(
            "source = [{source}]\nto = [\"office\"]\nservices = [\"tcp/443\"]\naction = \"permit\""
        )
    };
    // A /24 each of guests, office, brewhouse and tasting, a /30; three /64s.
    let said = "edge \"rule 0\": permits packets that come in by any of the 4 interfaces, from any source: 1,028 IPv4 \
                and more than 2^65 IPv6 addresses of this site and all of internet";
    assert_eq!(
        messages("permit-any-source", &[&rule("\"0.0.0.0/0\", \"::/0\"")]),
        [said]
    );
    assert_eq!(
        messages("permit-any-source", &[&rule("\"0.0.0.0/0\"")]).len(),
        1
    );
    assert_eq!(
        messages("permit-any-source", &[&rule("\"0.0.0.0/1\"")]).len(),
        0
    );
    assert_eq!(
        helps("permit-any-source", &[&rule("\"::/0\"")]),
        [
            "add `from = [\"internet\", \"guest\", \"business\", \"production\"]` without those that are not meant"
        ]
    );
}

#[test]
fn pairs_that_earlier_rules_take_are_not_blamed_on_a_later_one() {
    let deny = "from = [\"guest\"]\ndestination = [\"10.44.10.0/24\"]\naction = \"deny\"";
    let web = "from = [\"guest\"]\nservices = [\"tcp/80\"]\naction = \"permit\"";
    let upward = |rules: &[&str]| {
        let said = messages("permit-upward", rules);
        said.iter()
            .map(|one| one.rsplit(": ").next().expect("pairs").to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(
        upward(&[web]),
        ["guest -> business, guest -> production, guest -> laboratory"]
    );
    assert_eq!(
        upward(&[deny, web]),
        ["guest -> production, guest -> laboratory"]
    );
    // Of one host less the rest is still open.
    let host = "from = [\"guest\"]\ndestination = [\"10.44.10.9\"]\naction = \"deny\"";
    assert_eq!(upward(&[host, web]), upward(&[web]));
    let clear = messages("clear-text-across-zones", &[deny, web]);
    assert_eq!(clear.len(), 1);
    assert!(
        clear[0].ends_with("guest -> production, guest -> laboratory"),
        "{clear:?}"
    );
}

#[test]
fn what_lies_behind_one_router_does_not_cross_the_gateway() {
    let rule = "from = [\"production\"]\nto = [\"production\"]\nservices = [\"tcp/21\"]\naction = \"permit\"";
    assert_eq!(messages("clear-text-across-zones", &[rule]).len(), 1);
    let narrow = rule.replace(
        "to =",
        "source = [\"10.44.61.0/24\"]\ndestination = [\"10.44.60.20\"]\nto =",
    );
    assert_eq!(
        messages("clear-text-across-zones", &[&narrow]),
        Vec::<String>::new()
    );
}

#[test]
fn a_group_spans_the_zones_behind_a_router() {
    let rule = |to: &str| {
        format!(
            "from = [\"office\"]\nto = [{to}]\ndestination = [\"printers\"]\nservices = [\"tcp/631\"]\naction = \"permit\""
        )
    };
    let said = messages("object-spans-zones", &[&rule("\"production\"")]);
    assert_eq!(said.len(), 1);
    assert!(
        said[0].ends_with("several zones: production, laboratory"),
        "{said:?}"
    );
}

#[test]
fn a_few_denied_sources_do_not_protect_the_gateway() {
    let forged = "from = [\"guest\"]\nsource = [\"10.44.20.0/28\"]\naction = \"deny\"";
    let open = "from = [\"guest\"]\naction = \"permit\"";
    let said = messages("gateway-unprotected", &[forged, open]);
    // 255 of the /24 are not the gateway's; of those, 15 are denied.
    assert_eq!(
        said,
        ["edge:guest: every service of the gateway itself is open over IPv4 to 240 addresses here"]
    );
    let host = "from = [\"guest\"]\nsource = [\"10.44.20.7\"]\naction = \"permit\"";
    assert_eq!(
        messages("gateway-unprotected", &[host]),
        Vec::<String>::new()
    );
    let rest = "to = [\"gateway\"]\nservices = [\"tcp/22\"]\naction = \"deny\"";
    assert_eq!(
        messages("gateway-unprotected", &[rest, open]),
        Vec::<String>::new()
    );
}

#[test]
fn management_is_exposed_to_who_gets_through_only() {
    let deny = "from = [\"guest\"]\nto = [\"office\"]\naction = \"deny\"";
    let shell =
        "from = [\"guest\"]\nto = [\"office\"]\nservices = [\"tcp/22\"]\naction = \"permit\"";
    let said = messages("management-exposed", &[shell]);
    assert_eq!(
        said,
        ["edge \"rule 0\": lets untrusted zones reach management services: guest -> business"]
    );
    let other = shell.replace("[\"office\"]", "[\"office\", \"production\"]");
    let said = messages("management-exposed", &[deny, &other]);
    assert!(
        said[0].ends_with(": guest -> production, guest -> laboratory"),
        "{said:?}"
    );
    // A single host of an untrusted zone administers: still a stranger.
    let far = "from = [\"internet\"]\nto = [\"gateway\"]\nsource = [\"198.51.100.7\"]\nservices = [\"tcp/22\"]\naction = \"permit\"";
    assert_eq!(
        messages("management-exposed", &[far]),
        ["edge \"rule 0\": lets 1 address of internet reach the management of the gateway itself"]
    );
}

#[test]
fn a_twin_needs_the_same_services_and_hosts() {
    let rule = |destination: &str, services: &str| {
        format!(
            "from = [\"office\"]\nto = [\"production\"]\ndestination = [{destination}]\nservices = [{services}]\naction = \"permit\""
        )
    };
    let four = rule("\"10.44.60.20\"", "\"tcp/443\"");
    let quiet = |other: &str| messages("ipv6-twin-missing", &[&four, other]).is_empty();
    assert!(quiet(&rule(
        "\"fd44:0:0:60::20\"",
        "\"tcp/443\", \"tcp/22\""
    )));
    assert!(!quiet(&rule("\"fd44:0:0:60::20\"", "\"tcp/22\"")));
    assert!(!quiet(&rule("\"fd44:0:0:60::21\"", "\"tcp/443\"")));
    // Two hosts with addresses in a row are two hosts.
    let said = messages(
        "ipv6-twin-missing",
        &[&rule("\"10.44.60.20\", \"10.44.60.21\"", "\"tcp/443\"")],
    );
    assert_eq!(
        said,
        [
            "edge \"rule 0\": permits only the IPv4 addresses of historian, recorder, which IPv6 has as well"
        ]
    );
}

#[test]
fn a_port_forward_has_its_twin_on_another_port() {
    let forward = r#"
[[gateways.edge.destination_translations]]
name = "curves"
from = ["office"]
destination = ["10.44.10.1"]
services = ["tcp/443"]
to_address = "10.44.60.20"
to_port = 8443
"#;
    let rule = |name: &str, destination: &str, port: u16| {
        format!(
            "[[gateways.edge.rules]]\nname = \"{name}\"\nfrom = [\"office\"]\nto = [\"production\"]\n\
             destination = [\"{destination}\"]\nservices = [\"tcp/{port}\"]\naction = \"permit\"\n"
        )
    };
    let rules = [
        rule("four", "10.44.60.20", 8443),
        rule("six", "fd44:0:0:60::20", 443),
    ]
    .concat();
    assert_eq!(
        found_in("ipv6-twin-missing", &format!("{SITE}{rules}")).len(),
        1
    );
    assert_eq!(
        found_in("ipv6-twin-missing", &format!("{SITE}{forward}{rules}")).len(),
        0
    );
}

#[test]
fn of_few_known_services_in_a_range_the_names_are_said() {
    let rule = "from = [\"office\"]\nto = [\"production\"]\ndestination = [\"historian\"]\nservices = [\"tcp/40000-41500\"]\naction = \"permit\"";
    assert_eq!(
        messages("ports-wide", &[rule]),
        [
            "edge \"rule 0\": permits 1,501 of the 65,536 ports of tcp; no service in that range has a name"
        ]
    );
    let text = format!(
        "[services]\ncurves = \"tcp/40100\"\n{SITE}\n[[gateways.edge.rules]]\nname = \"curves\"\n{rule}\n"
    );
    let found = found_in("ports-wide", &text);
    assert_eq!(found.len(), 1);
    assert!(
        found[0]
            .message
            .ends_with("of the known services these lie there: curves"),
        "{}",
        found[0].message
    );
    let short = rule.replace("41500", "40999");
    assert_eq!(messages("ports-wide", &[&short]), Vec::<String>::new());
}

#[test]
fn needs_of_a_segment_count_for_a_permit_of_its_zone() {
    let need = "[[needs]]\nname = \"curves\"\nfrom = [\"office\"]\nto = [\"brewhouse\"]\nservices = [\"tcp/8086\"]\nreason = \"curves\"\n";
    let rule =
        "[[gateways.edge.rules]]\nname = \"curves\"\nfrom = [\"business\"]\naction = \"permit\"\n";
    let found = found_in("permit-any-service", &format!("{SITE}{rule}{need}"));
    assert_eq!(found.len(), 1);
    assert_eq!(
        found[0].help.as_deref(),
        Some("add `services`; needs of these parties name \"tcp/8086\"")
    );
}
