//! Records as comma-separated values (RFC 4180).

use csv_core::{ReadRecordResult, Reader};

use super::columns::{Column, Draft};
use super::record::Record;

/// What is kept from line to line.
pub(super) struct Csv {
    columns: Vec<Option<Column>>,
    reader: Reader,
    buffer: Vec<u8>,
    ends: Vec<usize>,
}

impl Default for Csv {
    fn default() -> Self {
        Self {
            columns: Vec::new(),
            reader: Reader::new(),
            buffer: vec![0; super::LONGEST_LINE + 2],
            ends: vec![0; 1024],
        }
    }
}

impl Csv {
    pub fn has_heading(&self) -> bool {
        !self.columns.is_empty()
    }

    /// Takes the heading in.
    pub fn heading(&mut self, line: &[u8]) -> Result<(), String> {
        if line.contains(&0) {
            return Err("this is not UTF-8 text (UTF-16?): save it as UTF-8".to_owned());
        }
        let fields = self.split(line)?;
        let names = (0..fields).map(|number| Column::named(self.field(number).trim_ascii()));
        let columns: Vec<Option<Column>> = names.collect();
        for (needed, name) in [
            (Column::Source, "sourceIPv4Address or sourceIPv6Address"),
            (
                Column::Destination,
                "destinationIPv4Address or destinationIPv6Address",
            ),
            (Column::Protocol, "protocolIdentifier"),
        ] {
            if !columns.contains(&Some(needed)) {
                return Err(format!(
                    "the heading has no column {name}; columns are called as IPFIX information elements (RFC 7012)"
                ));
            }
        }
        // Addresses of both families are two columns for one thing; a name that is there twice says two things.
        for number in (0..fields).filter(|&number| columns[number].is_some()) {
            let name = self.field(number).trim_ascii();
            if (0..number).any(|other| self.field(other).trim_ascii() == name) {
                return Err(format!(
                    "the heading names {} twice",
                    String::from_utf8_lossy(name)
                ));
            }
        }
        self.columns = columns;
        Ok(())
    }

    pub fn record(&mut self, line: &[u8]) -> Result<Record, String> {
        let fields = self.split(line)?;
        if fields != self.columns.len() {
            return Err(format!(
                "{fields} fields where the heading has {}",
                self.columns.len()
            ));
        }
        let mut draft = Draft::default();
        for number in 0..fields {
            if let Some(column) = self.columns[number] {
                draft.set(column, self.field(number).trim_ascii())?;
            }
        }
        draft.finish()
    }

    /// Splits a line into fields and says how many there are.
    fn split(&mut self, line: &[u8]) -> Result<usize, String> {
        self.reader.reset();
        let (mut read, mut written, mut ended) = (0, 0, 0);
        loop {
            let input = &line[read..];
            let (result, taken, put, ends) = self.reader.read_record(
                input,
                &mut self.buffer[written..],
                &mut self.ends[ended..],
            );
            read += taken;
            written += put;
            ended += ends;
            match result {
                // An empty input tells the reader that the line ends here.
                ReadRecordResult::InputEmpty if read == line.len() => {
                    if input.is_empty() {
                        return Ok(ended);
                    }
                }
                ReadRecordResult::InputEmpty => {}
                // The reader takes a carriage return for the end; what follows must not be lost in silence.
                ReadRecordResult::Record if read < line.len() => {
                    return Err("a carriage return inside the line".to_owned());
                }
                ReadRecordResult::Record | ReadRecordResult::End => return Ok(ended),
                ReadRecordResult::OutputFull | ReadRecordResult::OutputEndsFull => {
                    return Err("too many fields".to_owned());
                }
            }
        }
    }

    fn field(&self, number: usize) -> &[u8] {
        let start = if number == 0 {
            0
        } else {
            self.ends[number - 1]
        };
        &self.buffer[start..self.ends[number]]
    }
}
