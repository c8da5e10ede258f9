//! Findings of two versions, compared.

use rustc_hash::FxHashMap;

use crate::diagnostic::Finding;

use super::accept::of_some;

/// Findings of the new version that the old one does not have, and findings of the old one that are gone.
///
/// Two findings are the same where check and subject are; the message may differ in a count or in the packet shown,
/// the place in its line. Of a finding with several subjects those that differ are told. `renamed`: subjects that are
/// called otherwise now, with the old name first.
pub fn changed(
    old: &[Finding],
    new: &[Finding],
    renamed: &[(String, String)],
) -> (Vec<Finding>, Vec<Finding>) {
    let now = |subject: &str| {
        let known = renamed.iter().find(|(old, _)| old == subject);
        known.map_or_else(|| subject.to_owned(), |(_, new)| new.clone())
    };
    let same = |subject: &str| subject.to_owned();
    (
        beyond((new, &same), (old, &now)),
        beyond((old, &now), (new, &same)),
    )
}

/// Findings with how their subjects are called.
type Side<'a> = (&'a [Finding], &'a dyn Fn(&str) -> String);

fn beyond((these, called): Side<'_>, (known, known_called): Side<'_>) -> Vec<Finding> {
    let mut left: FxHashMap<(&str, String), usize> = FxHashMap::default();
    for finding in known {
        for subject in &finding.subjects {
            let key = (finding.check.name, known_called(subject));
            *left.entry(key).or_default() += 1;
        }
    }
    let fresh = these.iter().filter_map(|finding| {
        let mut subjects = finding.subjects.clone();
        subjects.retain(|subject| {
            let count = left.get_mut(&(finding.check.name, called(subject)));
            match count.filter(|count| **count > 0) {
                Some(count) => {
                    *count -= 1;
                    false
                }
                None => true,
            }
        });
        (!subjects.is_empty()).then(|| of_some(finding, subjects))
    });
    fresh.collect()
}
