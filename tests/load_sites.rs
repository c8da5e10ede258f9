//! Does a good file come out as the model that it describes?

use std::net::IpAddr;

use boundwalk::diagnostic::Severity;
use boundwalk::load::load_text;
use boundwalk::model::{
    Action, Family, Forwards, FrameTypes, ICMP, Lacp, LinkEnd, Permit, Protocol, Role, RuleParty,
    SegmentId, Service, Site, SourceCheck, SwitchId, TranslationTarget, Via, VlanId, ZoneId,
    show_intervals,
};

mod load_cases;

use load_cases::BASE;

/// The site of a text that must load without warnings and errors.
fn site(text: &str) -> Site {
    let loaded = load_text("site.toml", text);
    let bad: Vec<_> = loaded
        .problems
        .iter()
        .filter(|problem| problem.severity() > Severity::Note)
        .collect();
    assert!(bad.is_empty(), "{bad:#?}");
    loaded.site.expect("no error was found")
}

fn with(text: &str) -> Site {
    site(&format!("{BASE}{text}"))
}

fn address(text: &str) -> IpAddr {
    text.parse().expect("an address")
}

fn vlan(number: u16) -> VlanId {
    VlanId::new(number).expect("a VLAN")
}

#[test]
fn zones_and_segments() {
    let site = with("");
    let names: Vec<&str> = site
        .segments
        .iter()
        .map(|segment| segment.name.value.as_str())
        .collect();
    assert_eq!(
        names,
        ["brewhouse", "office", "internet"],
        "the order of the file, not of the alphabet"
    );
    assert_eq!(site.zones[0].trust, 70);
    assert_eq!(site.segments[0].zone, ZoneId(0));
    assert_eq!(
        site.segments[0].vlan.as_ref().map(|vlan| vlan.value.get()),
        Some(60)
    );
    let prefixes: Vec<String> = site.segments[0]
        .prefixes
        .iter()
        .map(|prefix| prefix.value.to_string())
        .collect();
    assert_eq!(prefixes, ["10.44.60.0/24", "fd44:0:0:60::/64"]);
    assert!(site.segments[2].external && site.segments[2].prefixes.is_empty());
}

#[test]
fn gateways_and_routers() {
    let site = with(
        r#"
[[gateways.edge.routes]]
to = "default"
via = "192.0.2.1"
[[gateways.edge.routes]]
to = "fd99::/16"
via = "fe80::1"
interface = "brewhouse"
[[gateways.edge.routes]]
to = "10.44.0.0/16"
discard = true
[gateways.edge.lags.trunk]
ports = ["1-2"]
lacp = "passive"
[routers.floor]
description = "no rules"
[routers.floor.interfaces.down]
segment = "brewhouse"
addresses = ["10.44.60.254", "fe80::1"]
port = "9"
vlan = 60
source_check = "loose"
"#,
    );
    let [edge, floor] = site.routers.as_slice() else {
        panic!("two routers")
    };
    let filter = edge.filter().expect("gateways filter");
    assert!(filter.stateful && filter.default.value == Action::Deny);
    let routes: Vec<(String, Via)> = edge
        .routes
        .iter()
        .map(|route| (route.destination.to_string(), route.via.clone()))
        .collect();
    let hop = |text: &str, interface| Via::NextHop {
        address: address(text),
        interface,
    };
    assert_eq!(
        routes,
        [
            ("0.0.0.0/0".to_owned(), hop("192.0.2.1", 2)),
            ("fd99::/16".to_owned(), hop("fe80::1", 0)),
            ("10.44.0.0/16".to_owned(), Via::Discard),
        ]
    );
    assert_eq!(edge.lags[0].lacp, Lacp::Passive);
    assert_eq!(edge.lags[0].ports.len(), 2);
    assert_eq!(floor.role, Role::Router);
    let down = &floor.interfaces[0];
    assert_eq!(
        down.addresses[0].value.to_string(),
        "10.44.60.254/24",
        "the length of the segment's prefix"
    );
    assert_eq!(
        (down.vlan, down.source_check),
        (Some(vlan(60)), SourceCheck::Loose)
    );
    assert_eq!(
        down.port.as_ref().map(|port| port.value.as_str()),
        Some("9")
    );
}

