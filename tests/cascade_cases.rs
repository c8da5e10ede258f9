//! Gateways in a row by hand: what random sites show too seldom, and what must not be said.
//!
//!     office --- inner --- transit --- edge --- internet

use boundwalk::analysis::{Cascade, Denial, Wasted, party_name, wasted};
use boundwalk::forwarding::Network;
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

/// Two segments of ours and the world, in a row; `inner` and `edge` are what stands in the tables of the gateways.
fn row(inner: &str, edge: &str) -> Site {
    let text = r#"
[zones.house]
trust = 60

[zones.world]
trust = 0

[segments.office]
zone = "house"
prefixes = ["10.44.10.0/24", "fd44:10::/64"]

[segments.transit]
zone = "house"
prefixes = ["10.44.99.0/30", "fd44:99::/64"]

[segments.internet]
zone = "world"
external = true
prefixes = ["203.0.113.0/29", "2001:db8:113::/64"]

[gateways.inner]
default = "deny"

[gateways.inner.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24", "fd44:10::1/64"]

[gateways.inner.interfaces.transit]
segment = "transit"
addresses = ["10.44.99.1/30", "fd44:99::1/64"]

[[gateways.inner.routes]]
to = "default"
via = "10.44.99.2"

[[gateways.inner.routes]]
to = "default"
via = "fd44:99::2"

[gateways.edge]
default = "deny"

[gateways.edge.interfaces.transit]
segment = "transit"
addresses = ["10.44.99.2/30", "fd44:99::2/64"]

[gateways.edge.interfaces.wan]
segment = "internet"
addresses = ["203.0.113.2/29", "2001:db8:113::2/64"]

[[gateways.edge.routes]]
to = "default"
via = "203.0.113.1"

[[gateways.edge.routes]]
to = "default"
via = "2001:db8:113::1"

[[gateways.edge.routes]]
to = "10.44.10.0/24"
via = "10.44.99.1"

[[gateways.edge.routes]]
to = "fd44:10::/64"
via = "fd44:99::1"
"#;
    let gateway = |name: &str, tables: &str| tables.replace("[[", &format!("[[gateways.{name}."));
    let text = format!(
        "{text}\n{}\n{}",
        gateway("inner", inner),
        gateway("edge", edge)
    );
    let loaded = load_text("row", &text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems))
}

