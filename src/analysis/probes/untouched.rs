//! What no probe can touch, and why.

use crate::rules::{Judge, RuleReview, RuleSpace, RuleStatus};
use boundwalk_forwarding::Network;
use boundwalk_model::{Action, Family, RouterId};

use super::candidate::Refused;
use super::obligation::Obligation;
use super::predict::Unpredictable;

/// Why no probe touches something.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Why {
    /// The rule decides nothing: earlier rules decide all that it names, or nothing of it can arrive.
    Idle,
    /// No packet of an honest device that it decides arrives anywhere.
    NobodySends,
    /// Nobody can send or listen there: no described device has such an address, and no test device may have it.
    NoDevice,
    /// It depends on which of several routers the sender uses.
    DependsOnRouter,
    /// A device on the way knows its next hop only if that one has asked for it.
    DependsOnRequest,
    /// An address is several devices', or several routes may be used, and it depends on which.
    DependsOnFault,
    /// The segment has no addresses, or no other segment has.
    NoAddresses,
    /// A limit was met before all was looked at.
    Unknown,
}

/// An obligation that no probe touches.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Untouched {
    /// What is not touched.
    pub obligation: Obligation,
    /// Why not.
    pub why: Why,
}

/// The reason in words.
pub fn why_text(why: Why) -> &'static str {
    match why {
        Why::Idle => {
            "it decides nothing: earlier rules decide all that it names, or nothing of it can arrive"
        }
        Why::NobodySends => {
            "nothing arrives by it that an honest device sends: only forged sources match, or it is stopped further on"
        }
        Why::NoDevice => {
            "no device can send it or listen for it: every address is the first or last of its prefix, or no described \
             device has one"
        }
        Why::DependsOnRouter => {
            "devices there may use several routers, and what happens depends on which"
        }
        Why::DependsOnRequest => {
            "the sender hears one VLAN of its gateway and is heard by another: it knows where to send only while the \
             gateway asks for it"
        }
        Why::DependsOnFault => {
            "several devices have one address on the way, or several routes may be used, and what happens depends on which"
        }
        Why::NoAddresses => "there is no address to send from or to",
        Why::Unknown => "a limit was met before all packets were looked at",
    }
}

impl From<Refused> for Why {
    fn from(refused: Refused) -> Self {
        match refused {
            Refused::Unpredictable(Unpredictable::DependsOnRouter) => Self::DependsOnRouter,
            Refused::Unpredictable(Unpredictable::DependsOnRequest) => Self::DependsOnRequest,
            Refused::Unpredictable(Unpredictable::DependsOnFault) => Self::DependsOnFault,
            Refused::Unpredictable(_) | Refused::NoDevice => Self::NoDevice,
        }
    }
}

/// Every active permitting rule that can match a family, with whether it is idle.
pub(super) fn permitting(network: &Network<'_>, families: &[Family]) -> Vec<(Obligation, bool)> {
    let mut found = Vec::new();
    for router in (0..network.site.routers.len()).map(RouterId) {
        let Some(space) = RuleSpace::new(network, router) else {
            continue;
        };
        let review = RuleReview::new(&Judge::new(&space, space.effort()));
        for &family in families {
            for rule in of_action(network, router, family, true) {
                let status = &review.rules[rule];
                let idle = matches!(status, RuleStatus::Irrelevant | RuleStatus::Dead(_));
                let permits = Obligation::Permits {
                    router,
                    rule,
                    family,
                };
                found.push((permits, idle));
            }
        }
    }
    found
}

/// How many active rules deny and can match one of some families, each family apart.
pub(super) fn denying(network: &Network<'_>, families: &[Family]) -> usize {
    let counts = (0..network.site.routers.len())
        .map(RouterId)
        .flat_map(|router| {
            families
                .iter()
                .map(move |&family| of_action(network, router, family, false).count())
        });
    counts.sum()
}

/// Active rules of a gateway that can match a family and permit, or do not.
fn of_action<'n>(
    network: &'n Network<'_>,
    router: RouterId,
    family: Family,
    permit: bool,
) -> impl Iterator<Item = usize> + 'n {
    let plan = network.plan(family);
    let filter = plan.device(plan.router_index(router)).filter.as_ref();
    let active = filter.map_or(&[][..], |filter| &filter.rules);
    let rules = network.site.router(router).filter();
    let rules = rules.map_or(&[][..], |filter| &filter.rules);
    let wanted = move |&rule: &usize| (rules[rule].action.value == Action::Permit) == permit;
    active.iter().copied().filter(wanted)
}
