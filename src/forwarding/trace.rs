//! One packet, step by step.
//!
//! Independent of the set-valued walk on purpose: each checks the other in the tests.

use boundwalk_model::Family;

use super::device::DeviceIndex;
use super::doubt::Doubt;
use super::network::Network;
use super::sender::Sender;
use super::trace_reply::reply;
use super::trace_types::{Packet, Trace};
use super::trace_walk::Walker;

/// Walks a packet that a sender hands to one of some interfaces, whatever its routes say; one trace for each. Ask
/// `neighbours` for those that it can hand a packet to; `learned`: the sender knows them only from their requests.
#[must_use]
pub fn trace_via(
    network: &Network<'_>,
    sender: Sender,
    packet: &Packet,
    via: &[(DeviceIndex, usize)],
    learned: bool,
) -> Vec<Trace> {
    let plan = network.plan(Family::of(packet.source));
    let walker = Walker::new(network, plan);
    let mut traces = walker.walk_by(via, packet);
    for trace in &mut traces {
        trace.doubts.extend(learned.then_some(Doubt::Request));
        trace.doubts.sort_unstable();
        trace.doubts.dedup();
        trace.reply = reply(network, plan, sender, trace);
    }
    traces
}

/// Walks a packet from a sender; one trace for each device that the sender may hand it to, and for each interface by
/// which that device may take it in.
///
/// The packet is taken as it is: whether its source belongs to the sender is for the caller to judge.
#[must_use]
pub fn trace(network: &Network<'_>, sender: Sender, packet: &Packet) -> Vec<Trace> {
    let plan = network.plan(Family::of(packet.source));
    let walker = Walker::new(network, plan);
    let mut traces = match sender {
        Sender::Segment(segment) => walker.walk_from_segment(segment, packet),
        Sender::Hostile(origin) => walker.walk_from_hostile(origin, packet),
        Sender::Host(host) => walker.walk_from_host(host, packet),
    };
    for trace in &mut traces {
        trace.reply = reply(network, plan, sender, trace);
    }
    traces
}
