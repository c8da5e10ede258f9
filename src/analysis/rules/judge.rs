//! What the questions about a rule list share: the rules, what was looked up, and what may still be spent.

use std::cell::RefCell;
use std::ops::Range;

use boundwalk_packet::{Coverage, Meetings, PacketBox, cover_counting};

use super::effort::Effort;
use super::space::{Owner, RuleSpace};

/// Answers questions about the rules of one gateway, within bounds.
#[derive(Debug)]
pub struct Judge<'s, 'n> {
    pub(super) space: &'s RuleSpace<'n>,
    pub(super) effort: Effort,
    meetings: RefCell<Meetings<'s>>,
}

impl<'s, 'n> Judge<'s, 'n> {
    /// Nothing is spent yet.
    pub fn new(space: &'s RuleSpace<'n>, effort: Effort) -> Self {
        Self {
            space,
            effort,
            meetings: RefCell::new(Meetings::new(&space.index)),
        }
    }

    /// Looks that may still be spent.
    pub fn left(&self) -> usize {
        self.effort.left()
    }

    /// Is every packet of `target` held by a box before `before` that counts? Only rules are asked; translations
    /// always count.
    pub(super) fn cover(
        &self,
        target: &PacketBox,
        before: usize,
        counts: impl Fn(usize) -> bool,
    ) -> Coverage {
        let counts = |number: usize| match self.space.owners[number] {
            Owner::Rule(rule) => counts(rule),
            Owner::Translation(_) => true,
        };
        let (boxes, index, cuts) = (&self.space.boxes, &self.space.index, self.effort.cuts());
        let mut spent = 0;
        let coverage = cover_counting(target, boxes, index, before, counts, cuts, &mut spent);
        self.effort.spend(spent);
        coverage
    }

    /// Boxes of rules within a range of numbers that share packets with a box, ascending, with their rules.
    pub(super) fn meeting(
        &self,
        packets: &PacketBox,
        numbers: Range<usize>,
    ) -> Vec<(usize, usize)> {
        let found = self.all_meeting(packets, numbers).into_iter();
        let with_rule = |number| Some((number, self.space.rule_of(number)?));
        found.filter_map(with_rule).collect()
    }

    /// All boxes within a range of numbers that share packets with a box, ascending.
    pub(super) fn all_meeting(&self, packets: &PacketBox, numbers: Range<usize>) -> Vec<usize> {
        self.meetings.borrow_mut().of(packets, numbers)
    }

    /// Later rules that share packets with a rule, ascending.
    pub(super) fn later_meeting(&self, rule: usize) -> Vec<usize> {
        let own = self.space.of_rule(rule);
        let end = self.space.boxes.len();
        let mut rules: Vec<usize> = own
            .clone()
            .flat_map(|number| self.meeting(&self.space.boxes[number], own.end..end))
            .map(|(_, rule)| rule)
            .collect();
        rules.sort_unstable();
        rules.dedup();
        rules
    }
}
