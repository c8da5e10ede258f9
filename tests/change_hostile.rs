//! Changes that open something for a hostile device, worked out by hand: ports, cables, hosts and source checks. Devices that
//! do as configured may notice nothing.

use boundwalk::analysis::change::{
    IsolationChange, PairChange, ReachChange, Spot, Trend, WayChanges, isolation_changes,
    reach_change, way_changes,
};
use boundwalk::analysis::{IsolationVerdict, origin_name};
use boundwalk::forwarding::{Limit, Network, Origin};
use boundwalk::load::load_text;
use boundwalk::model::{Date, Site};

const TODAY: Date = Date::constant(2026, 11, 25);

/// The office, the brewhouse and the management of switches on one switch; the gateway knows the first two.
const SITE: &str = r#"
[zones.business]
trust = 50
[zones.production]
trust = 70
[zones.management]
trust = 90
[segments.office]
zone = "business"
vlan = 10
prefixes = ["10.44.10.0/24"]
[segments.brewhouse]
zone = "production"
vlan = 60
prefixes = ["10.44.60.0/24"]
[segments.management]
zone = "management"
vlan = 90
prefixes = ["10.44.90.0/24"]
isolated = true
[gateways.edge]
default = "deny"
[gateways.edge.lags.trunk]
ports = ["1", "2"]
lacp = "active"
[gateways.edge.interfaces.office]
segment = "office"
port = "trunk"
vlan = 10
addresses = ["10.44.10.1/24"]
source_check = "strict"
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
port = "trunk"
vlan = 60
addresses = ["10.44.60.1/24"]
source_check = "strict"
[switches.core.lags.uplink]
ports = ["21", "22"]
lacp = "active"
[switches.core.ports]
"1" = { access = "office" }
"2" = { access = "brewhouse" }
"3" = { access = "management" }
"4" = { access = "office" }
"5" = { access = "brewhouse" }
"9" = { enabled = false }
"uplink" = { tagged = ["office", "brewhouse"] }
[[links]]
ends = ["core:uplink", "edge:trunk"]
[hosts.clerk]
[[hosts.clerk.interfaces]]
port = "core:1"
addresses = ["10.44.10.11/24"]
[hosts.historian]
[[hosts.historian.interfaces]]
port = "core:4"
addresses = ["10.44.10.13/24"]
[[hosts.historian.interfaces]]
port = "core:5"
addresses = ["10.44.60.13/24"]
"#;

const DESKS_READ: &str = r#"
[[gateways.edge.rules]]
name = "desks read"
from = ["office"]
to = ["brewhouse"]
services = ["tcp/443"]
action = "permit"
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

/// What a change does, by names. Each list holds what opens, then what closes.
#[derive(Debug, Default, PartialEq, Eq)]
struct Told {
    plain: [Vec<String>; 2],
    hostile: [Vec<String>; 2],
    ways: [Vec<String>; 2],
    worse: Vec<String>,
    better: Vec<String>,
    only_rules: bool,
}

/// Two versions of a site, compared in all that depends on the stance.
struct Compared<'s> {
    networks: [Network<'s>; 2],
    reach: ReachChange,
    ways: WayChanges,
    isolation: Vec<IsolationChange>,
}

impl<'s> Compared<'s> {
    fn new(old: &'s Site, new: &'s Site) -> Self {
        Self::of(Network::versions(old, new, TODAY))
    }

    fn of(networks: [Network<'s>; 2]) -> Self {
        let [before, after] = &networks;
        let reach = reach_change(before, after, &mut |_, _| {});
        Self {
            ways: way_changes(before, after, &reach),
            isolation: isolation_changes(before, after, &reach),
            reach,
            networks,
        }
    }

    fn name(&self, spot: Spot) -> String {
        let [old, new] = &self.networks;
        let origin = |matched: Option<Origin>, network: &Network<'_>| {
            matched.map(|at| origin_name(network.site, &network.fabric, at).into_owned())
        };
        match spot {
            Spot::Router(matched) => {
                let router = matched.new.map(|id| &new.site.router(id).name.value);
                let router = router.or(matched.old.map(|id| &old.site.router(id).name.value));
                router.map_or(String::new(), |name| format!("{name} itself"))
            }
            Spot::Segment(matched) => origin(matched.new.map(Origin::Segment), new)
                .or_else(|| origin(matched.old.map(Origin::Segment), old))
                .unwrap_or_default(),
            Spot::Unclaimed(matched) => origin(matched.new.map(Origin::Unclaimed), new)
                .or_else(|| origin(matched.old.map(Origin::Unclaimed), old))
                .unwrap_or_default(),
        }
    }

