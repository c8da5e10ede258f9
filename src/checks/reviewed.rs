//! The rules of a gateway, looked at once for all checks, and how findings name them.

use boundwalk_analysis::rules::{GatewayReview, RulePacket, RuleStatus, Without};
use boundwalk_diagnostic::Span;
use boundwalk_model::Action;

/// The rules of one gateway, looked at, with words for findings.
#[derive(Clone, Copy)]
pub(super) struct Reviewed<'v>(pub(super) &'v GatewayReview<'v>);

impl<'v> std::ops::Deref for Reviewed<'v> {
    type Target = GatewayReview<'v>;

    fn deref(&self) -> &GatewayReview<'v> {
        self.0
    }
}

impl Reviewed<'_> {
    /// A rule as a finding names it: `edge "guests on the web"`.
    pub(super) fn name(&self, rule: usize) -> String {
        format!("{} {}", self.router.name.value, self.quoted(rule))
    }

    /// The name of a rule alone: `"guests on the web"`.
    pub(super) fn quoted(&self, rule: usize) -> String {
        format!("\"{}\"", self.rules[rule].name.value)
    }

    /// Where a rule is named.
    pub(super) fn place(&self, rule: usize) -> Span {
        self.rules[rule].name.span
    }

    /// What a rule does with packets: `permits`, `denies`, `rejects`.
    pub(super) fn does(&self, rule: usize) -> &'static str {
        match self.rules[rule].action.value {
            Action::Permit => "permits",
            Action::Deny => "denies",
            Action::Reject => "rejects",
        }
    }

    /// Rules without which nothing would change because, among others, this one does the same. None where this one
    /// decides: then it says so itself.
    pub(super) fn resting_on(&self, rule: usize) -> Vec<usize> {
        let resting = self
            .review
            .rules
            .iter()
            .enumerate()
            .filter(|(_, status)| match status {
                RuleStatus::Decides {
                    without: Without::Same { by },
                    ..
                } => by.contains(&rule),
                _ => false,
            });
        resting.map(|(other, _)| other).collect()
    }

    /// The names of some rules: `"one"`, `"one" and "two"`, of many the first few.
    pub(super) fn list(&self, rules: &[usize]) -> String {
        const MOST: usize = 4;
        let names: Vec<String> = rules
            .iter()
            .take(MOST)
            .map(|&rule| self.quoted(rule))
            .collect();
        let more = rules.len().saturating_sub(MOST);
        match names.as_slice() {
            _ if more > 0 => format!("{} and {more} more", names.join(", ")),
            [] => String::new(),
            [one] => one.clone(),
            [first @ .., last] => format!("{} and {last}", first.join(", ")),
        }
    }

    /// Why two rules must not both go.
    pub(super) fn rests(&self, redundant: usize, on: usize) -> String {
        let (redundant, on) = (self.quoted(redundant), self.quoted(on));
        format!("{redundant} is redundant only as long as {on} stays: never remove both")
    }

    /// The names of all these rules: what must stay is never cut.
    pub(super) fn whole_list(&self, rules: &[usize]) -> String {
        let names: Vec<String> = rules.iter().map(|&rule| self.quoted(rule)).collect();
        match names.as_slice() {
            [first @ .., last] if !first.is_empty() => format!("{} and {last}", first.join(", ")),
            _ => names.concat(),
        }
    }

    /// A packet with the interface that it comes in by.
    pub(super) fn packet(&self, packet: &RulePacket) -> String {
        let ingress = &self.router.interfaces[packet.ingress].name.value;
        format!("{} (in by {ingress})", packet.packet)
    }

    /// A sentence for rules that never decide although the gateway counted packets there; empty where it did not.
    pub(super) fn counted(&self, rule: usize) -> Option<String> {
        let hits = self.rules[rule].hits.filter(|&hits| hits > 0)?;
        Some(format!("yet {hits} packets were counted at it"))
    }
}
