//! A rule that never decides, because earlier rules do the opposite.

use crate::analysis::rules::{RulePacket, Standing};
use crate::diagnostic::{Check, Severity};

use super::report::{Report, found};
use super::reviewed::Reviewed;
use super::view::View;

pub(super) static CHECK: Check = Check {
    name: "rule-dead",
    severity: Severity::Warning,
    summary: "a rule that never decides, because earlier rules do the opposite",
    why: "Who wrote the rule meant something by it, and the gateway does the opposite: earlier rules decide every packet that it names. Whoever reads the list believes that it holds.",
    fine_when: "Never for long: one of the rules is a mistake. Where the earlier one is meant, remove this one.",
    remedy: "Move the rule before those that hide it, or make those narrower; or remove it.",
    references: &[
        "Al-Shaer and Hamed 2004: shadowing, asked of the union of all earlier rules (definitions from memory)",
        "NIST SP 800-41 rev. 1: more specific rules first (from memory)",
    ],
    fires: include_str!("examples/rule-dead.fires.toml"),
    quiet: include_str!("examples/rule-dead.quiet.toml"),
};

pub(super) fn find(view: &View<'_>, report: &mut Report) {
    for gateway in view.reviewed() {
        for (rule, standing) in gateway.review.rules.iter().enumerate() {
            let Standing::Dead(dead) = standing else {
                continue;
            };
            let Some(against) = dead.against else {
                continue;
            };
            let what = format!(
                "never decides: {} {} before it, and {} {}, which this rule {}",
                gateway.list(&dead.by),
                come(dead.by.len()),
                gateway.quoted(against.rule),
                opposite(gateway, against.rule, &against.packet),
                gateway.does(rule)
            );
            let mut draft = found(&CHECK, gateway.place(rule), gateway.name(rule), what)
                .help("move it before the rules that hide it, or remove it");
            for &earlier in &dead.by {
                draft = draft.note(gateway.place(earlier), "comes before");
            }
            if let Some(counted) = gateway.counted(rule) {
                draft = draft.note(gateway.place(rule), counted);
            }
            report.add(draft);
        }
    }
}

fn come(count: usize) -> &'static str {
    if count == 1 { "comes" } else { "come" }
}

fn opposite(gateway: &Reviewed<'_>, rule: usize, packet: &RulePacket) -> String {
    format!("{} {}", gateway.does(rule), gateway.packet(packet))
}
