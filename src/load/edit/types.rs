//! What edits are, and why they can't be made.

use boundwalk_diagnostic::FileId;
use boundwalk_model::RouterId;
use std::collections::BTreeMap;
use std::fmt;

/// A field of a rule that says what it matches.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum RuleField {
    /// `from`: zones and segments of arrival.
    From,
    /// `to`: zones and segments of departure, or the gateway itself.
    To,
    /// `source`: source addresses.
    Source,
    /// `destination`: destination addresses.
    Destination,
    /// `services`: services.
    Services,
}

impl RuleField {
    /// All fields in the order in which they are usually written.
    pub const ALL: [Self; 5] = [
        Self::From,
        Self::To,
        Self::Source,
        Self::Destination,
        Self::Services,
    ];

    /// The key that the file uses.
    pub fn key(self) -> &'static str {
        match self {
            Self::From => "from",
            Self::To => "to",
            Self::Source => "source",
            Self::Destination => "destination",
            Self::Services => "services",
        }
    }
}

/// A rule that is a copy of another one but for its name and some fields.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RuleCopy {
    /// Its name, which no rule of the gateway has.
    pub name: String,
    /// Fields that differ, with their items as the file writes them; no items: the copy has no such field.
    pub fields: BTreeMap<RuleField, Vec<String>>,
}

/// One change of a rule. Rules go by their numbers in the site before all edits.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Edit {
    /// Takes a rule out, with the comments that belong to it.
    RemoveRule {
        /// The gateway.
        router: RouterId,
        /// Number of the rule in its list.
        rule: usize,
    },
    /// Gives a field of a rule these items.
    SetRuleField {
        /// The gateway.
        router: RouterId,
        /// Number of the rule in its list.
        rule: usize,
        /// The field; it need not be there before.
        field: RuleField,
        /// Its items as the file writes them; none takes the key out.
        items: Vec<String>,
    },
    /// Puts copies of a rule, as it is before all edits, directly behind it. Only where rules stand under headers.
    CopyRule {
        /// The gateway.
        router: RouterId,
        /// Number of the rule in its list.
        rule: usize,
        /// The copies, in order.
        copies: Vec<RuleCopy>,
    },
}

/// A file that edits change.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct EditedFile {
    /// Number of the text in the sources.
    pub file: FileId,
    /// Its name as the sources have it: the path as the user gave it.
    pub name: String,
    /// The whole text before.
    pub before: String,
    /// The whole text after.
    pub after: String,
}

/// Why edits can't be made. Nothing is changed then.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub enum EditError {
    /// The site has no such rule.
    NoSuchRule {
        /// The gateway.
        router: RouterId,
        /// Number of the rule.
        rule: usize,
    },
    /// Two edits of one rule that do not go together: one removes it, or both set the same field.
    Contradiction {
        /// Name of the rule.
        rule: String,
    },
    /// Copies of a rule that stands in braces.
    InBraces {
        /// Name of the rule.
        rule: String,
    },
    /// The texts are not those that the site was loaded from.
    OtherTexts,
    /// The edited text would not load.
    WouldNotLoad {
        /// The first error, with its place in the edited text.
        problem: String,
    },
    /// The edited text loads, but as another site than the edits ask for.
    WouldDiffer {
        /// What is not as asked for.
        what: String,
    },
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchRule { router, rule } => write!(
                f,
                "there is no rule {} of the gateway with the number {}",
                rule + 1,
                router.0 + 1
            ),
            Self::Contradiction { rule } => {
                write!(f, "two edits of the rule `{rule}` contradict each other")
            }
            Self::InBraces { rule } => write!(
                f,
                "the rule `{rule}` stands in braces: write it under a header of its own before it is split"
            ),
            Self::OtherTexts => {
                f.write_str("the texts are not those that the site was loaded from")
            }
            Self::WouldNotLoad { problem } => {
                write!(f, "the edited file would not load: {problem}")
            }
            Self::WouldDiffer { what } => write!(
                f,
                "the edited file would describe something else than was asked for: {what}; nothing was changed"
            ),
        }
    }
}

impl std::error::Error for EditError {}