    fn told(&self) -> Told {
        let sorted = |list: Vec<String>| {
            let mut list = list;
            list.sort();
            list.dedup();
            list
        };
        let pairs = |pairs: &[PairChange], opens: bool| {
            let some = pairs.iter().filter(|pair| {
                if opens {
                    !pair.opened.is_empty()
                } else {
                    !pair.closed.is_empty()
                }
            });
            sorted(
                some.map(|pair| format!("{} -> {}", self.name(pair.from), self.name(pair.to)))
                    .collect(),
            )
        };
        let ways = [&self.ways.opened, &self.ways.closed].map(|ways| {
            let names = ways.iter().map(|way| {
                [way.from, way.to]
                    .map(|at| self.name(Spot::of(at)))
                    .join(" -> ")
            });
            sorted(names.collect())
        });
        let isolation = |trend: Trend| {
            let some = self.isolation.iter().filter(|one| one.trend() == trend);
            let new = self.networks[1].site;
            some.map(|one| new.segment(one.segment).name.value.clone())
                .collect()
        };
        Told {
            plain: [true, false].map(|opens| pairs(&self.reach.pairs, opens)),
            hostile: [true, false].map(|opens| pairs(&self.reach.hostile, opens)),
            ways,
            worse: isolation(Trend::Worse),
            better: isolation(Trend::Better),
            only_rules: self.reach.only_rules,
        }
    }
}

fn told(old: &str, new: &str) -> Told {
    let (old, new) = (site(old), site(new));
    let there = Compared::new(&old, &new);
    assert!(there.reach.complete());
    // The way back closes what the way there opens.
    let mut back = Compared::new(&new, &old).told();
    for lists in [&mut back.plain, &mut back.hostile, &mut back.ways] {
        lists.reverse();
    }
    std::mem::swap(&mut back.worse, &mut back.better);
    let told = there.told();
    assert_eq!(told, back);
    told
}

/// Nothing opens and nothing closes.
const NOTHING: [Vec<String>; 2] = [Vec::new(), Vec::new()];

fn texts(list: &[&str]) -> Vec<String> {
    list.iter().map(|&text| text.to_owned()).collect()
}

#[test]
fn a_tag_too_many_on_an_access_port_opens_for_hostile_devices_only() {
    let told = told(
        SITE,
        &replaced(
            "\"1\" = { access = \"office\" }",
            "\"1\" = { untagged = [\"office\"], pvid = 10, tagged = [\"management\"], ingress_filter = true }",
        ),
    );
    assert_eq!(told.plain, NOTHING);
    let [opened, closed] = &told.hostile;
    assert_eq!(*closed, [] as [String; 0]);
    // Who is plugged in there is on either segment.
    for pair in ["office -> management", "management -> office"] {
        assert!(opened.contains(&pair.to_owned()), "{pair}: {opened:?}");
    }
    assert!(
        !opened.iter().any(|pair| pair.starts_with("brewhouse")),
        "{opened:?}"
    );
    let ways = texts(&["management -> office", "office -> management"]);
    assert!(
        ways.iter().all(|way| told.ways[0].contains(way)),
        "{:?}",
        told.ways
    );
    assert!(
        told.worse.contains(&"management".to_owned()),
        "{:?}",
        told.worse
    );
    assert!(!told.only_rules);
}

#[test]
fn an_ingress_filter_that_is_off_opens_one_way() {
    let open = "\"2\" = { untagged = [\"brewhouse\"], pvid = 60, ingress_filter = false }";
    let told = told(SITE, &replaced("\"2\" = { access = \"brewhouse\" }", open));
    assert_eq!(told.plain, NOTHING);
    let opened = &told.hostile[0];
    for pair in ["brewhouse -> management", "brewhouse -> office"] {
        assert!(opened.contains(&pair.to_owned()), "{pair}: {opened:?}");
    }
    assert!(
        !opened.contains(&"management -> brewhouse".to_owned()),
        "{opened:?}"
    );
    assert!(told.ways[0].contains(&"brewhouse -> management".to_owned()));
    assert_eq!(told.worse, ["management"]);
}

#[test]
fn a_lag_at_one_end_leaves_a_trunk_port_to_plug_in() {
    let trunk = "\"21-22\" = { tagged = [\"office\", \"brewhouse\"] }";
    let without = SITE
        .replace(
            "[switches.core.lags.uplink]\nports = [\"21\", \"22\"]\nlacp = \"active\"\n",
            "",
        )
        .replace(
            "\"uplink\" = { tagged = [\"office\", \"brewhouse\"] }",
            trunk,
        )
        .replace(
            "ends = [\"core:uplink\", \"edge:trunk\"]",
            "ends = [\"core:21\", \"edge:1\"]",
        );
    let told = told(SITE, &without);
    assert_eq!(told.plain, NOTHING);
    let opened = &told.hostile[0];
    for pair in ["brewhouse -> office", "office -> brewhouse"] {
        assert!(opened.contains(&pair.to_owned()), "{pair}: {opened:?}");
    }
    assert!(
        !opened.iter().any(|pair| pair.contains("management")),
        "{opened:?}"
    );
}

