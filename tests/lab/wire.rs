//! A packet as bytes.

use std::net::IpAddr;

use crate::simulator::Probe;

/// The whole packet in hexadecimal digits.
///
/// Headers after RFC 791, 8200, 9293, 768, 792, 4443 and 9260 (the port fields of TCP, UDP and SCTP stand
/// first in each). Checksums are left 0: the kernel writes that of IPv4, and no rule reads them.
pub fn hex(probe: &Probe) -> String {
    let payload = payload(probe);
    let length = u16::try_from(payload.len()).expect("a short packet");
    let mut bytes = match (probe.source, probe.destination) {
        (IpAddr::V4(source), IpAddr::V4(destination)) => {
            let [high, low] = (length + 20).to_be_bytes();
            let start = [0x45, 0, high, low, 0, 0, 0, 0, 64, probe.protocol, 0, 0];
            [&start[..], &source.octets(), &destination.octets()].concat()
        }
        (IpAddr::V6(source), IpAddr::V6(destination)) => {
            let [high, low] = length.to_be_bytes();
            let start = [0x60, 0, 0, 0, high, low, probe.protocol, 64];
            [&start[..], &source.octets(), &destination.octets()].concat()
        }
        _ => unreachable!("both addresses are of one family"),
    };
    bytes.extend(payload);
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn payload(probe: &Probe) -> Vec<u8> {
    let (source, destination) = (
        probe.source_port.to_be_bytes(),
        probe.destination_port.to_be_bytes(),
    );
    let ports = [source, destination].concat();
    match probe.protocol {
        // SYN, five words of header.
        6 => [
            &ports[..],
            &[0, 0, 0, 1, 0, 0, 0, 0, 0x50, 0x02, 4, 0, 0, 0, 0, 0],
        ]
        .concat(),
        17 => [&ports[..], &[0, 8, 0, 0]].concat(),
        132 => [&ports[..], &[0; 8]].concat(),
        1 | 58 => [&destination[..], &[0; 6]].concat(),
        _ => vec![0; 8],
    }
}
