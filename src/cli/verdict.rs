//! How a command ends.

/// What a command came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Verdict {
    /// Nothing found.
    Clean,
    /// Findings, or a packet that does not arrive.
    Findings,
    /// It could not run; why has been said on standard error.
    Failed,
}