#[test]
fn a_host_that_starts_to_forward_opens_for_who_hands_packets_to_it() {
    let told = told(
        SITE,
        &replaced(
            "[hosts.historian]",
            "[hosts.historian]\nforwards = \"routes\"",
        ),
    );
    assert_eq!(told.plain, NOTHING);
    assert_eq!(
        told.hostile,
        [
            texts(&["brewhouse -> office", "office -> brewhouse"]),
            vec![]
        ]
    );
    // Its far address was round the gateway before.
    assert_eq!(told.ways, NOTHING);
}

#[test]
fn routes_and_gateways_of_a_hosts_own_open_as_configured() {
    let own_route = include_str!("cases/own-route.toml");
    let before = own_route
        .replace(
            "[[hosts.clerk.routes]]\nto = \"10.44.60.0/24\"\nvia = \"10.44.10.13\"\n",
            "",
        )
        .replace(
            "[[hosts.kettle.routes]]\nto = \"10.44.10.0/24\"\nvia = \"10.44.60.13\"\n",
            "",
        );
    let own_gateway = include_str!("cases/own-gateway.toml");
    let earlier = own_gateway
        .replace(
            "[hosts.clerk]\ndefault_gateway = [\"10.44.10.2\"]",
            "[hosts.clerk]",
        )
        .replace(
            "[hosts.kettle]\ndefault_gateway = [\"10.44.60.2\"]",
            "[hosts.kettle]",
        );
    let both = ["brewhouse -> office", "office -> brewhouse"];
    // The old router answers at both of its addresses.
    let router = ["brewhouse -> old itself", "office -> old itself"];
    let [mut with_router, both] = [[both, router].concat(), both.to_vec()].map(|list| texts(&list));
    with_router.sort();
    for (old, new, opened) in [
        (before.as_str(), own_route, both),
        (earlier.as_str(), own_gateway, with_router),
    ] {
        assert_ne!(old, new);
        let told = told(old, new);
        assert_eq!(told.plain, [opened, vec![]]);
        // A hostile device hands its packets to whom it likes, with and without such a host.
        assert_eq!(told.hostile, NOTHING);
    }
}

#[test]
fn the_far_address_of_a_host_with_two_homes_opens_as_configured() {
    let apart = replaced(
        "port = \"core:5\"\naddresses = [\"10.44.60.13/24\"]",
        "port = \"core:7\"\naddresses = [\"10.44.10.14/24\"]",
    )
    .replace(
        "\"5\" = { access = \"brewhouse\" }",
        "\"5\" = { access = \"brewhouse\" }\n\"7\" = { access = \"office\" }",
    );
    let route =
        "[hosts.clerk]\n[[hosts.clerk.routes]]\nto = \"10.44.60.13/32\"\nvia = \"10.44.10.13\"\n";
    let [old, new] = [apart.as_str(), SITE].map(|text| text.replace("[hosts.clerk]\n", route));
    let told = told(&old, &new);
    assert!(
        told.plain[0].contains(&"office -> brewhouse".to_owned()),
        "{told:?}"
    );
    assert!(
        told.ways[0].contains(&"office -> brewhouse".to_owned()),
        "{told:?}"
    );
}

#[test]
fn without_a_source_check_forged_sources_pass() {
    let forged = format!(
        "{SITE}\n{}",
        DESKS_READ.replace("from = [\"office\"]", "source = [\"10.44.10.11\"]")
    );
    let guest = "[zones.guest]\ntrust = 10\n[segments.guest]\nzone = \"guest\"\nvlan = 20\nprefixes = [\"10.44.20.0/24\"]\n\
        [gateways.edge.interfaces.guest]\nsegment = \"guest\"\nport = \"3\"\naddresses = [\"10.44.20.1/24\"]\n";
    let [unchecked, checked] =
        ["", "source_check = \"strict\"\n"].map(|check| format!("{guest}{check}"));
    let [open, shut] = [&unchecked, &checked].map(|more| format!("{more}{forged}"));
    let opened = texts(&["guest -> brewhouse"]);
    let off = told(&shut, &open);
    assert_eq!(off.plain, NOTHING);
    assert!(off.hostile[0].contains(&opened[0]), "{off:?}");
    // The rule alone opens it for the hostile guest where sources are not checked, and only there.
    for (more, expected) in [(&unchecked, opened), (&checked, vec![])] {
        let told = told(&format!("{more}{SITE}"), &format!("{more}{forged}"));
        assert!(told.only_rules);
        assert_eq!(told.plain, [texts(&["office -> brewhouse"]), vec![]]);
        assert_eq!(told.hostile, [expected, vec![]]);
    }
}

