//! A permit before a denial that names some of the same packets.

use boundwalk_analysis::rules::Rank;
use boundwalk_diagnostic::{Check, Severity};

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "rules-correlated",
    severity: Severity::Warning,
    summary: "a permit before a denial that names some of the same packets",
    why: "For the packets that both name, the denial does not hold. If the two change places, the network changes: nobody sees that from either rule alone.",
    fine_when: "The permit is meant as an exception, and its reason says so.",
    remedy: "If the denial is meant to hold, move it before the permit; else make the permit an exception that is plain to see.",
    references: &[
        "Misconfiguration in Firewalls and Network Access Controls (Encyclopedia, 2021): correlation is one of the three most common misconfigurations",
    ],
    fires: include_str!("examples/rules-correlated.fires.toml"),
    quiet: include_str!("examples/rules-correlated.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for gateway in view.reviewed() {
        let pierced = gateway.pairs.pairs.iter();
        for pair in pierced.filter(|pair| pair.rank == Rank::Pierced) {
            let what = format!(
                "does not hold for all that it names: {} comes first and permits {}",
                gateway.quoted(pair.first),
                gateway.packet(&pair.packet)
            );
            let draft = found(
                &CHECK,
                gateway.place(pair.second),
                gateway.name(pair.second),
                what,
            )
            .note(gateway.place(pair.first), "comes first")
            .help("move the denial before the permit if it is meant to hold");
            report.add(draft);
        }
    }
}
