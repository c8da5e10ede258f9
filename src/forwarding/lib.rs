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
mod device;
mod devices;
mod doubt;
mod dropped;
mod explored;
mod filter;
mod flow;
mod hand_over;
pub mod layer2;
mod learned;
mod neighbours;
mod network;
mod next;
mod overheard;
mod own_ways;
mod plan;
mod reach;
mod returns;
mod routes;
mod seeds;
mod send;
mod sender;
mod stop;
mod trace;
mod trace_reply;
mod trace_start;
mod trace_types;
mod trace_visit;
mod trace_walk;
mod translate;
mod wires;

pub use coverage::{Limit, WalkCoverage};
pub use crossing::class_of;
pub use device::{Accepts, Attachment, Device, DeviceId, DeviceIndex};
pub use doubt::{Certainty, Doubt};
pub use filter::{FilterPlan, TranslationPlan, Written};
pub use flow::{Flow, Hop, Stopped, Translated};
pub use layer2::{Origin, UnclaimedId};
pub use neighbours::{Learned, Neighbours, SendPoint};
pub use network::Network;
pub use plan::{Plan, SegmentPlan};
pub use reach::{Arrival, Target, reach, reach_beyond, reach_past_rules, reach_unfiltered};
pub use returns::returns;
pub use routes::{NextHop, RouteEntry, RouteTable};
pub use sender::Sender;
pub use stop::{Place, Stop};
pub use trace::{trace, trace_via};
pub use trace_types::{
    Decision, Mismatch, Outcome, Packet, Reply, ReplyPass, ReplyStep, RouteChoice, RuleTry, Step,
    Trace,
};
