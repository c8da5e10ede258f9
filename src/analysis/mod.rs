//! Floor 4: answers, one file a question.
//!
//! [`Matrix`] and [`rows()`]: who can reach what. [`flows()`]: what exactly passes between two parties and which
//! rules let it. [`path()`]: one packet, hop by hop. [`Worksheet`] and [`differences()`]: what each port is set to,
//! and cables whose ends do not agree. [`Outline`]: how the site hangs together, to be drawn. Nothing here prints.

mod cabling;
mod cell;
mod ends;
mod flows;
mod matrix;
mod missed;
mod naming;
mod notes;
mod outline;
mod party;
mod path;
mod replies;
mod row;
mod witness;
mod worksheet;

pub use cabling::{Bundle, Cable, Cabling, End, Equipment, front_order};
pub use cell::{Cell, Extent, HostileReach, Reading};
pub use ends::{Difference, Unlike, differences};
pub use flows::{Crossed, PermittedFlow, flows};
pub use matrix::{By, Matrix, Question, rows};
pub use naming::Naming;
pub use notes::{CAUTION, notes};
pub use outline::{Joint, Limb, Outline, Seated, ThingId, VlanRow};
pub use party::{Column, Party, all_parties, chosen, columns, find_party, party_name};
pub use path::{PathError, PathResult, path};
pub use witness::{representative, witness};
pub use worksheet::{
    Attached, LagFacts, Mode, PortLine, Worksheet, accept_word, front_ports, lacp_word, vlan_ranges,
};