#[test]
fn rules_in_order_with_all_their_parts() {
    let site = with(
        r#"
[addresses]
plcs = ["10.44.60.10-10.44.60.19", "fd44:0:0:60::10"]
all = ["plcs", "segment:office", "10.44.60.20"]
[services]
plc = "tcp/502"
[[gateways.edge.rules]]
name = "first"
from = ["office", "zone:outside"]
to = "gateway"
source = "all"
destination = ["plcs"]
services = ["plc", "ssh", "plc"]
action = "permit"
log = true
enabled = false
reason = "why"
owner = "who"
ticket = "42"
reviewed = 2026-03-01
expires = 2026-12-31
hits = 1200
[[gateways.edge.rules]]
name = "second"
action = "reject"
"#,
    );
    let rules = &site.routers[0].filter().expect("a gateway").rules;
    let names: Vec<&str> = rules.iter().map(|rule| rule.name.value.as_str()).collect();
    assert_eq!(names, ["first", "second"]);
    let rule = &rules[0];
    assert_eq!(
        rule.from.as_deref(),
        Some(&[RuleParty::Segment(SegmentId(1)), RuleParty::Zone(ZoneId(1))][..])
    );
    assert_eq!(rule.to.as_deref(), Some(&[RuleParty::Gateway][..]));
    let source = &rule.source.as_ref().expect("a source").set;
    assert_eq!(
        show_intervals(Family::V4, &source.v4),
        "10.44.20.0/24, 10.44.60.10-10.44.60.20"
    );
    assert_eq!(show_intervals(Family::V6, &source.v6), "fd44:0:0:60::10");
    let services = rule.services.as_ref().expect("services");
    let written: Vec<&str> = services
        .written
        .iter()
        .map(|item| item.value.as_str())
        .collect();
    assert_eq!(written, ["plc", "ssh", "plc"]);
    assert_eq!(services.services.len(), 2, "each part once");
    assert!(rule.log && !rule.enabled);
    assert_eq!(
        rule.expires
            .as_ref()
            .map(|date| date.value.to_string())
            .as_deref(),
        Some("2026-12-31")
    );
    assert_eq!(
        (rule.hits, rule.ticket.as_deref()),
        (Some(1200), Some("42"))
    );
    let second = &rules[1];
    assert_eq!(
        (&second.from, &second.source, &second.services),
        (&None, &None, &None)
    );
    assert!(second.enabled && !second.log && second.action.value == Action::Reject);
}

#[test]
fn services_are_opened_and_named() {
    let site = with(
        r#"
[services]
backup = ["tcp/873", "both"]
both = ["ping", "udp/123 from 123", "protocol/47", "icmp/3/4"]
[[needs]]
from = "office"
to = "brewhouse"
services = ["backup"]
"#,
    );
    let need = site.needs[0].services.as_ref().expect("services");
    let [rsync, ping4, ping6, ntp, gre, too_big] = need.services.as_slice() else {
        panic!("{:?}", need.services)
    };
    assert!(matches!(rsync, Service::Ports { .. }));
    assert_eq!(
        *ping4,
        Service::Message {
            protocol: ICMP,
            kind: 8,
            code: None
        }
    );
    assert!(matches!(ping6, Service::Message { kind: 128, .. }));
    let Service::Ports { source, .. } = ntp else {
        panic!("{ntp:?}")
    };
    assert_eq!(source.intervals()[0].low(), 123);
    assert_eq!(*gre, Service::Whole(Protocol(47)));
    assert_eq!(
        *too_big,
        Service::Message {
            protocol: ICMP,
            kind: 3,
            code: Some(4)
        }
    );
    let names: Vec<&str> = site
        .service_names
        .iter()
        .take(3)
        .map(|group| group.name.value.as_str())
        .collect();
    assert_eq!(
        names,
        ["backup", "both", "ftp-data"],
        "the site's own first"
    );
    assert_eq!(site.services.len(), 2);
    assert_eq!(site.needs[0].name.value, "need 1");
}

#[test]
fn translations() {
    let site = with(
        r#"
[[gateways.edge.destination_translations]]
name = "shop"
from = "internet"
destination = "192.0.2.2"
services = "https"
to_address = "10.44.20.10"
to_port = 8443
[[gateways.edge.source_translations]]
name = "not between sites"
to = "internet"
destination = "198.51.100.0/24"
to_address = "unchanged"
[[gateways.edge.source_translations]]
name = "out"
to = "outside"
source = "10.44.0.0/16"
to_address = "interface"
enabled = false
"#,
    );
    let filter = site.routers[0].filter().expect("a gateway");
    let shop = &filter.destination_translations[0];
    assert_eq!(
        (shop.target, shop.port),
        (
            TranslationTarget::Address(address("10.44.20.10")),
            Some(8443)
        )
    );
    assert_eq!(
        shop.parties.as_deref(),
        Some(&[RuleParty::Segment(SegmentId(2))][..])
    );
    let targets: Vec<TranslationTarget> = filter
        .source_translations
        .iter()
        .map(|line| line.target)
        .collect();
    assert_eq!(
        targets,
        [TranslationTarget::Unchanged, TranslationTarget::Interface]
    );
    assert!(!filter.source_translations[1].enabled);
}

