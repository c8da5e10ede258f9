//! JSON objects, one a line.

use super::support::{bad, only, read, shown};

const FLOW: &str = "10.44.10.31 > 10.44.30.10 tcp/445 x1 5p 500o 1000-2000";

#[test]
fn numbers_texts_and_escapes_are_the_same() {
    for text in [
        r#"{"sourceIPv4Address":"10.44.10.31","destinationIPv4Address":"10.44.30.10","protocolIdentifier":6,"sourceTransportPort":50111,"destinationTransportPort":445,"packetDeltaCount":5,"octetDeltaCount":500,"flowStartMilliseconds":1000,"flowEndMilliseconds":2000}"#,
        r#" { "flowEndSeconds" : "2" , "flowStartSeconds" : 1 , "destinationTransportPort" : "445" , "protocolIdentifier" : "6" , "destinationIPv4Address" : " 10.44.30.10 " , "sourceIPv4Address" : "10.44.10.31" , "packetTotalCount" : "5" , "octetTotalCount" : "500" } "#,
        r#"{"source\u0049Pv4Address":"10.44.\u00310.31","destinationIPv4Address":"10.44.30.10","protocolIdentifier":6,"destinationTransportPort":445,"packetDeltaCount":5,"octetDeltaCount":500,"flowStartMilliseconds":1000,"flowEndMilliseconds":2000}"#,
    ] {
        assert_eq!(only(text), FLOW, "{text}");
    }
}

#[test]
fn null_and_other_keys_say_nothing() {
    let text = r#"{"sourceIPv6Address":null,"sourceIPv4Address":"10.44.10.31","destinationIPv4Address":"10.44.30.10","protocolIdentifier":6,"destinationTransportPort":445,"packetDeltaCount":5,"octetDeltaCount":500,"flowStartMilliseconds":1000,"flowEndMilliseconds":2000,"extra":{"deep":[1,{"a":"src=1"}]},"rate":1.5,"ok":true,"":[]}"#;
    assert_eq!(only(text), FLOW);
}

#[test]
fn what_is_wrong_is_said() {
    let good = r#"{"sourceIPv4Address":"10.44.10.31","destinationIPv4Address":"10.44.30.10","protocolIdentifier":6,"destinationTransportPort":445}"#;
    for (line, what) in [
        ("[1, 2]", "no JSON object"),
        ("10.44.10.31,10.44.30.10,6", "no JSON object"),
        (
            "{\"sourceIPv4Address\":\"10.44",
            "no JSON: EOF while parsing a string",
        ),
        ("{} {}", "no JSON: trailing characters"),
        ("{}", "no source address"),
        (r#"{"protocolIdentifier":256}"#, "`256` is no protocol"),
        (r#"{"protocolIdentifier":"tcp"}"#, "`tcp` is no number"),
        (
            r#"{"sourceTransportPort":65536}"#,
            "`65536` is no number up to 65535",
        ),
        (
            r#"{"sourceIPv4Address":"10.44.30.300"}"#,
            "`10.44.30.300` is no address",
        ),
        (
            r#"{"sourceIPv4Address":"here at line 5"}"#,
            "`here at line 5` is no address",
        ),
        (
            r#"{"packetDeltaCount":-1}"#,
            "invalid type: integer `-1`, expected a whole number or a text",
        ),
        (
            r#"{"packetDeltaCount":1.5}"#,
            "invalid type: floating point `1.5`, expected a whole number or a text",
        ),
        (
            r#"{"packetDeltaCount":[1]}"#,
            "invalid type: sequence, expected a whole number or a text",
        ),
    ] {
        assert_eq!(
            bad(format!("{good}\n{line}\n")),
            (2, what.to_owned()),
            "{line}"
        );
    }
}

#[test]
fn bytes_that_are_no_text_are_malformed() {
    let mut log = br#"{"sourceIPv4Address":"10.44.10.31","destinationIPv4Address":"10.44.30.10","protocolIdentifier":6,"destinationTransportPort":445}"#.to_vec();
    log.extend_from_slice(b"\n{\"sourceIPv4Address\":\"\xff\xfe\"}\n");
    let log = read(log);
    assert_eq!((log.records, log.malformed, log.lines), (1, 1, 2));
    assert_eq!(shown(&log), ["10.44.10.31 > 10.44.30.10 tcp/445 x1 0p 0o"]);
}
