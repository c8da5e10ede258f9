//! A decision to live with a finding whose last day has passed.

use boundwalk_diagnostic::{Check, Severity};

use super::acceptance::{can_be_accepted, name, what};
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "acceptance-expired",
    severity: Severity::Warning,
    summary: "an accepted finding whose last day has passed",
    why: "Somebody decided to live with this until a day. The day is over: the entry accepts nothing any more, and what it spoke of counts again.",
    fine_when: "Never for long: whoever decided it must decide again, or the finding must be mended.",
    remedy: "Mend what was found and remove the entry, or let its owner decide again and write a new day into `until`.",
    references: &[
        "NIST SP 800-53 SC-7(4): exceptions are limited in time, reviewed and removed",
        "A decision that renews itself is none: common practice, no source",
    ],
    fires: include_str!("examples/acceptance-expired.fires.toml"),
    quiet: include_str!("examples/acceptance-expired.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let today = view.network.today;
    for entry in &view.site.accepted {
        if entry.holds(today) || !can_be_accepted(view, &entry.check.value) {
            continue;
        }
        let until = entry.until.value;
        let days = (today - until).get_days();
        let count = report.count(entry);
        let fate = match count {
            0 => format!("nothing {} is found any more", what(entry)),
            1 => format!("a finding {} counts again", what(entry)),
            more => format!("{more} findings {} count again", what(entry)),
        };
        let help = match count {
            0 => "remove the entry".to_owned(),
            _ => format!("mend it, or let {} decide again", entry.owner.trim()),
        };
        let ending = if days == 1 { "" } else { "s" };
        let what = format!("was accepted until {until}, {days} day{ending} ago: {fate}");
        report.add(found(&CHECK, entry.until.span, name(entry), what).help(help));
    }
}
