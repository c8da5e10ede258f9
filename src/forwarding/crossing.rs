//! A single packet held against the rules of a gateway.

use boundwalk_model::{Family, Rule};
use boundwalk_packet::IntervalSet;

use super::device::DeviceId;
use super::filter::FilterPlan;
use super::network::Network;
use super::trace_types::{Decision, Mismatch, Packet, RuleTry};

/// A packet between two interfaces of a gateway.
pub(super) struct Crossing<'a> {
    network: &'a Network<'a>,
    filter: &'a FilterPlan,
    ingress: usize,
    egress: usize,
    packet: &'a Packet,
    /// Its service class.
    class: usize,
}

impl<'a> Crossing<'a> {
    pub(super) fn new(
        network: &'a Network<'a>,
        filter: &'a FilterPlan,
        (ingress, egress): (usize, usize),
        packet: &'a Packet,
    ) -> Self {
        Self {
            network,
            filter,
            ingress,
            egress,
            packet,
            class: class_of(network, packet),
        }
    }

    /// What the rules of the gateway, which is `device`, say.
    pub(super) fn decide(&self, device: DeviceId) -> Decision {
        let rules = match device {
            DeviceId::Router(router) => self.network.site.router(router).filter(),
            DeviceId::Host(_) => None,
        };
        let rules = rules.map_or(&[][..], |filter| &filter.rules);
        let mut tried = Vec::new();
        for (number, rule) in rules.iter().enumerate() {
            let mismatch = self.mismatch(number, rule);
            tried.push(RuleTry {
                rule: number,
                mismatch,
            });
            if mismatch.is_none() {
                return Decision {
                    tried,
                    rule: Some(number),
                    action: rule.action.value,
                };
            }
        }
        Decision {
            tried,
            rule: None,
            action: self.filter.default,
        }
    }

    /// The first field by which a rule does not match.
    fn mismatch(&self, number: usize, rule: &Rule) -> Option<Mismatch> {
        if !rule.active(self.network.today) {
            return Some(Mismatch::Inactive);
        }
        let Ok(line) = self.filter.rules.binary_search(&number) else {
            return Some(Mismatch::Family);
        };
        let line = &self.filter.lines.lines()[line];
        if !holds(line.ingress.as_deref(), self.ingress as u128) {
            return Some(Mismatch::From);
        }
        if !holds(line.egress.as_deref(), self.egress as u128) {
            return Some(Mismatch::To);
        }
        if !holds(line.source.as_ref(), Family::value(self.packet.source)) {
            return Some(Mismatch::Source);
        }
        if !holds(
            line.destination.as_ref(),
            Family::value(self.packet.destination),
        ) {
            return Some(Mismatch::Destination);
        }
        let served = line
            .services
            .as_ref()
            .is_none_or(|services| services.contains(self.class));
        (!served).then_some(Mismatch::Service)
    }
}

/// The service class of a packet.
pub fn class_of(network: &Network<'_>, packet: &Packet) -> usize {
    network.classes.class_of(
        packet.protocol.0,
        packet.source_port,
        packet.destination_port,
    )
}

/// Whether a field, `None` for any, holds a value.
pub(super) fn holds(set: Option<&IntervalSet>, value: u128) -> bool {
    set.is_none_or(|set| set.contains(value))
}
