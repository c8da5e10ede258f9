//! Laws of every log, whatever its bytes.

use std::io::BufReader;

use proptest::prelude::*;

use super::support::try_read;
use boundwalk::load::{FlowFormat, FlowLog, FlowOptions, read_flow_log};

const SEEDS: [&str; 3] = [
    "# a week\nsourceIPv4Address,destinationIPv4Address,protocolIdentifier,sourceTransportPort,destinationTransportPort,packetDeltaCount\n\
     10.44.10.31,10.44.30.10,6,50111,445,3\n\n10.44.30.10,10.44.10.31,6,445,50111,\"4\"\r\n10.44.10.31,10.44.30.10,1,,2048,1\n",
    "{\"sourceIPv6Address\":\"fd44::1\",\"destinationIPv6Address\":\"fd44::2\",\"protocolIdentifier\":17,\"destinationTransportPort\":53}\n\
     \n{\"sourceIPv4Address\":\"10.44.10.31\",\"destinationIPv4Address\":\"10.44.30.2\",\"protocolIdentifier\":\"1\",\"icmpTypeCodeIPv4\":0}\n",
    "ipv4 2 tcp 6 99 ESTABLISHED src=10.44.10.31 dst=10.44.30.10 sport=5 dport=445 packets=1 bytes=2 src=10.44.30.10 dst=10.44.10.31 sport=445 dport=5\n\
     icmp 1 29 src=10.44.10.31 dst=10.44.30.10 type=8 code=0 id=3\n conntrack v1.4.7 (conntrack-tools): 2 flow entries have been shown.\n",
];

/// Bytes of which some lines look like a log.
fn bytes() -> impl Strategy<Value = Vec<u8>> {
    let change = (any::<prop::sample::Index>(), any::<u8>(), 0..3u8);
    let changed =
        (0..SEEDS.len(), prop::collection::vec(change, 0..12)).prop_map(|(seed, changes)| {
            let mut text = SEEDS[seed].as_bytes().to_vec();
            for (place, byte, how) in changes {
                if text.is_empty() {
                    break;
                }
                let at = place.index(text.len());
                match how {
                    0 => text[at] = byte,
                    1 => text.insert(at, b"\n,{}\"= \r#"[usize::from(byte) % 9]),
                    _ => _ = text.remove(at),
                }
            }
            text
        });
    prop_oneof![
        1 => prop::collection::vec(any::<u8>(), 0..200),
        4 => changed,
    ]
}

fn format() -> impl Strategy<Value = Option<FlowFormat>> {
    prop_oneof![
        4 => Just(None),
        1 => Just(Some(FlowFormat::Csv)),
        1 => Just(Some(FlowFormat::JsonLines)),
        1 => Just(Some(FlowFormat::Conntrack)),
    ]
}

/// Lines that say nothing: empty ones and notes; then those that are a heading or a last sentence in their form.
fn silent(bytes: &[u8], format: Option<FlowFormat>) -> (u64, u64) {
    let bytes = bytes.strip_suffix(b"\n").unwrap_or(bytes);
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let lines: Vec<&[u8]> = bytes.split(|&byte| byte == b'\n').collect();
    let lines = lines.into_iter().map(<[u8]>::trim_ascii);
    let (quiet, said): (Vec<&[u8]>, Vec<&[u8]>) =
        lines.partition(|line| line.is_empty() || line.starts_with(b"#"));
    let sentences = said
        .iter()
        .filter(|line| line.starts_with(b"conntrack v") && line.ends_with(b"have been shown."));
    let table = |line: &[u8]| {
        let text = String::from_utf8_lossy(line);
        line.starts_with(b"conntrack v") && line.ends_with(b"have been shown.")
            || (!line.starts_with(b"{") && text.contains("src=") && text.contains("dst="))
    };
    let first = said.first().copied().unwrap_or_default();
    let more = match format {
        Some(FlowFormat::Conntrack) => sentences.count(),
        Some(FlowFormat::JsonLines) => 0,
        Some(FlowFormat::Csv) => usize::from(!said.is_empty()),
        None if said.is_empty() || first.starts_with(b"{") => 0,
        None if table(first) => sentences.count(),
        None => 1,
    };
    (quiet.len() as u64, more as u64)
}

