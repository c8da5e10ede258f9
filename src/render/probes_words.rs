//! What every form of a test plan says of a probe.

use std::net::IpAddr;

use boundwalk_analysis::probes::{Expect, Prediction, Probe, ProbePlan, obligation_text};
use boundwalk_analysis::{Endpoint, party_name, rule_name};
use boundwalk_forwarding::{Network, Packet, Place, Sender};
use boundwalk_model::{Family, HostId, ICMP, ICMPV6, SegmentId, TCP, UDP};

/// A plan with what is said beside it.
pub struct ProbesShown<'a> {
    /// The network.
    pub network: &'a Network<'a>,
    /// The plan.
    pub plan: &'a ProbePlan,
    /// What the answers rest on.
    pub notes: &'a [String],
}

/// Whoever sends probes must have read this.
pub(super) const CAREFUL: &str = "Send probes only on networks that you may test, in a time window agreed with \
    whoever runs them. Controllers and other devices of a plant may stop or misbehave on a single unexpected \
    packet: have somebody at hand who can bring them back, or put a test device in their place.";

/// What to write down.
pub(super) const HOW: &str = "Write what became of each probe: answered (it arrived and an answer came back), arrived \
    (only the far side saw it), refused (reset, or a closed port), rejected (unreachable, prohibited), nothing. For \
    `arrives` and `nothing` somebody has to look at the far side: at the listener, or on a gateway itself at its counters.";

impl ProbesShown<'_> {
    /// `14 probes touch 31 of 33 obligations; 3 of 5 denying rules come by the way`.
    pub(super) fn size(&self) -> String {
        let plan = self.plan;
        let count = plan.probes.len();
        let (verb, ending) = match count {
            1 => ("touches", ""),
            _ => ("touch", "s"),
        };
        let touched = plan.required - plan.untouched.len();
        let mut text = format!(
            "{count} probe{ending} {verb} {touched} of {} obligations (permitting rules, pairs between which \
             something is stopped, claims of isolation)",
            plan.required
        );
        if plan.denying > 0 {
            text.push_str(&format!(
                ", and {} of {} denying rules by the way",
                plan.denying_touched, plan.denying
            ));
        }
        if !plan.complete {
            text.push_str("; a limit was met, so there may be more to touch");
        }
        text
    }

    pub(super) fn name(&self, segment: SegmentId) -> &str {
        &self.network.site.segment(segment).name.value
    }

    /// `host press (10.44.20.7)`, or a test device with what to set on it.
    pub(super) fn sender(&self, probe: &Probe) -> String {
        let source = probe.packet.source;
        if let Sender::Host(host) = probe.predicted.sender {
            return format!(
                "host {} ({source})",
                self.network.site.host(host).name.value
            );
        }
        let segment = self.network.site.segment(probe.predicted.send_point);
        let mut prefixes = segment.prefixes.iter();
        let prefix = prefixes.find(|prefix| prefix.value.contains(source));
        let length = prefix.map_or(String::new(), |prefix| {
            format!("/{}", prefix.value.net().prefix_len())
        });
        let hops = &probe.predicted.first_hops;
        let hops: Vec<String> = hops.iter().map(IpAddr::to_string).collect();
        let gateway = if hops.is_empty() {
            "no default gateway".to_owned()
        } else {
            format!("default gateway {}", hops.join(" or "))
        };
        format!("a test device ({source}{length}, {gateway})")
    }

    /// Whose address it is for: `press in plant`, `a test device in plant`, `edge itself`.
    pub(super) fn target(&self, probe: &Probe) -> String {
        let end = far_end(probe).destination;
        if let Endpoint::Device(_) = probe.to {
            return format!("{} itself", party_name(self.network.site, probe.to));
        }
        let there = party_name(self.network.site, probe.to);
        match self.host_at(end) {
            Some(host) => format!("{} in {there}", self.network.site.host(host).name.value),
            None => format!("a test device in {there}"),
        }
    }

    /// The described host that has an address.
    pub(super) fn host_at(&self, address: IpAddr) -> Option<HostId> {
        let plan = self.network.plan(Family::of(address));
        let mut hosts = (0..self.network.site.hosts.len()).map(HostId);
        hosts.find(|&host| {
            let own = &plan.device(plan.host_index(host)).own;
            own.contains(Family::value(address))
        })
    }

    /// Deciding rules, or why it stops.
    pub(super) fn reason(&self, predicted: &Prediction) -> String {
        let named: Vec<String> = predicted
            .deciders
            .iter()
            .map(|&(router, rule)| rule_name(self.network, router, rule))
            .collect();
        let stop = predicted
            .stop
            .filter(|stop| !matches!(stop, boundwalk_forwarding::Stop::Denied(_)));
        match (stop, named.is_empty()) {
            (Some(stop), _) => boundwalk_analysis::stop_text(stop).to_owned(),
            (None, true) => "no gateway decides".to_owned(),
            (None, false) => format!("by {}", named.join(", then ")),
        }
    }

    /// What a probe shows, in words.
    pub(super) fn covers(&self, probe: &Probe) -> Vec<String> {
        probe
            .covers
            .iter()
            .map(|&one| obligation_text(self.network, one))
            .collect()
    }

    /// Where something has to listen, each once, in the order of the site: protocol, address and port, and who.
    pub(super) fn listeners(&self) -> Vec<(String, String)> {
        let wanted = self.plan.probes.iter().filter(|probe| {
            !is_echo(&probe.packet) && !matches!(probe.predicted.place, Some(Place::Router(_)))
        });
        let mut list: Vec<(Endpoint, Packet, String)> = wanted
            .map(|probe| (probe.to, far_end(probe), self.target(probe)))
            .collect();
        let key = |packet: &Packet| (packet.destination, packet.protocol, packet.destination_port);
        list.sort_by_key(|(to, packet, _)| (*to, key(packet)));
        list.dedup_by_key(|(_, packet, _)| key(packet));
        list.into_iter()
            .map(|(_, packet, who)| (listener(&packet), who))
            .collect()
    }

    /// Whether some probe needs a sender of raw packets.
    pub(super) fn raw(&self) -> bool {
        let mut probes = self.plan.probes.iter();
        probes.any(|probe| is_raw(&probe.packet))
    }
}

