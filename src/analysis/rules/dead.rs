//! Rules that never decide a packet, and what covers them.

use boundwalk_packet::{Coverage, Point};

use super::super::cut::cut;
use super::judge::Judge;
use super::packet::RulePacket;
use super::space::Owner;

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
    /// Earlier rules that together cover it, by number; only such with its action, where those suffice.
    pub by: Vec<usize>,
    /// Whether no smaller set of such rules covers it.
    pub smallest: bool,
    /// Destination translations that take a part of it away before the rules see it.
    pub translations: Vec<usize>,
    /// A packet of it that is decided otherwise and that no earlier rule with its action names. `None`: earlier rules
    /// with its action name everything that it names, so it adds nothing to what they say.
    pub against: Option<Against>,
    /// Whether that is known.
    pub judged: bool,
}

/// A packet that a rule names and an earlier one decides otherwise.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Against {
    /// The earlier rule that decides it.
    pub rule: usize,
    /// The packet.
    pub packet: RulePacket,
}

impl Judge<'_, '_> {
    /// Does a rule ever decide?
    pub(super) fn life(&self, rule: usize) -> Life {
        self.covered(rule, &|_| true)
    }

    /// Do earlier rules of those that count, and translations, cover a rule?
    fn covered(&self, rule: usize, counts: &dyn Fn(usize) -> bool) -> Life {
        let before = self.space.of_rule(rule).start;
        let mut by = Vec::new();
        let mut unknown = false;
        for number in self.space.of_rule(rule) {
            match self.cover(&self.space.boxes[number], before, counts) {
                Coverage::Witness(point) => return Life::Decides(point),
                Coverage::Covered { by: more } => by.extend(more),
                Coverage::Unknown { .. } => unknown = true,
            }
        }
        by.sort_unstable();
        by.dedup();
        if unknown {
            Life::Unknown
        } else {
            Life::Covered(by)
        }
    }

    /// What there is to say of a rule that boxes cover.
    pub(super) fn dead(&self, rule: usize, by: &[usize]) -> Dead {
        let translations = by.iter().filter_map(|&at| match self.space.owners[at] {
            Owner::Translation(line) => Some(line),
            Owner::Rule(_) => None,
        });
        let mut translations: Vec<usize> = translations.collect();
        translations.dedup();
        let action = self.space.action(rule);
        let alike = |earlier: usize| self.space.action(earlier) == action;
        let (known, against, judged) = match self.covered(rule, &alike) {
            Life::Covered(alike) => (alike, None, true),
            Life::Decides(point) => (by.to_vec(), self.decider(rule, &point), true),
            Life::Unknown => (by.to_vec(), None, false),
        };
        let mut rules: Vec<usize> = known
            .iter()
            .filter_map(|&at| self.space.rule_of(at))
            .collect();
        rules.dedup();
        let counts = |earlier: usize| against.is_some() || !judged || alike(earlier);
        let (by, smallest) = match rules.len() {
            0 | 1 => (rules, true),
            _ => self.fewest(rule, rules, &counts),
        };
        Dead {
            by,
            smallest,
            translations,
            against,
            judged,
        }
    }

    /// The earlier rule that decides a packet of a rule.
    fn decider(&self, rule: usize, point: &Point) -> Option<Against> {
        let before = self.space.of_rule(rule).start;
        let earlier = self.rules_holding(point, before);
        earlier.first().map(|&rule| Against {
            rule,
            packet: self.space.packet(point),
        })
    }

    /// The smallest set of earlier rules that covers a rule, given one that does, of
    /// the rules that may be used; and whether it is proved smallest.
    ///
    /// A set covers exactly when it meets the holders of every packet. The smallest set that meets those of the
    /// packets known so far is tried; a packet that it leaves open is one more to meet.
    fn fewest(
        &self,
        rule: usize,
        known: Vec<usize>,
        among: &dyn Fn(usize) -> bool,
    ) -> (Vec<usize>, bool) {
        let before = self.space.of_rule(rule).start;
        let mut failed = false;
        let mut open = |set: &[usize]| {
            for number in self.space.of_rule(rule) {
                let counts = |earlier: usize| set.contains(&earlier);
                match self.cover(&self.space.boxes[number], before, counts) {
                    Coverage::Covered { .. } => {}
                    Coverage::Witness(point) => {
                        let mut holding = self.rules_holding(&point, before);
                        holding.retain(|&earlier| among(earlier));
                        return vec![holding];
                    }
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
        let holders = self
            .space
            .index
            .holders(point)
            .into_iter()
            .take_while(|&number| number < before);
        let mut rules: Vec<usize> = holders.filter_map(|at| self.space.rule_of(at)).collect();
        rules.dedup();
        rules
    }
}
