//! What is permitted and nobody needs: permitted flows without those of needs and without those that were observed.
//!
//! The measure of a set of packets is exact: addresses times addresses times services, where a service is a protocol
//! with its ports or its message. A rule *uses* what needs and observed flows take of what it permits.

mod bounding_rules;
mod found;
mod gathered;
mod measure;
mod part;
mod survey;
mod tighten;
mod tightened;

pub use found::{Impossible, NeedUse, Observed, ObservedService, PairUse, Privilege, RuleUse};
pub use measure::{Axis, Measure};
pub use part::InterfacePair;
pub use survey::privilege;
pub use tighten::{Kept, NewFields, Tightened, party_text, tighten};
pub use tightened::{Proof, prove};