/// The packet as whoever listens sees it, or as it was sent where it stops.
pub(super) fn far_end(probe: &Probe) -> Packet {
    probe.predicted.arrives_as.unwrap_or(probe.packet)
}

/// `tcp 443`, `tcp 443 from 1024`, `icmp type 8 code 0`, `gre`.
pub(super) fn service(packet: &Packet, pinned: bool) -> String {
    let port = port(packet, pinned);
    if port.is_empty() {
        packet.protocol.to_string()
    } else {
        format!("{} {port}", packet.protocol)
    }
}

/// The port as the results are to name it; never `8/0`, which spreadsheets take for a date.
pub(super) fn port(packet: &Packet, pinned: bool) -> String {
    let port = packet.destination_port;
    match packet.protocol {
        protocol if protocol.has_messages() => {
            format!("type {} code {}", port >> 8, port & 0xff)
        }
        protocol if !protocol.has_ports() => String::new(),
        _ if pinned => format!("{port} from {}", packet.source_port),
        _ => port.to_string(),
    }
}

fn is_echo(packet: &Packet) -> bool {
    match packet.protocol {
        ICMP => packet.destination_port == 8 << 8,
        ICMPV6 => packet.destination_port == 128 << 8,
        _ => false,
    }
}

fn is_raw(packet: &Packet) -> bool {
    !is_echo(packet) && ![TCP, UDP].contains(&packet.protocol)
}

/// The command that sends a packet from a shell.
pub(super) fn command(packet: &Packet, pinned: bool) -> String {
    let (source, target, port) = (packet.source, packet.destination, packet.destination_port);
    let from = if pinned {
        format!("-p {} ", packet.source_port)
    } else {
        String::new()
    };
    match packet.protocol {
        _ if is_echo(packet) => format!("ping -c 1 -W 2 -I {source} {target}"),
        TCP => format!("nc -z -v -w 2 {from}-s {source} {target} {port}"),
        UDP => format!("echo probe | nc -u -w 2 {from}-s {source} {target} {port}"),
        protocol => format!(
            "send_raw {source} {target} {} {}",
            protocol.0,
            payload(packet)
        ),
    }
}

/// The first eight bytes behind the IP header, in hexadecimal digits: a message with its checksum (RFC 792; the system
/// fills in that of ICMPv6), or ports (first in DCCP, SCTP and UDP-Lite), or nothing.
fn payload(packet: &Packet) -> String {
    let word = packet.destination_port;
    match packet.protocol {
        ICMP => format!("{word:04x}{:04x}00000000", !word),
        ICMPV6 => format!("{word:04x}000000000000"),
        protocol if protocol.has_ports() => {
            format!("{:04x}{word:04x}00000000", packet.source_port)
        }
        _ => "0000000000000000".to_owned(),
    }
}

