//! Floor 4: answers, one file a question.
//!
//! [`Matrix`] and [`rows()`]: who can reach what. [`flows()`]: what exactly passes between two parties and which
//! rules let it. [`path()`]: one packet, hop by hop. [`Worksheet`] and [`differences()`]: what each port is set to,
//! and cables whose ends do not agree. [`Outline`]: how the site hangs together, to be drawn. Nothing here prints.

mod bypass;
mod cabling;
mod cell;
mod certificate;
mod cut;
mod ends;
mod faults;
mod flows;
mod isolation;
mod legs;
mod matrix;
mod missed;
mod naming;
mod needed;
mod notes;
mod outline;
mod party;
mod path;
mod replies;
mod row;
mod setting;
mod ways;
mod witness;
mod worksheet;

pub use bypass::{
    Bypass, Bypasses, Closing, MOST_ALTERNATIVES, bypasses, closing, pairs_asked, port_of_end,
};
pub use cabling::{Bundle, Cable, CableEnd, Cabling, Equipment, front_order};
pub use cell::{Cell, Extent, HostileReach, Reading};
pub use certificate::{Certificate, Closed, End, EndReason};
pub use cut::{Cut, cut};
pub use ends::{Difference, Unlike, differences};
pub use faults::{Distance, EFFORT, Fault, Form, Forwarding, distance};
pub use flows::{Crossed, PermittedFlow, flows};
pub use isolation::{Contact, Direction, Met, Opening, Verdict, isolation, isolations};
pub use legs::Leg;
pub use matrix::{By, Matrix, Question, rows};
pub use naming::Naming;
pub use needed::Needed;
pub use notes::{CAUTION, foot_name, notes};
pub use outline::{Joint, Limb, Outline, Seated, ThingId, VlanRow};
pub use party::{Column, Party, all_parties, chosen, columns, find_party, party_name};
pub use path::{PathError, PathResult, path};
pub use setting::{PortKey, Setting, end_name, link_name, vlan_name};
pub use ways::{Around, Handover, Way};
pub use witness::{representative, witness};
pub use worksheet::{
    Attached, LagFacts, Mode, PortLine, Worksheet, accept_word, front_ports, lacp_word, vlan_ranges,
};
