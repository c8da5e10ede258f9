//! Floor 4: answers, one file a question.
//!
//! [`Matrix`] and [`rows()`]: who can reach what. [`flows()`]: what exactly passes between two parties and which
//! rules let it. [`path()`]: one packet, hop by hop. [`Worksheet`] and [`differences()`]: what each port is set to,
//! and cables whose ends do not agree. [`TopologyTree`]: how the site hangs together, to be drawn. Nothing here prints.

mod amount;
mod bypass;
mod cabling;
mod cascade;
mod cell;
mod certificate;
pub mod change;
mod closing;
mod cut;
mod deciders;
mod distance;
mod families;
mod fault;
mod flows;
pub mod intent;
mod isolation;
mod joined;
mod legs;
mod link_mismatch;
mod map;
mod matrix;
mod missed;
mod needed;
mod notes;
mod party;
mod passages;
mod path;
mod port_names;
pub mod privilege;
pub mod probes;
mod question;
mod reached;
mod replies;
mod row;
pub mod rules;
mod service_labels;
mod setting;
mod short_row;
mod short_way;
mod stop_text;
mod topology_tree;
mod vlan_names;
mod wasted;
mod way_settings;
mod ways;
mod witness;
mod worksheet;

pub use amount::counted;
pub use bypass::{Bypass, bypasses, pairs_asked};
pub use cabling::{Bundle, Cable, CableEnd, Cabling, Equipment, front_order};
pub use cascade::{BlockedPermit, Cascade, Decider, Denial, Pair, Passed};
pub use cell::{Cell, Extent, HostileReach, Reading};
pub use certificate::{Certificate, Closed, End, EndReason, PortPart};
pub use closing::{Bypasses, Closing, MOST_ALTERNATIVES, closing};
pub use cut::{Cut, cut};
pub use deciders::{DecidedBy, rule_name, rule_span};
pub use distance::{Distance, EFFORT, distance};
pub use families::Families;
pub use fault::{Fault, Form, Forwarding};
pub use flows::{Crossed, PermittedFlow, flows};
pub use isolation::{
    Contact, Counterpart, Direction, IsolationVerdict, Opening, isolation, isolations,
};
pub use joined::{Joined, joined};
pub use legs::Leg;
pub use link_mismatch::{Difference, LinkMismatch, differences};
pub use map::{Map, MapLink, MapNode};
pub use matrix::{Matrix, messages, rows};
pub use needed::Needed;
pub use notes::{CAUTION, interface_name, notes};
pub use party::{
    Column, Endpoint, all_parties, chosen, columns, find_party, origin_name, party_name,
};
pub use path::{Fate, PathError, PathResult, path, path_via};
pub use question::{By, Question};
pub use service_labels::ServiceLabels;
pub use setting::{PortKey, Setting, end_key, end_name, link_name, numbered_vlan, vlan_name};
pub use stop_text::{stop_text, stopped};
pub use topology_tree::{Seated, ThingId, TopologyTree, TreeEdge, TreeNode, VlanRow};
pub use vlan_names::{numbered_vlan_at, segment_name_at, segments_at};
pub use wasted::{Wasted, wasted};
pub use ways::{Around, Handover, Way};
pub use witness::{representative, witness};
pub use worksheet::{
    Attached, LagFacts, Mode, PortLine, Worksheet, accept_word, front_ports, lacp_word, vlan_ranges,
};
