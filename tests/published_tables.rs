//! Do published filter tables come out as their sources say?
//!
//! Addresses in tables are quoted as their sources have them. Each source stands beside its table.

#[path = "support/table.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod table;

use boundwalk::forwarding::Packet;

use table::{between, check, network, packet, verdict};

/// RFC 8519 section 4.3, first example: `deny tcp 192.0.2.0/24 198.51.100.0/24`. The RFC defines no default
/// action; ours here permits, so that only a match denies.
#[test]
fn rfc_8519_section_4_3_tcp_between_two_networks() {
    let rule = r#"
[[gateways.edge.rules]]
name = "rule1"
source = ["192.0.2.0/24"]
destination = ["198.51.100.0/24"]
services = ["tcp"]
action = "deny"
"#;
    let site = between("\"192.0.2.0/23\"", "\"198.51.100.0/24\"", "permit", rule);
    check(
        &site,
        "left",
        &[
            ("tcp 192.0.2.7:40000 > 198.51.100.9:80", "deny rule1"),
            ("tcp 192.0.2.0:0 > 198.51.100.255:65535", "deny rule1"),
            ("tcp 192.0.2.255:1 > 198.51.100.0:1", "deny rule1"),
            ("udp 192.0.2.7:40000 > 198.51.100.9:80", "permit default"),
            ("tcp 192.0.3.7:40000 > 198.51.100.9:80", "permit default"),
        ],
    );
}

/// RFC 8519 section 4.3, second example: DNS over UDP to 2001:db8::/32.
#[test]
fn rfc_8519_section_4_3_dns_to_an_ipv6_network() {
    let rule = r#"
[[gateways.edge.rules]]
name = "rule1"
destination = ["2001:db8::/32"]
services = ["udp/53"]
action = "permit"
"#;
    let right = "\"2001:db8::/32\", \"2001:db9::/32\"";
    let site = between("\"fd00:0:0:1::/64\"", right, "deny", rule);
    check(
        &site,
        "left",
        &[
            (
                "udp [fd00:0:0:1::5]:4000 > [2001:db8:1::1]:53",
                "permit rule1",
            ),
            ("udp [fd00:0:0:1::5]:4000 > [2001:db8::]:53", "permit rule1"),
            (
                "udp [fd00:0:0:1::5]:4000 > [2001:db8:ffff:ffff:ffff:ffff:ffff:fff0]:53",
                "permit rule1",
            ),
            (
                "tcp [fd00:0:0:1::5]:4000 > [2001:db8:1::1]:53",
                "deny default",
            ),
            (
                "udp [fd00:0:0:1::5]:4000 > [2001:db8:1::1]:54",
                "deny default",
            ),
            (
                "udp [fd00:0:0:1::5]:4000 > [2001:db9::1]:53",
                "deny default",
            ),
        ],
    );
}

/// Which of all ports a rule of a service takes; `place` puts a port into the packet.
fn ports_taken(service: &str, place: impl Fn(&mut Packet, u16)) -> Vec<u16> {
    let rule = format!(
        "[[gateways.edge.rules]]\nname = \"rule1\"\nservices = [\"{service}\"]\naction = \"deny\"\n"
    );
    let site = between("\"192.0.2.0/24\"", "\"198.51.100.0/24\"", "permit", &rule);
    let network = network(&site);
    let mut tried = packet("tcp 192.0.2.7:40000 > 198.51.100.9:80");
    let taken = |port: &u16| {
        place(&mut tried, *port);
        verdict(&network, "left", &tried) == "deny rule1"
    };
    (0..=u16::MAX).filter(taken).collect()
}

/// RFC 8519 section 4.4, first, third and fourth example: source ports 16384 to 16387, exactly four;
/// destination port 21; destination ports other than 21, which are all but one.
#[test]
fn rfc_8519_section_4_4_ports() {
    let from = |packet: &mut Packet, port| packet.source_port = port;
    let to = |packet: &mut Packet, port| packet.destination_port = port;
    let range = ports_taken("tcp/any from 16384-16387", from);
    assert_eq!(range, [16384, 16385, 16386, 16387]);
    assert_eq!(ports_taken("tcp/21", to), [21]);
    let others = ports_taken("tcp/0-20,22-65535", to);
    assert_eq!(others.len(), 65535);
    assert!(!others.contains(&21));
}

