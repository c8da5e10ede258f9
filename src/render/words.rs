//! What the path of a packet tells, in words that every format shares.

use boundwalk_forwarding::{Doubt, Mismatch, Stop};
use boundwalk_model::Rule;

/// A rule by its number, from 1, and its name.
pub(super) fn rule_name(number: usize, rule: &Rule) -> String {
    format!("{} \"{}\"", number + 1, rule.name.value)
}

/// Why a rule does not match, in a few words.
pub(super) fn mismatch_text(mismatch: Mismatch) -> &'static str {
    match mismatch {
        Mismatch::Inactive => "disabled or expired",
        Mismatch::Family => "other family",
        Mismatch::From => "other `from`",
        Mismatch::To => "other `to`",
        Mismatch::Source => "other source",
        Mismatch::Destination => "other destination",
        Mismatch::Service => "other service",
    }
}

/// Why a packet may go another way than the one shown.
pub(super) fn doubt_text(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::SharedAddress => {
            "several devices have the address that it is sent to or by, and any of them may answer"
        }
        Doubt::EqualRoute => "another route to the same prefix is as good, and may be used instead",
        Doubt::OverlappingPrefix => {
            "the address lies in prefixes of several segments, and devices may look for it on either"
        }
        Doubt::Request => {
            "a device on this way gets no answer to its own ARP or neighbour requests, and knows where to send only \
             after the next device has asked for it"
        }
        Doubt::Backup => "it goes by a backup route",
        Doubt::UnknownGateway => {
            "nobody has the default gateway that the sender names, and it perhaps uses another router"
        }
    }
}

/// Why a packet stops, in a few words.
pub(super) fn stop_text(stop: Stop) -> &'static str {
    match stop {
        Stop::SourceCheck => "the source check refuses it",
        Stop::Denied(_) => "the rules do not permit it",
        Stop::NoRoute => "there is no route to the destination",
        Stop::Discarded => "the route discards it",
        Stop::NextHopSilent => "nobody has the address of the next hop",
        Stop::OffWire => "nobody there with this address exchanges frames with the device",
        Stop::NotForwarding => "this device forwards nothing",
        Stop::Loop => "it has been here before with the same headers: a routing loop",
        Stop::NotForwardable => {
            "no router forwards from this source or to this destination (RFC 6890)"
        }
        Stop::LostOutside(_) => {
            "it leaves the site for a private address, which nobody out there routes"
        }
        Stop::OwnSource => "the receiver drops it: the source is an address of its own",
        Stop::NoFirstHop => "no gateway or router on the sender's segment",
        Stop::NoSource => "the sender has no address to send it from",
        Stop::NoTranslationAddress => "the interface has no address to translate the source to",
    }
}
