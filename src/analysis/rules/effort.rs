//! How much a review may do before it says that it does not know.

use std::cell::Cell;

/// Cuts that one question may take.
pub const MOST_CUTS: usize = 20_000;

/// Boxes that the review of one gateway may look at: about half a minute. Past that, what is left is unknown.
pub const MOST_LOOKS: usize = 400_000_000;

/// What is left to spend.
#[derive(Debug)]
pub struct Effort {
    cuts: usize,
    left: Cell<usize>,
}

impl Effort {
    /// The default, scaled.
    pub(super) fn scaled(scale: impl Fn(usize) -> usize) -> Self {
        Self::new(scale(MOST_CUTS), scale(MOST_LOOKS))
    }

    /// `cuts` for each question, `looks` for all of them together.
    pub fn new(cuts: usize, looks: usize) -> Self {
        Self {
            cuts,
            left: Cell::new(looks),
        }
    }

    /// Cuts that the next question may take: none where nothing is left.
    pub(super) fn cuts(&self) -> usize {
        if self.left.get() == 0 { 0 } else { self.cuts }
    }

    pub(super) fn spend(&self, looks: usize) {
        self.left.set(self.left.get().saturating_sub(looks));
    }

    /// Looks that are left.
    pub fn left(&self) -> usize {
        self.left.get()
    }
}

impl Default for Effort {
    fn default() -> Self {
        Self::new(MOST_CUTS, MOST_LOOKS)
    }
}
