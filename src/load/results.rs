//! What people saw when they sent the probes of a plan: a CSV file (RFC 4180).

use std::fmt;
use std::net::IpAddr;

use boundwalk_model::{ICMP, ICMPV6, Protocol, SegmentId, Site};

use super::results_port::{Ports, ports};

/// What became of a probe.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Observed {
    /// It arrived, and an answer came back.
    Answered,
    /// The far side saw it arrive; no answer came back.
    Arrived,
    /// Somebody refused it by a reset or a message that the port is closed.
    Refused,
    /// Somebody on the way said that it may not or cannot be delivered.
    Rejected,
    /// Neither side saw anything.
    Nothing,
}

/// Words for results; the first of each line is the usual one.
pub const RESULT_WORDS: [(Observed, &[&str]); 5] = [
    (
        Observed::Answered,
        &["answered", "answer", "reply", "connected", "open"],
    ),
    (Observed::Arrived, &["arrived", "arrives", "seen"]),
    (Observed::Refused, &["refused", "reset", "closed"]),
    (
        Observed::Rejected,
        &["rejected", "unreachable", "prohibited"],
    ),
    (
        Observed::Nothing,
        &["nothing", "none", "timeout", "timed out", "no answer"],
    ),
];

impl Observed {
    /// The usual word.
    pub fn word(self) -> &'static str {
        let mut known = RESULT_WORDS.iter();
        let own = known.find(|(observed, _)| *observed == self);
        own.map_or("", |(_, words)| words[0])
    }

    /// What a word says.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        let word = word.to_lowercase();
        let mut known = RESULT_WORDS.iter();
        let own = known.find(|(_, words)| words.contains(&word.as_str()));
        own.map(|(observed, _)| *observed)
    }
}

/// One row of the results.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ResultRow {
    /// Its line in the file.
    pub line: u64,
    /// What the row calls the probe; may be empty.
    pub probe: String,
    /// The segment that the sender stood on, where the row says so.
    pub from: Option<SegmentId>,
    /// The sender's address.
    pub source: IpAddr,
    /// The address that it sent to.
    pub destination: IpAddr,
    /// The protocol.
    pub protocol: Protocol,
    /// The source port, where the row says one.
    pub source_port: Option<u16>,
    /// The destination port; of ICMP `type * 256 + code`; else 0.
    pub destination_port: u16,
    /// What the plan expected, in its word; may be empty.
    pub expect: String,
    /// What became of it; `None`: not done.
    pub result: Option<Observed>,
    /// What whoever tested wrote besides.
    pub remark: String,
}

/// Why a row can't be read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RowFault {
    /// Its line in the file, from 1.
    pub line: u64,
    /// What is wrong and what to write instead.
    pub what: String,
}

impl fmt::Display for RowFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

impl std::error::Error for RowFault {}

/// Reads filled-in results. Separated by commas or, as some spreadsheets write them, semicolons. Columns may stand in any order,
/// and others are passed over; `source`, `destination`, `protocol`, `port` and `result` must be there.
///
/// # Errors
/// Every row that can't be read, in order.
pub fn read_results(bytes: &[u8], site: &Site) -> Result<Vec<ResultRow>, Vec<RowFault>> {
    let fault = |line: u64, what: &str| RowFault {
        line,
        what: what.to_owned(),
    };
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let before = &bytes[..error.valid_up_to()];
        let breaks = before.iter().filter(|&&byte| byte == b'\n').count();
        let what = "this line is not UTF-8 text; save the file as CSV with UTF-8";
        vec![fault(breaks as u64 + 1, what)]
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = reader(text);
    let columns = match reader.headers() {
        Ok(headers) => Columns::new(headers).map_err(|what| vec![fault(1, &what)])?,
        Err(_) => return Err(vec![fault(1, "the first line names no columns")]),
    };
    let mut lines = Lines {
        bytes: text.as_bytes(),
        at: 0,
        line: 1,
    };
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    for record in reader.records() {
        // Bytes are UTF-8 and rows may have any length: nothing else can be wrong with a record.
        let Ok(record) = record else { continue };
        let line = lines.at(record.position().map_or(0, csv::Position::byte));
        if record.iter().all(|field| field.trim().is_empty()) {
            continue;
        }
        match columns.row(&record, site, line) {
            Ok(row) => rows.push(row),
            Err(what) => faults.push(RowFault { line, what }),
        }
    }
    if faults.is_empty() {
        Ok(rows)
    } else {
        Err(faults)
    }
}

fn reader(text: &str) -> csv::Reader<&[u8]> {
    let first = text.lines().next().unwrap_or_default();
    let semicolons = first.contains(';') && !first.contains(',');
    csv::ReaderBuilder::new()
        .delimiter(if semicolons { b';' } else { b',' })
        .flexible(true)
        .from_reader(text.as_bytes())
}

/// Counts lines. The reader's own count lags behind where lines end in a carriage return and a line feed.
struct Lines<'t> {
    bytes: &'t [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    /// The line of what stands at a place or, where that is the end of a line, behind it; places must ascend.
    fn at(&mut self, place: u64) -> u64 {
        let ended = |byte: Option<&u8>| matches!(byte, Some(b'\r' | b'\n'));
        while (self.at as u64) < place || ended(self.bytes.get(self.at)) {
            let (here, next) = (self.bytes.get(self.at), self.bytes.get(self.at + 1));
            let pair = here == Some(&b'\r') && next == Some(&b'\n');
            self.line += u64::from(ended(here) && !pair);
            self.at += 1;
        }
        self.line
    }
}

