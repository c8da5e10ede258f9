//! Floor 3: what wires and routes can do, without judgement.
//!
//! [`Network::new`] turns a [`Site`](boundwalk_model::Site) into what each device does with packets: where it
//! routes them, what it filters, what it translates, as sets. Two readers stand on it: [`reach()`] sends whole
//! sets of packets and lists where each part arrives or stops, and [`trace()`] sends a single packet and
//! writes down each step. Both follow the same order at a device: source check, destination translation,
//! own address or route, rules, source translation.
//!
//! Both stand on computed layer 2 ([`layer2`]): a device finds on its wire what frames reach, through the
//! switches and cables of the site. Where none are described, a segment joins exactly the interfaces that the
//! file puts on it.

mod ambiguous;
mod coverage;
mod crossing;
mod devices;
mod dropped;
mod filter;
mod flow;
mod hand_over;
pub mod layer2;
mod learned;
mod network;
mod next;
mod own_ways;
mod reach;
mod returns;
mod routes;
mod seeds;
mod send;
mod trace;
mod trace_reply;
mod trace_walk;
mod translate;
mod wires;

pub use coverage::{Coverage, Limit};
pub use crossing::class_of;
pub use filter::{FilterPlan, TranslationPlan, Written};
pub use flow::{Certainty, Flow, Hop, Stopped, Translated};
pub use layer2::{Origin, UnclaimedId};
pub use learned::Learned;
pub use network::{Accepts, Attachment, Device, DeviceId, DeviceIndex, Network, Plan, SegmentPlan};
pub use reach::{Arrival, Place, Sender, Stop, Target, reach, reach_beyond, reach_unfiltered};
pub use returns::returns;
pub use routes::{NextHop, RouteEntry, RouteTable};
pub use trace::{
    Decision, Doubt, Mismatch, Outcome, Packet, RouteChoice, RuleTry, Step, Trace, trace, trace_via,
};
pub use trace_reply::{Reply, ReplyPass, ReplyStep};
pub use wires::{Stand, Wire};
