//! Records of which nothing says who started: paired with the records of the other direction.

use rustc_hash::FxHashMap;

use boundwalk_model::{Family, Protocol};

use super::record::Record;

/// Conversations that are kept open at once; then all are settled and the next ones begin afresh.
const MOST_OPEN: usize = 200_000;

/// A direction of a conversation: protocol, and address and port of each side.
type Direction = (Family, Protocol, (u128, u16), (u128, u16));

/// One direction, all its records together.
struct Waiting {
    record: Record,
    records: u64,
}

#[derive(Default)]
pub(super) struct Pairs {
    waiting: FxHashMap<Direction, Waiting>,
}

/// A settled record, and how many records of the log were turned round for it.
pub(super) type Settled = (Record, u64);

impl Pairs {
    /// Keeps a record until its conversation is settled; settles all where too many are open.
    pub fn add(&mut self, record: Record) -> Vec<Settled> {
        let next = self.waiting.entry(direction(&record));
        next.and_modify(|waiting| {
            waiting.record.join(&record);
            waiting.records += 1;
        })
        .or_insert(Waiting { record, records: 1 });
        if self.waiting.len() < MOST_OPEN {
            Vec::new()
        } else {
            self.settle()
        }
    }

    /// Of two directions the side started whose first record is older; else the one whose target has the lower port
    /// (common practice, no source). What has no counterpart, or one that is like it, stays as it is.
    pub fn settle(&mut self) -> Vec<Settled> {
        let waiting = std::mem::take(&mut self.waiting);
        let settled = waiting.iter().map(|(key, own)| {
            let back = waiting.get(&(key.0, key.1, key.3, key.2));
            let mut record = own.record.clone();
            if back.is_some_and(|back| answers(&own.record, &back.record)) {
                record.swap();
                (record, own.records)
            } else {
                (record, 0)
            }
        });
        settled.collect()
    }
}

fn direction(record: &Record) -> Direction {
    (
        record.family,
        record.protocol,
        (record.source, record.source_port),
        (record.destination, record.destination_port),
    )
}

/// Whether the first of two directions is the one that answers.
fn answers(own: &Record, back: &Record) -> bool {
    match (own.first, back.first) {
        (Some(own), Some(back)) if own != back => own > back,
        _ => own.source_port < own.destination_port,
    }
}
