//! A rule without which every packet would be decided the same.

use boundwalk_analysis::rules::{RuleStatus, Without, denies_the_rest, is_backstop};
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::reviewed::Reviewed;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-redundant",
    severity: Severity::Note,
    summary: "a rule without which every packet would be decided the same",
    why: "It decides packets, but later rules or the default would decide them the same way. It is one more line to read and keep in step.",
    fine_when: "It logs what the later rule does not, or it is there so that a change further down can not open anything: say so in its reason.",
    remedy: "Remove it, or keep it and say why. `boundwalk rules --clean` shows the list without such rules, proved to decide every packet alike.",
    references: &[
        "Complete Redundancy Detection in Firewalls (DBSec 2005): a rule is redundant if and only if removing it changes no decision",
    ],
    fires: include_str!("examples/rule-redundant.fires.toml"),
    quiet: include_str!("examples/rule-redundant.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        for (rule, status) in gateway.review.rules.iter().enumerate() {
            let RuleStatus::Decides {
                without: Without::Same { by },
                ..
            } = status
            else {
                continue;
            };
            let later: Vec<usize> = by.iter().copied().filter(|&other| other > rule).collect();
            // A default that is written out is there to be read.
            let last = denies_the_rest(&gateway.rules[rule]);
            if last || later.is_empty() && is_backstop(&gateway.rules[rule]) {
                continue;
            }
            let what = format!("without it nothing changes: {}", others(gateway, &later));
            let mut draft = found(&CHECK, gateway.place(rule), gateway.name(rule), what)
                .help(advice(gateway, by));
            for &other in later.iter().take(3) {
                let dead = !matches!(gateway.review.rules[other], RuleStatus::Decides { .. });
                let note = if dead {
                    gateway.rests(rule, other)
                } else {
                    "decides its packets the same way".to_owned()
                };
                draft = draft.note(gateway.place(other), note);
            }
            if gateway.rules[rule].log {
                draft = draft.note(gateway.place(rule), log_note(gateway, &later));
            }
            report.add(draft);
        }
    }
}

/// What to do, and which rules must stay then.
fn advice(gateway: Reviewed<'_>, by: &[usize]) -> String {
    match by.len() {
        0 => "remove it, or say in its reason why it stays".to_owned(),
        1 => format!(
            "remove it as long as {} stays, or say in its reason why it stays",
            gateway.list(by)
        ),
        _ => format!(
            "remove it as long as {} stay, or say in its reason why it stays",
            gateway.whole_list(by)
        ),
    }
}

/// Who decides in its place.
fn others(gateway: Reviewed<'_>, later: &[usize]) -> String {
    match later.len() {
        0 => "the default does the same".to_owned(),
        1 => format!("{} does the same further down", gateway.list(later)),
        _ => format!("{} do the same further down", gateway.list(later)),
    }
}

fn log_note(gateway: Reviewed<'_>, later: &[usize]) -> &'static str {
    let all = !later.is_empty() && later.iter().all(|&other| gateway.rules[other].log);
    if all {
        "it logs; so do the others"
    } else {
        "it logs; what decides in its place does not"
    }
}
