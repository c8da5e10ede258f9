//! A rule that never decides, because earlier rules say the same.

use boundwalk_analysis::rules::{RuleStatus, denies_the_rest};
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-repeated",
    severity: Severity::Note,
    summary: "a rule that never decides, because earlier rules say the same",
    why: "It changes nothing and hides that: who edits it later believes that something changes. Long lists of such rules are how mistakes stay unseen.",
    fine_when: "It is kept for its documentation; then a comment serves better.",
    remedy: "Remove it; `boundwalk rules --clean` shows the list without such rules, proved to decide every packet alike.",
    references: &[
        "Complete Redundancy Detection in Firewalls (DBSec 2005): a rule is redundant if and only if removing it changes no decision",
        "PCI DSS v4.0.1 1.2.7, guidance: a review cleans up rules that are unneeded, outdated or incorrect",
    ],
    fires: include_str!("examples/rule-repeated.fires.toml"),
    quiet: include_str!("examples/rule-repeated.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        for (rule, status) in gateway.review.rules.iter().enumerate() {
            let RuleStatus::Dead(dead) = status else {
                continue;
            };
            if dead.against.is_some() || denies_the_rest(&gateway.rules[rule]) {
                continue;
            }
            let together = if dead.by.len() == 1 { "" } else { " together" };
            let what = format!(
                "never decides: before it, {}{together} {} all that it names",
                gateway.list(&dead.by),
                plural(gateway.does(rule), dead.by.len())
            );
            let mut draft =
                found(&CHECK, gateway.place(rule), gateway.name(rule), what).help("remove it");
            for &earlier in &dead.by {
                draft = draft.note(gateway.place(earlier), "comes before");
            }
            for spare in gateway.resting_on(rule) {
                draft = draft.note(gateway.place(spare), gateway.rests(spare, rule));
            }
            if let Some(counted) = gateway.counted(rule) {
                draft = draft.note(gateway.place(rule), counted);
            }
            report.add(draft);
        }
    }
}

/// `permits` for one, `permit` for several.
fn plural(verb: &str, count: usize) -> String {
    match (count, verb) {
        (1, verb) => verb.to_owned(),
        (_, "denies") => "deny".to_owned(),
        (_, verb) => verb.trim_end_matches('s').to_owned(),
    }
}
