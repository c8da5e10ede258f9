//! The things of a site with their settings as comparable texts.

use crate::diagnostic::{Span, Spanned};
use crate::model::{
    AddressMatch, Expectation, InterfaceAddress, LinkEnd, Need, Party, Rule, ServiceMatch, Site,
};

/// A thing with a name, a place, and its settings as comparable texts.
pub(super) struct Thing {
    pub name: String,
    pub place: Span,
    pub settings: Vec<(&'static str, String)>,
}

pub(super) type List = fn(&Site) -> Vec<Thing>;

pub(super) const KINDS: &[(&str, List)] = &[
    ("zone", zones),
    ("segment", segments),
    ("address group", groups),
    ("service", services),
    ("host", hosts),
    ("switch port", ports),
    ("LAG", lags),
    ("cable", cables),
    ("gateway", gateways),
    ("translation", translations),
    ("need", needs),
    ("expectation", expectations),
];

fn party(site: &Site, party: &Party) -> String {
    match *party {
        Party::Zone(zone) => format!("zone {}", site.zone(zone).name.value),
        Party::Segment(segment) => format!("segment {}", site.segment(segment).name.value),
        Party::Gateway => "gateway".to_owned(),
    }
}

fn parties(site: &Site, list: Option<&[Party]>) -> String {
    match list {
        None => "any".to_owned(),
        Some(list) => {
            let mut names: Vec<String> = list.iter().map(|one| party(site, one)).collect();
            names.sort();
            names.join(", ")
        }
    }
}

fn text(value: &impl std::fmt::Debug) -> String {
    format!("{value:?}")
}

pub(super) fn rule_settings(site: &Site, rule: &Rule) -> Vec<(&'static str, String)> {
    let date = |date: &Option<Spanned<crate::model::Date>>| {
        date.map_or(String::new(), |date| date.value.to_string())
    };
    vec![
        ("from", parties(site, rule.from.as_deref())),
        ("to", parties(site, rule.to.as_deref())),
        ("source", addresses(&rule.source)),
        ("destination", addresses(&rule.destination)),
        ("services", items(&rule.services)),
        ("action", rule.action.value.word().to_owned()),
        ("log", rule.log.to_string()),
        ("inspect", rule.inspect.to_string()),
        ("enabled", rule.enabled.to_string()),
        ("expires", date(&rule.expires)),
        ("reviewed", date(&rule.reviewed)),
        ("reason", text(&rule.reason)),
        ("owner", text(&rule.owner)),
        ("ticket", text(&rule.ticket)),
    ]
}

fn zones(site: &Site) -> Vec<Thing> {
    let one = |zone: &crate::model::Zone| Thing {
        name: zone.name.value.clone(),
        place: zone.name.span,
        settings: vec![("trust", zone.trust.to_string())],
    };
    site.zones.iter().map(one).collect()
}

fn segments(site: &Site) -> Vec<Thing> {
    let one = |segment: &crate::model::Segment| {
        let mut prefixes: Vec<String> = segment
            .prefixes
            .iter()
            .map(|prefix| prefix.value.net().to_string())
            .collect();
        prefixes.sort();
        Thing {
            name: segment.name.value.clone(),
            place: segment.name.span,
            settings: vec![
                ("zone", site.zone(segment.zone).name.value.clone()),
                (
                    "vlan",
                    segment
                        .vlan
                        .map_or(String::new(), |vlan| vlan.value.to_string()),
                ),
                ("prefixes", prefixes.join(", ")),
                ("isolated", text(&segment.isolated.map(|claim| claim.value))),
                ("external", segment.external.to_string()),
                (
                    "default_gateway",
                    text(
                        &segment
                            .default_gateway
                            .iter()
                            .map(|one| one.value)
                            .collect::<Vec<_>>(),
                    ),
                ),
            ],
        }
    };
    site.segments.iter().map(one).collect()
}

fn groups(site: &Site) -> Vec<Thing> {
    let one = |group: &crate::model::AddressGroup| Thing {
        name: group.name.value.clone(),
        place: group.name.span,
        settings: vec![("addresses", text(&group.set))],
    };
    site.addresses.iter().map(one).collect()
}

fn services(site: &Site) -> Vec<Thing> {
    let one = |group: &crate::model::ServiceGroup| Thing {
        name: group.name.value.clone(),
        place: group.name.span,
        settings: vec![("items", text(&group.services))],
    };
    site.services.iter().map(one).collect()
}

fn hosts(site: &Site) -> Vec<Thing> {
    let one = |host: &crate::model::Host| {
        let interfaces = host.interfaces.iter().map(|interface| {
            let addresses = own(&interface.addresses);
            let segment = &site.segment(interface.segment).name.value;
            format!(
                "{} {segment} {addresses:?} {:?}",
                interface.name.value, interface.vlan
            )
        });
        Thing {
            name: host.name.value.clone(),
            place: host.name.span,
            settings: vec![
                ("interfaces", interfaces.collect::<Vec<_>>().join("; ")),
                ("forwards", text(&host.forwards.value)),
                (
                    "default_gateway",
                    text(
                        &host
                            .default_gateway
                            .iter()
                            .map(|one| one.value)
                            .collect::<Vec<_>>(),
                    ),
                ),
                ("routes", routes(&host.routes)),
            ],
        }
    };
    site.hosts.iter().map(one).collect()
}

fn routes(list: &[crate::model::Route]) -> String {
    let one = |route: &crate::model::Route| format!("{} {:?}", route.destination.net(), route.via);
    let mut all: Vec<String> = list.iter().map(one).collect();
    all.sort();
    all.join("; ")
}

fn ports(site: &Site) -> Vec<Thing> {
    let mut things = Vec::new();
    for switch in &site.switches {
        things.extend(switch.ports.iter().map(|port| Thing {
            name: format!("{}:{}", switch.name.value, port.name.value),
            place: port.name.span,
            settings: vec![
                ("VLANs", port.vlans.as_ref().map_or(String::new(), vlans)),
                ("isolated", port.isolated.to_string()),
                ("enabled", port.enabled.to_string()),
            ],
        }));
    }
    things
}

fn vlans(vlans: &crate::model::PortVlans) -> String {
    let list =
        |set: &crate::model::VlanSet| text(&set.iter().map(|vlan| vlan.get()).collect::<Vec<_>>());
    format!(
        "{:?} {} {} {} {:?}",
        vlans.pvid,
        list(&vlans.untagged),
        list(&vlans.tagged),
        vlans.ingress_filter,
        vlans.accept
    )
}

fn lags(site: &Site) -> Vec<Thing> {
    let mut things = Vec::new();
    for switch in &site.switches {
        things.extend(switch.lags.iter().map(|lag| {
            let members: Vec<&str> = lag.ports.iter().map(|port| port.value.as_str()).collect();
            Thing {
                name: format!("{}:{}", switch.name.value, lag.name.value),
                place: lag.name.span,
                settings: vec![
                    ("ports", members.join(", ")),
                    ("lacp", text(&lag.lacp)),
                    ("VLANs", vlans(&lag.vlans)),
                    ("isolated", lag.isolated.to_string()),
                ],
            }
        }));
    }
    things
}

fn cables(site: &Site) -> Vec<Thing> {
    let end = |end: &LinkEnd| match end {
        LinkEnd::Switch(id, port) => format!("{}:{port}", site.switches[id.0].name.value),
        LinkEnd::Router(id, port) => format!("{}:{port}", site.router(*id).name.value),
        LinkEnd::Host(id, port) => format!("{}:{port}", site.host(*id).name.value),
    };
    let one = |link: &crate::model::Link| {
        let mut ends = link.ends.each_ref().map(|one| end(&one.value));
        ends.sort();
        Thing {
            name: ends.join(" - "),
            place: link.place,
            settings: vec![("label", text(&link.label))],
        }
    };
    site.links.iter().map(one).collect()
}

fn gateways(site: &Site) -> Vec<Thing> {
    let one = |router: &crate::model::Router| {
        let interfaces = router.interfaces.iter().map(|interface| {
            let addresses = own(&interface.addresses);
            let segment = &site.segment(interface.segment).name.value;
            let port = interface.port.as_ref().map(|port| &port.value);
            let (name, check) = (&interface.name.value, interface.source_check);
            format!(
                "{name} {segment} {addresses:?} {port:?} {:?} {check:?}",
                interface.vlan
            )
        });
        let filter = router.filter();
        Thing {
            name: router.name.value.clone(),
            place: router.name.span,
            settings: vec![
                ("interfaces", interfaces.collect::<Vec<_>>().join("; ")),
                ("routes", routes(&router.routes)),
                ("default", text(&filter.map(|filter| filter.default.value))),
                ("stateful", text(&filter.map(|filter| filter.stateful))),
            ],
        }
    };
    site.routers.iter().map(one).collect()
}

fn translations(site: &Site) -> Vec<Thing> {
    let mut things = Vec::new();
    for router in &site.routers {
        let Some(filter) = router.filter() else {
            continue;
        };
        let lists = [
            &filter.destination_translations,
            &filter.source_translations,
        ];
        for (number, line) in lists.into_iter().flatten().enumerate() {
            things.push(Thing {
                name: format!("{} \"{}\"", router.name.value, line.name.value),
                place: line.name.span,
                settings: vec![
                    ("parties", parties(site, line.parties.as_deref())),
                    ("source", addresses(&line.source)),
                    ("destination", addresses(&line.destination)),
                    ("services", items(&line.services)),
                    ("to_address", text(&line.target)),
                    ("to_port", text(&line.port)),
                    ("enabled", line.enabled.to_string()),
                    ("place in the list", number.to_string()),
                ],
            });
        }
    }
    things
}

/// What a need or an expectation speaks of.
fn spoken_of(
    site: &Site,
    (from, to): (&[Party], &[Party]),
    (source, destination): (&Option<AddressMatch>, &Option<AddressMatch>),
    services: &Option<ServiceMatch>,
) -> Vec<(&'static str, String)> {
    vec![
        ("from", parties(site, Some(from))),
        ("to", parties(site, Some(to))),
        ("source", addresses(source)),
        ("destination", addresses(destination)),
        ("services", items(services)),
    ]
}

fn needs(site: &Site) -> Vec<Thing> {
    let one = |need: &Need| Thing {
        name: format!("\"{}\"", need.name.value),
        place: need.name.span,
        settings: spoken_of(
            site,
            (&need.from, &need.to),
            (&need.source, &need.destination),
            &need.services,
        ),
    };
    site.needs.iter().map(one).collect()
}

fn expectations(site: &Site) -> Vec<Thing> {
    let one = |line: &Expectation| {
        let mut settings = spoken_of(
            site,
            (&line.from, &line.to),
            (&line.source, &line.destination),
            &line.services,
        );
        settings.push(("demands", text(&line.demands)));
        settings.push(("stance", text(&line.hostile)));
        Thing {
            name: format!("\"{}\"", line.name.value),
            place: line.name.span,
            settings,
        }
    };
    site.expectations.iter().map(one).collect()
}

/// A list of addresses, whatever it is written with.
fn addresses(list: &Option<AddressMatch>) -> String {
    text(&list.as_ref().map(|list| &list.set))
}

/// A list of services likewise.
fn items(list: &Option<ServiceMatch>) -> String {
    text(&list.as_ref().map(|list| &list.services))
}

/// The addresses of an interface.
fn own(addresses: &[Spanned<InterfaceAddress>]) -> Vec<String> {
    let addresses = addresses.iter();
    addresses
        .map(|address| address.value.0.to_string())
        .collect()
}
