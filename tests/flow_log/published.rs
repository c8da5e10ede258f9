//! Published values: names and numbers of information elements, an example message.

use super::support::{read, shown, try_read};
use boundwalk::load::{ELEMENTS, FlowOptions};

/// IANA, *IP Flow Information Export (IPFIX) Entities*, typed from the registry and not from the program;
/// `deltaFlowCount` as in RFC 7015 section 7.2.4.
const REGISTRY: &str = "
    1 octetDeltaCount
    2 packetDeltaCount
    3 deltaFlowCount
    4 protocolIdentifier
    7 sourceTransportPort
    8 sourceIPv4Address
    11 destinationTransportPort
    12 destinationIPv4Address
    27 sourceIPv6Address
    28 destinationIPv6Address
    32 icmpTypeCodeIPv4
    85 octetTotalCount
    86 packetTotalCount
    139 icmpTypeCodeIPv6
    150 flowStartSeconds
    151 flowEndSeconds
    152 flowStartMilliseconds
    153 flowEndMilliseconds
    239 biflowDirection
";

#[test]
fn names_and_numbers_are_ianas() {
    let listed: Vec<(&str, u16)> = REGISTRY
        .split_ascii_whitespace()
        .collect::<Vec<_>>()
        .chunks(2)
        .map(|pair| (pair[1], pair[0].parse().expect("a number")))
        .collect();
    assert_eq!(ELEMENTS, listed);
}

/// What is listed is read: a value that can't be right is noticed. What is not is passed over.
#[test]
fn each_listed_element_is_read() {
    let full = [
        ("sourceIPv4Address", "10.44.10.31"),
        ("destinationIPv4Address", "10.44.30.10"),
        ("protocolIdentifier", "6"),
        ("destinationTransportPort", "445"),
    ];
    let log = |name: &str| {
        let others = full.iter().filter(|(other, _)| *other != name);
        let (mut heading, mut row) = (name.to_owned(), "?".to_owned());
        for (other, value) in others {
            heading += &format!(",{other}");
            row += &format!(",{value}");
        }
        read(format!("{heading}\n{row}\n"))
    };
    for (name, _) in ELEMENTS {
        assert_eq!((log(name).records, log(name).malformed), (0, 1), "{name}");
    }
    for name in ["tcpControlBits", "vlanId", "flowId"] {
        assert_eq!((log(name).records, log(name).malformed), (1, 0), "{name}");
    }
}

/// The flow records of RFC 7011 Appendix A.3 as rows, in the order of its template. It names no protocol, which is said;
/// with one added (253, for experiments: RFC 3692) its values come through.
#[test]
fn the_example_of_rfc_7011() {
    let heading = "sourceIPv4Address,destinationIPv4Address,ipNextHopIPv4Address,packetDeltaCount,octetDeltaCount";
    let rows = [
        "192.0.2.12,192.0.2.254,192.0.2.1,5009,5344385",
        "192.0.2.27,192.0.2.23,192.0.2.2,748,388934",
        "192.0.2.56,192.0.2.65,192.0.2.3,5,6534",
    ];
    let text = format!("{heading}\n{}\n", rows.join("\n"));
    let error = try_read(&text, FlowOptions::default()).expect_err("no protocol");
    assert!(error.what.contains("protocolIdentifier"), "{error}");

    let mut text = format!("{heading},protocolIdentifier\n");
    for row in rows {
        text += &format!("{row},253\n");
    }
    assert_eq!(
        shown(&read(&text)),
        [
            "192.0.2.12 > 192.0.2.254 protocol 253 x1 5009p 5344385o",
            "192.0.2.27 > 192.0.2.23 protocol 253 x1 748p 388934o",
            "192.0.2.56 > 192.0.2.65 protocol 253 x1 5p 6534o",
        ]
    );
}

/// Type and code as `type * 256 + code` (RFC 5102 section 5.5.14): destination unreachable, code 3 (RFC 792).
#[test]
fn type_and_code_of_a_message() {
    let text = "sourceIPv4Address,destinationIPv4Address,protocolIdentifier,icmpTypeCodeIPv4\n\
        192.0.2.1,192.0.2.12,1,771\n";
    assert_eq!(
        shown(&read(text)),
        ["192.0.2.1 > 192.0.2.12 icmp/3.3 x1 0p 0o"]
    );
}
