//! The rules of one gateway as boxes in order, over the packets that can really arrive there and leave again.
//!
//! What can arrive is judged hostile: any source that the source check of an interface lets in and that routers
//! forward. Where a packet leaves follows from its destination by the routes, and where the source check is strict,
//! where it arrived follows from its source. So `from` and `to` fold into addresses, and a box has three fields that
//! matter: source, destination, service class. Interfaces with a loose check or none keep a field of their own.
//! Packets of both families lie in one space.
//!
//! Packets that a destination translation always rewrites never reach the rules: they are taken out by boxes
//! before the first rule.

use std::ops::Range;

use boundwalk_forwarding::Network;
use boundwalk_model::{Action, Filter, RouterId};
use boundwalk_packet::{PacketBox, Point, RuleIndex};

use super::effort::Effort;
use super::packet::RulePacket;
use super::rule_boxes::RuleBoxes;
use super::translated_away::translated_away;
use super::universe::PacketUniverse;

/// What a box of the space stands for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub(super) enum Owner {
    /// Packets that the destination translation of that number rewrites before the rules see them.
    Translation(usize),
    /// A rule, by number.
    Rule(usize),
}

/// The rules of one gateway over the packets that can arrive there and leave again.
#[derive(Debug)]
pub struct RuleSpace<'n> {
    pub(super) network: &'n Network<'n>,
    pub(super) router: RouterId,
    pub(super) filter: &'n Filter,
    pub(super) universe: PacketUniverse<'n>,
    /// Boxes of translations, then of rules in order.
    pub(super) boxes: Vec<PacketBox>,
    /// What each box stands for.
    pub(super) owners: Vec<Owner>,
    /// The first box of each rule, and one past the last.
    firsts: Vec<usize>,
    pub(super) index: RuleIndex,
    /// False if the translated packets could not be computed within the limit. They are then kept: statements about all
    /// packets still hold, but a witness may be a packet that never gets there.
    pub holes_exact: bool,
}

impl<'n> RuleSpace<'n> {
    /// What one look at the rules may take: [`Effort::default`], more or less by [`Network::limited_to`].
    pub fn effort(&self) -> Effort {
        Effort::scaled(|amount| self.network.scaled(amount))
    }

    /// Prepares the rules of a gateway; `None` for a router without a filter.
    ///
    /// For `n` rules with `c` distinct addresses: O(n log n + c log c), and the index of [`RuleIndex::new`].
    pub fn new(network: &'n Network<'n>, router: RouterId) -> Option<Self> {
        let filter = network.site.router(router).filter()?;
        let universe = PacketUniverse::new(network, router, filter);
        let (translated_away, holes_exact) = translated_away(&universe);
        let mut boxes = Vec::with_capacity(filter.rules.len() + translated_away.len());
        let mut owners = Vec::with_capacity(boxes.capacity());
        for (translation, packets) in translated_away {
            boxes.push(packets);
            owners.push(Owner::Translation(translation));
        }
        let mut firsts = Vec::with_capacity(filter.rules.len() + 1);
        let mut reader = RuleBoxes::new(&universe);
        for (number, rule) in filter.rules.iter().enumerate() {
            firsts.push(boxes.len());
            if rule.active(network.today) {
                reader.add(rule, &mut boxes);
                owners.resize(boxes.len(), Owner::Rule(number));
            }
        }
        firsts.push(boxes.len());
        let index = RuleIndex::new(&universe.space, &boxes);
        Some(Self {
            network,
            router,
            filter,
            universe,
            boxes,
            owners,
            firsts,
            index,
            holes_exact,
        })
    }

    /// The boxes of a rule; none where no packet that it names can get there.
    pub(super) fn of_rule(&self, rule: usize) -> Range<usize> {
        self.firsts[rule]..self.firsts[rule + 1]
    }

    /// Whether a rule has a box, that is, matches some packet that could arrive and leave (before translations).
    pub(super) fn meets(&self, rule: usize) -> bool {
        !self.of_rule(rule).is_empty()
    }

    /// The rule that a box belongs to.
    pub(super) fn rule_of(&self, number: usize) -> Option<usize> {
        match self.owners[number] {
            Owner::Rule(rule) => Some(rule),
            Owner::Translation(_) => None,
        }
    }

    /// What a rule does.
    pub(super) fn action(&self, rule: usize) -> Action {
        self.filter.rules[rule].action.value
    }

    /// A packet that looks like real traffic among those that are like a point.
    pub(super) fn packet(&self, point: &Point) -> RulePacket {
        self.universe.packet(point)
    }
}