fn listener(packet: &Packet) -> String {
    let (address, port) = (packet.destination, packet.destination_port);
    match packet.protocol {
        TCP => format!("listen_tcp {address} {port}"),
        UDP => format!("listen_udp {address} {port}"),
        protocol => format!("listen_raw {address} {}", protocol.0),
    }
}

/// What to expect, in words.
pub(super) fn expectation(expect: Expect) -> &'static str {
    match expect {
        Expect::Answered => "arrives and is answered",
        Expect::Arrives => "arrives",
        Expect::Nothing => "does not arrive",
        Expect::Rejected => "does not arrive, and the sender is told",
    }
}

/// Shell functions for the far side: they print who sends. The second answers as well.
pub(super) const LISTENERS: &str = r#"listen_tcp() { python3 -c 'import socket, sys
host, port = sys.argv[1:]
kind = socket.AF_INET6 if ":" in host else socket.AF_INET
server = socket.create_server((host, int(port)), family=kind)
while True:
    peer, sender = server.accept()
    print(sender[:2], flush=True)
    peer.close()' "$@"; }
listen_udp() { python3 -c 'import socket, sys
host, port = sys.argv[1:]
kind = socket.AF_INET6 if ":" in host else socket.AF_INET
server = socket.socket(kind, socket.SOCK_DGRAM)
server.bind((host, int(port)))
while True:
    data, sender = server.recvfrom(2048)
    print(sender[:2], flush=True)
    server.sendto(data, sender)' "$@"; }
"#;

/// The same for packets that are neither TCP nor UDP; both need the rights of the administrator.
pub(super) const RAW: &str = r#"listen_raw() { python3 -c 'import socket, sys
host, protocol = sys.argv[1:]
kind = socket.AF_INET6 if ":" in host else socket.AF_INET
server = socket.socket(kind, socket.SOCK_RAW, int(protocol))
server.bind((host, 0))
while True:
    print(server.recvfrom(2048)[1][0], flush=True)' "$@"; }
send_raw() { python3 -c 'import socket, sys
source, target, protocol, data = sys.argv[1:]
kind = socket.AF_INET6 if ":" in source else socket.AF_INET
client = socket.socket(kind, socket.SOCK_RAW, int(protocol))
client.bind((source, 0))
client.sendto(bytes.fromhex(data), (target, 0))' "$@"; }
"#;

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_model::Protocol;

    fn packet(protocol: u8, source_port: u16, destination_port: u16) -> Packet {
        Packet {
            source: "192.0.2.1".parse().expect("an address"),
            destination: "198.51.100.2".parse().expect("an address"),
            protocol: Protocol(protocol),
            source_port,
            destination_port,
        }
    }

    #[test]
    fn commands_send_the_packet() {
        for (packet, pinned, wanted) in [
            (
                packet(6, 49_152, 443),
                false,
                "nc -z -v -w 2 -s 192.0.2.1 198.51.100.2 443",
            ),
            (
                packet(17, 123, 123),
                true,
                "echo probe | nc -u -w 2 -p 123 -s 192.0.2.1 198.51.100.2 123",
            ),
            (
                packet(1, 0, 8 << 8),
                false,
                "ping -c 1 -W 2 -I 192.0.2.1 198.51.100.2",
            ),
            // The checksum of a message of type 13 and zeros is the complement of its first word.
            (
                packet(1, 0, 13 << 8),
                false,
                "send_raw 192.0.2.1 198.51.100.2 1 0d00f2ff00000000",
            ),
            (
                packet(132, 5, 6),
                false,
                "send_raw 192.0.2.1 198.51.100.2 132 0005000600000000",
            ),
            (
                packet(47, 0, 0),
                false,
                "send_raw 192.0.2.1 198.51.100.2 47 0000000000000000",
            ),
        ] {
            assert_eq!(command(&packet, pinned), wanted);
        }
    }

    #[test]
    fn services_are_named_as_results_name_them() {
        assert_eq!(service(&packet(6, 49_152, 443), false), "tcp 443");
        assert_eq!(service(&packet(17, 7, 9), true), "udp 9 from 7");
        assert_eq!(service(&packet(1, 0, 2048), false), "icmp type 8 code 0");
        assert_eq!(service(&packet(47, 0, 0), false), "gre");
    }
}
