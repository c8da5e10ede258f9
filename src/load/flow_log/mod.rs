//! Logs of observed flows: CSV and JSON lines with the names of IPFIX information elements, and connection tables as
//! `conntrack -L` prints them.
//!
//! A log is read once, in order, and may be longer than memory: only distinct flows are kept. [`read_flow_log`] says what
//! is taken for a reply.

mod address;
mod columns;
mod conntrack;
mod csv;
mod json;
mod pairs;
mod record;
mod table;
mod types;

use types::LONGEST_LINE;
pub use types::{FlowService, ObservedFlow};

use std::fmt;
use std::io::{BufRead, Cursor, Read};

use crate::input::packed_by;
use boundwalk_model::Service;

pub use columns::ELEMENTS;

use pairs::{Pairs, Settled};
use record::{KnownPorts, Record};
use table::Table;
/// Malformed lines that are told.
const MOST_TOLD: usize = 20;

/// The form of a log.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum FlowFormat {
    /// Comma-separated values (RFC 4180), the first line naming the columns.
    Csv,
    /// A JSON object a line.
    JsonLines,
    /// A connection a line.
    Conntrack,
}

/// How to read a log.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct FlowOptions {
    /// Its form; `None`: judged by the first line that is not empty.
    pub format: Option<FlowFormat>,
    /// Whether records are taken as they are, replies too.
    pub keep_direction: bool,
    /// Whether the first malformed line is an error.
    pub strict: bool,
    /// Services of the site, besides the built-in ones: whoever sends from their ports answers.
    pub services: Vec<Service>,
}

/// A line that could not be read.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct BadLine {
    /// Its number, from 1.
    pub line: u64,
    /// What is wrong with it.
    pub what: String,
}

/// What a log holds.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
#[non_exhaustive]
pub struct FlowLog {
    /// Distinct flows, in order.
    pub flows: Vec<ObservedFlow>,
    /// Lines, the heading and empty ones too.
    pub lines: u64,
    /// Lines that were records.
    pub records: u64,
    /// Records that were turned round.
    pub turned: u64,
    /// Lines that could not be read.
    pub malformed: u64,
    /// The first 20 of those.
    pub first_malformed: Vec<BadLine>,
}

/// Why a log could not be read.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct FlowLogError {
    /// The line, from 1; 0: no line in particular.
    pub line: u64,
    /// What is wrong, and what to do.
    pub what: String,
}

impl fmt::Display for FlowLogError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => f.write_str(&self.what),
            line => write!(f, "line {line}: {}", self.what),
        }
    }
}

impl std::error::Error for FlowLogError {}

/// Bytes by which packed data is known.
const MARK: u64 = 8;

/// The input from its start. A packed log is named as one: line by line it would be thousands of malformed ones. A pipe
/// may bring the first bytes one by one.
fn unpacked<R: BufRead>(mut input: R) -> Result<impl BufRead, FlowLogError> {
    let mut start = Vec::new();
    let read = input.by_ref().take(MARK).read_to_end(&mut start);
    read.map_err(|error| FlowLogError {
        line: 1,
        what: format!("can't read it: {error}"),
    })?;
    let Some(program) = packed_by(&start) else {
        return Ok(Cursor::new(start).chain(input));
    };
    let what = format!(
        "it is packed by {program}; unpack it first, as in `{program} -dc LOG | boundwalk privilege SITE --flows -`"
    );
    Err(FlowLogError { line: 0, what })
}

/// Reads a log. A flow goes from the side that started it; its source port, which differs from one connection to the
/// next, is dropped. `progress` is told the bytes read so far, every few thousand lines.
///
/// A record may tell of the replies of a conversation. Unless [`FlowOptions::keep_direction`] is set it is turned
/// round, and counted in [`FlowLog::turned`], where
///
/// - `biflowDirection` is 2: the destination started it (RFC 5103 section 6.3). Where that is 1 the record stays as it is; 0
///   and 3 say nothing of who started it;
/// - it is an echo reply: it becomes the echo request (RFC 792, RFC 4443). Errors and other messages stay as they are;
/// - nothing says who started it, its source port is below 1,024 or one of a built-in service or of
///   [`FlowOptions::services`], and its destination port is none of these (common practice, no source);
/// - both ends use such a port, or neither does, and the log has records of the other direction too: then the one whose
///   first record is older started it, else the one that sent to the lower port. Two that are alike stay as they are, as
///   those of two time servers.
///
/// A connection table lists the side that started first, with the addresses before translation, so nothing is guessed; the
/// counters of both directions are added up. In CSV each line is a record: no field holds a line break. Empty lines, lines
/// that start with `#` and the last sentence of `conntrack -L` say nothing.
///
/// Malformed lines are counted and the first 20 kept; they are no error unless [`FlowOptions::strict`] is set.
///
/// Time: a constant for each line. Memory: a constant for each distinct flow, and for 200,000 conversations of which
/// only both directions together tell who started them.
///
/// # Errors
/// A stream that can't be read, a CSV file whose heading lacks the addresses or the protocol, and with
/// [`FlowOptions::strict`] the first malformed line.
pub fn read_flow_log(
    input: impl BufRead,
    options: &FlowOptions,
    progress: &mut dyn FnMut(u64),
) -> Result<FlowLog, FlowLogError> {
    let mut reader = LogReader {
        options,
        table: Table::default(),
        pairs: Pairs::default(),
        known: KnownPorts::with(&options.services),
        log: FlowLog::default(),
        form: options.format.map(Form::new),
    };
    let mut input = unpacked(input)?;
    let mut line = Vec::new();
    let mut bytes = 0;
    loop {
        line.clear();
        let (length, whole) = next_line(&mut input, &mut line).map_err(|error| FlowLogError {
            line: reader.log.lines + 1,
            what: format!("can't read on: {error}"),
        })?;
        if length == 0 {
            break;
        }
        bytes += length;
        reader.log.lines += 1;
        if reader.log.lines.is_multiple_of(4096) {
            progress(bytes);
        }
        if whole {
            reader.take(&line)?;
        } else {
            reader.bad("longer than 64 KiB".to_owned())?;
        }
    }
    progress(bytes);
    let settled = reader.pairs.settle();
    reader.keep(settled);
    reader.log.flows = reader.table.finish();
    Ok(reader.log)
}

