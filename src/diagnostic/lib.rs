//! Floor 0: how a problem is stated: source text, spans, severities, problems, findings.
//!
//! Nothing here renders anything and nothing here knows what a network is. A problem keeps spans into
//! the texts it speaks of; the floors above decide what it looks like on a terminal or in JSON.

mod finding;
mod magnitude;
mod problem;
mod source;
mod span;
mod visible;

pub use finding::{Check, Finding};
pub use magnitude::{Magnitude, Span128};
pub use problem::{Kind, Note, Problem, Severity};
pub use source::{Position, Source, Sources};
pub use span::{FileId, Span, Spanned};
pub use visible::{is_prose, is_visible};
