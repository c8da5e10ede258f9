//! Connections as the connection tracking table of a kernel lists them.

use boundwalk_model::Protocol;

use super::address::{address, number};
use super::record::Record;

/// A line of `conntrack -L`, with or without the layer-3 protocol in front, as in the table under `/proc`. The first
/// tuple is the starting side, before translation; counters of both directions are added up.
pub(super) fn record(line: &[u8]) -> Result<Record, String> {
    let mut words = line
        .split(|byte| byte.is_ascii_whitespace())
        .filter(|word| !word.is_empty())
        .peekable();
    if words
        .peek()
        .is_some_and(|word| matches!(*word, b"ipv4" | b"ipv6"))
    {
        words.next();
        words.next();
    }
    let _name = words.next().ok_or("no protocol")?;
    let protocol = words.next().and_then(number);
    let protocol = protocol.and_then(|value| u8::try_from(value).ok());
    let protocol = Protocol(protocol.ok_or("no protocol number in the second word")?);
    let mut fields = Fields::default();
    for word in words {
        fields.take(word)?;
    }
    fields.finish(protocol)
}

/// Whether a line is the sentence in which the program says how many there were; it goes to another stream, but the
/// two are easily caught together.
pub(super) fn is_summary(line: &[u8]) -> bool {
    line.starts_with(b"conntrack v") && line.ends_with(b"have been shown.")
}

/// What the words said; of values that stand twice the first.
#[derive(Default)]
struct Fields<'a> {
    source: Option<&'a [u8]>,
    destination: Option<&'a [u8]>,
    source_port: Option<u16>,
    destination_port: Option<u16>,
    kind: Option<u8>,
    code: Option<u8>,
    packets: u64,
    octets: u64,
}

impl<'a> Fields<'a> {
    fn take(&mut self, word: &'a [u8]) -> Result<(), String> {
        let Some(at) = word.iter().position(|&byte| byte == b'=') else {
            return Ok(());
        };
        let (key, value) = (&word[..at], &word[at + 1..]);
        let wrong = || format!("`{}` is no number that fits", String::from_utf8_lossy(word));
        let count = || number(value).ok_or_else(wrong);
        let port = || u16::try_from(count()?).map_err(|_| wrong());
        let byte = || u8::try_from(count()?).map_err(|_| wrong());
        match key {
            b"src" => _ = self.source.get_or_insert(value),
            b"dst" => _ = self.destination.get_or_insert(value),
            b"sport" if self.source_port.is_none() => self.source_port = Some(port()?),
            b"dport" if self.destination_port.is_none() => self.destination_port = Some(port()?),
            b"type" if self.kind.is_none() => self.kind = Some(byte()?),
            b"code" if self.code.is_none() => self.code = Some(byte()?),
            b"packets" => self.packets = self.packets.saturating_add(count()?),
            b"bytes" => self.octets = self.octets.saturating_add(count()?),
            _ => {}
        }
        Ok(())
    }

    fn finish(self, protocol: Protocol) -> Result<Record, String> {
        let parsed = |text: Option<&[u8]>, what: &str| {
            let text = text.ok_or_else(|| format!("no {what}"))?;
            address(text)
                .ok_or_else(|| format!("`{}` is no address", String::from_utf8_lossy(text)))
        };
        let source = parsed(self.source, "src=")?;
        let destination = parsed(self.destination, "dst=")?;
        let destination_port = match protocol {
            one if one.has_messages() => {
                let kind = self.kind.ok_or("no type=")?;
                u16::from(kind) << 8 | u16::from(self.code.unwrap_or(0))
            }
            one if one.has_ports() => self.destination_port.ok_or("no dport=")?,
            _ => 0,
        };
        let record = Record {
            family: source.0,
            source: source.1,
            destination: destination.1,
            protocol,
            source_port: self.source_port.unwrap_or(0),
            destination_port,
            octets: self.octets,
            packets: self.packets,
            flows: 1,
            first: None,
            last: None,
            reverse: Some(false),
        };
        record.check(destination.0)
    }
}
