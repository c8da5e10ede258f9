//! Connection tables.

use super::support::{bad, only, read, shown};

const TABLE: &str = include_str!("../data/connections.txt");

/// The first half of a line is the starting side, before translation; counters of both halves are added up.
const FLOWS: [&str; 4] = [
    "10.44.10.31 > 10.44.30.10 icmp/8.0 x1 2p 168o",
    "10.44.10.101 > 10.44.30.2 udp/53 x1 1p 29o",
    "192.0.2.33 > 203.0.113.3 tcp/443 x1 5p 277o",
    "fd44:0:0:60::20 > fd44:0:0:30::2 udp/123 x1 1p 49o",
];

#[test]
fn a_table_as_printed() {
    let log = read(TABLE);
    assert_eq!(shown(&log), FLOWS);
    assert_eq!(
        (log.lines, log.records, log.malformed, log.turned),
        (4, 4, 0, 0)
    );
}

/// As `-o extended` and the table under `/proc` have it: the network protocol in front.
#[test]
fn the_network_protocol_in_front_changes_nothing() {
    let prefixed = TABLE.lines().map(|line| {
        let family = if line.contains("src=fd44") {
            "ipv6     10 "
        } else {
            "ipv4     2 "
        };
        format!("{family}{}\n", line.replace(" mark=0", " mark=0 zone=0"))
    });
    assert_eq!(shown(&read(prefixed.collect::<String>())), FLOWS);
}

#[test]
fn the_last_sentence_and_marks_change_nothing() {
    let sentence = " conntrack v1.4.7 (conntrack-tools): 4 flow entries have been shown.\n";
    for text in [format!("{TABLE}{sentence}"), format!("{sentence}{TABLE}")] {
        let log = read(text);
        assert_eq!(shown(&log), FLOWS);
        assert_eq!((log.lines, log.records, log.malformed), (5, 4, 0));
    }
}

/// Without counters, and with words that other kernels and options add.
#[test]
fn lines_of_other_protocols_and_without_counters() {
    for (line, flow) in [
        (
            "tcp 6 119 SYN_SENT src=10.44.10.31 dst=10.44.30.10 sport=50111 dport=445 [UNREPLIED] src=10.44.30.10 dst=10.44.10.31 sport=445 dport=50111 mark=0 use=1",
            "10.44.10.31 > 10.44.30.10 tcp/445",
        ),
        (
            "gre      47 179 timeout=180, stream_timeout=180 src=10.44.10.31 dst=10.44.30.10 srckey=0x0 dstkey=0x1 src=10.44.30.10 dst=10.44.10.31 srckey=0x1 dstkey=0x0 use=1",
            "10.44.10.31 > 10.44.30.10 gre",
        ),
        (
            "unknown  2 599 src=10.44.10.31 dst=224.0.0.1 [UNREPLIED] src=224.0.0.1 dst=10.44.10.31 use=1",
            "10.44.10.31 > 224.0.0.1 igmp",
        ),
        (
            "icmpv6   58 29 src=fd44:0:0:10::31 dst=fd44:0:0:30::10 type=128 code=0 id=7 src=fd44:0:0:30::10 dst=fd44:0:0:10::31 type=129 code=0 id=7 use=1",
            "fd44:0:0:10::31 > fd44:0:0:30::10 icmpv6/128.0",
        ),
        (
            "udp 17 9 src=10.44.10.31 dst=10.44.30.10 sport=53 dport=50111 src=10.44.30.10 dst=10.44.10.31 sport=50111 dport=53 [ASSURED] [OFFLOAD] secctx=system_u:object_r:x delta-time=3 [start=Thu Nov 26 10:00:00 2026] use=1",
            // The table knows who started it, so its port is not looked at.
            "10.44.10.31 > 10.44.30.10 udp/50111",
        ),
    ] {
        assert_eq!(only(line), format!("{flow} x1 0p 0o"));
    }
}

#[test]
fn what_is_wrong_is_said() {
    for (line, what) in [
        ("tcp", "no protocol number in the second word"),
        (
            "tcp six 9 src=10.44.10.31 dst=10.44.30.10",
            "no protocol number in the second word",
        ),
        ("ipv4 2", "no protocol"),
        ("tcp 6 9 dst=10.44.30.10 sport=1 dport=445", "no src="),
        ("tcp 6 9 src=10.44.10.31 sport=1 dport=445", "no dst="),
        ("tcp 6 9 src=10.44.10.31 dst=10.44.30.10", "no dport="),
        (
            "tcp 6 9 src=10.44.10.31 dst=10.44.30.10 sport=1 dport=70000",
            "`dport=70000` is no number that fits",
        ),
        (
            "tcp 6 9 src=10.44.10.031 dst=10.44.30.10 sport=1 dport=445",
            "`10.44.10.031` is no address",
        ),
        (
            "tcp 6 9 src=10.44.10.31 dst=fd44::1 sport=1 dport=445",
            "addresses of two families",
        ),
        ("icmp 1 9 src=10.44.10.31 dst=10.44.30.10", "no type="),
        (
            "icmpv6 58 9 src=10.44.10.31 dst=10.44.30.10 type=128 code=0",
            "ICMP for IPv6 between IPv4 addresses",
        ),
        (
            "icmp 1 9 src=fd44::1 dst=fd44::2 type=8 code=0",
            "ICMP for IPv4 between IPv6 addresses",
        ),
        // Another output of the same program.
        (
            "-A -t 29 -u UNSET -s 10.44.10.31 -d 10.44.30.10 -p udp --sport 1 --dport 123",
            "no protocol number in the second word",
        ),
    ] {
        assert_eq!(
            bad(format!("{TABLE}{line}\n")),
            (5, what.to_owned()),
            "{line}"
        );
    }
}
