//! One thing that is wrong, where it stands, and what to do about it.

use super::span::Span;

/// How much a problem matters. What the words mean for a finding stands at
/// [`Check`](super::finding::Check).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Severity {
    /// Worth knowing; nothing needs to change.
    Note,
    /// Probably not what was meant; the answers still hold for what was written.
    Warning,
    /// No answer can be given until it is mended.
    Error,
}

impl Severity {
    /// The lower-case word that outputs use.
    pub fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

/// A kind of problem. Kinds are statics listed in one place, so that tests can hold each to account.
#[derive(PartialEq, Eq, Debug)]
pub struct Kind {
    /// Kebab-case name; never changes meaning.
    pub name: &'static str,
    /// Severity of every problem of this kind.
    pub severity: Severity,
    /// One line: what it is.
    pub summary: &'static str,
}

/// A second place that helps to understand a problem.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Note {
    /// The place.
    pub span: Span,
    /// What stands there.
    pub text: String,
}

/// One thing that is wrong with an input.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Problem {
    /// What kind of problem.
    pub kind: &'static Kind,
    /// One sentence without a full stop: what is wrong.
    pub message: String,
    /// The thing that is wrong, by the name that an accepted finding gives as its subject; empty for errors, which
    /// nobody can accept.
    pub subject: String,
    /// Where; `None` where the input as a whole is meant (a file that can't be read).
    pub span: Option<Span>,
    /// A few words at the caret; may be empty.
    pub label: String,
    /// Other places that matter.
    pub notes: Vec<Note>,
    /// What to do about it.
    pub help: Option<String>,
}

impl Problem {
    /// A problem at a place.
    pub fn at(kind: &'static Kind, span: Span, message: impl Into<String>) -> Self {
        Self {
            kind,
            message: message.into(),
            subject: String::new(),
            span: Some(span),
            label: String::new(),
            notes: Vec::new(),
            help: None,
        }
    }

    /// A problem of the input as a whole.
    pub fn general(kind: &'static Kind, message: impl Into<String>) -> Self {
        Self {
            span: None,
            ..Self::at(kind, Span::default(), message)
        }
    }

    /// The name of what is wrong.
    pub fn about(mut self, subject: impl Into<String>) -> Self {
        self.subject = subject.into();
        self
    }

    /// Words at the caret.
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// What to do about it.
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// Another place that matters.
    pub fn note(mut self, span: Span, text: impl Into<String>) -> Self {
        self.notes.push(Note {
            span,
            text: text.into(),
        });
        self
    }

    /// The severity of its kind.
    pub fn severity(&self) -> Severity {
        self.kind.severity
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn severities_have_their_words_and_their_order() {
        let words = [Severity::Note, Severity::Warning, Severity::Error].map(Severity::word);
        assert_eq!(words, ["note", "warning", "error"]);
        assert!(Severity::Note < Severity::Warning && Severity::Warning < Severity::Error);
    }

    #[test]
    fn a_problem_of_the_whole_input_has_no_place() {
        static KIND: Kind = Kind {
            name: "unreadable",
            severity: Severity::Error,
            summary: "a path that can't be read",
        };
        let whole = Problem::general(&KIND, "no such file").help("name a file that is there");
        assert_eq!((whole.span, whole.severity()), (None, Severity::Error));
        assert_eq!(whole.help.as_deref(), Some("name a file that is there"));
        let span = Span::default();
        let placed = Problem::at(&KIND, span, "not there")
            .about("a")
            .label("here");
        assert_eq!((placed.span, placed.notes.len()), (Some(span), 0));
        assert_eq!((&*placed.subject, &*placed.label), ("a", "here"));
        let noted = placed.note(span, "there");
        assert_eq!(noted.notes.len(), 1);
    }
}
