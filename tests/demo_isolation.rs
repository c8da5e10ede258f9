//! Is the management segment of the demo isolated, for the reasons that a person finds by reading the file? And
//! does each of five small edits turn the proof into the right counterexample?

use std::collections::HashSet;

use boundwalk::analysis::{
    EFFORT, Fault, IsolationVerdict, Opening, bypasses, closing, distance, interface_name,
    isolation, origin_name,
};
use boundwalk::forwarding::layer2::Far;
use boundwalk::forwarding::{Network, Origin};
use boundwalk::load::load_text;
use boundwalk::model::{Date, SegmentId, Site};
use boundwalk::render::{node_name, port_name_of};

const TODAY: Date = Date::constant(2026, 11, 25);
const DEMO: &str = include_str!("../policies/kettle-lane/site.toml");

fn site(text: &str) -> Site {
    let loaded = load_text("site.toml", text);
    let problems = loaded.problems;
    loaded.site.unwrap_or_else(|| panic!("{problems:#?}"))
}

/// The demo with one text exchanged, which must be there once.
fn edited(old: &str, new: &str) -> Site {
    assert_eq!(DEMO.matches(old).count(), 1, "{old}");
    site(&DEMO.replace(old, new))
}

fn segment(site: &Site, name: &str) -> SegmentId {
    let mut segments = site.segments.iter();
    let at = segments.position(|segment| segment.name.value == name);
    SegmentId(at.expect("a segment of the demo"))
}

/// Read by hand: VLAN 90 is on core 13 (console), 14 (free), 25 and 26, on taproom 8 and 6, on floor 8, and on the access
/// point's cable, all of them tagged but core 13 and 14; not on the LAG to the gateway.
#[test]
fn management_is_isolated_for_the_reasons_read_by_hand() {
    let site = site(DEMO);
    let network = Network::new(&site, TODAY);
    let management = segment(&site, "management");
    let IsolationVerdict::ByDesign(certificate) = isolation(&network, management) else {
        panic!("not isolated");
    };
    let mut inside: Vec<String> = certificate
        .inside
        .iter()
        .map(|&(node, vlan)| {
            let vlan = vlan.map_or(0, |vlan| vlan.get());
            format!("{} {vlan}", node_name(&network, node))
        })
        .collect();
    inside.sort();
    assert_eq!(
        inside,
        ["core 90", "floor 90", "taproom 90", "taproom-ap 90"]
    );
    let mut sends: Vec<String> = certificate
        .sends
        .iter()
        .map(|(port, frame)| format!("{} {:?}", port_name_of(&network, *port), frame.tags()))
        .collect();
    sends.sort();
    sends.dedup();
    assert_eq!(
        sends,
        [
            "core:13 []",
            "core:14 []",
            "core:25 [90]",
            "core:26 [90]",
            "taproom:6 [90]"
        ]
    );
    let takers: Vec<String> = certificate
        .takers
        .iter()
        .map(|&interface| interface_name(&site, network.fabric.interface(interface).of))
        .collect();
    assert_eq!(takers, ["console:eth0"]);
    // Every other live port of the four switches, the uplink among them.
    let closed = certificate.closed.iter();
    let closed: Vec<String> = closed
        .map(|closed| port_name_of(&network, closed.port))
        .collect();
    let live = 17 + 5 + 6 + 2;
    assert_eq!(closed.len(), live, "{closed:?}");
    assert!(closed.contains(&"core:uplink".to_owned()));
    assert!(certificate.sends.iter().all(|(port, _)| {
        !matches!(&network.fabric.port(*port).far, Far::Interfaces(interfaces)
            if interfaces.iter().any(|&interface| interface_name(&site, network.fabric.interface(interface).of).starts_with("edge")))
    }));
}

#[test]
fn the_demo_has_no_way_round() {
    let site = site(DEMO);
    let network = Network::new(&site, TODAY);
    assert!(bypasses(&network, &|_, _| true).is_empty());
}

/// Copies of the site are tried on all processors, in whatever order they are done; effort that ends on the way is
/// part of it.
#[test]
fn faults_are_the_same_on_one_processor_and_on_several() {
    let site = site(DEMO);
    let network = Network::new(&site, TODAY);
    let management = segment(&site, "management");
    let verdict = isolation(&network, management);
    let size = network.fabric.ports.len() + network.fabric.interfaces.len();
    let all = distance(&network, management, &verdict, EFFORT);
    assert!(all.complete && !all.one.is_empty() && !all.two.is_empty());
    // Enough for each single fault and some pairs; for some single faults.
    for effort in [EFFORT, size * (all.faults + 9), size * (all.faults - 9)] {
        let [one, several] = [1, 5].map(|threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            let pool = pool.build().expect("threads");
            pool.install(|| distance(&network, management, &verdict, effort))
        });
        assert_eq!(one.complete, effort == EFFORT, "{} tried", one.tried);
        assert_eq!(one, several);
    }
}

