//! Whether a walk looked at everything.

use std::fmt;

/// A limit that a walk met. What it lists then is a lower bound: more may pass.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[non_exhaustive]
pub enum Limit {
    /// More pieces of a packet set were open at once in one walk through the rules of a gateway.
    OpenPieces(usize),
    /// One set of packets came to devices more often, on all the ways that it may take.
    Visits(usize),
    /// More hosts than this were to be asked apart from their segment, each for everything that one sender sends there.
    Hosts(usize),
    /// More pieces of packet sets than this differ between two versions for one pair.
    Differences(usize),
}

/// As `the rules of a gateway split the packets into more than 200000 sets at once`.
impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OpenPieces(most) => write!(
                f,
                "the rules of a gateway split the packets into more than {most} sets at once"
            ),
            Self::Visits(most) => write!(
                f,
                "packets may take so many ways that {most} visits of devices do not follow them all"
            ),
            Self::Hosts(most) => write!(
                f,
                "more than {most} hosts with ways of their own were to be asked, each once for each sender"
            ),
            Self::Differences(most) => {
                write!(f, "one pair differs in more than {most} sets of packets")
            }
        }
    }
}

/// Whether a walk looked at everything; the answer that rests on it is unknown where it did not.
#[must_use = "an answer that rests on a walk which met a limit is unknown"]
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum WalkCoverage {
    /// Everything was looked at.
    #[default]
    Complete,
    /// This limit was met: what is known is a lower bound.
    Cut(Limit),
}

impl WalkCoverage {
    /// Whether everything was looked at.
    #[must_use]
    pub fn is_complete(self) -> bool {
        self == Self::Complete
    }

    /// The limit that was met.
    #[must_use]
    pub fn limit(self) -> Option<Limit> {
        match self {
            Self::Complete => None,
            Self::Cut(limit) => Some(limit),
        }
    }

    /// Of two walks together.
    pub fn and(self, other: Self) -> Self {
        match self {
            Self::Complete => other,
            Self::Cut(_) => self,
        }
    }

    /// Adds another walk.
    pub fn note(&mut self, other: Self) {
        *self = self.and(other);
    }
}
