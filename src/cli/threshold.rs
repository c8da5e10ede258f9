//! From which severity on findings fail a command.

use clap::ValueEnum;

use boundwalk_diagnostic::{Finding, Problem, Severity};

use super::verdict::Verdict;

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
pub(super) enum Threshold {
    Note,
    Warning,
    Error,
    Never,
}

impl Threshold {
    /// The least severity that counts; `None`: none does.
    pub(super) fn least(self) -> Option<Severity> {
        match self {
            Self::Note => Some(Severity::Note),
            Self::Warning => Some(Severity::Warning),
            Self::Error => Some(Severity::Error),
            Self::Never => None,
        }
    }
}

pub(super) fn verdict(
    (problems, findings): (&[Problem], &[Finding]),
    threshold: Threshold,
) -> Verdict {
    let Some(least) = threshold.least() else {
        return Verdict::Clean;
    };
    let mut all = problems
        .iter()
        .map(Problem::severity)
        .chain(findings.iter().map(Finding::severity));
    if all.any(|severity| severity >= least) {
        Verdict::Findings
    } else {
        Verdict::Clean
    }
}
