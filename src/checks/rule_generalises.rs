//! A general rule after narrower ones that do the opposite.

use std::collections::BTreeMap;

use boundwalk_analysis::rules::Rank;
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rule-generalises",
    severity: Severity::Note,
    summary: "a general rule after narrower ones that do the opposite",
    why: "The narrower rules are exceptions to it. As long as they come first all is well; moved behind it they do nothing.",
    fine_when: "Always, as long as it is meant: exceptions come before what they are exceptions to.",
    remedy: "Nothing to do but to keep the order; say in the reasons which rule is an exception to which.",
    references: &["common practice, no source; papers on rule anomalies call it generalization"],
    fires: include_str!("examples/rule-generalises.fires.toml"),
    quiet: include_str!("examples/rule-generalises.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let exceptions = gateway
            .pairs
            .pairs
            .iter()
            .filter(|pair| pair.rank == Rank::Exception);
        let mut general: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for pair in exceptions {
            general.entry(pair.second).or_default().push(pair.first);
        }
        for (rule, narrow) in general {
            let what = format!(
                "has exceptions before it, which do the opposite: {}",
                gateway.list(&narrow)
            );
            let mut draft = found(&CHECK, gateway.place(rule), gateway.name(rule), what);
            for &exception in narrow.iter().take(4) {
                draft = draft.note(gateway.place(exception), "an exception to it");
            }
            report.add(draft.help("keep the order"));
        }
    }
}
