//! Floor 4: answers, one file a question.
//!
//! [`Matrix`] and [`rows()`]: who can reach what. [`flows()`]: what exactly passes between two parties and which
//! rules let it. [`path()`]: one packet, hop by hop. Nothing here prints.

mod cell;
mod flows;
mod matrix;
mod missed;
mod naming;
mod notes;
mod party;
mod path;
mod replies;
mod row;
mod witness;

pub use cell::{Cell, Extent, HostileReach, Reading};
pub use flows::{Crossed, PermittedFlow, flows};
pub use matrix::{By, Matrix, Question, rows};
pub use naming::Naming;
pub use notes::{CAUTION, notes};
pub use party::{Column, Party, all_parties, chosen, columns, find_party, party_name};
pub use path::{PathError, PathResult, path};
pub use witness::{representative, witness};
