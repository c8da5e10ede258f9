//! A rule that never decides, because earlier rules do the opposite.

use boundwalk_analysis::rules::{RulePacket, RuleStatus, denies_the_rest};
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::reviewed::Reviewed;
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-dead",
    severity: Severity::Warning,
    summary: "a rule that never decides, because earlier rules do the opposite",
    why: "Who wrote the rule meant something by it, and the gateway does the opposite: earlier rules decide every packet that it names. Whoever reads the list believes that it holds.",
    fine_when: "Never for long: one of the rules is a mistake. Where the earlier one is meant, remove this one. A last rule that denies everything is not meant here: it stays for what comes later.",
    remedy: "Move the rule before those that hide it, or make those narrower; or remove it.",
    references: &[
        "Misconfiguration in Firewalls and Network Access Controls (Encyclopedia, 2021), section 1: shadowing; here asked of all earlier rules together",
    ],
    fires: include_str!("examples/rule-dead.fires.toml"),
    quiet: include_str!("examples/rule-dead.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        for (rule, status) in gateway.review.rules.iter().enumerate() {
            let RuleStatus::Dead(dead) = status else {
                continue;
            };
            let Some(against) = dead.against else {
                continue;
            };
            if denies_the_rest(&gateway.rules[rule]) {
                continue;
            }
            let does = opposite(gateway, against.rule, &against.packet);
            let this = gateway.does(rule);
            let what = if dead.by[..] == [against.rule] {
                format!("never decides: before it, {does}, which this rule {this}")
            } else {
                let (list, come) = (gateway.list(&dead.by), come(dead.by.len()));
                format!(
                    "never decides: {list} {come} before it, and {does}, which this rule {this}"
                )
            };
            let mut draft = found(&CHECK, gateway.place(rule), gateway.name(rule), what)
                .help("move it before the rules that hide it, or remove it");
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

fn come(count: usize) -> &'static str {
    if count == 1 { "comes" } else { "come" }
}

/// What a rule does with a packet.
fn opposite(gateway: Reviewed<'_>, rule: usize, packet: &RulePacket) -> String {
    let (name, does) = (gateway.quoted(rule), gateway.does(rule));
    format!("{name} {does} {}", gateway.packet(packet))
}
