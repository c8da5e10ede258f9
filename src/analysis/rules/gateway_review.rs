//! Everything about the rules of one gateway, worked out once.

use boundwalk_forwarding::Network;
use boundwalk_model::{Router, RouterId, Rule};

use super::complexity::Complexity;
use super::judge::Judge;
use super::pairs::RulePairs;
use super::review::{RuleReview, RuleStatus, Without};
use super::space::RuleSpace;

/// The rules of one gateway, looked at.
#[derive(Debug)]
#[non_exhaustive]
pub struct GatewayReview<'n> {
    /// The gateway.
    pub id: RouterId,
    /// Its description.
    pub router: &'n Router,
    /// Its rules, in order.
    pub rules: &'n [Rule],
    /// The packets that can arrive there and leave, and which rules name them.
    pub space: RuleSpace<'n>,
    /// What each rule does.
    pub review: RuleReview,
    /// Pairs of rules whose order matters.
    pub pairs: RulePairs,
    /// How hard the list is to keep in one's head.
    pub complexity: Complexity,
}

/// How many rules of a gateway are what.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[non_exhaustive]
pub struct Tally {
    /// Rules of any kind.
    pub rules: usize,
    /// Disabled or expired.
    pub off: usize,
    /// No packet can match them.
    pub irrelevant: usize,
    /// Earlier rules do the opposite.
    pub dead: usize,
    /// Earlier rules say the same.
    pub repeated: usize,
    /// Without them nothing would change.
    pub redundant: usize,
    /// A limit was met before it could be said.
    pub unknown: usize,
}

/// The reviews of all gateways, in the order of the site. Cost: that of [`RuleReview::new`] and [`RulePairs::new`] for
/// each, within [`RuleSpace::effort`].
pub fn gateway_reviews<'n>(network: &'n Network<'n>) -> Vec<GatewayReview<'n>> {
    (0..network.site.routers.len())
        .map(RouterId)
        .filter_map(|id| GatewayReview::new(network, id))
        .collect()
}

impl<'n> GatewayReview<'n> {
    /// Looks at the rules of a gateway; `None` for a router that does not filter.
    #[must_use]
    pub fn new(network: &'n Network<'n>, id: RouterId) -> Option<Self> {
        let space = RuleSpace::new(network, id)?;
        let router = network.site.router(id);
        let rules = &router.filter()?.rules;
        let (review, pairs) = {
            let judge = Judge::new(&space, space.effort());
            (RuleReview::new(&judge), RulePairs::new(&judge))
        };
        Some(Self {
            id,
            router,
            rules,
            space,
            review,
            pairs,
            complexity: Complexity::new(router),
        })
    }

    /// Counts the rules by what they are.
    #[must_use]
    pub fn tally(&self) -> Tally {
        let mut tally = Tally {
            rules: self.rules.len(),
            ..Tally::default()
        };
        for status in &self.review.rules {
            let count = match status {
                RuleStatus::Off => &mut tally.off,
                RuleStatus::Irrelevant => &mut tally.irrelevant,
                RuleStatus::Dead(dead) if dead.against.is_some() => &mut tally.dead,
                RuleStatus::Dead(_) => &mut tally.repeated,
                RuleStatus::Decides {
                    without: Without::Same { .. },
                    ..
                } => &mut tally.redundant,
                RuleStatus::Decides {
                    without: Without::Changed(_),
                    ..
                } => continue,
                RuleStatus::Decides { .. } | RuleStatus::Unknown => &mut tally.unknown,
            };
            *count += 1;
        }
        tally
    }

    /// The number of a rule by its name.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.rules.iter().position(|rule| rule.name.value == name)
    }
}
