//! What the rules of a gateway do and do not do: one file a question.

mod dead;
mod effort;
mod holes;
mod judge;
mod ranks;
mod redundant;
mod review;
mod space;

pub use dead::{Against, Dead};
pub use effort::{Effort, MOST_CUTS, MOST_LOOKS};
pub use judge::Judge;
pub use review::{RuleReview, Standing, Without};
pub use space::{RulePacket, RuleSpace};
