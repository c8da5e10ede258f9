//! What a test of a network has to touch.

use boundwalk_forwarding::Network;
use boundwalk_model::{Family, RouterId, SegmentId};

use super::super::deciders::rule_name;

/// Something that a probe is to show.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Obligation {
    /// A permitting rule lets a packet pass that then arrives, or lets its reply pass.
    Permits {
        /// The gateway.
        router: RouterId,
        /// Number of the rule in its list.
        rule: usize,
        /// The family of the packet.
        family: Family,
    },
    /// A packet from one segment to another does not arrive.
    Stops {
        /// Where it is sent.
        from: SegmentId,
        /// Whose address it is for.
        to: SegmentId,
        /// Its family.
        family: Family,
    },
    /// Of a segment that claims isolation: a packet that is sent there arrives nowhere else.
    NothingLeaves(SegmentId, Family),
    /// Of a segment that claims isolation: a packet that is sent elsewhere does not arrive there.
    NothingEnters(SegmentId, Family),
    /// A denying rule decides. Nice to have: never the reason for a probe.
    Denies {
        /// The gateway.
        router: RouterId,
        /// Number of the rule in its list.
        rule: usize,
        /// The family of the packet.
        family: Family,
    },
}

impl Obligation {
    /// Whether a plan has to touch it.
    pub fn required(self) -> bool {
        !matches!(self, Self::Denies { .. })
    }
}

/// An obligation in words, such as `edge rule 3 "guest web" permits, IPv4`.
pub fn obligation_text(network: &Network<'_>, obligation: Obligation) -> String {
    let name = |segment: SegmentId| &network.site.segment(segment).name.value;
    match obligation {
        Obligation::Permits {
            router,
            rule,
            family,
        } => {
            let rule = rule_name(network, router, Some(rule));
            format!("{rule} permits, {}", family.word())
        }
        Obligation::Denies {
            router,
            rule,
            family,
        } => {
            let rule = rule_name(network, router, Some(rule));
            format!("{rule} denies, {}", family.word())
        }
        Obligation::Stops { from, to, family } => {
            let (from, to) = (name(from), name(to));
            format!("{from} to {to} is stopped, {}", family.word())
        }
        Obligation::NothingLeaves(segment, family) => {
            format!("nothing leaves {}, {}", name(segment), family.word())
        }
        Obligation::NothingEnters(segment, family) => {
            format!("nothing enters {}, {}", name(segment), family.word())
        }
    }
}
