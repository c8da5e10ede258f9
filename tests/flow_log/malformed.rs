//! Lines that can't be read: counted, told, and never kept whole in memory.

use std::io::{BufReader, Cursor, Read};

use super::support::{HEADING, bad, read, shown, try_read};
use boundwalk::load::{FlowOptions, read_flow_log};

const ROW: &str = "10.44.10.31,10.44.30.10,6,50111,445";

#[test]
fn each_mistake_is_said() {
    for (row, what) in [
        (
            "10.44.10.31,10.44.30.10,6,50111",
            "4 fields where the heading has 5",
        ),
        (
            "10.44.10.31,10.44.30.10,6,50111,445,",
            "6 fields where the heading has 5",
        ),
        ("10.44.10.31", "1 fields where the heading has 5"),
        (
            "10.44.10.31,10.44.30.300,6,50111,445",
            "`10.44.30.300` is no address",
        ),
        (
            "10.44.10.31,10.44.30,6,50111,445",
            "`10.44.30` is no address",
        ),
        (
            "10.44.10.31,10.44.30.10.1,6,50111,445",
            "`10.44.30.10.1` is no address",
        ),
        (
            "10.44.10.31,10.44.30.010,6,50111,445",
            "`10.44.30.010` is no address",
        ),
        (
            "010.044.010.031,10.44.30.10,6,50111,445",
            "`010.044.010.031` is no address",
        ),
        (
            "10.44.10.31,10.44.30.10/32,6,50111,445",
            "`10.44.30.10/32` is no address",
        ),
        ("10.44.10.31,10.44.30.10,,50111,445", "no protocol"),
        (
            "10.44.10.31,10.44.30.10,tcp,50111,445",
            "`tcp` is no number",
        ),
        (
            "10.44.10.31,10.44.30.10,256,50111,445",
            "`256` is no protocol",
        ),
        (
            "10.44.10.31,10.44.30.10,6,50111,65536",
            "`65536` is no number up to 65535",
        ),
        (
            "10.44.10.31,10.44.30.10,6,-1,445",
            "`-1` is no number up to 65535",
        ),
        (
            "10.44.10.31,10.44.30.10,6,50111,99999999999999999999999",
            "`99999999999999999999999` is no number up to 65535",
        ),
        ("10.44.10.31,10.44.30.10,6,50111,", "no destination port"),
        (
            "10.44.10.31,10.44.30.10,1,,",
            "no type and code of the message",
        ),
        (
            "10.44.10.31,10.44.30.10,58,,32768",
            "ICMP for IPv6 between IPv4 addresses",
        ),
        (
            "fd44::1,fd44::2,1,,2048",
            "ICMP for IPv4 between IPv6 addresses",
        ),
        (
            "10.44.10.31,10.44.30.10,6,50111,445\r10.44.10.31,10.44.30.10,6,50111,445",
            "a carriage return inside the line",
        ),
        // Two logs one after another.
        (HEADING, "`sourceIPv4Address` is no address"),
    ] {
        let text = format!("{HEADING}\n{ROW}\n{row}\n{ROW}\n");
        assert_eq!(bad(&text), (3, what.to_owned()), "{row}");
        assert_eq!(
            shown(&read(&text)),
            ["10.44.10.31 > 10.44.30.10 tcp/445 x2 0p 0o"]
        );
    }
}

#[test]
fn the_first_twenty_are_told_and_all_are_counted() {
    let mut text = format!("{HEADING}\n");
    for number in 0..50 {
        text += &format!("{ROW}\nbad {number}\n");
    }
    let log = read(&text);
    assert_eq!((log.lines, log.records, log.malformed), (101, 50, 50));
    let told: Vec<u64> = log.first_malformed.iter().map(|bad| bad.line).collect();
    assert_eq!(
        told,
        (0..20).map(|number| 3 + 2 * number).collect::<Vec<_>>()
    );
}

#[test]
fn where_asked_for_the_first_one_is_an_error() {
    let options = FlowOptions {
        strict: true,
        ..FlowOptions::default()
    };
    let text = format!("{HEADING}\n{ROW}\nbad\nworse\n");
    let error = try_read(text, options.clone()).expect_err("a malformed line");
    assert_eq!(
        error.to_string(),
        "line 3: 1 fields where the heading has 5"
    );
    assert!(try_read(format!("{HEADING}\n{ROW}\n"), options).is_ok());
}

/// 64 KiB with the line break are read, one octet more is not.
#[test]
fn a_line_longer_than_64_kib_is_malformed() {
    for (length, malformed) in [(65_536, 0), (65_537, 1), (200_000, 1)] {
        let padding = length - ROW.len() - 2;
        let text = format!("{HEADING},note\n{ROW},{}\n{ROW},\n", "x".repeat(padding));
        let log = read(&text);
        assert_eq!(
            (log.lines, log.records, log.malformed),
            (3, 2 - malformed, malformed)
        );
        if malformed == 1 {
            assert_eq!(bad(&text), (2, "longer than 64 KiB".to_owned()));
        }
    }
}

/// Megabytes without a line break, given in pieces: passed over, and each octet counted.
#[test]
fn a_long_line_is_passed_over() {
    const LENGTH: u64 = 1 << 23;
    let heading = format!("{HEADING}\n");
    let row = format!("\n{ROW}\n");
    let input = Cursor::new(heading.clone())
        .chain(std::io::repeat(b'7').take(LENGTH))
        .chain(Cursor::new(row.clone()));
    let mut seen = 0;
    let input = BufReader::with_capacity(1 << 16, input);
    let log = read_flow_log(input, &FlowOptions::default(), &mut |bytes| seen = bytes)
        .expect("a readable log");
    assert_eq!((log.lines, log.records, log.malformed), (3, 1, 1));
    assert_eq!(seen, heading.len() as u64 + LENGTH + row.len() as u64);
}

/// What has no line breaks may have no end either.
#[test]
fn a_line_without_an_end_ends_the_reading() {
    let input = Cursor::new(format!("{HEADING}\n{ROW}\n")).chain(std::io::repeat(b'7'));
    let input = BufReader::with_capacity(1 << 16, input);
    let error = read_flow_log(input, &FlowOptions::default(), &mut |_| {}).expect_err("no end");
    assert_eq!(error.line, 3);
    assert!(error.what.contains("a line of more than 16 MiB"), "{error}");
}

#[test]
fn a_stream_that_breaks_is_an_error_with_its_line() {
    struct Broken;
    impl Read for Broken {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("the disk is gone"))
        }
    }
    let text = format!("{HEADING}\n{ROW}\n10.44");
    let input = BufReader::new(Cursor::new(text).chain(Broken));
    let error =
        read_flow_log(input, &FlowOptions::default(), &mut |_| {}).expect_err("the stream breaks");
    assert_eq!(error.line, 3);
    assert!(error.what.contains("the disk is gone"), "{error}");
}

#[test]
fn nothing_at_all_is_a_log_without_flows() {
    for text in ["", "\n\n", "# only a note\n", "\u{feff}"] {
        let log = read(text);
        assert_eq!((log.flows.len(), log.records, log.malformed), (0, 0, 0));
    }
}
