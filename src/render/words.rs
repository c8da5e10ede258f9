//! What the path of a packet tells, in words that every format shares.

use boundwalk_forwarding::{Doubt, Mismatch};
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
