//! Why a packet goes no further, in the same words wherever that is said.

use boundwalk_forwarding::Stop;

/// Why a packet stops, in a few words.
pub fn stop_text(stop: Stop) -> &'static str {
    match stop {
        Stop::SourceCheck => "the source check refuses it",
        Stop::Denied(_) => "the rules do not permit it",
        Stop::NoRoute => "there is no route to the destination",
        Stop::Discarded => "the route discards it",
        Stop::NextHopSilent => "nobody has the address of the next hop",
        Stop::OffWire => "nobody there with this address exchanges frames with the device",
        Stop::NotForwarding => "this device forwards nothing",
        Stop::TooManyWays => {
            "it may take more ways than are followed: what becomes of it is not known"
        }
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

/// That a packet goes no further, and why: `denied`, or `stopped: there is no route to the destination`.
pub fn stopped(stop: Stop) -> String {
    match stop {
        Stop::Denied(_) => "denied".to_owned(),
        other => format!("stopped: {}", stop_text(other)),
    }
}