/// A line of this length is the end of the reading: what has no line breaks may have no end either.
const ENDLESS_LINE: u64 = 16 << 20;

/// Reads up to the next line break; how many bytes there were, and whether all of them were kept.
fn next_line(input: &mut impl BufRead, line: &mut Vec<u8>) -> std::io::Result<(u64, bool)> {
    let mut length = 0;
    let mut whole = true;
    loop {
        let buffer = match input.fill_buf() {
            Ok(buffer) => buffer,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        if buffer.is_empty() {
            return Ok((length, whole));
        }
        let end = memchr(buffer);
        let taken = end.map_or(buffer.len(), |at| at + 1);
        if line.len() + taken <= LONGEST_LINE {
            line.extend_from_slice(&buffer[..taken]);
        } else {
            whole = false;
        }
        input.consume(taken);
        length += taken as u64;
        if length > ENDLESS_LINE {
            let what = format!(
                "a line of more than {} MiB: this is no log of flows",
                ENDLESS_LINE >> 20
            );
            return Err(std::io::Error::new(std::io::ErrorKind::InvalidData, what));
        }
        if end.is_some() {
            return Ok((length, whole));
        }
    }
}

fn memchr(bytes: &[u8]) -> Option<usize> {
    bytes.iter().position(|&byte| byte == b'\n')
}

/// A form with what it keeps from line to line.
enum Form {
    Csv(Box<csv::Csv>),
    JsonLines,
    Conntrack,
}

impl Form {
    fn new(format: FlowFormat) -> Self {
        match format {
            FlowFormat::Csv => Self::Csv(Box::default()),
            FlowFormat::JsonLines => Self::JsonLines,
            FlowFormat::Conntrack => Self::Conntrack,
        }
    }

    /// The form that a first line looks like.
    fn of(line: &[u8]) -> Self {
        let contains = |what: &[u8]| line.windows(what.len()).any(|part| part == what);
        match line.first() {
            Some(b'{') => Self::JsonLines,
            _ if contains(b"src=") && contains(b"dst=") => Self::Conntrack,
            _ if conntrack::is_summary(line) => Self::Conntrack,
            _ => Self::Csv(Box::default()),
        }
    }
}

struct LogReader<'o> {
    options: &'o FlowOptions,
    table: Table,
    pairs: Pairs,
    known: KnownPorts,
    log: FlowLog,
    form: Option<Form>,
}

impl LogReader<'_> {
    fn take(&mut self, line: &[u8]) -> Result<(), FlowLogError> {
        let line = match self.log.lines {
            1 => line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line),
            _ => line,
        };
        let line = line.trim_ascii();
        if line.is_empty() || line.starts_with(b"#") {
            return Ok(());
        }
        let form = self.form.get_or_insert_with(|| Form::of(line));
        let record = match form {
            Form::Csv(csv) if !csv.has_heading() => {
                let number = self.log.lines;
                return csv
                    .heading(line)
                    .map_err(|what| FlowLogError { line: number, what });
            }
            Form::Csv(csv) => csv.record(line),
            Form::JsonLines => json::record(line),
            Form::Conntrack if conntrack::is_summary(line) => return Ok(()),
            Form::Conntrack => conntrack::record(line),
        };
        match record {
            Ok(record) => {
                self.add(record);
                Ok(())
            }
            Err(what) => self.bad(what),
        }
    }

    fn add(&mut self, mut record: Record) {
        self.log.records += 1;
        if self.options.keep_direction {
            return self.table.add(&record);
        }
        if record.is_undecided(&self.known) {
            let settled = self.pairs.add(record);
            return self.keep(settled);
        }
        self.log.turned += u64::from(record.turn(&self.known));
        self.table.add(&record);
    }

    fn keep(&mut self, settled: Vec<Settled>) {
        for (record, turned) in settled {
            self.log.turned += turned;
            self.table.add(&record);
        }
    }

    fn bad(&mut self, what: String) -> Result<(), FlowLogError> {
        let line = self.log.lines;
        if self.options.strict {
            return Err(FlowLogError { line, what });
        }
        self.log.malformed += 1;
        if self.log.first_malformed.len() < MOST_TOLD {
            self.log.first_malformed.push(BadLine { line, what });
        }
        Ok(())
    }
}
