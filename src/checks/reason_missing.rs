//! A rule without a reason or an owner.

use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "reason-missing",
    severity: Severity::Note,
    summary: "a rule without a reason or an owner",
    why: "Nobody can say whether it may go, and nobody can be asked. Such rules stay for ever.",
    fine_when: "The reason stands in the change that its ticket names.",
    remedy: "Write `reason` and `owner`; ask who needs it, and remove it where nobody does.",
    references: &[
        "PCI DSS v4.0.1 1.2.5: a business need for each service, protocol and port allowed",
        "NIST SP 800-53 SC-7(4): exceptions are documented with the need that they serve",
    ],
    fires: include_str!("examples/reason-missing.fires.toml"),
    quiet: include_str!("examples/reason-missing.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let rules = gateway.0.rules;
        // Where no rule says so the site keeps it elsewhere.
        let kept = [
            rules.iter().any(|rule| rule.reason.is_some()),
            rules.iter().any(|rule| rule.owner.is_some()),
        ];
        let active = rules.iter().enumerate();
        for (number, rule) in active.filter(|(_, rule)| rule.active(view.network.today)) {
            let missing = [
                ("reason", kept[0] && rule.reason.is_none()),
                ("owner", kept[1] && rule.owner.is_none()),
            ];
            let missing: Vec<&str> = missing
                .into_iter()
                .filter_map(|(key, gone)| gone.then_some(key))
                .collect();
            if !missing.is_empty() {
                let missing = missing.join(" and no ");
                report.add(
                    found(
                        &CHECK,
                        gateway.place(number),
                        gateway.name(number),
                        format!("has no {missing}"),
                    )
                    .help("ask who needs it and why, and write that down; or remove it"),
                );
            }
        }
    }
}