#[test]
fn one_wrong_setting_ends_it() {
    let site = site(DEMO);
    let network = Network::new(&site, TODAY);
    let management = segment(&site, "management");
    let verdict = isolation(&network, management);
    let distance = distance(&network, management, &verdict, EFFORT);
    let kinds: HashSet<_> = distance.one.iter().map(std::mem::discriminant).collect();
    // A wrong PVID, a VLAN list too long, a moved cable.
    assert!(2 < kinds.len(), "{:?}", distance.one);
    assert!(distance.complete);
    // Each fault really ends it, and each pair does while neither of its faults does.
    let ends = |faults: &[Fault]| {
        let mut changed = site.clone();
        faults.iter().for_each(|fault| fault.apply(&mut changed));
        let network = Network::new(&changed, TODAY);
        !matches!(
            isolation(&network, management),
            IsolationVerdict::ByDesign(_)
        )
    };
    assert!(distance.one.iter().all(|&fault| ends(&[fault])));
    for pair in distance.two.iter().step_by(7) {
        assert!(
            ends(pair) && !ends(&pair[..1]) && !ends(&pair[1..]),
            "{pair:?}"
        );
    }
}

/// What reaches management after an edit: the other segment and the tags of the frame.
fn counterexample(site: &Site) -> (String, Vec<u16>) {
    let network = Network::new(site, TODAY);
    let management = segment(site, "management");
    let IsolationVerdict::Reachable {
        into: Some(Opening::Around { other, way }),
        ..
    } = isolation(&network, management)
    else {
        panic!("still isolated, or not round the gateway");
    };
    let name = origin_name(site, &network.fabric, other).into_owned();
    (name, way.sent().to_vec())
}

/// What closes every way after an edit, as facts; the first of the smallest sets.
fn remedy(site: &Site) -> Vec<String> {
    let network = Network::new(site, TODAY);
    let all = |_: Origin, _: Origin| true;
    let pairs = bypasses(&network, &all);
    let closing = closing(&network, &pairs, &all).expect("something to close");
    assert!(closing.smallest && closing.stay.is_empty());
    closing.sets[0]
        .iter()
        .map(|setting| setting.fact(site))
        .collect()
}

#[test]
fn a_wrong_pvid() {
    let edited = edited(
        "\"1-6\"    = { access = \"office\" }",
        "\"1-5\"    = { access = \"office\" }\n\"6\" = { pvid = 90, untagged = [\"office\"], accept = \"untagged\" }",
    );
    // What is plugged in at core 6 is on management when it sends, and hears the office.
    assert_eq!(counterexample(&edited), ("office".to_owned(), vec![]));
    assert_eq!(
        remedy(&edited),
        ["core:6: untagged frames take VLAN 90 (management)"]
    );
}

#[test]
fn one_tagged_vlan_too_many() {
    let edited = edited(
        "\"17-18\"  = { access = \"cameras\" }",
        "\"17-18\"  = { untagged = \"cameras\", tagged = [\"management\"] }",
    );
    assert_eq!(counterexample(&edited), ("cameras".to_owned(), vec![90]));
    let taken_off = [
        "core:17 is in VLAN 90 (management)",
        "core:18 is in VLAN 90 (management)",
    ];
    assert_eq!(remedy(&edited), taken_off);
}

#[test]
fn a_host_on_two_segments() {
    let edited = edited(
        "port = \"core:13\"\n",
        "port = \"core:13\"\n[[hosts.console.interfaces]]\nname = \"eth1\"\naddresses = [\"10.44.30.41\"]\n\
         port = \"core:12\"\n",
    );
    assert_eq!(counterexample(&edited), ("servers".to_owned(), vec![]));
    assert_eq!(
        remedy(&edited),
        ["console has an address on management as well"]
    );
}

#[test]
fn a_moved_cable() {
    let edited = edited("port = \"core:13\"", "port = \"core:12\"");
    assert_eq!(counterexample(&edited), ("servers".to_owned(), vec![]));
    assert_eq!(remedy(&edited), ["the cable console:eth0 - core:12"]);
}

#[test]
fn an_ingress_filter_that_is_off() {
    let edited = edited(
        "\"15-16\"  = { access = \"published\" }",
        "\"15\" = { access = \"published\" }\n\"16\" = { pvid = \"published\", untagged = [\"published\"] }",
    );
    assert_eq!(counterexample(&edited), ("published".to_owned(), vec![90]));
    assert_eq!(remedy(&edited), ["core:16 does not filter on arrival"]);
}
