//! What the checks of accepted findings have in common.

use boundwalk_model::Accepted;

use super::view::CheckContext;

/// The checks that judge accepted findings. They run when all others have, and nobody can accept what they find:
/// else a decision could hide that it has ended.
pub(super) const OWN: [&str; 3] = [
    "acceptance-expired",
    "acceptance-stale",
    "acceptance-unknown",
];

/// How a finding names an entry: `rule-dead, edge "labels"`, or the check alone.
pub(super) fn name(entry: &Accepted) -> String {
    let check = &entry.check.value;
    match &entry.subject {
        Some(subject) => format!("{check}, {}", subject.value),
        None => check.clone(),
    }
}

/// What an entry speaks of, for a message.
pub(super) fn what(entry: &Accepted) -> &'static str {
    match entry.subject {
        Some(_) => "of this subject",
        None => "of this check",
    }
}

/// Whether what a check of that name finds can be accepted.
pub(super) fn can_be_accepted(view: &CheckContext<'_>, check: &str) -> bool {
    !OWN.contains(&check) && view.names.contains(&check)
}
