//! A test plan for the running network, and its results held against the model.
//!
//! [`plan_probes`] chooses few packets that an honest device can send and that together touch each permitting
//! rule, each pair of segments between which something is stopped, and each claim of isolation. What to expect of a
//! packet always comes from [`predict()`], which walks it. [`verify()`] holds what people saw against that.

mod candidate;
mod common;
mod cover;
mod judged;
mod obligation;
mod pick;
mod plan;
mod predict;
mod survey;
mod suspects;
mod untouched;
mod verify;

pub use common::{Shared, Trait, shared_text};
pub use judged::{Checked, Judgement, ResultDifference};
pub use obligation::{Obligation, obligation_text};
pub use pick::CLIENT_PORT;
pub use plan::{Asked, Probe, ProbePlan, plan_probes};
pub use predict::{Expect, Prediction, Unpredictable, predict};
pub use suspects::{suspects, unforeseen_text};
pub use untouched::{Untouched, Why, why_text};
pub use verify::{Verified, verify};