fn check(log: &FlowLog, bytes: &[u8], format: Option<FlowFormat>) {
    let (quiet, more) = silent(bytes, format);
    // An input without any octet has no line.
    let quiet = if bytes.is_empty() { 0 } else { quiet };
    assert_eq!(log.lines, log.records + log.malformed + quiet + more);
    assert_eq!(log.first_malformed.len() as u64, log.malformed.min(20));
    assert!(log.first_malformed.is_sorted_by_key(|bad| bad.line));
    assert!(
        log.first_malformed
            .iter()
            .all(|bad| (1..=log.lines).contains(&bad.line))
    );
    assert!(log.turned <= log.records);
    // No seed says how many flows a record stands for.
    assert_eq!(
        log.flows.iter().map(|flow| flow.records).sum::<u64>(),
        log.records
    );
    let names = |log: &FlowLog| -> Vec<_> {
        log.flows
            .iter()
            .map(|flow| (flow.family, flow.source, flow.destination, flow.service))
            .collect()
    };
    assert!(
        names(log).is_sorted_by(|a, b| a < b),
        "distinct and in order"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3_000))]

    #[test]
    fn every_line_is_accounted_for(bytes in bytes(), format in format(), keep in any::<bool>(), piece in 1..9usize) {
        let options = FlowOptions { format, keep_direction: keep, ..FlowOptions::default() };
        let strict = FlowOptions { strict: true, ..options.clone() };
        match try_read(&bytes, options.clone()) {
            Ok(log) => {
                check(&log, &bytes, format);
                prop_assert!(!keep || log.turned == 0);
                // However the bytes come, the log is the same.
                let pieces = BufReader::with_capacity(piece, bytes.as_slice());
                let in_pieces = read_flow_log(pieces, &options, &mut |_| {});
                prop_assert_eq!(in_pieces.as_ref(), Ok(&log));
                let error = try_read(&bytes, strict).err();
                let first = log.first_malformed.first();
                prop_assert_eq!(
                    error.map(|error| (error.line, error.what)),
                    first.map(|bad| (bad.line, bad.what.clone()))
                );
            }
            // Only a heading of CSV, and what is no text at all, can be an error of the whole.
            Err(error) => {
                let said = ["the heading has no column", "carriage return", "not UTF-8", "twice", "it is packed by"];
                prop_assert!(said.iter().any(|what| error.what.contains(what)), "{}", error);
                prop_assert!(try_read(&bytes, strict).is_err());
            }
        }
    }
}

/// A pipe that brings a byte at a time.
struct Dripping<'a>(&'a [u8]);

impl std::io::Read for Dripping<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let length = into.len().min(1);
        std::io::Read::read(&mut self.0, &mut into[..length])
    }
}

#[test]
fn a_log_is_the_same_however_it_comes() {
    let read = |text: &[u8]| {
        let pipe = BufReader::with_capacity(1, Dripping(text));
        read_flow_log(pipe, &FlowOptions::default(), &mut |_| {})
    };
    let text = b"src,dst,proto,dport\n10.44.10.2,10.44.30.3,tcp,443\n";
    let whole = read_flow_log(&text[..], &FlowOptions::default(), &mut |_| {});
    assert_eq!(read(text).map(|log| log.flows), whole.map(|log| log.flows));
    // The first bytes of a gzip file (RFC 1952, section 2.3.1) and of a zstd frame (RFC 8878, section 3.1.1).
    for (packed, program) in [
        (&b"\x1f\x8b\x08\0"[..], "gzip"),
        (b"\x28\xb5\x2f\xfd\x24", "zstd"),
    ] {
        let error = read(packed).expect_err("packed");
        assert!(error.to_string().contains(program), "{error}");
    }
}
