//! One rule: what it decides, who hides it, what it hides, and which pairs of segments it opens.

use crate::{By, Cell, Endpoint, Matrix, Question, Reading};
use boundwalk_forwarding::Network;
use boundwalk_model::Family;
use boundwalk_packet::ClassSet;

use super::gateway_review::GatewayReview;
use super::judge::Judge;
use super::pairs::{Rank, RulePair};
use super::review::RuleStatus;
use super::shares::Shares;

/// Later rules that are looked at for what a rule takes of them.
const MOST_LATER: usize = 500;
/// Segments up to which the matrix is asked which pairs a rule opens.
const MOST_SEGMENTS: usize = 400;

/// A later rule that loses packets to a rule.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Hidden {
    /// The later rule, by number.
    pub rule: usize,
    /// How much of it the rule takes, in thousandths of what it names in the family where that is most.
    pub permille: u32,
    /// Whether nothing is left of the later rule, by this rule alone or with others.
    pub dead: bool,
}

/// A pair of parties through which packets pass that a rule permits, in one family.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Opened {
    /// The family.
    pub family: Family,
    /// Who sends.
    pub from: Endpoint,
    /// Who receives.
    pub to: Endpoint,
    /// What passes there, by whatever rules.
    pub services: ClassSet,
}

/// All about one rule.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct RuleSheet {
    /// The rule, by number.
    pub rule: usize,
    /// What it decides, and what earlier rules take of it.
    pub shares: Shares,
    /// Later rules that lose packets to it, ascending.
    pub hides: Vec<Hidden>,
    /// Whether those are all.
    pub all_hidden: bool,
    /// Pairs with a rule of another action where the order matters.
    pub pairs: Vec<RulePair>,
    /// Cells of the matrix by segment that it has a part in; `None` where the site has too many segments to ask.
    pub opens: Option<Vec<Opened>>,
}

impl RuleSheet {
    /// Looks at one rule. Cost: its share and those of the later rules that it meets, and a matrix by segment in each
    /// family for a permit.
    #[must_use]
    pub fn new(network: &Network<'_>, gateway_review: &GatewayReview<'_>, rule: usize) -> Self {
        let judge = Judge::new(&gateway_review.space, gateway_review.space.effort());
        let (hides, all_hidden) = hides(&judge, gateway_review, rule);
        let pairs = gateway_review.pairs.pairs.iter().copied();
        Self {
            rule,
            shares: judge.shares(rule),
            hides,
            all_hidden,
            pairs: pairs
                .filter(|pair| pair.rank != Rank::Idle)
                .filter(|pair| pair.first == rule || pair.second == rule)
                .collect(),
            opens: opens(network, gateway_review, rule),
        }
    }
}

fn hides(
    judge: &Judge<'_, '_>,
    gateway_review: &GatewayReview<'_>,
    rule: usize,
) -> (Vec<Hidden>, bool) {
    let later = judge.later_meeting(rule);
    let mut hidden = Vec::new();
    for &other in later.iter().take(MOST_LATER) {
        let shares = judge.shares(other);
        let lost = shares.families.iter().filter_map(|share| {
            let mut taken = share.taken.iter();
            let (_, size) = taken.find(|(taker, _)| *taker == rule)?;
            Some(share.permille(size))
        });
        if let Some(permille) = lost.max() {
            hidden.push(Hidden {
                rule: other,
                permille,
                dead: matches!(gateway_review.review.rules[other], RuleStatus::Dead(_)),
            });
        }
    }
    (hidden, later.len() <= MOST_LATER)
}

/// The cells in which a rule lets something pass.
fn opens(
    network: &Network<'_>,
    gateway_review: &GatewayReview<'_>,
    rule: usize,
) -> Option<Vec<Opened>> {
    if network.site.segments.len() > MOST_SEGMENTS {
        return None;
    }
    let mut opened = Vec::new();
    let permits = |cell: &Cell| {
        cell.reading == Reading::Pair && cell.rules.contains(&(gateway_review.id, Some(rule)))
    };
    for family in Family::ALL {
        let question = Question::all(By::Segment, family, false);
        let matrix = Matrix::new(network, &question, &mut |_, _| {});
        for (&from, cells) in matrix.rows.iter().zip(&matrix.cells) {
            let these = cells
                .iter()
                .zip(&matrix.columns)
                .filter(|(cell, _)| permits(cell));
            opened.extend(these.map(|(cell, &to)| Opened {
                family,
                from,
                to,
                services: ClassSet::clone(&cell.some),
            }));
        }
    }
    Some(opened)
}