/// RFC 8519 section 4.4, second example: ICMP type 8 code 0.
#[test]
fn rfc_8519_section_4_4_echo_requests() {
    let rule = r#"
[[gateways.edge.rules]]
name = "rule1"
services = ["icmp/8/0"]
action = "deny"
"#;
    let site = between("\"192.0.2.0/24\"", "\"198.51.100.0/24\"", "permit", rule);
    check(
        &site,
        "left",
        &[
            ("icmp 192.0.2.7 > 198.51.100.9 8/0", "deny rule1"),
            ("icmp 192.0.2.7 > 198.51.100.9 8/1", "permit default"),
            ("icmp 192.0.2.7 > 198.51.100.9 0/0", "permit default"),
            ("udp 192.0.2.7:8 > 198.51.100.9:2048", "permit default"),
        ],
    );
}

/// The textbook's table, its flag left out.
const TEXTBOOK: &str = r#"
[[gateways.edge.rules]]
name = "1"
source = ["222.22.0.0/16"]
from = ["inner"]
to = ["outer"]
services = ["tcp/80 from 1024-65535"]
action = "permit"
[[gateways.edge.rules]]
name = "2"
from = ["outer"]
to = ["inner"]
destination = ["222.22.0.0/16"]
services = ["tcp/1024-65535 from 80"]
action = "permit"
[[gateways.edge.rules]]
name = "3"
source = ["222.22.0.0/16"]
from = ["inner"]
to = ["outer"]
services = ["udp/53 from 1024-65535"]
action = "permit"
[[gateways.edge.rules]]
name = "4"
from = ["outer"]
to = ["inner"]
destination = ["222.22.0.0/16"]
services = ["udp/1024-65535 from 53"]
action = "permit"
[[gateways.edge.rules]]
name = "5"
action = "deny"
"#;

/// A university textbook's filter table for 222.22/16 (several public copies agree). Its second
/// line also asks for the ACK flag. Our rules know no TCP flags, so a packet from port 80 outside *without*
/// ACK, which the book denies by its last line, passes here by line 2: the one verdict that differs, and the
/// reason why such a list should be stateful. The book's hole (outside port 80 to an inside port such as 3389)
/// is one in both readings. From inside to inside no packet needs the gateway: it is asked about one from outside
/// with a source of the inside.
#[test]
fn textbook_table_for_222_22() {
    let site = between(
        "\"198.51.100.0/24\"",
        "\"222.22.0.0/16\"",
        "permit",
        TEXTBOOK,
    );
    check(
        &site,
        "right",
        &[
            ("tcp 222.22.1.7:40000 > 198.51.100.5:80", "permit 1"),
            ("tcp 222.22.1.7:1024 > 198.51.100.5:80", "permit 1"),
            ("tcp 222.22.1.7:1023 > 198.51.100.5:80", "deny 5"),
            ("tcp 222.22.1.7:40000 > 198.51.100.5:443", "deny 5"),
            ("udp 222.22.1.7:40000 > 198.51.100.5:53", "permit 3"),
        ],
    );
    check(
        &site,
        "left",
        &[
            ("tcp 198.51.100.5:80 > 222.22.1.7:40000", "permit 2"),
            ("udp 198.51.100.5:53 > 222.22.1.7:40000", "permit 4"),
            ("udp 198.51.100.5:53 > 222.22.1.7:53", "deny 5"),
            ("tcp 198.51.100.5:40000 > 222.22.1.7:22", "deny 5"),
            ("tcp 198.51.100.5:80 > 222.22.1.7:3389", "permit 2"),
            ("tcp 222.22.1.7:40000 > 222.22.9.9:80", "deny 5"),
        ],
    );
}

const CHAPMAN_A: &str = r#"
[[gateways.edge.rules]]
name = "A"
source = ["10.0.0.0/8"]
destination = ["172.16.6.0/24"]
action = "permit"
"#;
const CHAPMAN_B: &str = r#"
[[gateways.edge.rules]]
name = "B"
source = ["10.1.99.0/24"]
destination = ["172.16.0.0/16"]
action = "deny"
"#;
const CHAPMAN_C: &str = r#"
[[gateways.edge.rules]]
name = "C"
action = "deny"
"#;

