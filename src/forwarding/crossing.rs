//! A single packet held against the rules of a gateway.

use crate::model::{Family, Rule};
use crate::packet::IntervalSet;

use super::filter::FilterPlan;
use super::network::Network;
use super::trace::{Mismatch, Packet};

/// A packet between two interfaces of a gateway.
pub(super) struct Crossing<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) filter: &'a FilterPlan,
    pub(super) ingress: usize,
    pub(super) egress: usize,
    pub(super) packet: &'a Packet,
}

impl Crossing<'_> {
    /// The first field by which a rule does not match.
    pub(super) fn mismatch(&self, number: usize, rule: &Rule) -> Option<Mismatch> {
        if !rule.active(self.network.today) {
            return Some(Mismatch::Inactive);
        }
        let Ok(line) = self.filter.rules.binary_search(&number) else {
            return Some(Mismatch::Family);
        };
        let line = &self.filter.lines.lines()[line];
        let class = class_of(self.network, self.packet);
        if !holds(&line.ingress, self.ingress as u128) {
            return Some(Mismatch::From);
        }
        if !holds(&line.egress, self.egress as u128) {
            return Some(Mismatch::To);
        }
        if !holds(&line.source, Family::value(self.packet.source)) {
            return Some(Mismatch::Source);
        }
        if !holds(&line.destination, Family::value(self.packet.destination)) {
            return Some(Mismatch::Destination);
        }
        let served = line
            .services
            .as_ref()
            .is_none_or(|services| services.contains(class));
        (!served).then_some(Mismatch::Service)
    }
}

/// The service class of a packet.
pub(super) fn class_of(network: &Network<'_>, packet: &Packet) -> usize {
    network.classes.class_of(
        packet.protocol.0,
        packet.source_port,
        packet.destination_port,
    )
}

/// Whether a field, `None` for any, holds a value.
pub(super) fn holds(set: &Option<IntervalSet>, value: u128) -> bool {
    set.as_ref().is_none_or(|set| set.contains(value))
}
