//! Changes by hand, for what random sites do not show: cables and ports, segments that come, go and get new names.

use boundwalk::analysis::IsolationVerdict;
use boundwalk::analysis::change::{
    EditKind, ReachChange, Spot, Trend, edits, intent_changes, isolation_changes, reach_change,
};
use boundwalk::forwarding::{Network, Stop};
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, Site};

const TODAY: Date = Date::constant(2026, 11, 25);
const DEMO: &str = include_str!("../policies/kettle-lane/site.toml");

fn site(text: &str) -> Site {
    let loaded = load_text("site.toml", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems))
}

fn replaced(old: &str, new: &str) -> String {
    assert_eq!(DEMO.matches(old).count(), 1, "{old}");
    DEMO.replace(old, new)
}

fn change(old: &Site, new: &Site) -> ReachChange {
    let networks = Network::versions(old, new, TODAY);
    reach_change(&networks[0], &networks[1], &mut |_, _| {})
}

/// Names of pairs that open and that close.
fn pairs(old: &Site, new: &Site, change: &ReachChange) -> [Vec<String>; 2] {
    let name = |spot: Spot| match spot {
        Spot::Segment(matched) => match (matched.new, matched.old) {
            (Some(id), _) => new.segment(id).name.value.clone(),
            (_, Some(id)) => old.segment(id).name.value.clone(),
            _ => String::new(),
        },
        Spot::Router(_) => "edge itself".to_owned(),
        Spot::Unclaimed(_) => panic!("only hostile devices are at ports of no segment"),
    };
    let mut all = [Vec::new(), Vec::new()];
    for pair in &change.pairs {
        let text = format!("{} -> {}", name(pair.from), name(pair.to));
        if !pair.opened.is_empty() {
            all[0].push(text.clone());
        }
        if !pair.closed.is_empty() {
            all[1].push(text);
        }
    }
    for list in &mut all {
        list.sort();
        list.dedup();
    }
    all
}

#[test]
fn a_port_of_the_trunk_that_loses_a_vlan_closes_what_went_by_it() {
    let old = site(DEMO);
    // A remark changes nothing at all.
    let remarked = site(&replaced("\"uplink\" = {", "# a remark\n\"uplink\" = {"));
    assert!(change(&old, &remarked).is_empty() && edits(&old, &remarked).is_empty());
    let line = DEMO
        .lines()
        .find(|line| line.starts_with("\"uplink\""))
        .expect("the LAG");
    assert!(line.contains("\"cameras\""), "{line}");
    let without = line
        .replace("\"cameras\", ", "")
        .replace(", \"cameras\"", "");
    let new = site(&DEMO.replace(line, &without));
    let found = change(&old, &new);
    assert!(!found.only_rules);
    let [opened, closed] = pairs(&old, &new, &found);
    assert_eq!(opened, [] as [String; 0]);
    assert!(
        closed.contains(&"servers -> cameras".to_owned()),
        "{closed:?}"
    );
    assert!(
        closed.iter().all(|pair| pair.contains("cameras")),
        "{closed:?}"
    );
    let stops: Vec<Option<Stop>> = found
        .pairs
        .iter()
        .flat_map(|pair| &pair.closed)
        .map(|changed| changed.stop)
        .collect();
    assert!(
        stops.contains(&Some(Stop::NoFirstHop)) && stops.contains(&Some(Stop::OffWire)),
        "{stops:?}"
    );
    let edited = edits(&old, &new);
    assert!(
        matches!(&edited[..], [edit] if edit.what == "LAG core:uplink" && edit.kind == EditKind::Changed(vec!["tagged"])),
        "{edited:#?}"
    );
}