#[test]
fn switches_hosts_and_cables() {
    let site = with(
        r#"
[switches.core]
[switches.core.lags.uplink]
ports = ["27", "28"]
lacp = "active"
[switches.core.ports]
"1-2" = { access = "office", description = "desks" }
"9,11" = { untagged = "office", tagged = ["brewhouse", 99] }
"uplink" = { tagged = ["office", "brewhouse"] }
"10" = { untagged = ["office"], ingress_filter = false, accept = "all" }
"12" = { enabled = false }
"13" = { pvid = "none", tagged = 60, accept = "tagged", isolated = true }
"28" = { description = "second cable" }
[hosts.historian]
forwards = "routes"
default_gateway = "10.44.60.1"
[[hosts.historian.interfaces]]
addresses = "10.44.60.20"
port = "core:1"
[[hosts.historian.interfaces]]
name = "eth1"
segment = "office"
vlan = 20
[[links]]
ends = ["core:uplink", "historian:eth1"]
label = "green"
"#,
    );
    let core = &site.switches[0];
    let port = |name: &str| {
        core.ports
            .iter()
            .find(|port| port.name.value == name)
            .expect(name)
    };
    let vlans = |name: &str| port(name).vlans.clone().expect(name);
    let names: Vec<&str> = core
        .ports
        .iter()
        .map(|port| port.name.value.as_str())
        .collect();
    assert_eq!(
        names,
        ["1", "2", "9", "11", "10", "12", "13", "28", "27"],
        "the order of the file, silent members last"
    );
    let access = vlans("2");
    assert_eq!(
        (access.pvid, access.ingress_filter, access.accept),
        (Some(vlan(20)), true, FrameTypes::Untagged)
    );
    let trunk = vlans("11");
    assert_eq!(
        trunk.tagged.iter().collect::<Vec<_>>(),
        [vlan(60), vlan(99)]
    );
    assert_eq!(
        (trunk.pvid, trunk.ingress_filter, trunk.accept),
        (Some(vlan(20)), true, FrameTypes::All)
    );
    let long = vlans("10");
    assert_eq!(
        (long.pvid, long.ingress_filter),
        (Some(vlan(1)), false),
        "left-out settings take the standard's defaults"
    );
    assert_eq!(vlans("13").pvid, None);
    assert!(!port("12").enabled && port("13").isolated);
    assert_eq!(port("27").vlans, None);
    let uplink = &core.lags[0];
    assert_eq!(
        (uplink.vlans.pvid, uplink.vlans.accept),
        (None, FrameTypes::Tagged)
    );
    let historian = &site.hosts[0];
    assert_eq!(
        (historian.forwards.value, historian.interfaces[0].segment),
        (Forwards::Routes, SegmentId(0))
    );
    assert_eq!(historian.interfaces[0].name.value, "1");
    let ends: Vec<Vec<LinkEnd>> = site
        .links
        .iter()
        .map(|link| link.ends.iter().map(|end| end.value.clone()).collect())
        .collect();
    let host = |name: &str| LinkEnd::Host(boundwalk::model::HostId(0), name.to_owned());
    let switch = |name: &str| LinkEnd::Switch(SwitchId(0), name.to_owned());
    assert_eq!(
        ends,
        [
            vec![switch("uplink"), host("eth1")],
            vec![host("1"), switch("1")]
        ]
    );
    assert_eq!(site.links[0].label.as_deref(), Some("green"));
}

#[test]
fn expectations() {
    let site = with(
        r#"
[[expectations]]
name = "office reaches the world by web only"
from = "office"
to = ["internet"]
services = ["https"]
permit = "at-most"
reason = "policy"
[[expectations]]
name = "nobody administers from outside"
from = "internet"
to = "gateway"
permit = "nothing"
"#,
    );
    let permits: Vec<Permit> = site
        .expectations
        .iter()
        .filter_map(|expectation| expectation.demands.permit)
        .collect();
    assert_eq!(permits, [Permit::AtMost, Permit::Nothing]);
    assert_eq!(site.expectations[1].to, [RuleParty::Gateway]);
}

