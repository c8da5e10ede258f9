//! Whether more rules could go than were found: a proof that each rule that stays must stay.

use boundwalk_packet::{Coverage, Mask, PacketBox};

use super::judge::Judge;

/// Rules from which on no proof is tried: it takes a cover or more for each.
const MOST_RULES: usize = 3_000;

impl Judge<'_, '_> {
    /// Whether every list of some of the rules that decides each packet as the whole list does holds all that stay
    /// here. Then what is gone is the largest set that can go, and the only one of its size.
    ///
    /// `false`: not so, or not proved. Rules are proved one after the other: who must stay helps to prove the next.
    pub(super) fn all_must_stay(&self, gone: &Mask) -> bool {
        let count = self.space.filter.rules.len();
        let mut must = Mask::none(count);
        let mut open: Vec<usize> = (0..count).filter(|&rule| !gone.contains(rule)).collect();
        if open.len() > MOST_RULES {
            return false;
        }
        while !open.is_empty() {
            let proved: Vec<usize> = open
                .iter()
                .copied()
                .filter(|&rule| self.must_stay(rule, &must))
                .collect();
            if proved.is_empty() {
                return false;
            }
            proved.iter().for_each(|&rule| must.insert(rule));
            open.retain(|&rule| !must.contains(rule));
        }
        true
    }

    /// Whether a rule decides a packet that without it is decided otherwise, whatever else goes but those that must
    /// stay: by the first of these, by a rule before it with another action than this one's, or by the default.
    fn must_stay(&self, rule: usize, must: &Mask) -> bool {
        let (space, action) = (self.space, self.space.action(rule));
        let end = space.boxes.len();
        space.of_rule(rule).any(|own| {
            let packets = &space.boxes[own];
            if space.filter.default.value != action && self.alone_before(rule, packets, end) {
                return true;
            }
            let later = self
                .meeting(packets, space.of_rule(rule).end..end)
                .into_iter();
            let mut other = later.filter(|&(_, later)| must.contains(later));
            other.any(|(number, later)| {
                let both = packets.intersection(&space.boxes[number]);
                let both = both.filter(|_| space.action(later) != action);
                both.is_some_and(|both| self.alone_before(rule, &both, number))
            })
        })
    }

    /// Whether some packet of a rule is decided by it, and before a box no other rule with its action holds it.
    fn alone_before(&self, rule: usize, packets: &PacketBox, before: usize) -> bool {
        let action = self.space.action(rule);
        let counts =
            |other: usize| other < rule || other > rule && self.space.action(other) == action;
        matches!(self.cover(packets, before, counts), Coverage::Witness(_))
    }
}