/// Chapman's example, also in *Building Internet Firewalls*: the same three rules in two orders (rules from
/// several copies, verdicts by enumeration).
#[test]
fn two_orders_of_three_rules() {
    let (left, right) = ("\"10.0.0.0/8\", \"192.168.3.0/24\"", "\"172.16.0.0/16\"");
    let abc = between(
        left,
        right,
        "permit",
        &[CHAPMAN_A, CHAPMAN_B, CHAPMAN_C].concat(),
    );
    let bac = between(
        left,
        right,
        "permit",
        &[CHAPMAN_B, CHAPMAN_A, CHAPMAN_C].concat(),
    );
    let table = [
        ("10.1.99.1:4000 > 172.16.1.1:23", "deny B", "deny B"),
        ("10.1.99.1:4000 > 172.16.6.1:23", "permit A", "deny B"),
        ("10.1.1.1:4000 > 172.16.6.1:23", "permit A", "permit A"),
        ("10.1.1.1:4000 > 172.16.1.1:23", "deny C", "deny C"),
        ("192.168.3.4:4000 > 172.16.1.1:23", "deny C", "deny C"),
        ("192.168.3.4:4000 > 172.16.6.1:23", "deny C", "deny C"),
    ];
    for (line, first, second) in table {
        let line = format!("tcp {line}");
        assert_eq!(
            verdict(&network(&abc), "left", &packet(&line)),
            first,
            "order A B C: {line}"
        );
        assert_eq!(
            verdict(&network(&bac), "left", &packet(&line)),
            second,
            "order B A C: {line}"
        );
    }
}

/// RFC 3871 section 2.9.3: permit TCP port 22, deny all; one packet to 22 and two elsewhere leave the
/// counters at 1 and 2.
#[test]
fn rfc_3871_counters() {
    let rules = r#"
[[gateways.edge.rules]]
name = "1"
services = ["tcp/22"]
action = "permit"
[[gateways.edge.rules]]
name = "2"
action = "deny"
"#;
    let site = between("\"192.0.2.0/24\"", "\"198.51.100.0/24\"", "permit", rules);
    let packets = [22, 23, 80].map(|port| format!("tcp 192.0.2.7:40000 > 198.51.100.9:{port}"));
    let network = network(&site);
    let decided = packets.map(|line| verdict(&network, "left", &packet(&line)));
    let count = |wanted: &str| decided.iter().filter(|verdict| *verdict == wanted).count();
    assert_eq!((count("permit 1"), count("deny 2")), (1, 2));
}

/// Service, source, destination (empty: any) and action.
const TWELVE: [(&str, &str, &str, &str); 12] = [
    ("tcp/80", "140.192.37.20", "", "deny"),
    ("tcp/80", "140.192.37.0/24", "", "permit"),
    ("tcp/80", "", "161.120.33.40", "permit"),
    ("tcp/80", "140.192.37.0/24", "161.120.33.40", "deny"),
    ("tcp/21", "140.192.37.30", "", "deny"),
    ("tcp/21", "140.192.37.0/24", "", "permit"),
    ("tcp/21", "140.192.37.0/24", "161.120.33.40", "permit"),
    ("tcp", "", "", "deny"),
    ("udp/53", "140.192.37.0/24", "161.120.33.40", "permit"),
    ("udp/53", "", "161.120.33.40", "permit"),
    ("udp", "140.192.38.0/24", "161.120.35.0/24", "permit"),
    ("udp", "", "", "deny"),
];

fn twelve_rules() -> String {
    let mut rules = String::new();
    for (index, (service, source, destination, action)) in TWELVE.iter().enumerate() {
        rules += &format!(
            "[[gateways.edge.rules]]\nname = \"{}\"\nservices = [\"{service}\"]\n",
            index + 1
        );
        for (key, item) in [("source", source), ("destination", destination)] {
            if !item.is_empty() {
                rules += &format!("{key} = [\"{item}\"]\n");
            }
        }
        rules += &format!("action = \"{action}\"\n");
    }
    rules
}

/// A rule table of 12 lines used throughout the literature on rule anomalies (at least five identical
/// public copies): verdicts by enumeration.
#[test]
fn twelve_rules_of_the_literature() {
    let rules = twelve_rules();
    let site = between(
        "\"140.192.36.0/22\"",
        "\"161.120.32.0/22\"",
        "permit",
        &rules,
    );
    check(
        &site,
        "left",
        &[
            ("tcp 140.192.37.20:4000 > 161.120.33.40:80", "deny 1"),
            ("tcp 140.192.37.5:4000 > 161.120.33.40:80", "permit 2"),
            ("tcp 140.192.38.5:4000 > 161.120.33.40:80", "permit 3"),
            ("tcp 140.192.37.30:4000 > 161.120.34.1:21", "deny 5"),
            ("tcp 140.192.37.5:4000 > 161.120.33.40:21", "permit 6"),
            ("tcp 140.192.38.5:4000 > 161.120.33.40:22", "deny 8"),
            ("udp 140.192.37.5:4000 > 161.120.33.40:53", "permit 9"),
            ("udp 140.192.38.5:4000 > 161.120.33.40:53", "permit 10"),
            ("udp 140.192.38.5:4000 > 161.120.35.9:9999", "permit 11"),
            ("udp 140.192.38.5:4000 > 161.120.34.1:53", "deny 12"),
        ],
    );
}
