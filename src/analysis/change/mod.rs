//! What a change does: which packets reach something that they did not reach before, and which no longer do.
//!
//! Two versions are compared by what passes, never by how they are written: rules that are moved, renamed, merged or
//! written otherwise and decide every packet alike leave no trace here. What was edited is told apart from it
//! ([`edits`]).

mod counterparts;
mod delta;
mod disagreement;
mod edited;
mod isolated;
mod narrow;
mod pair;
mod pairing;
mod reach;
mod seen;
mod status;
mod things;
mod ways;

pub use counterparts::{Counterparts, Matched};
pub use edited::{Edit, EditKind, edits};
pub use isolated::{IsolationChange, Stood, Trend, isolation_changes};
pub use pair::Changed;
pub use reach::{PairChange, ReachChange, Spot, reach_change};
pub use status::{IntentChange, intent_changes};
pub use ways::{WayChange, WayChanges, way_changes};