fn look<R>(site: &Site, read: impl FnOnce(&Network<'_>, &Cascade) -> R) -> R {
    let network = Network::new(site, Date::constant(2026, 11, 25));
    let cascade = Cascade::new(&network);
    assert!(cascade.complete);
    read(&network, &cascade)
}

/// `edge "shells" from office to internet: tcp 10.44.10.2:49152 -> ...`, for each permit that comes to nothing.
fn found(site: &Site, denial: Denial) -> Vec<String> {
    let line = |one: &Wasted| {
        let (router, rule) = one.rule;
        let router = site.router(router);
        let rule = &router.filter().expect("a gateway").rules[rule].name.value;
        let pairs = one.pairs.iter().map(|&(from, to)| {
            let from = &site.segment(from).name.value;
            format!("{from} to {}", party_name(site, to))
        });
        let pairs: Vec<String> = pairs.collect();
        let all = if one.whole { "all" } else { "some" };
        format!("{} {rule}, {all}: {}", router.name.value, pairs.join(", "))
    };
    look(site, |network, cascade| {
        let all = wasted(network, cascade);
        all.iter()
            .filter(|one| one.denial == denial)
            .map(line)
            .collect()
    })
}

const NOTHING: [&str; 0] = [];

/// Office to one address outside, at the inner gateway.
const SHELLS: &str = r#"
[[rules]]
name = "shells"
from = ["office"]
to = ["transit"]
destination = ["198.51.100.7"]
services = ["tcp/22"]
action = "permit"
"#;

/// The rules of both gateways see the source as it was sent: the last one rewrites it after its rules.
#[test]
fn a_source_written_by_the_last_gateway_is_judged() {
    let hide = "[[source_translations]]\nname = \"hide\"\nto_address = \"interface\"\n";
    let site = row(SHELLS, hide);
    assert_eq!(
        found(&site, Denial::Downstream),
        ["inner shells, all: office to internet"]
    );
    let hide_early = format!("{SHELLS}{hide}");
    let site = row(&hide_early, "");
    assert_eq!(found(&site, Denial::Downstream), NOTHING);
    look(&site, |_, cascade| assert!(!cascade.unjudged.is_empty()));
}

/// The rules of both see the destination as the first one wrote it, before its rules.
#[test]
fn a_destination_written_by_the_first_gateway_is_judged() {
    let publish = r#"
[[destination_translations]]
name = "publish"
from = ["internet"]
destination = ["203.0.113.2"]
services = ["tcp/2222"]
to_address = "10.44.10.20"
to_port = 22

[[rules]]
name = "shells from outside"
from = ["internet"]
destination = ["10.44.10.20"]
services = ["tcp/22"]
action = "permit"
"#;
    let site = row("", publish);
    assert_eq!(
        found(&site, Denial::Downstream),
        ["edge shells from outside, all: internet to office"]
    );
}

/// A wide permit that the next gateway narrows is ordinary; named services of a named target are not.
#[test]
fn a_wide_permit_is_not_meant_unless_nothing_of_it_arrives_anywhere() {
    let wide = "[[rules]]\nname = \"out\"\nfrom = [\"office\"]\nto = [\"transit\"]\nservices = [\"tcp/22\"]\naction = \"permit\"\n";
    // Devices on the transit are reached: the rule is of use there.
    assert_eq!(found(&row(wide, ""), Denial::Downstream), NOTHING);
    // Nothing is left of it there.
    let before = "[[rules]]\nname = \"not the transit\"\nto = [\"transit\"]\n\
        destination = [\"10.44.99.0/30\", \"fd44:99::/64\"]\naction = \"deny\"\n\n";
    let site = row(&format!("{before}{wide}"), "");
    assert_eq!(
        found(&site, Denial::Downstream),
        ["inner out, all: office to internet, office to edge"]
    );
}

/// One family gets through: the service is of use.
#[test]
fn a_service_that_gets_through_in_one_family_is_of_use() {
    let both = SHELLS.replace("\"198.51.100.7\"", "\"198.51.100.7\", \"2001:db8:7::7\"");
    let edge =
        "[[rules]]\nname = \"six\"\ndestination = [\"2001:db8:7::7\"]\naction = \"permit\"\n";
    assert_eq!(found(&row(&both, edge), Denial::Downstream), NOTHING);
    assert_eq!(
        found(&row(&both, ""), Denial::Downstream),
        ["inner shells, all: office to internet"]
    );
}

/// Errors come from devices between the gateways too, so messages are never called useless.
#[test]
fn messages_are_left_out() {
    let errors = SHELLS.replace("tcp/22", "icmp");
    assert_eq!(found(&row(&errors, ""), Denial::Downstream), NOTHING);
    let mixed = SHELLS.replace("\"tcp/22\"", "\"tcp/22\", \"icmp\"");
    assert_eq!(
        found(&row(&mixed, ""), Denial::Downstream),
        ["inner shells, some: office to internet"]
    );
}

/// A stateless gateway needs a rule for replies, which the stateful one passes by itself.
#[test]
fn a_rule_for_replies_is_of_use_although_the_other_gateway_has_none() {
    let stateless = |site: &mut Site| {
        let inner = site
            .routers
            .iter_mut()
            .find(|router| router.name.value == "inner");
        if let Some(boundwalk::model::Role::Gateway(filter)) = inner.map(|inner| &mut inner.role) {
            filter.stateful = false;
        }
    };
    let replies = r#"
[[rules]]
name = "replies"
from = ["transit"]
to = ["office"]
source = ["198.51.100.7"]
services = ["tcp/22"]
action = "permit"
"#;
    let edge = r#"
[[rules]]
name = "shells out"
from = ["transit"]
services = ["tcp/22"]
action = "permit"
"#;
    let mut site = row(&format!("{SHELLS}{replies}"), edge);
    assert_eq!(
        found(&site, Denial::Upstream),
        ["inner replies, all: internet to office"],
        "a stateful gateway needs no such rule"
    );
    stateless(&mut site);
    assert_eq!(found(&site, Denial::Upstream), NOTHING);
}

/// With one gateway, or two beside each other, nothing stands in a row.
#[test]
fn gateways_that_no_packet_crosses_one_after_the_other_say_nothing() {
    let mut site = row(SHELLS, "");
    site.routers.retain(|router| router.name.value == "inner");
    look(&site, |_, cascade| assert!(cascade.blocked.is_empty()));
    let mut site = row(SHELLS, "");
    site.routers
        .iter_mut()
        .for_each(|router| router.routes.clear());
    look(&site, |_, cascade| {
        assert!(cascade.blocked.is_empty() && cascade.unjudged.is_empty());
    });
}
