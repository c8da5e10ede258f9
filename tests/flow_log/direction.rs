//! Who started a flow.

use super::support::{HEADING, only, read, shown, try_read};
use boundwalk::load::FlowOptions;
use boundwalk::model::{Service, TCP};
use boundwalk::packet::IntervalSet;

/// Ports, direction and protocol of a record from A to B; whether it is turned round, and the port of the flow.
#[test]
fn ports_and_direction_decide() {
    for (protocol, source, destination, direction, turned, service) in [
        // Below 1,024 against above.
        (6, 445, 50111, "", true, "tcp/445"),
        (6, 50111, 445, "", false, "tcp/445"),
        (17, 53, 40000, "", true, "udp/53"),
        // One of a built-in service; of the other protocol only.
        (6, 3389, 50111, "", true, "tcp/3389"),
        (6, 1023, 3389, "", false, "tcp/3389"),
        // Both or none known: nothing can be said.
        (17, 123, 123, "", false, "udp/123"),
        (6, 50111, 50222, "", false, "tcp/50222"),
        (6, 0, 50222, "", false, "tcp/50222"),
        // RFC 5103: who started it is stated, against what the ports look like.
        (6, 445, 50111, "1", false, "tcp/50111"),
        (6, 50111, 445, "2", true, "tcp/50111"),
        // Arbitrary, or by a perimeter: the ports decide.
        (6, 445, 50111, "0", true, "tcp/445"),
        (6, 445, 50111, "3", true, "tcp/445"),
        (6, 50111, 445, "0", false, "tcp/445"),
        (6, 50111, 445, "3", false, "tcp/445"),
        // Protocols without ports only turn where that is stated.
        (47, 445, 50111, "", false, "gre"),
        (47, 0, 0, "2", true, "gre"),
    ] {
        let (a, b) = ("10.44.10.31", "10.44.30.10");
        let text = format!(
            "{HEADING},biflowDirection\n{a},{b},{protocol},{source},{destination},{direction}\n"
        );
        let (from, to) = if turned { (b, a) } else { (a, b) };
        assert_eq!(
            only(&text),
            format!("{from} > {to} {service} x1 0p 0o"),
            "{text}"
        );
        assert_eq!(read(&text).turned, u64::from(turned));
    }
}

#[test]
fn a_request_and_its_reply_are_one_flow() {
    let text = format!(
        "{HEADING},packetDeltaCount,octetDeltaCount\n\
        10.44.10.31,10.44.30.10,6,50111,445,10,1000\n\
        10.44.30.10,10.44.10.31,6,445,50111,20,2000\n"
    );
    let log = read(&text);
    assert_eq!(
        shown(&log),
        ["10.44.10.31 > 10.44.30.10 tcp/445 x2 30p 3000o"]
    );
    assert_eq!((log.records, log.turned), (2, 1));
}

#[test]
fn records_stay_as_they_are_on_request() {
    let text = format!(
        "{HEADING},biflowDirection\n\
        10.44.30.10,10.44.10.31,6,445,50111,2\n\
        10.44.30.10,10.44.10.31,1,,0,\n"
    );
    let options = FlowOptions {
        keep_direction: true,
        ..FlowOptions::default()
    };
    let log = try_read(&text, options).expect("a readable log");
    assert_eq!(
        shown(&log),
        [
            "10.44.30.10 > 10.44.10.31 tcp/50111 x1 0p 0o",
            "10.44.30.10 > 10.44.10.31 icmp/0.0 x1 0p 0o"
        ]
    );
    assert_eq!(log.turned, 0);
}

