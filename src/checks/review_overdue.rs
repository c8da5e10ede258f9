//! A rule that nobody has looked at for too long.

use jiff::Span as Months;

use boundwalk_diagnostic::{Check, Severity};
use boundwalk_model::Date;

use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "review-overdue",
    severity: Severity::Warning,
    summary: "a rule that nobody has looked at for too long",
    why: "What a rule is for goes away sooner than the rule. Only somebody who looks at it again notices.",
    fine_when: "The site reviews its rules as a whole and keeps the date elsewhere.",
    remedy: "Look at the rule, ask its owner, and write the date into `reviewed`. Another span: `review_months` in `[site]`.",
    references: &[
        "PCI DSS v4.0.1 1.2.7: rule sets are reviewed at least once every six months",
        "NIST SP 800-53 SC-7(4): exceptions are reviewed",
    ],
    fires: include_str!("examples/review-overdue.fires.toml"),
    quiet: include_str!("examples/review-overdue.quiet.toml"),
};

/// Months between two looks where the file does not say (PCI DSS 1.2.7).
const MONTHS: u8 = 6;

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    let today = view.network.today;
    let months = months(view);
    for gateway in view.reviewed() {
        let rules = gateway.0.rules;
        // A site that never writes the date down keeps it elsewhere, or not at all: one word is enough.
        if rules.iter().all(|rule| rule.reviewed.is_none()) {
            continue;
        }
        for (number, rule) in rules
            .iter()
            .enumerate()
            .filter(|(_, rule)| rule.active(today))
        {
            let Some(reviewed) = &rule.reviewed else {
                let what = "was never reviewed, as far as the file says";
                report.add(
                    found(&CHECK, gateway.place(number), gateway.name(number), what)
                        .help("look at it, ask its owner, and add `reviewed`"),
                );
                continue;
            };
            let due = due(reviewed.value, months);
            if due < today {
                let what = format!(
                    "was last reviewed on {}: that was due again by {due}, every {months} months",
                    reviewed.value
                );
                report.add(
                    found(&CHECK, gateway.place(number), gateway.name(number), what)
                        .help("look at it, ask its owner, and write today's date into `reviewed`"),
                );
            }
        }
    }
}

/// Months between two looks at a rule.
pub(super) fn months(view: &CheckContext<'_>) -> u8 {
    view.site
        .review_months
        .map_or(MONTHS, |months| months.value)
}

/// The last day by which to look again: the same day of a later month, or the last day of a shorter one.
pub(super) fn due(reviewed: Date, months: u8) -> Date {
    reviewed.saturating_add(Months::new().months(i32::from(months)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_year_ends_on_the_same_day() {
        assert_eq!(
            due(Date::constant(2024, 1, 31), 6),
            Date::constant(2024, 7, 31)
        );
        assert_eq!(
            due(Date::constant(2025, 8, 31), 6),
            Date::constant(2026, 2, 28)
        );
    }
}
