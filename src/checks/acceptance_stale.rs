//! A decision to live with something that is not found any more.

use boundwalk_diagnostic::{Check, Severity};

use super::acceptance::{can_be_accepted, name, what};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "acceptance-stale",
    severity: Severity::Warning,
    summary: "an accepted finding that is not found any more",
    why: "What was accepted is gone, or its subject has another name. An entry that stays would accept the same again if it came back, and nobody would be asked.",
    fine_when: "The finding comes and goes with a day, and its next time is accepted too.",
    remedy: "Remove the entry; if the subject was renamed and the finding stands, write its new name.",
    references: &[
        "NIST SP 800-53 SC-7(4): exceptions are removed when nothing supports them any more",
        "Common practice, no source",
    ],
    fires: include_str!("examples/acceptance-stale.fires.toml"),
    quiet: include_str!("examples/acceptance-stale.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let today = view.network.today;
    for entry in &view.site.accepted {
        let check = &entry.check.value;
        // What was not looked for is not known to be gone.
        let judged = can_be_accepted(view, check) && report.looked_for(check);
        if !judged || !entry.holds(today) || report.count(entry) > 0 {
            continue;
        }
        let others = report
            .subjects(check)
            .take(3)
            .collect::<Vec<_>>()
            .join(", ");
        let hint = if others.is_empty() {
            String::new()
        } else {
            format!("; the check still speaks of {others}")
        };
        let what = format!("accepts nothing: no finding {} is left", what(entry));
        let help = format!("remove the entry{hint}");
        report.add(found(&CHECK, entry.check.span, name(entry), what).help(help));
    }
}
