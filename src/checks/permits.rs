//! Permits that really permit something, and whom they speak of.

use crate::analysis::rules::Standing;
use crate::model::{Action, ICMP, ICMPV6, Party, Rule, SegmentId, Service, Site, Zone};

use super::reviewed::Reviewed;
use super::view::View;

/// A permit that decides packets.
#[derive(Clone, Copy)]
pub(super) struct Permit<'v> {
    pub(super) gateway: Reviewed<'v>,
    pub(super) number: usize,
    pub(super) rule: &'v Rule,
}

/// Every permit that decides packets, or may: the others permit nothing, whatever they say.
pub(super) fn permits<'v>(view: &View<'v>) -> Vec<Permit<'v>> {
    let mut permits = Vec::new();
    for gateway in view.reviewed() {
        let book = gateway.0;
        for (number, rule) in book.rules.iter().enumerate() {
            let standing = &book.review.rules[number];
            let idle = matches!(
                standing,
                Standing::Off | Standing::Irrelevant | Standing::Dead(_)
            );
            if rule.action.value == Action::Permit && !idle {
                permits.push(Permit {
                    gateway,
                    number,
                    rule,
                });
            }
        }
    }
    permits
}

impl<'v> Permit<'v> {
    /// Segments at the interfaces that `from` names, or at all.
    pub(super) fn senders(&self, site: &Site) -> Vec<SegmentId> {
        self.segments(site, &self.rule.from)
    }

    /// Segments at the interfaces that `to` names, or at all.
    pub(super) fn targets(&self, site: &Site) -> Vec<SegmentId> {
        self.segments(site, &self.rule.to)
    }

    /// Whether it speaks of the gateway itself, and of nothing else.
    pub(super) fn for_gateway_only(&self) -> bool {
        let to = self.rule.to.as_ref();
        to.is_some_and(|to| to.iter().all(|party| *party == Party::Gateway))
    }

    /// Whether it speaks of the gateway itself too.
    pub(super) fn for_gateway(&self) -> bool {
        let to = self.rule.to.as_ref();
        to.is_none_or(|to| to.contains(&Party::Gateway))
    }

    /// Whether it permits messages of ICMP or ICMPv6 only: those go everywhere (RFC 4890, RFC 1812 section 4.3).
    pub(super) fn only_messages(&self) -> bool {
        let messages = |service: &Service| match service {
            Service::Message { .. } => true,
            Service::Whole(protocol) => [ICMP, ICMPV6].contains(protocol),
            _ => false,
        };
        let services = self.rule.services.as_ref();
        services.is_some_and(|list| list.services.iter().all(messages))
    }

    /// Whether every service is permitted.
    pub(super) fn any_service(&self) -> bool {
        let services = self.rule.services.as_ref();
        services.is_none_or(|list| list.services.contains(&Service::Any))
    }

    fn segments(&self, site: &Site, parties: &Option<Vec<Party>>) -> Vec<SegmentId> {
        let mut segments: Vec<SegmentId> = Vec::new();
        for interface in &self.gateway.0.router.interfaces {
            let segment = interface.segment;
            let zone = site.segment(segment).zone;
            let meant = |party: &Party| match *party {
                Party::Zone(own) => own == zone,
                Party::Segment(own) => own == segment,
                Party::Gateway => false,
            };
            let named = parties
                .as_ref()
                .is_none_or(|parties| parties.iter().any(meant));
            if named && !segments.contains(&segment) {
                segments.push(segment);
            }
        }
        segments
    }
}

/// The zone of a segment.
pub(super) fn zone_of(site: &Site, segment: SegmentId) -> &Zone {
    site.zone(site.segment(segment).zone)
}

/// Names of parties as they would be written: `["office", "guest"]`.
pub(super) fn as_list(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
    format!("[{}]", quoted.join(", "))
}

/// The zones of some segments as they would be written, each once.
pub(super) fn zones_as_list(site: &Site, segments: &[SegmentId]) -> String {
    let mut names: Vec<&str> = Vec::new();
    for &segment in segments {
        let name = zone_of(site, segment).name.value.as_str();
        if !names.contains(&name) {
            names.push(name);
        }
    }
    as_list(&names)
}
