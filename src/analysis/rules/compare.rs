//! Do two rule lists of a gateway decide every packet alike?

use boundwalk_model::{Action, Rule};
use boundwalk_packet::{Coverage, Meetings, PacketBox, RuleIndex, cover_counting};

use super::effort::Effort;
use super::packet::RulePacket;
use super::rule_boxes::RuleBoxes;
use super::space::{Owner, RuleSpace};

/// A rule of the second list.
#[derive(Clone, Debug)]
pub enum After {
    /// The rule of that number in the first list, as it is.
    Kept(usize),
    /// A rule that is new or changed. Its addresses and services are unions of those in the first list.
    Changed(Box<Rule>),
}

/// What a comparison came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Comparison {
    /// Every packet that can arrive and leave is decided alike.
    Same,
    /// This one is not.
    Differs(RulePacket),
    /// A limit was met.
    Unknown,
}

impl RuleSpace<'_> {
    /// Compares the list of this gateway with another one for it, both with the same default.
    ///
    /// Kept rules must come in their order. A packet that is decided by kept rules in both lists is decided by the
    /// same one, so only what removed and changed rules decide is looked at: for each of those and each rule of the
    /// other list with another action, is what both name decided earlier in one of the lists?
    pub fn compare(&self, after: &[After], effort: &Effort) -> Comparison {
        let lists = Lists::new(self, after);
        let mut meetings = Meetings::new(&lists.index);
        let mut unknown = false;
        for changed in lists.changed() {
            let line = &lists.lines[changed];
            for other in meetings.of(&line.packets, 0..lists.lines.len()) {
                match lists.alike(changed, other, effort) {
                    Coverage::Covered { .. } => {}
                    Coverage::Witness(point) => return Comparison::Differs(self.packet(&point)),
                    Coverage::Unknown { .. } => unknown = true,
                }
            }
        }
        if unknown {
            Comparison::Unknown
        } else {
            Comparison::Same
        }
    }

    /// The boxes of a rule that need not be in the list, but says nothing that the list does not.
    fn boxes_of(&self, rule: &Rule) -> Vec<PacketBox> {
        let mut boxes = Vec::new();
        RuleBoxes::new(&self.universe).add(rule, &mut boxes);
        boxes
    }
}

/// A box of one of the lists or both, with its place in each.
struct Entry {
    packets: PacketBox,
    action: Action,
    /// Place of its rule in the first list, from 1; 0 where translations take it before.
    first: usize,
    /// Place in the second.
    second: usize,
}

/// Place of a rule in a list that does not have it.
const NOWHERE: usize = usize::MAX;

struct Lists {
    lines: Vec<Entry>,
    boxes: Vec<PacketBox>,
    index: RuleIndex,
}

impl Lists {
    fn new(space: &RuleSpace<'_>, after: &[After]) -> Self {
        let count = space.filter.rules.len();
        let mut second = vec![NOWHERE; count];
        let mut lines = Vec::new();
        for (place, rule) in after.iter().enumerate() {
            match rule {
                After::Kept(number) => second[*number] = place + 1,
                After::Changed(rule) => {
                    let boxes = space.boxes_of(rule).into_iter();
                    lines.extend(boxes.map(|packets| Entry {
                        packets,
                        action: rule.action.value,
                        first: NOWHERE,
                        second: place + 1,
                    }));
                }
            }
        }
        let translated_away = space.boxes.iter().zip(&space.owners);
        lines.extend(translated_away.map(|(packets, owner)| {
            let (action, first, second) = match *owner {
                Owner::Rule(rule) => (space.action(rule), rule + 1, second[rule]),
                // The rules never see those: decided before both lists, alike.
                Owner::Translation(_) => (Action::Deny, 0, 0),
            };
            Entry {
                packets: packets.clone(),
                action,
                first,
                second,
            }
        }));
        Self::with_default(space, lines, (count + 1, after.len() + 1))
    }

    fn with_default(space: &RuleSpace<'_>, mut lines: Vec<Entry>, ends: (usize, usize)) -> Self {
        // The defaults are one more rule that holds everything, for each family.
        for packets in space.universe.everything() {
            lines.push(Entry {
                packets,
                action: space.filter.default.value,
                first: ends.0,
                second: ends.1,
            });
        }
        let boxes: Vec<PacketBox> = lines.iter().map(|line| line.packets.clone()).collect();
        let index = RuleIndex::new(&space.universe.space, &boxes);
        Self {
            lines,
            boxes,
            index,
        }
    }

    /// Lines that only one of the lists has.
    fn changed(&self) -> impl Iterator<Item = usize> + '_ {
        let one_sided = |at: &usize| {
            let line = &self.lines[*at];
            line.first == NOWHERE || line.second == NOWHERE
        };
        (0..self.lines.len()).filter(one_sided)
    }

    /// Is there no packet of a line of one list and one of the other that those decide, and differently?
    fn alike(&self, changed: usize, other: usize, effort: &Effort) -> Coverage {
        let (one, two) = (&self.lines[changed], &self.lines[other]);
        let nothing = Coverage::Covered { by: Vec::new() };
        let (first, second) = if one.second == NOWHERE {
            (one.first, two.second)
        } else {
            (two.first, one.second)
        };
        let both = one.packets.intersection(&two.packets);
        let Some(both) = both.filter(|_| one.action != two.action) else {
            return nothing;
        };
        if first == NOWHERE || second == NOWHERE {
            nothing
        } else {
            self.earlier(&both, first, second, effort)
        }
    }

    /// Is every packet of a box decided before a place in the first list or before one in the second?
    fn earlier(
        &self,
        packets: &PacketBox,
        first: usize,
        second: usize,
        effort: &Effort,
    ) -> Coverage {
        let mut spent = 0;
        let counts = |at: usize| self.lines[at].first < first || self.lines[at].second < second;
        let (boxes, index) = (&self.boxes, &self.index);
        let end = boxes.len();
        let cuts = effort.cuts();
        let coverage = cover_counting(packets, boxes, index, end, counts, cuts, &mut spent);
        effort.spend(spent);
        coverage
    }
}
