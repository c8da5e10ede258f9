//! Rules that never decide a packet, and what covers them.

use crate::analysis::cut::cut;
use crate::packet::{Coverage, Point};

use super::judge::Judge;
use super::space::{Owner, RulePacket};

/// Rounds in which a smaller set of covering rules is looked for.
const ROUNDS: usize = 64;

/// Whether a rule ever decides.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Life {
    /// It decides this packet, the lowest of all those that it decides.
    Decides(Point),
    /// Earlier boxes cover it.
    Covered(Vec<usize>),
    /// A limit was met.
    Unknown,
}

/// A rule that never decides a packet, because earlier rules decide them all.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Dead {
    /// Earlier rules that together cover it, by number.
    pub by: Vec<usize>,
    /// Whether no smaller set of earlier rules covers it.
    pub smallest: bool,
    /// Destination translations that take a part of it away before the rules see it.
    pub translations: Vec<usize>,
    /// A packet of it that an earlier rule decides otherwise; `None`: the earlier rules do as it says.
    pub against: Option<Against>,
    /// Whether that is known.
    pub judged: bool,
}

/// A packet that a rule names and an earlier one decides otherwise.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Against {
    /// The earlier rule.
    pub rule: usize,
    /// The packet.
    pub packet: RulePacket,
}

impl Judge<'_, '_> {
    /// Does a rule ever decide?
    pub(super) fn life(&self, rule: usize) -> Life {
        let before = self.space.of_rule(rule).start;
        let mut by = Vec::new();
        let mut unknown = false;
        for number in self.space.of_rule(rule) {
            match self.cover(&self.space.boxes[number], before, |_| true) {
                Coverage::Witness(point) => return Life::Decides(point),
                Coverage::Covered { by: more } => by.extend(more),
                Coverage::Unknown { .. } => unknown = true,
            }
        }
        by.sort_unstable();
        by.dedup();
        match unknown {
            true => Life::Unknown,
            false => Life::Covered(by),
        }
    }

    /// What there is to say of a rule that boxes cover.
    pub(super) fn dead(&self, rule: usize, by: &[usize]) -> Dead {
        let mut rules: Vec<usize> = by.iter().filter_map(|&at| self.space.rule_of(at)).collect();
        rules.dedup();
        let translations = by.iter().filter_map(|&at| match self.space.owners[at] {
            Owner::Translation(line) => Some(line),
            Owner::Rule(_) => None,
        });
        let mut translations: Vec<usize> = translations.collect();
        translations.dedup();
        let (by, smallest) = match rules.len() {
            0 | 1 => (rules, true),
            _ => self.fewest(rule, rules),
        };
        let (against, judged) = self.against(rule, &by);
        Dead {
            by,
            smallest,
            translations,
            against,
            judged,
        }
    }

    /// The smallest set of earlier rules that covers a rule, given one that does; and whether it is proved smallest.
    ///
    /// A set covers exactly when it meets the holders of every packet. The smallest set that meets those of the
    /// packets known so far is tried; a packet that it leaves open is one more to meet.
    fn fewest(&self, rule: usize, known: Vec<usize>) -> (Vec<usize>, bool) {
        let before = self.space.of_rule(rule).start;
        let mut failed = false;
        let mut open = |set: &[usize]| {
            for number in self.space.of_rule(rule) {
                let counts = |earlier: usize| set.contains(&earlier);
                match self.cover(&self.space.boxes[number], before, counts) {
                    Coverage::Covered { .. } => {}
                    Coverage::Witness(point) => return vec![self.rules_holding(&point, before)],
                    Coverage::Unknown { .. } => failed = true,
                }
            }
            Vec::new()
        };
        let found = cut(&|_| 1, &mut open, 1, ROUNDS);
        match found.and_then(|found| {
            found
                .sets
                .into_iter()
                .next()
                .map(|set| (set, found.smallest))
        }) {
            Some((set, smallest)) if !failed && set.len() <= known.len() => (set, smallest),
            _ => (known, false),
        }
    }

    /// Rules with a box before `before` that holds a point, ascending.
    fn rules_holding(&self, point: &Point, before: usize) -> Vec<usize> {
        let holders = self.space.index.holders(point).into_iter();
        let holders = holders.take_while(|&number| number < before);
        let mut rules: Vec<usize> = holders.filter_map(|at| self.space.rule_of(at)).collect();
        rules.dedup();
        rules
    }

    /// A packet of a dead rule that is decided otherwise than the rule says, and whether the answer is sure.
    ///
    /// The covering rules are no help beyond a first guess: rules before them may decide.
    fn against(&self, rule: usize, by: &[usize]) -> (Option<Against>, bool) {
        let action = self.space.action(rule);
        let other = |earlier: &usize| self.space.action(*earlier) != action;
        let mut asked: Vec<usize> = by.iter().copied().filter(other).collect();
        let mut sure = true;
        let mut all = false;
        loop {
            for &earlier in &asked {
                match self.first_of(rule, earlier) {
                    Some(Coverage::Witness(point)) => {
                        let packet = self.space.packet(&point);
                        let against = Against {
                            rule: earlier,
                            packet,
                        };
                        return (Some(against), true);
                    }
                    Some(Coverage::Unknown { .. }) => sure = false,
                    _ => {}
                }
            }
            if all {
                return (None, sure);
            }
            all = true;
            asked = self.earlier_meeting(rule);
            asked.retain(other);
        }
    }

    /// Is there a packet of both rules that the earlier one decides? `None` where they do not meet.
    fn first_of(&self, rule: usize, earlier: usize) -> Option<Coverage> {
        let before = self.space.of_rule(earlier).start;
        let mut answer = None;
        for mine in self.space.of_rule(rule) {
            for theirs in self.space.of_rule(earlier) {
                let Some(both) = self.space.boxes[mine].intersection(&self.space.boxes[theirs])
                else {
                    continue;
                };
                match self.cover(&both, before, |_| true) {
                    found @ Coverage::Witness(_) => return Some(found),
                    Coverage::Covered { .. } if answer.is_some() => {}
                    other => answer = Some(other),
                }
            }
        }
        answer
    }

    /// Earlier rules that share packets with a rule, ascending.
    fn earlier_meeting(&self, rule: usize) -> Vec<usize> {
        let before = self.space.of_rule(rule).start;
        let boxes = self.space.of_rule(rule);
        let mut rules: Vec<usize> = boxes
            .flat_map(|number| self.meeting(&self.space.boxes[number], 0..before))
            .map(|(_, rule)| rule)
            .collect();
        rules.sort_unstable();
        rules.dedup();
        rules
    }
}
