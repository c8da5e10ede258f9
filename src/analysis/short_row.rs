//! Rows of the matrix by the short way ([`Ways`]).

use boundwalk_forwarding::{Flow, Origin, Place, Sender, Target, WalkCoverage};
use boundwalk_packet::CutWalk;

use super::cell::{Cell, Extent, HostileReach, Reading};
use super::missed::Missed;
use super::question::By;
use super::reached::Reached;
use super::replies::Replies;
use super::row::Row;
use super::short_way::{Decision, Delivery, PassedRules, Ways};
use super::witness::witness;

impl Row<'_> {
    /// Sends and records; `None`: there is no short way, and nothing is recorded.
    pub(super) fn send_short(
        &self,
        sender: Sender,
        target: Target<'_>,
        own: Option<usize>,
        (replies, missed): (&mut Replies<'_>, &mut Missed<'_>),
        (cells, reached): (&mut [Cell], &mut [Reached]),
    ) -> Option<WalkCoverage> {
        if self.question.by == By::Host || !missed.by_services() {
            return None;
        }
        let ways = Ways::new(self.network, self.plan, sender, target, false)?;
        let mut deliveries = ways.deliveries.iter();
        if !deliveries.all(|one| replies.wholly(one.place, &one.flow)) {
            return None;
        }
        ways.stopped.iter().for_each(|stopped| missed.stop(stopped));
        let mut coverage = WalkCoverage::Complete;
        for Delivery { place, flow } in &ways.deliveries {
            let at = self.column_of(*place, cells);
            let Some(rules) = self.rules(target, flow) else {
                if let Some(at) = at {
                    self.record(replies, *place, flow, &mut cells[at]);
                    if self.question.hostile {
                        reached[at].note(flow.sent());
                    }
                }
                let mine = at.filter(|_| at == own).map(|_| flow.sent());
                missed.deliver(flow, mine);
                continue;
            };
            let none = self.network.classes.none();
            let walked = self.decide(&rules, flow, &mut |decision| {
                let arrives = at.filter(|_| decision.permitted);
                if let Some(at) = arrives {
                    self.record_piece(&rules, flow, &decision, &mut cells[at]);
                    if self.question.hostile {
                        reached[at].note_piece(&rules, decision.piece, &none);
                    }
                }
                if arrives.is_none() || arrives != own {
                    missed.add_services(decision.piece.services);
                }
            });
            coverage.note(walked);
        }
        Some(coverage)
    }

    /// The rules that a flow to a target passes. Addresses of a segment are the same for every sender, those of a device
    /// without what is on the sender's own link are not.
    fn rules(&self, target: Target<'_>, flow: &Flow) -> Option<PassedRules<'_>> {
        let destinations = target.segment.map(|_| self.destinations);
        PassedRules::new(self.plan, (self.sources, destinations), flow)
    }

    fn decide(
        &self,
        rules: &PassedRules<'_>,
        flow: &Flow,
        sink: &mut dyn FnMut(Decision<'_>),
    ) -> WalkCoverage {
        let most = self.network.open_pieces();
        rules.decide(&mut CutWalk::default(), &flow.now.services, most, sink)
    }

    /// Records a piece that a rule permits and that is answered.
    fn record_piece(
        &self,
        rules: &PassedRules<'_>,
        flow: &Flow,
        decision: &Decision<'_>,
        cell: &mut Cell,
    ) {
        if cell.witness.is_none() || !cell.answered() {
            let shown = rules.region(decision.piece, self.network.classes.none());
            cell.witness = witness(self.network, self.plan, &shown);
        }
        cell.add_services(decision.piece.services, false);
        cell.filtered.add(true);
        cell.two_way = cell.two_way.and(Extent::All);
        self.note_crossed(flow, |_| decision.rule, cell);
    }

    /// Sends as a hostile device and marks what only it gets through; `None`: there is no short way, and nothing is
    /// marked.
    pub(super) fn send_hostile_short(
        &self,
        origin: Origin,
        target: Target<'_>,
        cells: &mut [Cell],
        reached: &[Reached],
    ) -> Option<WalkCoverage> {
        if self.question.by == By::Host {
            return None;
        }
        let hostile = Sender::Hostile(origin);
        let ways = Ways::new(self.network, self.plan, hostile, target, true)?;
        let mut coverage = WalkCoverage::Complete;
        for Delivery { place, flow } in &ways.deliveries {
            let Some(&at) = self.places.get(*place) else {
                continue;
            };
            if self.is_settled(&cells[at]) {
                continue;
            }
            let Some(rules) = self.rules(target, flow) else {
                self.mark(flow.sent(), &mut cells[at], &reached[at]);
                continue;
            };
            let walked = self.decide(&rules, flow, &mut |decision| {
                let cell = &mut cells[at];
                if !decision.permitted
                    || self.is_settled(cell)
                    || reached[at].holds_piece(&rules, decision.piece)
                {
                    return;
                }
                let sent = rules.region(decision.piece, self.network.classes.none());
                self.mark(&sent, cell, &reached[at]);
            });
            coverage.note(walked);
        }
        Some(coverage)
    }

    /// Whether nothing more is to be found out about hostile devices.
    pub(super) fn is_settled(&self, cell: &Cell) -> bool {
        cell.reading == Reading::Within || matches!(cell.hostile, HostileReach::Larger(_))
    }

    /// The column of a place, if it is a pair with the sender.
    fn column_of(&self, place: Place, cells: &[Cell]) -> Option<usize> {
        let at = self.places.get(place).copied();
        at.filter(|&at| cells[at].reading == Reading::Pair)
    }
}
