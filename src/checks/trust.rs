//! Which zones count as untrusted.

use boundwalk_model::Zone;

/// Zones below this trust hold devices that nobody here answers for: guests, the internet. A rule of this house, no
/// source.
pub(super) const UNTRUSTED_BELOW: u8 = 20;

/// Whether nobody here answers for the devices of a zone.
pub(super) fn untrusted(zone: &Zone) -> bool {
    zone.trust < UNTRUSTED_BELOW
}
