//! What must hold, held against what is so: expectations and needs.
//!
//! A line speaks of packets between places: `from` and `to` say where they start and end. Its addresses and
//! services may be those that are sent or those that arrive, where a gateway translates: a prohibition catches a
//! flow by either, and a demand is met by either.

mod apart;
mod ground;
mod judge;
mod passing;
mod permit;
mod status;
mod words;

pub(super) use ground::{Ground, Scope};
pub(super) use judge::need_scope;
pub(super) use passing::{Passed, passing};

pub use apart::chain;
pub use judge::{judge_expectations, judge_needs};
pub use status::{Breach, Demand, IntentStatus, JudgedExpectation, JudgedNeed, Link};
pub use words::breach_text;
