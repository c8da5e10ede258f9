//! Pairs of rules whose order matters: different actions on packets that both name.

use boundwalk_model::{Action, Rule, Service, ServiceMatch};
use boundwalk_packet::{Coverage, Point};

use super::judge::Judge;
use super::packet::RulePacket;

/// Pairs from which on the search ends.
pub const MOST_PAIRS: usize = 20_000;

/// Pairs whose order does not matter that are listed; more are only counted.
const MOST_IDLE: usize = 2_000;

/// How the packets of two rules with different actions relate, the earlier rule first.
///
/// After the relations of papers on rule anomalies (*Modeling and Management of Firewall Policies*, IEEE TNSM 1, 2004;
/// definitions read in programs that follow it), asked of sets of packets that can
/// really arrive rather than of single fields. That the earlier rule holds all packets of the later one is no
/// relation here: then the later one is dead.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Relation {
    /// Each has packets that the other does not name.
    Correlated,
    /// The later rule names everything that the earlier one does, and more: the earlier one is an exception to it.
    Generalises,
}

/// How much a pair is worth a look, the most first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Rank {
    /// A permit takes packets that a later, specific denial names too: the denial does not hold for them.
    Pierced,
    /// A denial takes packets that a later permit names too.
    Narrowed,
    /// An exception before a more general rule.
    Exception,
    /// The later rule denies whatever is left of what somebody sends or is sent: a rule of that kind is meant to come
    /// last.
    Backstop,
    /// Other rules decide all that the two share, or would: these two may change places.
    Idle,
}

/// Two rules whose order matters.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct RulePair {
    /// The earlier rule, by number: it decides the packet, unless the pair is [`Rank::Idle`].
    pub first: usize,
    /// The later rule: it would decide the packet if the first were not there, unless the pair is [`Rank::Idle`].
    pub second: usize,
    /// How their packets relate.
    pub relation: Relation,
    /// How much the pair is worth a look.
    pub rank: Rank,
    /// A packet that both name, and on which the order matters where it does on any.
    pub packet: RulePacket,
}

/// All pairs of rules of a gateway that do different things with packets that both name.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct RulePairs {
    /// Those most worth a look first, then by rule. Not all of those whose order does not matter.
    pub pairs: Vec<RulePair>,
    /// How many there are whose order does not matter.
    pub idle: usize,
    /// How many there are whose order matters.
    pub mattering: usize,
    /// Whether all pairs were looked at, within the bounds.
    pub complete: bool,
}

impl RulePairs {
    /// Looks at each rule with the later rules of another action that share packets with it.
    ///
    /// Cost: a cover for each such pair; the search ends at [`MOST_PAIRS`] and where the effort does.
    pub fn new(judge: &Judge<'_, '_>) -> Self {
        let mut found = Self {
            complete: true,
            ..Self::default()
        };
        for first in 0..judge.space.filter.rules.len() {
            if !found.add(judge, first) {
                found.complete = false;
                break;
            }
        }
        let key = |pair: &RulePair| (pair.rank, pair.first, pair.second);
        found.pairs.sort_by_key(key);
        found
    }

    /// The pairs of an earlier rule; whether the search may go on.
    fn add(&mut self, judge: &Judge<'_, '_>, first: usize) -> bool {
        let space = judge.space;
        let mut seconds = judge.later_meeting(first);
        seconds.retain(|&second| space.action(second) != space.action(first));
        for second in seconds {
            if self.mattering == MOST_PAIRS || judge.left() == 0 {
                return false;
            }
            match judge.pair(first, second) {
                Found::Matters(pair) => {
                    self.mattering += 1;
                    self.pairs.push(pair);
                }
                Found::Idle(pair) => {
                    self.idle += 1;
                    if self.idle <= MOST_IDLE {
                        self.pairs.push(pair);
                    }
                }
                Found::Unknown => self.complete = false,
                Found::Dead => {}
            }
        }
        true
    }
}

enum Found {
    Matters(RulePair),
    /// Others decide what they share.
    Idle(RulePair),
    /// They share nothing, or the earlier rule names everything that the later one does.
    Dead,
    Unknown,
}

impl Judge<'_, '_> {
    fn pair(&self, first: usize, second: usize) -> Found {
        if self.within(second, first) {
            return Found::Dead;
        }
        let relation = if self.within(first, second) {
            Relation::Generalises
        } else {
            Relation::Correlated
        };
        let (space, mut unknown) = (self.space, false);
        let mut shared = None;
        for mine in space.of_rule(first) {
            for theirs in space.of_rule(second) {
                let Some(both) = space.boxes[mine].intersection(&space.boxes[theirs]) else {
                    continue;
                };
                let pair = |rank, point: Point| RulePair {
                    first,
                    second,
                    relation,
                    rank,
                    packet: space.packet(&point),
                };
                match self.cover(&both, theirs, |rule| rule != first) {
                    Coverage::Witness(point) => {
                        return Found::Matters(pair(self.rank(first, second, relation), point));
                    }
                    Coverage::Covered { .. } => {
                        shared = shared.or(both.lowest().map(|point| pair(Rank::Idle, point)));
                    }
                    Coverage::Unknown { .. } => unknown = true,
                }
            }
        }
        match shared {
            Some(pair) if !unknown => Found::Idle(pair),
            None if !unknown => Found::Dead,
            _ => Found::Unknown,
        }
    }

    /// Whether each box of a rule lies in one of another.
    fn within(&self, inner: usize, outer: usize) -> bool {
        let space = self.space;
        space.of_rule(inner).all(|mine| {
            let mut theirs = space.of_rule(outer);
            theirs.any(|theirs| space.boxes[mine].is_subset(&space.boxes[theirs]))
        })
    }

    fn rank(&self, first: usize, second: usize, relation: Relation) -> Rank {
        let rules = &self.space.filter.rules;
        if is_backstop(&rules[second]) {
            return Rank::Backstop;
        }
        match (relation, self.space.action(first)) {
            (Relation::Generalises, _) => Rank::Exception,
            (Relation::Correlated, Action::Permit) => Rank::Pierced,
            (Relation::Correlated, _) => Rank::Narrowed,
        }
    }
}

/// Whether a rule denies whatever is left of what some parties send, or of what some are sent: no addresses, no
/// services, and not both from somebody and to somebody. Such a rule is meant to come last.
pub fn is_backstop(rule: &Rule) -> bool {
    let any = |services: &ServiceMatch| services.services.contains(&Service::Any);
    let limited = rule.source.is_some()
        || rule.destination.is_some()
        || rule
            .services
            .as_ref()
            .is_some_and(|services| !any(services));
    let between = rule.from.is_some() && rule.to.is_some();
    rule.action.value != Action::Permit && !limited && !between
}

/// Whether a rule denies everything that is left: it stays, whatever the rules before it do today.
pub fn denies_the_rest(rule: &Rule) -> bool {
    is_backstop(rule) && rule.from.is_none() && rule.to.is_none()
}
