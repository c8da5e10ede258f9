//! Faulty and doubled networks by hand: they load, and answers hold for whatever happens in them.

use boundwalk::analysis::intent::{IntentStatus, judge_expectations, judge_needs};
use boundwalk::checks::run;
use boundwalk::forwarding::{Doubt, Network, Outcome, Packet, Sender, trace};
use boundwalk::load::load_text;
use boundwalk::model::{Date, SegmentId, Site, TCP};

const TODAY: Date = Date::constant(2026, 11, 25);

const CLUSTER: &str = include_str!("cases/cluster.toml");

/// From the office by a router to the servers; a backup route of it leads by a gateway that denies.
const BACKUP: &str = r#"
[zones.inside]
trust = 50
[segments.office]
zone = "inside"
prefixes = ["10.44.10.0/24"]
[segments.transit]
zone = "inside"
prefixes = ["10.44.0.0/29"]
[segments.servers]
zone = "inside"
prefixes = ["10.44.30.0/24"]
[routers.core.interfaces.office]
segment = "office"
addresses = ["10.44.10.1/24"]
[routers.core.interfaces.transit]
segment = "transit"
addresses = ["10.44.0.1/29"]
[[routers.core.routes]]
to = "10.44.30.0/24"
via = "10.44.0.2"
PREFERENCE
[[routers.core.routes]]
to = "10.44.30.0/24"
via = "10.44.0.3"
preference = 10
[gateways.open]
default = "permit"
[gateways.open.interfaces.transit]
segment = "transit"
addresses = ["10.44.0.2/29"]
[gateways.open.interfaces.servers]
segment = "servers"
addresses = ["10.44.30.1/24"]
[gateways.closed]
default = "deny"
[gateways.closed.interfaces.transit]
segment = "transit"
addresses = ["10.44.0.3/29"]
[gateways.closed.interfaces.servers]
segment = "servers"
addresses = ["10.44.30.2/24"]
[[needs]]
from = "office"
to = "servers"
services = ["tcp/443"]
reason = "files"
[[expectations]]
name = "nothing"
from = "office"
to = "servers"
permit = "nothing"
"#;

fn site(text: &str) -> Site {
    let loaded = load_text("site", text);
    loaded
        .site
        .unwrap_or_else(|| panic!("{:#?}\n{text}", loaded.problems))
}

fn needs(site: &Site) -> Vec<bool> {
    let network = Network::new(site, TODAY);
    judge_needs(&network)
        .into_iter()
        .map(|need| matches!(need.status, IntentStatus::Held))
        .collect()
}

fn nothing_held(site: &Site) -> bool {
    let network = Network::new(site, TODAY);
    let judged = judge_expectations(&network);
    matches!(judged[0].status, IntentStatus::Held)
}

fn found(site: &Site, check: &str) -> usize {
    let network = Network::new(site, TODAY);
    let findings = run(&network);
    findings
        .iter()
        .filter(|finding| finding.check.name == check)
        .count()
}

#[test]
fn a_need_is_met_where_each_gateway_of_a_cluster_lets_it_pass() {
    let cluster = site(CLUSTER);
    assert_eq!(needs(&cluster), [true, false]);
    assert_eq!(found(&cluster, "address-twice"), 0);
    // The same by mistake means the same, and is a finding.
    let mistake = site(
        &CLUSTER
            .replace("shared_addresses = [", "addresses = [")
            .replace("addresses = [\"10.44.10.2/24\"]\n", "")
            .replace("addresses = [\"10.44.30.2/24\"]\n", "")
            .replace("addresses = [\"10.44.10.3/24\"]\n", "")
            .replace("addresses = [\"10.44.30.3/24\"]\n", ""),
    );
    assert_eq!(needs(&mistake), [true, false]);
    assert_eq!(found(&mistake, "address-twice"), 2);
}

#[test]
fn what_one_gateway_of_a_cluster_lets_pass_passes() {
    let line = "[[expectations]]\nname = \"nothing\"\nfrom = \"office\"\nto = \"servers\"\nservices = [\"tcp/22\"]\npermit = \"nothing\"\n";
    let cluster = site(&format!("{CLUSTER}{line}"));
    assert!(!nothing_held(&cluster));
    let network = Network::new(&cluster, TODAY);
    let [source, destination] =
        ["10.44.10.7", "10.44.30.7"].map(|text| text.parse().expect("an address"));
    let packet = Packet {
        source,
        destination,
        protocol: TCP,
        source_port: 50_000,
        destination_port: 22,
    };
    let ways = trace(&network, Sender::Segment(SegmentId(0)), &packet);
    let doubts = ways.iter().map(|way| way.doubts.as_slice());
    assert_eq!(doubts.collect::<Vec<_>>(), [[Doubt::SharedAddress]; 2]);
    let delivered =
        |way: &&boundwalk::forwarding::Trace| matches!(way.outcome, Outcome::Delivered(_));
    assert_eq!(ways.iter().filter(delivered).count(), 1);
}

#[test]
fn what_must_pass_does_not_rest_on_a_backup_route_and_what_may_does() {
    // The better route is open: the need is met, whatever the backup does.
    let usual = site(&BACKUP.replace("PREFERENCE", "preference = 1"));
    assert_eq!(needs(&usual), [true]);
    assert!(!nothing_held(&usual));
    // The better one is closed: by the backup something may pass, and nothing surely does.
    let closed = site(&BACKUP.replace("PREFERENCE", "preference = 20"));
    assert_eq!(needs(&closed), [false]);
    assert!(!nothing_held(&closed));
    // Neither is better: what must pass must do so by both.
    let equal = site(&BACKUP.replace("PREFERENCE", "preference = 10"));
    assert_eq!(needs(&equal), [false]);
    assert!(!nothing_held(&equal));
}

#[test]
fn a_gateway_that_nobody_is_lets_nothing_surely_pass_and_something_perhaps() {
    let text = BACKUP.replace("PREFERENCE", "preference = 1");
    let text = text.replacen(
        "prefixes = [\"10.44.10.0/24\"]",
        "prefixes = [\"10.44.10.0/24\"]\ndefault_gateway = [\"10.44.10.254\"]",
        1,
    );
    let unknown = site(&text);
    assert_eq!(found(&unknown, "default-gateway-unknown"), 1);
    assert_eq!(needs(&unknown), [false]);
    assert!(!nothing_held(&unknown));
}

#[test]
fn prefixes_that_overlap_load_and_are_found() {
    let text = BACKUP.replace("PREFERENCE", "preference = 1");
    let text = text.replacen(
        "\"10.44.30.0/24\"]",
        "\"10.44.30.0/24\", \"10.44.10.128/25\"]",
        1,
    );
    let overlapping = site(&text);
    assert_eq!(found(&overlapping, "prefixes-overlap"), 1);
    // Office devices look for the upper half on their own wire, or send it to the router.
    assert_eq!(needs(&overlapping), [false]);
    assert!(!nothing_held(&overlapping));
}

/// Two versions are prepared together: rules of the one must not upset what is found in the other.
#[test]
fn findings_of_two_versions_are_those_of_each_alone() {
    let old = site(&BACKUP.replace("PREFERENCE", "preference = 1"));
    let new = site(CLUSTER);
    let messages = |network: &Network<'_>| -> Vec<String> {
        run(network)
            .into_iter()
            .map(|finding| finding.message)
            .collect()
    };
    let together = Network::versions(&old, &new, TODAY);
    for (network, site) in together.iter().zip([&old, &new]) {
        assert_eq!(messages(network), messages(&Network::new(site, TODAY)));
    }
}
