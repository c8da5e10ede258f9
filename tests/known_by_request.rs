//! A sender that knows its gateway only from the gateway's own requests: its packets may arrive, and need not.
//!
//! The site is one of the kernel lab's, where a real kernel delivered them (`tests/kernel_lab.rs`). RFC 826, packet
//! reception, and RFC 4861 section 7.2.3: whoever is asked notes where the asker is.

use boundwalk::analysis::intent::{IntentStatus, judge_expectations, judge_needs};
use boundwalk::analysis::probes::{Unpredictable, predict};
use boundwalk::analysis::{By, Endpoint, Extent, Matrix, Question, path, path_via};
use boundwalk::forwarding::{DeviceIndex, Doubt, Network, Outcome, Packet, Sender, Stop, trace};
use boundwalk::load::load_text;
use boundwalk::model::{Date, Family, HostId, SegmentId, Site, TCP};

const TODAY: Date = Date::constant(2026, 4, 1);

const HEAD: &str = include_str!("lab/sites/head.toml");
const SITE: &str = include_str!("lab/sites/known-by-request.toml");

const CLERK: HostId = HostId(1);

fn site(more: &str) -> Site {
    let loaded = load_text("site", &[HEAD, SITE, more].concat());
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems))
}

fn segment(site: &Site, name: &str) -> SegmentId {
    let mut all = site.segment_ids();
    all.find(|&id| site.segment(id).name.value == name)
        .expect("a segment")
}

/// From the clerk to the store, in both families.
fn packets() -> [Packet; 2] {
    let ends = [
        ["10.44.10.12", "10.44.30.11"],
        ["fd44:0:0:10::12", "fd44:0:0:30::11"],
    ];
    ends.map(|ends| {
        let [source, destination] = ends.map(|end| end.parse().expect("an address"));
        Packet {
            source,
            destination,
            protocol: TCP,
            source_port: 50_000,
            destination_port: 443,
        }
    })
}

#[test]
fn one_way_stops_and_the_other_arrives_by_the_guests_rule() {
    let site = site("");
    let network = Network::new(&site, TODAY);
    let office = segment(&site, "office");
    for packet in packets() {
        for sender in [Sender::Host(CLERK), Sender::Segment(office)] {
            let ways = trace(&network, sender, &packet);
            let of_clerk: Vec<_> = ways
                .iter()
                .filter(|way| way.host.is_some() || matches!(sender, Sender::Segment(_)))
                .collect();
            let stopped = of_clerk.iter().any(|way| {
                way.doubts.is_empty()
                    && matches!(
                        way.outcome,
                        Outcome::Stopped(Stop::NextHopSilent | Stop::NoFirstHop)
                    )
            });
            let arrived = of_clerk.iter().find(|way| way.doubts == [Doubt::Request]);
            let arrived = arrived.expect("a way that depends on a request");
            assert!(stopped, "{ways:#?}");
            assert!(matches!(arrived.outcome, Outcome::Delivered(_)));
            let guest = segment(&site, "guest");
            let step = arrived.steps.iter().find(|step| step.decision.is_some());
            let step = step.expect("the gateway decides");
            let interface = &site.routers[0].interfaces[step.ingress.expect("it arrives")];
            assert_eq!(interface.segment, guest);
            assert!(!arrived.reply.as_ref().expect("delivered").two_way());
        }
    }
}

#[test]
fn the_matrix_says_that_something_passes_and_not_that_all_does() {
    let site = site("");
    let network = Network::new(&site, TODAY);
    for family in Family::ALL {
        let question = Question::all(By::Segment, family, false);
        let matrix = Matrix::new(&network, &question, &mut |_, _| {});
        let at = |parties: &[Endpoint], name| {
            let wanted = Endpoint::Segment(segment(&site, name));
            parties
                .iter()
                .position(|&one| one == wanted)
                .expect("asked")
        };
        let cell = &matrix.cells[at(&matrix.rows, "office")][at(&matrix.columns, "servers")];
        assert!(!cell.some.is_empty());
        assert!(cell.every.is_empty());
        // Messages that expect no answer count as answered; of the rest nothing is.
        assert_eq!(cell.two_way, Extent::Some);
        // Nothing permits guests or office there.
        let cell = &matrix.cells[at(&matrix.rows, "office")][at(&matrix.columns, "guest")];
        assert!(cell.closed());
    }
}

