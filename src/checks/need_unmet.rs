//! A need that the rules do not let through.

use boundwalk_analysis::intent::IntentStatus;
use boundwalk_diagnostic::{Check, Severity};

use super::expectation_broken::{places, told};
use super::measured::of_breaches;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "need-unmet",
    severity: Severity::Error,
    summary: "a need of which a part does not pass",
    why: "Somebody asked for it and gave a reason. What does not work gets worked around: by a wider rule than needed, \
        or by a cable.",
    fine_when: "The need is over: remove it.",
    remedy: "Permit what the need names and no more, or narrow the need; `boundwalk path` follows the packet shown.",
    references: &[
        "PCI DSS v4.0.1, 1.2.5: services, protocols and ports are identified, with a business need",
    ],
    fires: include_str!("examples/need-unmet.fires.toml"),
    quiet: include_str!("examples/need-unmet.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for judged in view.needs() {
        let need = judged.need;
        let (place, name) = (need.name.span, &need.name.value);
        match &judged.status {
            IntentStatus::Broken(breaches) => {
                let mut draft = found(&CHECK, place, name, told(view, breaches))
                    .measured(of_breaches(view, breaches));
                for place in places(view.site, breaches) {
                    draft = draft.note(place, "decides");
                }
                report.add(draft);
            }
            IntentStatus::Vacuous => {
                let what = "names nobody: no packet that it needs can exist";
                report.add(found(&CHECK, place, name, what));
            }
            IntentStatus::Held | IntentStatus::Unknown(_) => {}
        }
    }
}
