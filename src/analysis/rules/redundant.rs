//! Rules that may go without changing what is done with any packet.

use boundwalk_packet::{Coverage, Mask, PacketBox, Point};

use super::judge::Judge;

/// Whether a rule is needed.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum Use {
    /// Without it this packet would be decided otherwise.
    Needed(Point),
    /// Without it every packet is decided the same; that rests on these other rules, ascending.
    Spare(Vec<usize>),
    /// A limit was met.
    Unknown,
}

impl Judge<'_, '_> {
    /// Is a rule needed, in the list without the rules that are gone? `decides` is a packet that it decides there, if
    /// one is known.
    ///
    /// It is, exactly if a later rule with another action, or the default, would come to decide one of its packets.
    pub(super) fn use_of(&self, rule: usize, decides: Option<&Point>, gone: &Mask) -> Use {
        if let Some(point) = decides
            && self.differs_without(rule, point, gone)
        {
            return Use::Needed(*point);
        }
        let mut search = Search {
            judge: self,
            rule,
            gone,
            by: Vec::new(),
            unknown: false,
        };
        for number in self.space.of_rule(rule) {
            if let Some(point) = search.changed(&self.space.boxes[number]) {
                return Use::Needed(point);
            }
        }
        if search.unknown {
            return Use::Unknown;
        }
        search.by.sort_unstable();
        search.by.dedup();
        Use::Spare(search.by)
    }

    /// Whether a packet that a rule decides would be decided otherwise without it.
    fn differs_without(&self, rule: usize, point: &Point, gone: &Mask) -> bool {
        let mut later = self
            .space
            .index
            .holders(point)
            .into_iter()
            .filter_map(|number| self.space.rule_of(number));
        let next = later.find(|&other| other > rule && !gone.contains(other));
        let then = next.map_or(self.space.filter.default.value, |next| {
            self.space.action(next)
        });
        then != self.space.action(rule)
    }
}

struct Search<'j, 's, 'n> {
    judge: &'j Judge<'s, 'n>,
    rule: usize,
    gone: &'j Mask,
    by: Vec<usize>,
    unknown: bool,
}

impl Search<'_, '_, '_> {
    /// A packet of a box of the rule that would be decided otherwise without the rule.
    fn changed(&mut self, packets: &PacketBox) -> Option<Point> {
        let space = self.judge.space;
        let action = space.action(self.rule);
        let after = space.of_rule(self.rule).end;
        for (number, later) in self.judge.meeting(packets, after..space.boxes.len()) {
            if self.gone.contains(later) {
                continue;
            }
            if space.action(later) == action {
                if packets.is_subset(&space.boxes[number]) {
                    self.by.push(later);
                    return None;
                }
                continue;
            }
            if let Some(both) = packets.intersection(&space.boxes[number])
                && let Some(point) = self.open(&both, number)
            {
                return Some(point);
            }
        }
        if space.filter.default.value == action {
            None
        } else {
            self.open(packets, space.boxes.len())
        }
    }

    /// A packet that no other rule before a box holds.
    fn open(&mut self, packets: &PacketBox, before: usize) -> Option<Point> {
        let counts = |other: usize| other != self.rule && !self.gone.contains(other);
        match self.judge.cover(packets, before, counts) {
            Coverage::Witness(point) => Some(point),
            Coverage::Covered { by } => {
                let rules = by
                    .into_iter()
                    .filter_map(|number| self.judge.space.rule_of(number));
                self.by.extend(rules);
                None
            }
            Coverage::Unknown { .. } => {
                self.unknown = true;
                None
            }
        }
    }
}
