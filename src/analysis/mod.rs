//! Floor 4: answers, one file a question.
//!
//! [`Matrix`] and [`rows()`]: who can reach what. [`flows()`]: what exactly passes between two parties and which
//! rules let it. [`path()`]: one packet, hop by hop. Nothing here prints.

mod bypass;
mod cell;
mod certificate;
mod cut;
mod faults;
mod flows;
mod isolation;
mod legs;
mod matrix;
mod missed;
mod naming;
mod needed;
mod notes;
mod party;
mod path;
mod replies;
mod row;
mod setting;
mod ways;
mod witness;

pub use bypass::{
    Bypass, Bypasses, Closing, MOST_ALTERNATIVES, bypasses, closing, pairs_asked, port_of_end,
};
pub use cell::{Cell, Extent, HostileReach, Reading};
pub use certificate::{Certificate, Closed, End, EndReason};
pub use cut::{Cut, cut};
pub use faults::{Distance, Fault, Form, Forwarding, distance};
pub use flows::{Crossed, PermittedFlow, flows};
pub use isolation::{Contact, Direction, Met, Opening, Verdict, isolation};
pub use legs::Leg;
pub use matrix::{By, Matrix, Question, rows};
pub use naming::Naming;
pub use notes::{CAUTION, foot_name, notes};
pub use party::{Column, Party, all_parties, chosen, columns, find_party, party_name};
pub use path::{PathError, PathResult, path};
pub use setting::{PortKey, Setting, end_name, link_name, vlan_name};
pub use ways::{Around, Handover, Way};
pub use witness::{representative, witness};
