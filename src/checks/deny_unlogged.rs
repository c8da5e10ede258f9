//! A final denial that does not log.

use boundwalk_analysis::rules::is_backstop;
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "deny-unlogged",
    severity: Severity::Warning,
    summary: "a final denial that does not log",
    why: "What nobody permitted ends here: devices that look around, programs that were forgotten, rules that are missing. Without a log nobody sees any of it.",
    fine_when: "So much is denied that the log is of no use; then deny the noise first, by a rule of its own.",
    remedy: "Add `log = true` to the rule.",
    references: &[
        "RFC 2827 section 3: administrators should log packets that are dropped",
        "PCI DSS v4.0.1 10.2.1: audit logs are enabled and active for all system components",
    ],
    fires: include_str!("examples/deny-unlogged.fires.toml"),
    quiet: include_str!("examples/deny-unlogged.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let active = gateway.0.rules.iter().enumerate();
        let mut active = active.filter(|(_, rule)| rule.active(view.network.today));
        let Some((number, last)) = active.next_back() else {
            continue;
        };
        let everything = is_backstop(last) && last.from.is_none() && last.to.is_none();
        if everything && !last.log {
            let what = "denies what no other rule names, and does not log it";
            report.add(
                found(&CHECK, gateway.place(number), gateway.name(number), what)
                    .help("add `log = true`"),
            );
        }
    }
}