#[test]
fn the_end_of_an_isolation_is_told_with_its_distance() {
    let old = site(DEMO);
    let new = site(&replaced(
        "\"17-18\"  = { access = \"cameras\" }",
        "\"17-18\"  = { untagged = \"cameras\", tagged = [\"management\"] }",
    ));
    let networks = Network::versions(&old, &new, TODAY);
    let found = reach_change(&networks[0], &networks[1], &mut |_, _| {});
    // A tag is a hostile device's: nothing changes for those who do as configured.
    assert!(found.pairs.is_empty(), "{:#?}", found.pairs);
    assert!(!found.hostile.is_empty());
    let isolation = isolation_changes(&networks[0], &networks[1], &found);
    let [change] = isolation.as_slice() else {
        panic!("{isolation:?}");
    };
    assert_eq!(new.segment(change.segment).name.value, "management");
    let before = change.before.as_ref().expect("it was there");
    assert!(matches!(before.verdict, IsolationVerdict::ByDesign(_)));
    assert!(before.distance.is_some());
    assert!(matches!(
        change.after.verdict,
        IsolationVerdict::Reachable { .. }
    ));
    assert!(change.claimed && change.trend() == Trend::Worse);
}

#[test]
fn a_segment_with_a_new_name_is_the_same_one() {
    let small = |name: &str, more: &str| {
        format!(
            "[zones.inside]\ntrust = 50\n[segments.{name}]\nzone = \"inside\"\nvlan = 10\nprefixes = [\"10.44.10.0/24\"]\n\
             [segments.shop]\nzone = \"inside\"\nvlan = 40\nprefixes = [\"10.44.40.0/24\"]\n{more}\
             [gateways.edge]\ndefault = \"permit\"\n[gateways.edge.interfaces.a]\nsegment = \"{name}\"\naddresses = [\"10.44.10.1/24\"]\n\
             [gateways.edge.interfaces.b]\nsegment = \"shop\"\naddresses = [\"10.44.40.1/24\"]\n"
        )
    };
    let (old, new) = (site(&small("office", "")), site(&small("desks", "")));
    let found = change(&old, &new);
    assert!(found.is_empty() && !found.only_rules, "{:#?}", found.pairs);
    let third = "[segments.lab]\nzone = \"inside\"\nvlan = 70\nprefixes = [\"10.44.70.0/24\"]\n";
    let wider = format!(
        "{}[gateways.edge.interfaces.c]\nsegment = \"lab\"\naddresses = [\"10.44.70.1/24\"]\n",
        small("desks", third)
    );
    let wider = site(&wider);
    let [opened, closed] = pairs(&old, &wider, &change(&old, &wider));
    assert_eq!(closed, [] as [String; 0]);
    for pair in [
        "lab -> shop",
        "desks -> lab",
        "shop -> lab",
        "lab -> desks",
        "lab -> edge itself",
    ] {
        assert!(opened.contains(&pair.to_owned()), "{pair}: {opened:?}");
    }
    let [opened, closed] = pairs(&wider, &old, &change(&wider, &old));
    assert_eq!(opened, [] as [String; 0]);
    assert!(closed.contains(&"shop -> lab".to_owned()));
}

#[test]
fn the_proposed_change_of_the_demo_is_what_its_read_me_file_says() {
    let old = site(DEMO);
    let new = site(include_str!("../policies/kettle-lane/proposed/site.toml"));
    let found = change(&old, &new);
    assert!(found.only_rules && found.complete());
    let [opened, closed] = pairs(&old, &new, &found);
    assert_eq!(opened, ["published -> coldstore"]);
    assert_eq!(
        closed,
        [
            "cameras -> internet",
            "guest -> brewhouse",
            "guest -> office",
            "guest -> published",
            "guest -> servers",
            "office -> internet"
        ]
    );
    let guests = found.pairs.iter().filter(|pair| {
        let from = pair.from.segment().and_then(|matched| matched.old);
        from.is_some_and(|id| old.segment(id).name.value == "guest")
    });
    assert!(guests.clone().all(|pair| pair.family == Family::V6) && guests.count() == 4);
    let networks = Network::versions(&old, &new, TODAY);
    let intent = intent_changes(&networks[0], &networks[1]);
    let names: Vec<&str> = intent.iter().map(|one| one.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "cameras never to the internet",
            // Over IPv4 its list names nothing: nothing may pass.
            "published servers start nothing inside",
            "web for the office"
        ]
    );
    let kinds: Vec<EditKind> = edits(&old, &new)
        .into_iter()
        .map(|edit| edit.kind)
        .collect();
    assert!(
        kinds.contains(&EditKind::Renamed(
            "labels from the label server".to_owned()
        )) && kinds.contains(&EditKind::Moved),
        "{kinds:?}"
    );
}