#[test]
fn what_denies_it_is_broken_and_what_demands_it_is_not_met() {
    let line = |name: &str, demand: &str| {
        format!(
            "[[expectations]]\nname = \"{name}\"\nfrom = \"office\"\nto = \"servers\"\n{demand}\n"
        )
    };
    let more = [
        line("nothing", "permit = \"nothing\""),
        line("at most", "permit = \"at-most\"\nservices = [\"udp/53\"]"),
        line("at least", "permit = \"at-least\"\nservices = [\"tcp/443\"]"),
        line("through", "through = \"edge\""),
        "[[needs]]\nfrom = \"office\"\nto = \"servers\"\nservices = [\"tcp/443\"]\nreason = \"files\"\n"
            .to_owned(),
    ];
    let site = site(&more.concat());
    let network = Network::new(&site, TODAY);
    let judged = judge_expectations(&network);
    let broken = |name: &str| {
        let line = judged
            .iter()
            .find(|one| one.expectation.name.value == name)
            .expect("a line");
        matches!(line.status, IntentStatus::Broken(_))
    };
    assert!(broken("nothing") && broken("at most") && broken("at least"));
    assert!(!broken("through"));
    let needs = judge_needs(&network);
    assert!(matches!(needs[0].status, IntentStatus::Broken(_)));
}

#[test]
fn a_test_plan_does_not_foresee_it() {
    let site = site("");
    let network = Network::new(&site, TODAY);
    for packet in packets() {
        let predicted = predict(&network, None, &packet);
        assert_eq!(predicted.err(), Some(Unpredictable::DependsOnRequest));
    }
}

#[test]
fn the_gateway_as_a_chosen_next_hop_may_take_it() {
    let site = site("");
    let network = Network::new(&site, TODAY);
    for packet in packets() {
        let by_edge = path_via(&network, None, &packet, Some(DeviceIndex(0)));
        let by_edge = by_edge.expect("it may be handed over");
        assert!(
            by_edge
                .traces
                .iter()
                .all(|way| way.doubts == [Doubt::Request])
        );
        let plain = path(&network, None, &packet).expect("a path");
        assert_eq!(plain.traces.len(), 2);
    }
}

#[test]
fn two_ports_of_a_gateway_have_addresses_of_their_own_and_nothing_is_learned() {
    let apart = SITE.replace(
        "[gateways.edge.interfaces.office]\nsegment = \"office\"\nport = \"trunk\"",
        "[gateways.edge.interfaces.office]\nsegment = \"office\"\nport = \"second\"",
    );
    let apart = apart.replace("8 = {", "9 = { tagged = [\"office\"] }\n8 = {")
        + "[[links]]\nends = [\"bar:9\", \"edge:second\"]\n";
    assert_ne!(apart, SITE);
    let loaded = load_text("site", &[HEAD, &apart].concat());
    let site = loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems));
    let network = Network::new(&site, TODAY);
    for packet in packets() {
        let ways = trace(&network, Sender::Host(CLERK), &packet);
        assert!(
            ways.iter()
                .all(|way| matches!(way.outcome, Outcome::Stopped(_)))
        );
    }
}

/// Two hosts whose frames reach the same, of which the first does not hear the gateway's requests: what the one finds on
/// its wire is not what the other does.
#[test]
fn what_a_neighbour_does_not_hear_is_not_taken_from_who_hears_it() {
    let text = SITE.replace(
        "2 = { pvid = 20, untagged = [10], ingress_filter = false }",
        "2 = { pvid = 20, untagged = [10, 20], ingress_filter = false }\n4 = { access = \"guest\" }",
    );
    // By a LAG that the switch does not form, the gateway's frames come back to it: all that they reach, itself too, reach
    // the same.
    let text = text.replace(
        "8 = { tagged = [\"office\", \"guest\", \"servers\"] }",
        "8 = { tagged = [\"office\", \"guest\", \"servers\"] }\n\
         9 = { tagged = [\"office\", \"guest\", \"servers\"] }",
    );
    let text = text.replace(
        "[[links]]\nends = [\"bar:8\", \"edge:trunk\"]\n",
        "[gateways.edge.lags.trunk]\nports = [\"1\", \"2\"]\nlacp = \"active\"\n\
         [[links]]\nends = [\"bar:8\", \"edge:1\"]\n[[links]]\nends = [\"bar:9\", \"edge:2\"]\n",
    );
    assert!(text.contains("edge:2"));
    let deaf = "[hosts.deaf]\n[[hosts.deaf.interfaces]]\nport = \"bar:4\"\nsegment = \"office\"\n\
                addresses = [\"10.44.10.14\", \"fd44:0:0:10::14\"]\n";
    let text = text.replace("[hosts.store]", &format!("{deaf}[hosts.store]"));
    let loaded = load_text("site", &[HEAD, &text].concat());
    let site = loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}", loaded.problems));
    let network = Network::new(&site, TODAY);
    let learns = |name: &str, packet: &Packet| {
        let mut hosts = site.hosts.iter();
        let host = hosts.position(|host| host.name.value == name);
        let sender = Sender::Host(HostId(host.expect("a host")));
        let ways = trace(&network, sender, packet);
        ways.iter().any(|way| way.doubts == [Doubt::Request])
    };
    // For an IPv4 address any interface of the gateway answers: nothing is left to learn.
    let [_, packet] = packets();
    assert!(learns("clerk", &packet));
    assert!(!learns("deaf", &packet));
}
