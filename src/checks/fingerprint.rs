//! What a finding is known by from one run to the next.

use std::fmt;

use rustc_hash::FxHashMap;
use sha2::{Digest, Sha256};

use boundwalk_diagnostic::Finding;

/// A short mark that stays the same while a finding is the same: made of the name of its check, of whom it
/// speaks, and of its number among findings that agree in both.
///
/// Moved lines, reordered rules, another layout and other counts in the message change nothing. A new name does:
/// what is found at a renamed rule is new. 32 hexadecimal digits: the first half of a SHA-256 (FIPS 180-4).
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Fingerprint(String);

impl Fingerprint {
    /// The mark of a check, subjects in any order, and a number among equals from 0.
    pub fn new(check: &str, subjects: &[&str], ordinal: usize) -> Self {
        let mut sorted = subjects.to_vec();
        sorted.sort_unstable();
        let mut hash = Sha256::new();
        let number = ordinal.to_string();
        for part in [check, &number].into_iter().chain(sorted) {
            // With its length in front no two lists of parts read alike.
            hash.update(part.len().to_string());
            hash.update(":");
            hash.update(part);
        }
        let digits = hash.finalize();
        let half = digits.iter().take(16);
        Self(half.map(|byte| format!("{byte:02x}")).collect())
    }

    /// A mark that was written down; `None` if it can't be one.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let digit = |byte: u8| matches!(byte, b'0'..=b'9' | b'a'..=b'f');
        let fits = text.len() == 32 && text.bytes().all(digit);
        fits.then(|| Self(text.to_owned()))
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The mark of each finding, in their order.
pub fn fingerprints<'f>(findings: impl Iterator<Item = &'f Finding>) -> Vec<Fingerprint> {
    let mut equals: FxHashMap<(&str, Vec<&str>), usize> = FxHashMap::default();
    let marks = findings.map(|finding| {
        let mut subjects: Vec<&str> = finding.subjects.iter().map(String::as_str).collect();
        subjects.sort_unstable();
        let check = finding.check.name;
        let next = equals.entry((check, subjects.clone())).or_default();
        let mark = Fingerprint::new(check, &subjects, *next);
        *next += 1;
        mark
    });
    marks.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_of_subjects_is_nothing_and_borders_between_them_are_something() {
        let mark = |subjects: &[&str]| Fingerprint::new("rule-dead", subjects, 0);
        assert_eq!(mark(&["a", "b"]), mark(&["b", "a"]));
        assert_ne!(mark(&["a", "b"]), mark(&["ab"]));
        assert_ne!(mark(&["a", "1:b"]), mark(&["a1:b"]));
        assert_ne!(mark(&["a"]), Fingerprint::new("rule-dead", &["a"], 1));
        assert_ne!(mark(&["a"]), Fingerprint::new("rule-dea", &["da"], 0));
    }

    /// Baselines are kept for years: the mark of the same finding may never change. Worked out with another
    /// program: SHA-256 of `9:rule-dead1:08:core:1 x`.
    #[test]
    fn marks_stay_what_they_are() {
        let mark = Fingerprint::new("rule-dead", &["core:1 x"], 0);
        assert_eq!(mark.to_string(), "a7450c8459bfa0dee8efef6334b27755");
        assert_eq!(Fingerprint::read(&mark.to_string()), Some(mark));
        assert_eq!(Fingerprint::read("abc"), None);
        assert_eq!(Fingerprint::read(&"G".repeat(32)), None);
    }
}
