//! How long logs of flows take to read, in each form, and how much memory ten million lines take.
//!
//! `cargo bench --bench flow_log` runs all; `-- csv` only what has that in its name. Lines are made while they are read, so
//! that no file and no long text is needed; how long making alone takes is measured beside. Ten million lines run once;
//! `BOUNDWALK_TEN_MILLION=0` leaves them out.
// What was measured belongs beside how long it took.
#![allow(clippy::print_stderr)]

#[path = "../tests/support/random.rs"]
#[allow(dead_code)]
mod random;

use std::io::{self, BufReader, Read, Write};
use std::time::Instant;

use boundwalk::load::{FlowFormat, FlowLog, FlowOptions, read_flow_log};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use random::Random;

const FLOWS: usize = 200_000;
const HEADING: &[u8] = b"sourceIPv4Address,destinationIPv4Address,protocolIdentifier,sourceTransportPort,destinationTransportPort,packetDeltaCount,octetDeltaCount,flowStartMilliseconds,flowEndMilliseconds\n";
const PORTS: [u16; 8] = [22, 53, 80, 123, 443, 445, 3389, 5432];

/// A log of so many records of 200,000 flows in no order, every fifth a reply (none in a table of connections).
struct Lines {
    format: FlowFormat,
    random: Random,
    left: usize,
    made: Vec<u8>,
    given: usize,
}

impl Lines {
    fn new(format: FlowFormat, count: usize) -> Self {
        let made = match format {
            FlowFormat::Csv => HEADING.to_vec(),
            _ => Vec::new(),
        };
        Self {
            format,
            random: Random::new(1),
            left: count,
            made,
            given: 0,
        }
    }

    fn make(&mut self) -> io::Result<()> {
        let flow = self.random.below(FLOWS);
        let (client, server, port) = (flow / 80, flow / 8 % 10, PORTS[flow % 8]);
        let other = self.random.between(49_152, 65_535) as u16;
        let (packets, octets) = (self.random.below(500), self.random.below(1_000_000));
        let start = 1_794_787_200_000 + self.random.below(604_800_000);
        let end = start + packets;
        let mut hosts = [(10, client), (200, server)];
        let mut ports = [other, port];
        if self.format != FlowFormat::Conntrack && self.random.percent(20) {
            hosts.reverse();
            ports.reverse();
        }
        let [source, destination] = hosts.map(|(net, host)| (net, host >> 8, host & 255));
        let (a, b, c) = source;
        let (d, e, f) = destination;
        let [from, to] = ports;
        match self.format {
            FlowFormat::Csv => writeln!(
                self.made,
                "10.{a}.{b}.{c},10.{d}.{e}.{f},6,{from},{to},{packets},{octets},{start},{end}"
            ),
            FlowFormat::JsonLines => writeln!(
                self.made,
                "{{\"sourceIPv4Address\":\"10.{a}.{b}.{c}\",\"destinationIPv4Address\":\"10.{d}.{e}.{f}\",\
                 \"protocolIdentifier\":6,\"sourceTransportPort\":{from},\"destinationTransportPort\":{to},\
                 \"packetDeltaCount\":{packets},\"octetDeltaCount\":{octets},\
                 \"flowStartMilliseconds\":{start},\"flowEndMilliseconds\":{end}}}"
            ),
            FlowFormat::Conntrack => writeln!(
                self.made,
                "tcp      6 431999 ESTABLISHED src=10.{a}.{b}.{c} dst=10.{d}.{e}.{f} sport={from} dport={to} \
                 packets={packets} bytes={octets} src=10.{d}.{e}.{f} dst=10.{a}.{b}.{c} sport={to} dport={from} \
                 packets=1 bytes=40 [ASSURED] mark=0 use=1"
            ),
        }
    }
}

impl Read for Lines {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.given == self.made.len() {
            self.made.clear();
            self.given = 0;
        }
        while self.left > 0 && self.made.len() < 1 << 15 {
            self.left -= 1;
            self.make()?;
        }
        let length = buffer.len().min(self.made.len() - self.given);
        buffer[..length].copy_from_slice(&self.made[self.given..self.given + length]);
        self.given += length;
        Ok(length)
    }
}

fn read(format: FlowFormat, count: usize) -> FlowLog {
    let input = BufReader::with_capacity(1 << 16, Lines::new(format, count));
    let log = read_flow_log(input, &FlowOptions::default(), &mut |_| {}).expect("a readable log");
    assert_eq!((log.records, log.malformed), (count as u64, 0));
    log
}

fn make_only(format: FlowFormat, count: usize) -> u64 {
    io::copy(&mut Lines::new(format, count), &mut io::sink()).expect("making never fails")
}

fn forms(criterion: &mut Criterion) {
    const COUNT: usize = 300_000;
    for (name, format) in [
        ("csv", FlowFormat::Csv),
        ("JSON lines", FlowFormat::JsonLines),
        ("connections", FlowFormat::Conntrack),
    ] {
        let mut group = criterion.benchmark_group(name);
        group.sample_size(10);
        group.throughput(Throughput::Elements(COUNT as u64));
        group.bench_function("making alone", |bencher| {
            bencher.iter(|| make_only(format, COUNT));
        });
        group.bench_function("making and reading", |bencher| {
            bencher.iter(|| read(format, COUNT));
        });
        group.finish();
    }
}

/// Most memory the program had so far, in mebibytes, where the system says.
fn peak() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kibibytes: u64 = line.split_ascii_whitespace().nth(1)?.parse().ok()?;
    Some(kibibytes / 1024)
}

/// Before the others, so that the peak is its own.
fn ten_million(_: &mut Criterion) {
    const COUNT: usize = 10_000_000;
    if std::env::var("BOUNDWALK_TEN_MILLION").as_deref() == Ok("0") {
        return;
    }
    let started = Instant::now();
    let bytes = make_only(FlowFormat::Csv, COUNT);
    let making = started.elapsed();
    let started = Instant::now();
    let log = read(FlowFormat::Csv, COUNT);
    let all = started.elapsed();
    eprintln!(
        "{COUNT} lines of CSV, {bytes} octets, {} flows: {all:?}, of which making {making:?}; peak {:?} MiB",
        log.flows.len(),
        peak()
    );
}

criterion_group!(benches, ten_million, forms);
criterion_main!(benches);
