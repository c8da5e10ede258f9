//! The demo log, read by hand: what the brewery's week holds.

use std::collections::BTreeSet;

use super::support::{read, show, shown};
use boundwalk::load::load_text;

const LOG: &str = include_str!("../../policies/kettle-lane/flows.csv");
const SITE: &str = include_str!("../../policies/kettle-lane/site.toml");
/// Monday 2026-11-16 and the Monday after it, midnight UTC, in milliseconds since 1970.
const WEEK: (u64, u64) = (1_794_787_200_000, 1_795_392_000_000);

/// Rows by splitting at commas: enough for this file, which has no quotes.
fn rows() -> Vec<(u64, Vec<&'static str>)> {
    (1..)
        .zip(LOG.lines())
        .filter(|(_, line)| !line.starts_with('#') && !line.starts_with("source"))
        .map(|(number, line)| (number, line.split(',').collect()))
        .collect()
}

#[test]
fn every_line_is_a_record_but_two() {
    let log = read(LOG);
    assert_eq!(log.lines, 152);
    assert_eq!(log.records, rows().len() as u64 - 2);
    let bad: Vec<(u64, &str)> = log
        .first_malformed
        .iter()
        .map(|bad| (bad.line, bad.what.as_str()))
        .collect();
    assert_eq!(
        bad,
        [
            (41, "`10.44.30.300` is no address"),
            (91, "6 fields where the heading has 13")
        ]
    );
}

/// Source, destination, protocol and destination port of each row with the three replies turned by hand.
#[test]
fn the_flows_are_those_of_the_rows() {
    let mut expected = BTreeSet::new();
    for (number, row) in rows() {
        // The two malformed ones.
        if matches!(number, 41 | 91) {
            continue;
        }
        let [
            v4_source,
            v4_destination,
            v6_source,
            v6_destination,
            protocol,
            _,
            port,
        ] = row[..7]
        else {
            panic!("line {number} is short");
        };
        let pick = |v4: &'static str, v6: &'static str| if v4.is_empty() { v6 } else { v4 };
        let from = pick(v4_source, v6_source);
        let to = pick(v4_destination, v6_destination);
        expected.insert(match (from, to, protocol, port) {
            ("10.44.30.10", "10.44.10.31", "6", "50111") => {
                "10.44.10.31 > 10.44.30.10 tcp/445".to_owned()
            }
            ("198.51.100.17", "10.44.50.11", "6", "51020") => {
                "10.44.50.11 > 198.51.100.17 tcp/443".to_owned()
            }
            ("10.44.30.10", "10.44.10.32", "1", "") => {
                "10.44.10.32 > 10.44.30.10 icmp/8.0".to_owned()
            }
            (_, _, "1", "") => format!("{from} > {to} icmp/8.0"),
            (_, _, "6", _) => format!("{from} > {to} tcp/{port}"),
            (_, _, "17", _) => format!("{from} > {to} udp/{port}"),
            other => panic!("line {number}: {other:?}"),
        });
    }
    let log = read(LOG);
    assert_eq!(log.turned, 3);
    let names: BTreeSet<String> = log
        .flows
        .iter()
        .map(show)
        .map(|text| text.split(" x").next().unwrap_or_default().to_owned())
        .collect();
    assert_eq!(names, expected);
    assert_eq!(log.flows.len(), expected.len());
    let [pings] = shown(&log)
        .into_iter()
        .filter(|flow| flow.contains("icmp"))
        .collect::<Vec<_>>()
        .try_into()
        .expect("one flow of messages");
    // The request's 23 packets and the reply's 333.
    assert!(
        pings.starts_with("10.44.10.32 > 10.44.30.10 icmp/8.0 x2 356p 103967o"),
        "{pings}"
    );
}

#[test]
fn it_is_one_week_of_the_brewery() {
    let site = load_text("site.toml", SITE).site.expect("the demo loads");
    for flow in read(LOG).flows {
        let (first, last) = (flow.first.expect("a start"), flow.last.expect("an end"));
        assert!(
            WEEK.0 <= first && first <= last && last < WEEK.1,
            "{}",
            show(&flow)
        );
        for value in [flow.source, flow.destination] {
            let address = flow.family.address(value);
            let text = address.to_string();
            let ours = ["10.44.", "fd44:", "2001:db8:44:"];
            if ours.iter().any(|start| text.starts_with(start)) {
                let mut segments = site.segments.iter();
                let known = segments.any(|segment| {
                    let mut prefixes = segment.prefixes.iter();
                    prefixes.any(|prefix| prefix.value.contains(address))
                });
                assert!(known, "{text} is of no segment");
            }
        }
    }
}

/// The need `backup` names two servers; the log shows copies of one.
#[test]
fn the_shop_is_never_copied() {
    let copies: Vec<String> = shown(&read(LOG))
        .into_iter()
        .filter(|flow| flow.contains("10.44.30.30 >") && flow.contains("tcp/873"))
        .collect();
    assert_eq!(copies.len(), 1, "{copies:?}");
    assert!(copies[0].starts_with("10.44.30.30 > 10.44.60.20 tcp/873"));
}
