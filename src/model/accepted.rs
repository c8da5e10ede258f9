//! Findings that somebody decided to live with for a while.

use boundwalk_diagnostic::{Span, Spanned};

use super::date::Date;

/// One decision to live with what a check finds, until a day. Whether there is a check of that name is not
/// known here.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Accepted {
    /// Name of the check, as written.
    pub check: Spanned<String>,
    /// The subject of the finding, letter by letter; `None`: everything that the check finds.
    pub subject: Option<Spanned<String>>,
    /// Why it is acceptable; not blank.
    pub reason: String,
    /// Who decided; not blank.
    pub owner: String,
    /// The last day on which it holds.
    pub until: Spanned<Date>,
    /// Where it is described.
    pub place: Span,
}

impl Accepted {
    /// Whether it still holds on a day: its last day is included.
    #[must_use]
    pub fn holds(&self, today: Date) -> bool {
        today <= self.until.value
    }

    /// Whether it speaks of a subject of a check.
    #[must_use]
    pub fn covers(&self, check: &str, subject: &str) -> bool {
        let named = self.subject.as_ref();
        self.check.value == check && named.is_none_or(|named| named.value == subject)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(subject: Option<&str>) -> Accepted {
        let spanned = |text: &str| Spanned::new(text.to_owned(), Span::default());
        Accepted {
            check: spanned("rule-dead"),
            subject: subject.map(spanned),
            reason: "kept for the migration".to_owned(),
            owner: "network".to_owned(),
            until: Spanned::new(Date::constant(2026, 11, 25), Span::default()),
            place: Span::default(),
        }
    }

    #[test]
    fn the_last_day_is_included() {
        assert!(entry(None).holds(Date::constant(2026, 11, 25)));
        assert!(!entry(None).holds(Date::constant(2026, 11, 26)));
    }

    #[test]
    fn a_subject_is_meant_letter_by_letter() {
        let one = entry(Some("edge \"a\""));
        assert!(one.covers("rule-dead", "edge \"a\""));
        assert!(!one.covers("rule-dead", "edge \"a\" "));
        assert!(!one.covers("rule-redundant", "edge \"a\""));
        assert!(entry(None).covers("rule-dead", "anything"));
    }
}
