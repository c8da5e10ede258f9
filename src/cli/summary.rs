//! A review in one line.

use boundwalk_analysis::{Cell, Extent, Families, HostileReach, Matrix, Reading};
use boundwalk_checks::JudgedFindings;
use boundwalk_diagnostic::Finding;
use boundwalk_render::{finding_summary, problem_summary};

use super::site::Opened;

/// Of how many pairs of zones something holds.
#[derive(Default)]
pub(super) struct Counts {
    pairs: usize,
    open: usize,
    undecided: usize,
    one_way: usize,
    hostile: usize,
    unknown: usize,
}

impl Counts {
    fn new(matrices: &[Matrix]) -> Self {
        let mut counts = Self::default();
        let families = Families::new(matrices);
        for row in 0..families.rows.len() {
            for column in 0..families.columns.len() {
                let real = families
                    .cells(row, column)
                    .map(|(_, cell)| &**cell)
                    .filter(|cell| cell.reading == Reading::Pair);
                counts.add(&real.collect::<Vec<_>>());
            }
        }
        counts
    }

    /// Counts one pair, given its cells in both families.
    fn add(&mut self, cells: &[&Cell]) {
        let any = |test: &dyn Fn(&Cell) -> bool| usize::from(cells.iter().any(|cell| test(cell)));
        let partly = |extent| matches!(extent, Extent::None | Extent::Some);
        self.pairs += any(&|_| true);
        self.open += any(&|cell| !cell.some.is_empty());
        self.undecided += any(&|cell| partly(cell.filtered));
        self.one_way += any(&|cell| partly(cell.two_way));
        self.hostile += any(&|cell| matches!(cell.hostile, HostileReach::Larger(_)));
        self.unknown += any(&|cell| !cell.complete());
    }
}

/// All that is so, whether somebody lives with it or not.
pub(super) fn all_of<'s>(reviewed: &'s JudgedFindings<'_>) -> Vec<&'s Finding> {
    let accepted = reviewed.accepted.iter().map(|(finding, _)| finding);
    let known = reviewed.known.iter();
    reviewed.open.iter().chain(known).chain(accepted).collect()
}

/// One line that sums a review up: what is open, and of `all` findings what does not hold.
pub(super) fn summary(
    opened: &Opened,
    findings: &[Finding],
    all: &[&Finding],
    matrices: &[Matrix],
) -> String {
    let counts = Counts::new(matrices);
    let intent = intent(opened, all);
    let problems = match problem_summary(&opened.problems) {
        none if none.is_empty() => "no problems in the file".to_owned(),
        some => format!("{some} in the file"),
    };
    let findings = match finding_summary(findings) {
        none if none.is_empty() => "no findings".to_owned(),
        some => format!("findings: {some}"),
    };
    let mut text = match counts.pairs {
        0 => format!("{problems}; {findings}; nothing that a gateway could part"),
        pairs => format!(
            "{problems}; {findings}; of {pairs} pairs of zones and gateways {} open",
            counts.open
        ),
    };
    for (count, what) in [
        (counts.undecided, "with a way past every filtering gateway"),
        (counts.one_way, "with one-way flows"),
        (counts.hostile, "where a hostile device reaches more"),
        (counts.unknown, "not fully explored"),
    ] {
        if count > 0 {
            text.push_str(&format!(", {count} {what}"));
        }
    }
    text.push_str(&intent);
    text
}

/// How many expectations and needs there are, and how many of them do not hold.
pub(super) fn intent(opened: &Opened, findings: &[&Finding]) -> String {
    let broken = |check: &str| {
        findings
            .iter()
            .filter(|finding| finding.check.name == check)
            .map(|finding| finding.subjects.len())
            .sum::<usize>()
    };
    let mut text = String::new();
    for (count, what, check, fate) in [
        (
            opened.site.expectations.len(),
            "expectations",
            "expectation-broken",
            "broken",
        ),
        (opened.site.needs.len(), "needs", "need-unmet", "unmet"),
    ] {
        if count > 0 {
            text.push_str(&format!("; of {count} {what} {} {fate}", broken(check)));
        }
    }
    text
}
