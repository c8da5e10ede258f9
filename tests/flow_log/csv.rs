//! Comma-separated values as programs write them.

use super::support::{HEADING, bad, only, read, shown, try_read};
use boundwalk::load::{FlowFormat, FlowOptions};

const FLOW: &str = "10.44.10.31 > 10.44.30.10 tcp/445 x1 0p 0o";

#[test]
fn line_ends_byte_order_mark_and_quotes_change_nothing() {
    let row = "10.44.10.31,10.44.30.10,6,50111,445";
    for text in [
        format!("{HEADING}\n{row}\n"),
        format!("{HEADING}\n{row}"),
        format!("{HEADING}\r\n{row}\r\n"),
        format!("\u{feff}{HEADING}\n{row}\n"),
        format!("\u{feff}\n# a week\n\n  \n{HEADING}\n\n# more\n{row}\n\n"),
        format!("{HEADING}\n 10.44.10.31 ,\t10.44.30.10,6, 50111,445 \n"),
        format!("{HEADING}\n\"10.44.10.31\",\"10.44.30.10\",\"6\",\"50111\",\"445\"\n"),
        format!("\"{}\"\n{row}\n", HEADING.replace(',', "\",\"")),
    ] {
        assert_eq!(only(&text), FLOW, "{text:?}");
    }
}

#[test]
fn other_columns_say_nothing_whatever_they_hold() {
    let text = "note,destinationIPv4Address,vlanId,protocolIdentifier,sourceIPv4Address,\
        destinationTransportPort,tcpControlBits\n\
        \"said \"\"no\"\", then went\",10.44.30.10,many,6,10.44.10.31,445,0x1b\n";
    assert_eq!(only(text), FLOW);
}

#[test]
fn the_same_flow_is_counted_from_its_first_start_to_its_last_end() {
    let text = format!(
        "{HEADING},packetDeltaCount,octetDeltaCount,flowStartMilliseconds,flowEndMilliseconds\n\
        10.44.10.31,10.44.30.10,6,50111,445,10,1000,5000,6000\n\
        10.44.10.31,10.44.30.10,6,50112,445,1,40,2000,2500\n\
        10.44.10.31,10.44.30.10,6,50113,445,,,3000,9000\n"
    );
    assert_eq!(
        only(&text),
        "10.44.10.31 > 10.44.30.10 tcp/445 x3 11p 1040o 2000-9000"
    );
}

#[test]
fn totals_and_seconds_and_aggregated_rows() {
    let text = "sourceIPv4Address,destinationIPv4Address,protocolIdentifier,destinationTransportPort,\
        packetTotalCount,octetTotalCount,flowStartSeconds,flowEndSeconds,deltaFlowCount\n\
        10.44.10.31,10.44.30.2,17,53,7,700,1794816545,1794816546,5\n\
        10.44.10.31,10.44.30.2,17,53,1,100,1794816540,1794816541,2\n";
    assert_eq!(
        only(text),
        "10.44.10.31 > 10.44.30.2 udp/53 x7 8p 800o 1794816540000-1794816546000"
    );
    assert_eq!(read(text).records, 2);
}

#[test]
fn the_finer_of_two_precisions_is_taken() {
    let heads = [
        "flowStartSeconds,flowEndSeconds,flowStartMilliseconds,flowEndMilliseconds",
        "flowStartMilliseconds,flowEndMilliseconds,flowStartSeconds,flowEndSeconds",
    ];
    for (head, times) in heads.into_iter().zip(["1,2,1234,2345", "1234,2345,1,2"]) {
        let text = format!("{HEADING},{head}\n10.44.10.31,10.44.30.10,6,50111,445,{times}\n");
        assert_eq!(only(&text), format!("{FLOW} 1234-2345"));
    }
}