/// RFC 3021 section 2.1, RFC 6164: both addresses of a point-to-point prefix are interfaces'. /32 and /128
/// name one.
#[test]
fn point_to_point_prefixes_have_two_usable_addresses() {
    let text = r#"
[zones.z]
trust = 1
[segments.link]
zone = "z"
prefixes = ["192.0.2.0/31", "2001:db8::/127"]
[segments.one]
zone = "z"
prefixes = ["198.51.100.7/32", "2001:db8:1::7/128"]
[routers.a]
interfaces.link = { segment = "link", addresses = ["192.0.2.0/31", "2001:db8::/127"] }
interfaces.one = { segment = "one", addresses = ["198.51.100.7/32", "2001:db8:1::7/128"] }
[routers.b]
interfaces.link = { segment = "link", addresses = ["192.0.2.1/31", "2001:db8::1/127"] }
"#;
    assert_eq!(site(text).routers[1].interfaces[0].addresses.len(), 2);
}

#[test]
fn a_zone_and_its_only_segment_may_share_a_name() {
    let site = with(
        "[zones.cards]\ntrust = 90\n[segments.cards]\nzone = \"cards\"\nprefixes = \"10.44.7.0/24\"\nisolated = true\n[[needs]]\nfrom = \"cards\"\nto = \"office\"\n",
    );
    assert_eq!(site.needs[0].from, [RuleParty::Segment(SegmentId(3))]);
}

#[test]
fn link_local_addresses_repeat_on_every_link() {
    let site = with(
        "[routers.a.interfaces]\nx = { segment = \"office\", addresses = [\"fe80::1/64\"] }\ny = { segment = \"brewhouse\", addresses = [\"fe80::1\"] }\n",
    );
    assert_eq!(
        site.routers[1].interfaces[1].addresses[0].value.to_string(),
        "fe80::1/64"
    );
}

#[test]
fn interfaces_with_tags_of_their_own_share_a_port() {
    let text = r#"
[switches.core.ports]
"1-2" = { tagged = ["office", 60] }
[hosts.box]
[[hosts.box.interfaces]]
addresses = "10.44.20.9"
vlan = 20
port = "core:1"
[[hosts.box.interfaces]]
addresses = "10.44.60.9"
vlan = 60
port = "core:1"
"#;
    let far = LinkEnd::Switch(SwitchId(0), "1".to_owned());
    let ends = with(text).links;
    assert_eq!(ends.len(), 2);
    assert!(ends.iter().all(|link| link.ends[1].value == far));
    let twice = with_problems(&text.replace("vlan = 60", ""));
    assert!(
        twice.is_empty(),
        "an untagged interface beside a tagged one: {twice:?}"
    );
    let same = with_problems(&text.replace("vlan = 60\n", "vlan = 20\n"));
    assert!(same.contains(&"link-end-twice"), "{same:?}");
}

#[test]
fn the_lines_of_a_baseline_name_the_zones_that_play_its_roles() {
    let site = with(
        r#"
[baselines.card-data.roles]
card-data = "inside"
untrusted = ["zone:outside", "segment:internet"]
wireless = []
out-of-scope = []
"#,
    );
    let inside = [RuleParty::Zone(ZoneId(0))];
    let outside = [RuleParty::Zone(ZoneId(1)), RuleParty::Segment(SegmentId(2))];
    let line = &site.expectations[0];
    assert_eq!((&line.from[..], &line.to[..]), (&outside[..], &inside[..]));
    assert_eq!(line.baseline, Some("card-data"));
    let of_nobody = site
        .expectations
        .iter()
        .any(|line| line.from.is_empty() || line.to.is_empty());
    assert!(
        !of_nobody,
        "lines about roles that nobody plays are left out"
    );
}

#[test]
fn what_loading_lets_pass_is_kept_for_the_checks() {
    let loaded = load_text("site.toml", &format!("{BASE}[zones.attic]\ntrust = 5\n"));
    let remarks = loaded.site.expect("no error was found").remarks;
    let of_attic = remarks.iter().find(|remark| remark.subject == "attic");
    assert_eq!(
        of_attic.map(|remark| remark.kind.name),
        Some("zone-empty"),
        "{remarks:?}"
    );
}

/// Names of the problems that a text adds, notes left out.
fn with_problems(text: &str) -> Vec<&'static str> {
    let loaded = load_text("site.toml", &format!("{BASE}{text}"));
    loaded
        .problems
        .iter()
        .filter(|problem| problem.severity() > Severity::Note)
        .map(|problem| problem.kind.name)
        .collect()
}
