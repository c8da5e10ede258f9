//! What somebody edited, by name, whether or not it does anything.

use rustc_hash::{FxHashMap, FxHashSet};
use similar::{Algorithm, DiffOp, capture_diff_slices};

use crate::diagnostic::Span;
use crate::model::{LinkEnd, Party, Rule, Site};

/// What became of a thing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum EditKind {
    /// It is new.
    Added,
    /// It is gone.
    Removed,
    /// These of its settings differ.
    Changed(Vec<&'static str>),
    /// It stands elsewhere among the rules that stayed.
    Moved,
    /// It was called this.
    Renamed(String),
}

/// One edit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Edit {
    /// What it is, as `edge rule "guests print"` or `segment office`.
    pub what: String,
    /// What became of it.
    pub kind: EditKind,
    /// Where it stood.
    pub old: Option<Span>,
    /// Where it stands.
    pub new: Option<Span>,
    /// For a rule its gateway and number in the old and in the new version.
    pub rule: Option<(usize, Option<usize>, Option<usize>)>,
}

/// A thing with a name, a place, and its settings as comparable texts.
struct Thing {
    name: String,
    place: Span,
    settings: Vec<(&'static str, String)>,
}

/// Edits, in the order of the parts of a site: what is added, removed or changed, and rules that moved. Matched by
/// name; a rule that only its name tells from one that is gone is told as renamed, other things as removed and added.
pub fn edits(old: &Site, new: &Site) -> Vec<Edit> {
    let mut found = Vec::new();
    for (kind, list) in KINDS {
        compare(kind, list(old), list(new), &mut found);
    }
    for (number, router) in new.routers.iter().enumerate() {
        let before = old.routers.iter().find(|other| other.name == router.name);
        rule_edits(
            (old, new),
            number,
            rules_of(before),
            rules_of(Some(router)),
            &mut found,
        );
    }
    found
}

fn rules_of(router: Option<&crate::model::Router>) -> Vec<&Rule> {
    let filter = router.and_then(|router| router.filter());
    filter.map_or(Vec::new(), |filter| filter.rules.iter().collect())
}

type List = fn(&Site) -> Vec<Thing>;

const KINDS: &[(&str, List)] = &[
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

fn compare(kind: &str, old: Vec<Thing>, new: Vec<Thing>, found: &mut Vec<Edit>) {
    let what = |thing: &Thing| format!("{kind} {}", thing.name);
    let mut before: FxHashMap<&str, &Thing> = FxHashMap::default();
    before.extend(old.iter().map(|thing| (thing.name.as_str(), thing)));
    let mut kept: FxHashSet<&str> = FxHashSet::default();
    for thing in &new {
        let known = before.get(thing.name.as_str());
        let kind = match known {
            None => EditKind::Added,
            Some(known) => {
                kept.insert(&thing.name);
                let pairs = known.settings.iter().zip(&thing.settings);
                let differ = pairs.filter(|(one, other)| one != other);
                let differ: Vec<&'static str> = differ.map(|(one, _)| one.0).collect();
                if differ.is_empty() {
                    continue;
                }
                EditKind::Changed(differ)
            }
        };
        found.push(Edit {
            what: what(thing),
            kind,
            old: known.map(|known| known.place),
            new: Some(thing.place),
            rule: None,
        });
    }
    for thing in old
        .iter()
        .filter(|thing| !kept.contains(thing.name.as_str()))
    {
        found.push(Edit {
            what: what(thing),
            kind: EditKind::Removed,
            old: Some(thing.place),
            new: None,
            rule: None,
        });
    }
}

fn rule_edits(
    (old_site, new_site): (&Site, &Site),
    router: usize,
    old: Vec<&Rule>,
    new: Vec<&Rule>,
    found: &mut Vec<Edit>,
) {
    let gateway = &new_site.routers[router].name.value;
    let numbers = |rules: &[&Rule]| {
        let numbered = rules.iter().enumerate();
        numbered
            .map(|(at, rule)| (rule.name.value.clone(), at))
            .collect()
    };
    let before: FxHashMap<String, usize> = numbers(&old);
    let after: FxHashMap<String, usize> = numbers(&new);
    let moved = moved(&old, &new, &before, &after);
    let mut add = |rule: &Rule, kind, (was, is): (Option<usize>, Option<usize>)| {
        found.push(Edit {
            what: format!("{gateway} rule \"{}\"", rule.name.value),
            kind,
            old: was.map(|at| old[at].name.span),
            new: is.map(|at| new[at].name.span),
            rule: Some((router, was, is)),
        });
    };
    let mut gone: Vec<usize> = (0..old.len()).collect();
    gone.retain(|&at| !after.contains_key(&old[at].name.value));
    for (at, rule) in new.iter().enumerate() {
        let Some(&was) = before.get(&rule.name.value) else {
            let own = rule_settings(new_site, rule);
            let twin = gone
                .iter()
                .position(|&was| rule_settings(old_site, old[was]) == own);
            match twin.map(|twin| gone.remove(twin)) {
                Some(was) => {
                    let name = old[was].name.value.clone();
                    add(rule, EditKind::Renamed(name), (Some(was), Some(at)));
                }
                None => add(rule, EditKind::Added, (None, Some(at))),
            }
            continue;
        };
        let settings = |site: &Site, rule: &Rule| rule_settings(site, rule);
        let pairs = settings(old_site, old[was])
            .into_iter()
            .zip(settings(new_site, rule));
        let differ = pairs.filter(|(one, other)| one != other);
        let differ: Vec<&'static str> = differ.map(|(one, _)| one.0).collect();
        if !differ.is_empty() {
            add(rule, EditKind::Changed(differ), (Some(was), Some(at)));
        }
        if moved.contains(&at) {
            add(rule, EditKind::Moved, (Some(was), Some(at)));
        }
    }
    for at in gone {
        add(old[at], EditKind::Removed, (Some(at), None));
    }
}

/// Numbers of rules of the new list that do not stand in the order of the old one among those that stayed: as few as
/// the comparison finds.
fn moved(
    old: &[&Rule],
    new: &[&Rule],
    before: &FxHashMap<String, usize>,
    after: &FxHashMap<String, usize>,
) -> FxHashSet<usize> {
    let stayed = old
        .iter()
        .filter_map(|rule| after.get(&rule.name.value).copied());
    let stayed: Vec<usize> = stayed.collect();
    let order: Vec<usize> = (0..new.len())
        .filter(|&at| before.contains_key(&new[at].name.value))
        .collect();
    let mut moved = FxHashSet::default();
    for operation in capture_diff_slices(Algorithm::Myers, &stayed, &order) {
        if !matches!(operation, DiffOp::Equal { .. }) {
            moved.extend(order[operation.new_range()].iter().copied());
        }
    }
    moved
}

fn party(site: &Site, party: &Party) -> String {
    match *party {
        Party::Zone(zone) => format!("zone {}", site.zone(zone).name.value),
        Party::Segment(segment) => format!("segment {}", site.segment(segment).name.value),
        Party::Gateway => "gateway".to_owned(),
    }
}

fn parties(site: &Site, list: &Option<Vec<Party>>) -> String {
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

fn rule_settings(site: &Site, rule: &Rule) -> Vec<(&'static str, String)> {
    let set =
        |list: &Option<crate::model::AddressMatch>| text(&list.as_ref().map(|list| &list.set));
    let date = |date: &Option<crate::diagnostic::Spanned<crate::model::Date>>| {
        date.map_or(String::new(), |date| date.value.to_string())
    };
    vec![
        ("from", parties(site, &rule.from)),
        ("to", parties(site, &rule.to)),
        ("source", set(&rule.source)),
        ("destination", set(&rule.destination)),
        (
            "services",
            text(&rule.services.as_ref().map(|list| &list.services)),
        ),
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
            let addresses: Vec<String> = interface
                .addresses
                .iter()
                .map(|address| address.value.0.to_string())
                .collect();
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
            let addresses: Vec<String> = interface
                .addresses
                .iter()
                .map(|address| address.value.0.to_string())
                .collect();
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
            let set = |list: &Option<crate::model::AddressMatch>| {
                text(&list.as_ref().map(|list| &list.set))
            };
            things.push(Thing {
                name: format!("{} \"{}\"", router.name.value, line.name.value),
                place: line.name.span,
                settings: vec![
                    ("parties", parties(site, &line.parties)),
                    ("source", set(&line.source)),
                    ("destination", set(&line.destination)),
                    (
                        "services",
                        text(&line.services.as_ref().map(|list| &list.services)),
                    ),
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

fn needs(site: &Site) -> Vec<Thing> {
    let one = |need: &crate::model::Need| Thing {
        name: format!("\"{}\"", need.name.value),
        place: need.name.span,
        settings: vec![
            ("from", parties(site, &Some(need.from.clone()))),
            ("to", parties(site, &Some(need.to.clone()))),
            ("source", text(&need.source.as_ref().map(|list| &list.set))),
            (
                "destination",
                text(&need.destination.as_ref().map(|list| &list.set)),
            ),
            (
                "services",
                text(&need.services.as_ref().map(|list| &list.services)),
            ),
        ],
    };
    site.needs.iter().map(one).collect()
}

fn expectations(site: &Site) -> Vec<Thing> {
    let one = |line: &crate::model::Expectation| Thing {
        name: format!("\"{}\"", line.name.value),
        place: line.name.span,
        settings: vec![
            ("from", parties(site, &Some(line.from.clone()))),
            ("to", parties(site, &Some(line.to.clone()))),
            ("source", text(&line.source.as_ref().map(|list| &list.set))),
            (
                "destination",
                text(&line.destination.as_ref().map(|list| &list.set)),
            ),
            (
                "services",
                text(&line.services.as_ref().map(|list| &list.services)),
            ),
            ("demands", text(&line.demands)),
            ("stance", text(&line.hostile)),
        ],
    };
    site.expectations.iter().map(one).collect()
}
