//! Distinct flows, each counted.

use rustc_hash::FxHashMap;

use boundwalk_model::Family;

use super::record::Record;
use super::{FlowService, ObservedFlow};

/// What tells flows apart.
type Key = (Family, u128, u128, FlowService);

#[derive(Default)]
pub(super) struct Table {
    numbers: FxHashMap<Key, usize>,
    flows: Vec<ObservedFlow>,
}

impl Table {
    pub fn add(&mut self, record: &Record) {
        let key = (
            record.family,
            record.source,
            record.destination,
            record.service(),
        );
        let next = self.flows.len();
        let number = *self.numbers.entry(key).or_insert(next);
        if number == next {
            self.flows.push(ObservedFlow {
                family: key.0,
                source: key.1,
                destination: key.2,
                service: key.3,
                records: 0,
                packets: 0,
                octets: 0,
                first: None,
                last: None,
            });
        }
        let flow = &mut self.flows[number];
        flow.records = flow.records.saturating_add(record.flows);
        flow.packets = flow.packets.saturating_add(record.packets);
        flow.octets = flow.octets.saturating_add(record.octets);
        flow.first = [flow.first, record.first].into_iter().flatten().min();
        flow.last = flow.last.max(record.last);
    }

    /// The flows in order.
    pub fn finish(self) -> Vec<ObservedFlow> {
        let mut flows = self.flows;
        flows.sort_unstable();
        flows
    }
}
