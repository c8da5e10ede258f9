//! What a hostile sender hears.

use super::layer2::Origin;
use super::neighbours::SendPoint;
use super::network::Network;
use super::plan::Plan;

/// Whether a hostile sender hears what is sent at a send point, on whatever segment that is.
pub(super) fn overheard(
    network: &Network<'_>,
    plan: &Plan,
    send_point: SendPoint,
    hostile: Option<Origin>,
) -> bool {
    let Some(home) = hostile else {
        return false;
    };
    let wiring = &network.wiring;
    match send_point {
        SendPoint::WiredInterface(device, interface) => {
            let interface = plan.interface_of(&network.fabric, (device, interface));
            wiring.heard_at(wiring.from_interface(interface), home)
        }
        SendPoint::Segment(segment) => wiring.hears(segment, home),
        SendPoint::Hostile(origin) => wiring.heard_at(wiring.from_hostile(origin), home),
    }
}
