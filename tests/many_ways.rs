//! Packets that may take very many ways: what a set of devices comes to does not depend on their order, and past a limit
//! the answer is unknown in every form.

use std::collections::BTreeSet;

use boundwalk::analysis::{By, HostileReach, Matrix, Question};
use boundwalk::forwarding::{
    Arrival, Limit, Network, Outcome, Packet, Place, Sender, Target, WalkCoverage, reach, trace,
};
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, SegmentId, Site, TCP};

const TODAY: Date = Date::constant(2026, 11, 29);

/// The brewhouse, in which `count` controllers forward for each other, and the cold store, to which the last one leads.
fn site(count: usize) -> Site {
    let gateways: Vec<String> = (1..=count).map(|n| format!("\"10.44.60.{n}\"")).collect();
    let mut text = format!(
        "[zones.works]\ntrust = 60\n[segments.brewhouse]\nzone = \"works\"\nprefixes = [\"10.44.60.0/24\"]\n\
         default_gateway = [{}]\n[segments.coldstore]\nzone = \"works\"\nprefixes = [\"10.44.70.0/24\"]\n",
        gateways.join(", ")
    );
    for n in 1..=count {
        text.push_str(&format!(
            "[hosts.plc{n}]\nforwards = \"routes\"\n[[hosts.plc{n}.interfaces]]\nname = \"lan\"\n\
             segment = \"brewhouse\"\naddresses = [\"10.44.60.{n}\"]\n"
        ));
    }
    text.push_str(&format!(
        "[[hosts.plc{count}.interfaces]]\nname = \"cold\"\nsegment = \"coldstore\"\naddresses = [\"10.44.70.1\"]\n"
    ));
    let loaded = load_text("site.toml", &text);
    let problems = format!("{:#?}", loaded.problems);
    loaded.site.expect(&problems)
}

/// How many sets of devices a packet may cross, by walking through all orders of them.
fn sets_by_orders(count: usize) -> BTreeSet<BTreeSet<usize>> {
    fn on(
        at: usize,
        count: usize,
        crossed: &BTreeSet<usize>,
        found: &mut BTreeSet<BTreeSet<usize>>,
    ) {
        let mut crossed = crossed.clone();
        if !crossed.insert(at) {
            return;
        }
        if at == count {
            found.insert(crossed);
            return;
        }
        (1..=count).for_each(|next| on(next, count, &crossed, found));
    }
    let mut found = BTreeSet::new();
    (1..=count).for_each(|first| on(first, count, &BTreeSet::new(), &mut found));
    found
}

fn crossed_sets(site: &Site, network: &Network<'_>) -> (BTreeSet<BTreeSet<usize>>, WalkCoverage) {
    let plan = network.plan(Family::V4);
    let target = Target {
        addresses: &plan.segment(SegmentId(1)).addresses,
        segment: Some(SegmentId(1)),
        services: None,
    };
    let mut found = BTreeSet::new();
    let sender = Sender::Segment(SegmentId(0));
    let coverage = reach(network, plan, sender, target, &mut |arrival| {
        if let Arrival::Delivered(Place::Segment(SegmentId(1)), flow) = arrival
            && flow.host.is_none()
        {
            let hops = flow.hops.iter();
            found.insert(
                hops.map(|hop| hop.device.0 - site.routers.len() + 1)
                    .collect(),
            );
        }
    });
    (found, coverage)
}

#[test]
fn every_set_of_devices_is_crossed_once_whatever_the_order() {
    for count in [2, 5, 7] {
        let site = site(count);
        let network = Network::new(&site, TODAY);
        let (found, coverage) = crossed_sets(&site, &network);
        assert!(coverage.is_complete());
        assert_eq!(found, sets_by_orders(count), "{count}");
        assert_eq!(found.len(), 1 << (count - 1));
    }
}

/// Ten devices are 10! orders; that is answered, and exactly.
#[test]
fn ten_devices_that_forward_for_each_other_are_answered() {
    let site = site(10);
    let network = Network::new(&site, TODAY);
    let (found, coverage) = crossed_sets(&site, &network);
    assert_eq!((found.len(), coverage), (1 << 9, WalkCoverage::Complete));
    let packet = Packet {
        source: "10.44.60.99".parse().expect("an address"),
        destination: "10.44.70.9".parse().expect("an address"),
        protocol: TCP,
        source_port: 49_152,
        destination_port: 443,
    };
    let traces = trace(&network, Sender::Segment(SegmentId(0)), &packet);
    let arrives = |outcome: &Outcome| *outcome == Outcome::Delivered(Place::Segment(SegmentId(1)));
    assert!(traces.iter().any(|trace| arrives(&trace.outcome)));
    assert!(traces.len() < 20_000, "{}", traces.len());
}

#[test]
fn past_the_limit_the_answer_is_unknown() {
    let site = site(10);
    let network = Network::new(&site, TODAY).limited_to(300);
    let (found, coverage) = crossed_sets(&site, &network);
    assert_eq!(coverage, WalkCoverage::Cut(Limit::Visits(300)));
    assert!(found.len() < 1 << 9);
    let matrix = Matrix::new(
        &network,
        &Question::all(By::Segment, Family::V4, true),
        &mut |_, _| {},
    );
    let cell = &matrix.cells[0][1];
    assert!(!cell.complete());
    assert!(matches!(
        cell.hostile,
        HostileReach::Unknown | HostileReach::Larger(_)
    ));
}
