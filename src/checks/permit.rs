//! A permit, and the segments that it is about.

use boundwalk_model::{ICMP, ICMPV6, Rule, RuleParty, SegmentId, Service};

use super::reviewed::Reviewed;

/// A segment whose packets a gateway takes from, or hands out to, one of its interfaces.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct ReachedSegment {
    /// The interface, by number.
    pub(super) interface: usize,
    pub(super) segment: SegmentId,
    /// Whether it lies behind another router, not at the interface itself.
    pub(super) behind: bool,
}

impl ReachedSegment {
    /// The interface behind which it lies, if it is not at one.
    pub(super) fn behind_interface(&self) -> Option<usize> {
        self.behind.then_some(self.interface)
    }
}

/// A permit that decides packets.
pub(super) struct PermitRule<'v> {
    pub(super) gateway: Reviewed<'v>,
    pub(super) number: usize,
    pub(super) rule: &'v Rule,
    /// Where its packets may come from: at the interfaces that `from` names, or at all, those that have addresses in
    /// `source`.
    pub(super) senders: Vec<ReachedSegment>,
    /// Where they may go to, by `to` and `destination`.
    pub(super) targets: Vec<ReachedSegment>,
}

impl PermitRule<'_> {
    /// Whether it speaks of the gateway itself, and of nothing else.
    pub(super) fn for_gateway_only(&self) -> bool {
        let to = self.rule.to.as_ref();
        to.is_some_and(|to| to.iter().all(|party| *party == RuleParty::Gateway))
    }

    /// Whether it speaks of the gateway itself too.
    pub(super) fn for_gateway(&self) -> bool {
        let to = self.rule.to.as_ref();
        to.is_none_or(|to| to.contains(&RuleParty::Gateway))
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
}