/// Types of RFC 792 and RFC 4443.
#[test]
fn echo_replies_become_requests_and_other_messages_stay() {
    for (protocol, value, turned, service) in [
        (1, 0, true, "icmp/8.0"),
        (1, 8 << 8, false, "icmp/8.0"),
        (1, 3 << 8 | 4, false, "icmp/3.4"),
        (1, 11 << 8, false, "icmp/11.0"),
        (1, 14 << 8, false, "icmp/14.0"),
        (58, 129 << 8, true, "icmpv6/128.0"),
        (58, 128 << 8, false, "icmpv6/128.0"),
        (58, 2 << 8, false, "icmpv6/2.0"),
    ] {
        let (a, b) = match protocol {
            1 => ("10.44.10.31", "10.44.30.10"),
            _ => ("fd44:0:0:10::31", "fd44:0:0:30::10"),
        };
        let text = format!(
            "sourceIPv6Address,destinationIPv6Address,protocolIdentifier,destinationTransportPort,biflowDirection\n\
            {a},{b},{protocol},{value},1\n"
        );
        let (from, to) = if turned { (b, a) } else { (a, b) };
        assert_eq!(only(&text), format!("{from} > {to} {service} x1 0p 0o"));
    }
}

/// Nothing known on either side: the records of both directions tell, in whatever order they stand.
#[test]
fn both_directions_tell_who_started() {
    let (a, b) = ("10.44.10.31", "10.44.30.10");
    // Ports of A and of B, start of A's and of B's record, and which record goes first in time or by its port.
    for (from, to, starts, service, by_a) in [
        (50111, 8090, [None, None], 8090, true),
        (8090, 50111, [None, None], 8090, false),
        // An older record weighs more than a lower port.
        (8090, 50111, [Some(5), Some(9)], 50111, true),
        (50111, 8090, [Some(9), Some(5)], 50111, false),
        (50111, 8090, [Some(5), Some(5)], 8090, true),
        // Two services.
        (53, 123, [Some(1), Some(2)], 123, true),
    ] {
        let row = |from, to, source, target, start: Option<u64>| {
            let start = start.map_or(String::new(), |start| start.to_string());
            format!("{from},{to},17,{source},{target},{start},{start}\n")
        };
        let rows = [
            row(a, b, from, to, starts[0]),
            row(b, a, to, from, starts[1]),
            row(a, b, from, to, starts[0]),
        ];
        for order in [[0, 1, 2], [1, 0, 2], [2, 0, 1]] {
            let rows = order.map(|at| rows[at].as_str()).concat();
            let text = format!("{HEADING},flowStartMilliseconds,flowEndMilliseconds\n{rows}");
            let log = read(&text);
            let (one, other) = if by_a { (a, b) } else { (b, a) };
            let expected = format!("{one} > {other} udp/{service} x3 ");
            let shown = shown(&log);
            assert!(
                shown.len() == 1 && shown[0].starts_with(&expected),
                "{expected}: {shown:?}\n{text}"
            );
            assert_eq!((log.records, log.turned), (3, if by_a { 1 } else { 2 }));
        }
    }
}

/// Two that are alike, as those of time servers, and one without the other.
#[test]
fn where_nothing_tells_records_stay() {
    let text = format!(
        "{HEADING}\n10.44.10.31,10.44.30.10,17,123,123\n10.44.30.10,10.44.10.31,17,123,123\n\
         10.44.10.31,10.44.30.11,17,50111,50222\n"
    );
    let log = read(&text);
    assert_eq!((log.flows.len(), log.turned), (3, 0), "{:?}", shown(&log));
}

/// The site's own service counts as known.
#[test]
fn who_sends_from_a_port_of_the_site_answers() {
    let services = vec![Service::Ports {
        protocol: TCP,
        source: IntervalSet::range(0, 65_535),
        destination: IntervalSet::point(8090),
    }];
    let text = format!("{HEADING}\n10.44.30.10,10.44.10.31,6,8090,50111\n");
    let options = FlowOptions {
        services,
        ..FlowOptions::default()
    };
    let log = try_read(&text, options).expect("a readable log");
    assert_eq!(shown(&log), ["10.44.10.31 > 10.44.30.10 tcp/8090 x1 0p 0o"]);
    assert_eq!(read(&text).turned, 0);
}
