//! What a check looks for, and what it found.

use std::collections::BTreeMap;

use super::magnitude::Magnitude;
use super::problem::{Note, Severity};
use super::span::Span;

/// One thing that is looked for in a site that loads. Checks are statics listed in one place, so that tests
/// can hold each to account.
///
/// The severity says what a finding means: [`Severity::Error`] segmentation is broken, or something will not
/// work as it is written; [`Severity::Warning`] it is weaker than it looks; [`Severity::Note`] worth knowing.
#[derive(PartialEq, Eq, Debug)]
pub struct Check {
    /// Kebab-case name that says what is wrong; never changes meaning.
    pub name: &'static str,
    /// Severity of every finding of this check.
    pub severity: Severity,
    /// One line: what it finds.
    pub summary: &'static str,
    /// Why it matters, for the person who answers for the network.
    pub why: &'static str,
    /// When a finding is nothing to worry about.
    pub fine_when: &'static str,
    /// What to do about a finding.
    pub remedy: &'static str,
    /// Published sources, or that there are none.
    pub references: &'static [&'static str],
    /// A site in which it fires, at each line that ends in `# <- here`, and in which nothing else does.
    pub fires: &'static str,
    /// A site in which it has nothing to say.
    pub quiet: &'static str,
}

/// One thing that a check found.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Finding {
    /// Which check.
    pub check: &'static Check,
    /// Whom it speaks of: ports, interfaces, hosts or pairs of segments by name, in the order found. All of
    /// them are described at the same place of the file.
    pub subjects: Vec<String>,
    /// One sentence without a full stop; the subjects come first.
    pub message: String,
    /// The setting; `None` where no single place is to blame.
    pub span: Option<Span>,
    /// Other places that matter.
    pub notes: Vec<Note>,
    /// What to do about it.
    pub help: Option<String>,
    /// How much it is about, by subject, where the check measures it: more than it was is worse.
    pub measured: BTreeMap<String, Magnitude>,
}

impl Finding {
    /// The severity of its check.
    pub fn severity(&self) -> Severity {
        self.check.severity
    }
}
