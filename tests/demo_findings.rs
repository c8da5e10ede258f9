//! What the checks find in the demo site, against a list that somebody wrote by reading the file.

use std::path::Path;

use boundwalk::checks::run;
use boundwalk::diagnostic::{Finding, Sources};
use boundwalk::forwarding::Network;
use boundwalk::load::load_path;
use boundwalk::model::Date;

/// Check, a word of the line that the finding points at, and whom it speaks of.
type Row = (&'static str, &'static str, &'static [&'static str]);

/// Read off `policies/kettle-lane/site.toml`, by check.
const EXPECTED: &[Row] = &[
    // `icmpv6-needed` there leaves out type 4, codes 1 and 2. Who talks IPv6 to whom:
    (
        "icmpv6-needed-denied",
        "everything else",
        &[
            "office -> internet",
            "office -> servers",
            "office -> published",
            "office -> brewhouse",
            "guest -> internet",
            "guest -> office",
            "guest -> servers",
            "guest -> published",
            "guest -> brewhouse",
            // The jump host goes everywhere.
            "servers -> office",
            "servers -> guest",
            "servers -> published",
            "servers -> brewhouse",
            "published -> internet",
            "published -> servers",
            "brewhouse -> servers",
            "internet -> published",
        ],
    ),
    (
        "expectation-broken",
        "guests see the internet only",
        &["guests see the internet only"],
    ),
    // "business on the web" names the zone, and the cameras are in it.
    (
        "expectation-broken",
        "cameras never to the internet",
        &["cameras never to the internet"],
    ),
    ("ingress-filter-off", "\"6\"   =", &["taproom:6"]),
    // `private` is IPv4; "guests on the web" names no target.
    (
        "ipv6-uncovered",
        "guests stay out of the house",
        &[
            "guest -> office",
            "guest -> servers",
            "guest -> published",
            "guest -> brewhouse",
        ],
    ),
    ("isolated-vlan-on-trunk", "\"25\"", &["core:25"]),
    ("isolated-vlan-on-trunk", "\"26\"", &["core:26"]),
    ("isolated-vlan-on-trunk", "\"6\"   =", &["taproom:6"]),
    ("source-check-off", "interfaces.cameras", &["edge:cameras"]),
    ("trunk-vlan-one-end", "\"25\"", &["core:25"]),
    // Management goes to switches that have no device in it; cameras to the brewhouse, where none is.
    ("trunk-vlan-unused", "\"25\"", &["core:25"]),
    ("trunk-vlan-unused", "\"26\"", &["core:26"]),
    ("trunk-vlan-unused", "\"6\"   =", &["taproom:6"]),
    // The servers leave untagged towards the gateway.
    ("two-tag-hop", "\"uplink\"", &["core:uplink"]),
    (
        "unused-port-live",
        "\"1-6\"",
        &["core:4", "core:5", "core:6"],
    ),
    ("unused-port-live", "\"7-12\"", &["core:12"]),
    ("unused-port-live", "\"13-14\"", &["core:14"]),
    ("unused-port-live", "\"17-18\"", &["core:18"]),
    ("unused-port-live", "\"1-3\"", &["taproom:3"]),
];

/// What is the matter with rules: check and name of the rule, read off the file. `web` there has port 80 and
/// `copying` the unencrypted form; `pictures` names ports of TCP and of UDP.
const RULES: &[(&str, &str)] = &[
    ("clear-text-across-zones", "guests on the web"),
    ("clear-text-across-zones", "business on the web"),
    ("clear-text-across-zones", "shift report: mash side"),
    ("clear-text-across-zones", "shift report: cellar side"),
    ("clear-text-across-zones", "brewmaster loads recipes"),
    ("clear-text-across-zones", "cold store loggers report"),
    ("clear-text-across-zones", "nightly backup"),
    ("deny-unlogged", "everything else"),
    ("management-exposed", "gateway administration"),
    ("permit-any-destination", "guests on the web"),
    ("permit-any-destination", "IT reaches everything"),
    ("permit-any-service", "IT reaches everything"),
    ("permit-unlogged", "guests on the web"),
    ("permit-upward", "guests on the web"),
    ("permit-upward", "IT reaches everything"),
    ("ports-wide", "recorder fetches pictures"),
    ("ports-wide", "recorder fetches pictures"),
    ("reason-missing", "brewhouse prints"),
    ("review-overdue", "tills to the payment processor"),
    ("review-overdue", "labels from the label server"),
    ("review-overdue", "brewhouse prints"),
    ("rule-dead", "office printer stays at home"),
    ("rule-expired", "bottling line vendor"),
    ("rule-irrelevant", "labels from the label server"),
    ("rule-redundant", "point of sale: nothing else"),
    ("rule-redundant", "accounts"),
    ("rule-repeated", "servers fetch updates"),
    ("rule-repeated", "brewmaster tunes the controllers"),
    // Needs take recordings and a range of 100 ports; remote hands need two services on three segments.
    ("permit-exceeds-needs", "recorder fetches pictures"),
    ("permit-exceeds-needs", "IT reaches everything"),
];

fn line<'s>(sources: &'s Sources, finding: &Finding) -> &'s str {
    let span = finding.span.expect("a place");
    let source = sources.get(span.file).expect("a file of the demo");
    let number = sources.line(span) as usize;
    source.text().lines().nth(number - 1).expect("a line")
}

fn row(sources: &Sources, finding: &Finding) -> String {
    format!(
        "{} at {}: {}",
        finding.check.name,
        line(sources, finding),
        finding.message
    )
}

#[test]
fn the_demo_has_the_findings_that_were_read_off_it_and_no_others() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane");
    let loaded = load_path(&folder);
    let site = loaded.site.expect("the demo loads");
    let network = Network::new(&site, Date::constant(2026, 11, 25));
    let found = run(&network);
    let mut left: Vec<&Finding> = found.iter().collect();
    let mut missing = Vec::new();
    for (check, place, subjects) in EXPECTED {
        let fits = |finding: &&Finding| {
            let mut own: Vec<&str> = finding.subjects.iter().map(String::as_str).collect();
            let mut expected = subjects.to_vec();
            own.sort_unstable();
            expected.sort_unstable();
            finding.check.name == *check
                && line(&loaded.sources, finding).contains(place)
                && own == expected
        };
        match left.iter().position(fits) {
            Some(at) => {
                left.remove(at);
            }
            None => missing.push((check, place, subjects)),
        }
    }
    for (check, rule) in RULES {
        let subject = format!("edge \"{rule}\"");
        let fits = |finding: &&Finding| {
            finding.check.name == *check
                && line(&loaded.sources, finding) == format!("name = \"{rule}\"")
                && finding.subjects == [subject.as_str()]
        };
        let at = left.iter().position(fits);
        let at = at.unwrap_or_else(|| panic!("{check} finds nothing at \"{rule}\""));
        left.remove(at);
    }
    let left: Vec<String> = left
        .iter()
        .map(|finding| format!("{} {:?}", row(&loaded.sources, finding), finding.subjects))
        .collect();
    assert!(
        missing.is_empty() && left.is_empty(),
        "missing {missing:#?}\nnot expected {left:#?}"
    );
}