#[test]
fn a_port_of_no_segment_is_a_place_to_stand() {
    let live = replaced("\"9\" = { enabled = false }", "\"9\" = { enabled = true }");
    let told = told(SITE, &live);
    assert_eq!(told.plain, NOTHING);
    let opened = &told.hostile[0];
    // VLAN 1 is nobody's; a tag gets past the ingress filter that is off.
    assert!(
        opened.iter().all(|pair| pair.starts_with("unclaimed")),
        "{opened:?}"
    );
    for to in ["office", "brewhouse", "management"] {
        assert!(
            opened
                .iter()
                .any(|pair| pair.ends_with(&format!("-> {to}"))),
            "{opened:?}"
        );
    }
    assert!(
        told.ways[0]
            .iter()
            .any(|way| way.ends_with("-> management")),
        "{told:?}"
    );
    assert_eq!(told.worse, ["management"]);
    // Another number that is nobody's is the same port.
    let renumbered = live.replace(
        "\"9\" = { enabled = true }",
        "\"9\" = { pvid = 999, untagged = [999] }",
    );
    assert_eq!(self::told(&live, &renumbered).hostile, NOTHING);
}

#[test]
fn a_rule_ends_isolations_that_only_rules_kept() {
    let alone = SITE.replace(
        "[[hosts.historian.interfaces]]\nport = \"core:5\"\naddresses = [\"10.44.60.13/24\"]\n",
        "",
    );
    let permitted = format!("{alone}{DESKS_READ}");
    let told = told(&alone, &permitted);
    assert!(told.only_rules);
    assert_eq!(told.plain, [texts(&["office -> brewhouse"]), vec![]]);
    assert_eq!(told.worse, ["office", "brewhouse"]);
    // What passes already ends nothing.
    let more = permitted.replace("tcp/443", "tcp/400-500");
    let told = self::told(&permitted, &more);
    assert_eq!(told.plain, [texts(&["office -> brewhouse"]), vec![]]);
    assert_eq!(told.worse, [] as [String; 0]);
}

#[test]
fn a_cable_of_the_same_kind_moves_and_nothing_changes() {
    let moved = replaced(
        "\"9\" = { enabled = false }",
        "\"9\" = { access = \"office\" }",
    );
    let moved = moved.replace("port = \"core:1\"", "port = \"core:9\"");
    let told = told(SITE, &moved);
    assert_eq!(told, Told::default());
}

#[test]
fn a_switch_with_another_name_is_the_same_one() {
    let live = replaced("\"9\" = { enabled = false }", "\"9\" = { enabled = true }");
    let renamed = live.replace("core", "rack");
    assert_eq!(told(&live, &renamed), Told::default());
}

#[test]
fn where_a_limit_is_met_nothing_is_called_unchanged() {
    let mut rules = String::new();
    for (number, action) in ["deny", "permit", "deny", "permit"].iter().enumerate() {
        let low = number * 8;
        rules.push_str(&format!(
            "[[gateways.edge.rules]]\nname = \"{number}\"\nsource = [\"10.44.10.{}-10.44.10.{}\"]\n\
             destination = [\"10.44.60.{}-10.44.60.{}\"]\nservices = [\"tcp/{}-{}\"]\naction = \"{action}\"\n",
            20 + low, 60 + low, 30 - low, 90 - low, 100 + low, 200 + low,
        ));
    }
    let (old, new) = (site(SITE), site(&format!("{SITE}{rules}")));
    let found = |limit: Option<usize>| {
        let networks = Network::versions(&old, &new, TODAY);
        let networks = networks.map(|network| match limit {
            Some(pieces) => network.limited_to(pieces),
            None => network,
        });
        Compared::of(networks)
    };
    let whole = found(None);
    assert!(whole.reach.complete() && whole.reach.pairs.len() == 1);
    let cut = found(Some(1));
    assert_eq!(cut.reach.limit(), Some(Limit::OpenPieces(1)));
    assert!(!cut.reach.is_empty());
    for one in &cut.isolation {
        assert!(
            !matches!(one.after.verdict, IsolationVerdict::ByRule { .. }),
            "{one:?}"
        );
    }
}