/// A record whose columns of the other family are empty, or zero, in either order of columns.
#[test]
fn both_families_in_one_table() {
    let heading = "sourceIPv6Address,sourceIPv4Address,destinationIPv4Address,destinationIPv6Address,\
        protocolIdentifier,destinationTransportPort";
    let old = "10.44.10.31 > 10.44.30.10 tcp/445 x1 0p 0o";
    let new = "fd44:0:0:10::31 > fd44:0:0:30::10 tcp/445 x1 0p 0o";
    for (row, flow) in [
        (",10.44.10.31,10.44.30.10,,6,445", old),
        ("::,10.44.10.31,10.44.30.10,::,6,445", old),
        ("fd44:0:0:10::31,,,fd44:0:0:30::10,6,445", new),
        ("fd44:0:0:10::31,0.0.0.0,0.0.0.0,fd44:0:0:30::10,6,445", new),
    ] {
        assert_eq!(only(format!("{heading}\n{row}\n")), flow, "{row}");
    }
    for (row, what) in [
        (
            "fd44:0:0:10::31,10.44.10.31,10.44.30.10,,6,445",
            "two source addresses",
        ),
        (
            "fd44:0:0:10::31,,10.44.30.10,,6,445",
            "addresses of two families",
        ),
        (",,10.44.30.10,,6,445", "no source address"),
        (",10.44.10.31,,,6,445", "no destination address"),
    ] {
        assert_eq!(bad(format!("{heading}\n{row}\n")), (2, what.to_owned()));
    }
}

#[test]
fn messages_and_protocols_without_ports() {
    let heading = "sourceIPv4Address,destinationIPv4Address,sourceIPv6Address,destinationIPv6Address,\
        protocolIdentifier,sourceTransportPort,destinationTransportPort,icmpTypeCodeIPv4,icmpTypeCodeIPv6";
    for (row, flow) in [
        (
            "10.44.10.31,10.44.30.10,,,1,,,2048,",
            "10.44.10.31 > 10.44.30.10 icmp/8.0",
        ),
        // The other family's column filled with zero; the element of its own before the port.
        (
            "10.44.10.31,10.44.30.10,,,1,0,0,771,0",
            "10.44.10.31 > 10.44.30.10 icmp/3.3",
        ),
        (
            "10.44.10.31,10.44.30.10,,,1,0,2048,,",
            "10.44.10.31 > 10.44.30.10 icmp/8.0",
        ),
        (
            ",,fd44:0:0:10::31,fd44:0:0:30::10,58,,,,32768",
            "fd44:0:0:10::31 > fd44:0:0:30::10 icmpv6/128.0",
        ),
        // Ports of a protocol that has none say nothing.
        (
            "10.44.10.31,10.44.30.10,,,47,1,2,,",
            "10.44.10.31 > 10.44.30.10 gre",
        ),
    ] {
        assert_eq!(
            only(format!("{heading}\n{row}\n")),
            format!("{flow} x1 0p 0o")
        );
    }
}

#[test]
fn a_heading_that_lacks_what_is_needed_is_an_error() {
    let log = "\n# week\nsourceIPv4Address,destinationIPv4Address,protocol\n10.0.0.1,10.0.0.2,6\n";
    let error = try_read(log, FlowOptions::default()).expect_err("no column of the protocol");
    assert_eq!(error.line, 3);
    assert!(error.what.contains("protocolIdentifier"), "{error}");
    // Names are compared as written, as the registry has them.
    let log = HEADING.to_lowercase();
    assert!(try_read(log, FlowOptions::default()).is_err());
}

#[test]
fn a_stated_form_is_not_guessed() {
    let line = "tcp 6 9 src=10.44.10.31 dst=10.44.30.10 sport=5 dport=445\n";
    let options = FlowOptions {
        format: Some(FlowFormat::Csv),
        ..FlowOptions::default()
    };
    assert!(try_read(line, options).is_err());
    let options = FlowOptions {
        format: Some(FlowFormat::Conntrack),
        ..FlowOptions::default()
    };
    let log = try_read(line, options).expect("a connection");
    assert_eq!(shown(&log), [FLOW]);
}
