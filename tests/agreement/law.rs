//! Laws: one fact asked of two commands.

use crate::facts::Facts;

/// Two answers to one question.
pub struct Law {
    /// What is to be so.
    pub name: &'static str,
    /// How many comparisons were made, or the one that failed.
    pub holds: fn(&Facts<'_>) -> Result<usize, String>,
}

/// Comparisons of one law on one site.
pub struct Compared {
    made: usize,
    may_be_unknown: bool,
}

impl Compared {
    pub fn new(facts: &Facts<'_>) -> Self {
        Self {
            made: 0,
            may_be_unknown: facts.may_be_unknown(),
        }
    }

    pub fn made(self) -> Result<usize, String> {
        Ok(self.made)
    }

    /// Both are the same, or unknown where a limit was turned low.
    pub fn same(
        &mut self,
        one: Option<bool>,
        other: Option<bool>,
        what: impl FnOnce() -> String,
    ) -> Result<(), String> {
        match (one, other) {
            (Some(one), Some(other)) if one == other => {
                self.made += 1;
                Ok(())
            }
            (None, _) | (_, None) if self.may_be_unknown => Ok(()),
            _ => Err(format!("{}: {one:?} and {other:?}", what())),
        }
    }

    /// Where the first is so, the second is.
    pub fn follows(
        &mut self,
        one: Option<bool>,
        other: Option<bool>,
        what: impl FnOnce() -> String,
    ) -> Result<(), String> {
        match one {
            Some(true) => self.same(one, other, what),
            None if !self.may_be_unknown => Err(format!("{}: {one:?} and {other:?}", what())),
            _ => Ok(()),
        }
    }

    /// It is so.
    pub fn so(&mut self, so: bool, what: impl FnOnce() -> String) -> Result<(), String> {
        self.same(Some(true), Some(so), what)
    }
}