/// Where each column stands.
struct Columns {
    probe: Option<usize>,
    from: Option<usize>,
    source: usize,
    destination: usize,
    protocol: usize,
    port: usize,
    expect: Option<usize>,
    result: usize,
    remark: Option<usize>,
}

impl Columns {
    fn new(headers: &csv::StringRecord) -> Result<Self, String> {
        let place = |name: &str| {
            let mut named = headers.iter();
            named.position(|header| header.trim().eq_ignore_ascii_case(name))
        };
        let needed = |name: &str| {
            place(name).ok_or_else(|| {
                format!(
                    "there is no column `{name}`; the first line must name the columns, as \
                     `boundwalk probes --format csv` writes them"
                )
            })
        };
        Ok(Self {
            probe: place("probe"),
            from: place("from"),
            source: needed("source")?,
            destination: needed("destination")?,
            protocol: needed("protocol")?,
            port: needed("port")?,
            expect: place("expect"),
            result: needed("result")?,
            remark: place("remark"),
        })
    }

    fn row(&self, record: &csv::StringRecord, site: &Site, line: u64) -> Result<ResultRow, String> {
        let field = |at: usize| bare(record.get(at).unwrap_or_default());
        let maybe = |at: Option<usize>| at.map_or("", field);
        let source = address("source", field(self.source))?;
        let destination = address("destination", field(self.destination))?;
        if source.is_ipv4() != destination.is_ipv4() {
            return Err(format!(
                "{source} and {destination} are of two address families; write two of one"
            ));
        }
        let protocol = protocol(field(self.protocol), source)?;
        let Ports { from, to } = ports(protocol, field(self.port))?;
        Ok(ResultRow {
            line,
            probe: maybe(self.probe).to_owned(),
            from: segment(site, maybe(self.from))?,
            source,
            destination,
            protocol,
            source_port: from,
            destination_port: to,
            expect: maybe(self.expect).to_lowercase(),
            result: result(field(self.result))?,
            remark: maybe(self.remark).to_owned(),
        })
    }
}

/// A field without spaces around it and without the apostrophe that keeps spreadsheets from taking it for a formula.
fn bare(field: &str) -> &str {
    let field = field.trim();
    match field.strip_prefix('\'') {
        Some(rest) if rest.starts_with(['=', '+', '-', '@']) => rest,
        _ => field,
    }
}

fn address(name: &str, text: &str) -> Result<IpAddr, String> {
    text.parse().map_err(|_| {
        format!("the {name} `{text}` is no address; write one such as 192.0.2.7 or 2001:db8::7")
    })
}

fn protocol(text: &str, source: IpAddr) -> Result<Protocol, String> {
    let lower = text.to_lowercase();
    let number = lower.strip_prefix("protocol").unwrap_or(&lower).trim();
    let known = Protocol::named(&lower).or_else(|| number.parse().ok().map(Protocol));
    let protocol = known.ok_or_else(|| {
        format!("the protocol `{text}` is not known; write tcp, udp, icmp, icmpv6 or a number")
    })?;
    match (protocol, source) {
        (ICMP, IpAddr::V6(_)) => Err("`icmp` is of IPv4; write icmpv6".to_owned()),
        (ICMPV6, IpAddr::V4(_)) => Err("`icmpv6` is of IPv6; write icmp".to_owned()),
        _ => Ok(protocol),
    }
}

fn segment(site: &Site, name: &str) -> Result<Option<SegmentId>, String> {
    if name.is_empty() {
        return Ok(None);
    }
    let mut segments = site.segment_ids();
    let found = segments.find(|&segment| site.segment(segment).name.value == name);
    found.map(Some).ok_or_else(|| {
        format!(
            "there is no segment `{name}`; write the one on which the sender stood, or leave the field empty"
        )
    })
}

fn result(text: &str) -> Result<Option<Observed>, String> {
    if text.is_empty() || text == "-" || text.eq_ignore_ascii_case("skipped") {
        return Ok(None);
    }
    Observed::of(text).map(Some).ok_or_else(|| {
        let words: Vec<&str> = RESULT_WORDS.iter().map(|(_, words)| words[0]).collect();
        format!(
            "the result `{text}` is not known; write {}, or leave it empty where the probe was not sent",
            words.join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: [&str; 5] = ["source", "destination", "protocol", "port", "result"];
    const ROW: [&str; 5] = ["10.44.20.7", "10.44.60.9", "tcp", "443", "timed out"];

    fn rows(text: &str) -> usize {
        read_results(text.as_bytes(), &Site::default()).map_or(0, |rows| rows.len())
    }

    #[test]
    fn commas_separate_unless_the_first_line_knows_only_semicolons() {
        let table = |by: &str, more: &str| format!("{}{more}\n{}\n", HEADER.join(by), ROW.join(by));
        assert_eq!(rows(&table(",", "")), 1);
        assert_eq!(rows(&table(";", "")), 1);
        assert_eq!(rows(&table(",", ",by; when")), 1);
        assert_eq!(rows(&table("\t", "")), 0);
    }

    #[test]
    fn each_result_has_a_usual_word_that_reads_back() {
        for (observed, words) in RESULT_WORDS {
            assert_eq!(observed.word(), words[0]);
            for word in words {
                assert_eq!(Observed::of(&word.to_uppercase()), Some(observed));
            }
        }
        assert_eq!(Observed::of("perhaps"), None);
    }
}
