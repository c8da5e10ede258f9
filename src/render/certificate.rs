//! A certificate of isolation, for people: where frames can be, why they go no further, why none comes in.

use std::collections::BTreeMap;

use boundwalk_analysis::{
    Certificate, Closed, End, EndReason, PortPart, interface_name, vlan_name,
};
use boundwalk_forwarding::layer2::{Far, InterfaceOf, PortId};

use super::document::{Document, Mark, Rank};
use super::frames::{frame_text, node_name, port_name, port_name_of, refused_text};
use super::isolation::IsolationView;

impl IsolationView<'_> {
    pub(super) fn certificate(&self, out: &mut Document<'_>, certificate: &Certificate) {
        out.heading(
            Rank::Part,
            "Where its frames can be, whatever a device there sends",
        );
        for (node, vlans) in self.by_node(certificate) {
            out.line(2, Mark::Bullet, format!("{node}: {vlans}"));
        }
        let takers: Vec<String> = certificate
            .takers
            .iter()
            .map(|&interface| self.network.fabric.interface(interface).of)
            .map(|interface| self.taker(interface))
            .collect();
        let text = if takers.is_empty() {
            "no device described takes them".to_owned()
        } else {
            format!("taken by {}", takers.join(", "))
        };
        out.line(2, Mark::Bullet, text);
        out.heading(Rank::Part, "Why they go no further");
        out.bullets(self.borders(certificate));
        out.heading(Rank::Part, "Why nothing comes in");
        out.bullets(self.closed(certificate));
        if !certificate.ports.is_empty() {
            out.heading(Rank::Part, "Every port of every switch");
            for (part, names) in self.by_part(certificate) {
                out.line(2, Mark::Bullet, format!("{part}: {}", self.some(&names)));
            }
        }
    }

    /// All ports by the part that they play.
    fn by_part(&self, certificate: &Certificate) -> Vec<(&'static str, Vec<String>)> {
        let parts = [
            PortPart::Carries,
            PortPart::Closed,
            PortPart::Elsewhere,
            PortPart::Member,
            PortPart::Off,
        ];
        let named = parts.map(|part| {
            let names = certificate
                .ports
                .iter()
                .filter(|(_, own)| *own == part)
                .map(|(name, _)| port_name(self.site(), *name));
            (part_text(part), names.collect::<Vec<_>>())
        });
        named
            .into_iter()
            .filter(|(_, names)| !names.is_empty())
            .collect()
    }

    /// Each switch of the set, with the ports that its frames leave by.
    fn by_node(&self, certificate: &Certificate) -> Vec<(String, String)> {
        let fabric = &self.network.fabric;
        let site = self.site();
        let rows = certificate.inside.iter().map(|&(node, vlan)| {
            let mut ports: Vec<String> = certificate
                .sends
                .iter()
                .filter(|(port_id, _)| fabric.port(*port_id).node == node)
                .map(|(port_id, frame)| {
                    let name = port_name_of(self.network, *port_id);
                    let port = name.split_once(':').map_or(&*name, |(_, port)| port);
                    format!(
                        "{port} ({}, {})",
                        frame_text(*frame),
                        self.attached(*port_id)
                    )
                })
                .collect();
            ports.dedup();
            let inside =
                vlan.map_or_else(String::new, |vlan| format!("{}, ", vlan_name(site, vlan)));
            let ports = if ports.is_empty() {
                "no port to leave by".to_owned()
            } else {
                format!("out by {}", ports.join(", "))
            };
            (node_name(self.network, node), format!("{inside}{ports}"))
        });
        rows.collect()
    }

    /// What is plugged in at a port_id.
    pub(super) fn attached(&self, port_id: PortId) -> String {
        let fabric = &self.network.fabric;
        match &fabric.port(port_id).far {
            Far::Open => "nothing plugged in".to_owned(),
            Far::Dead => "a disabled end".to_owned(),
            Far::Ports(far) => {
                let names: Vec<String> = far
                    .iter()
                    .map(|&far| port_name_of(self.network, far))
                    .collect();
                format!("to {}", names.join(", "))
            }
            Far::Interfaces(interfaces) => {
                let names = interfaces
                    .iter()
                    .map(|&interface| interface_name(self.site(), fabric.interface(interface).of));
                let names: Vec<String> = names.collect();
                format!("to {}", names.join(", "))
            }
        }
    }

    fn taker(&self, interface: InterfaceOf) -> String {
        let name = interface_name(self.site(), interface);
        let InterfaceOf::Host(host, _) = interface else {
            return name;
        };
        let host = self.site().host(host);
        match host.interfaces.len() {
            1 => name,
            homes => format!(
                "{name} (one of {homes} interfaces; the host does not forward, but answers for its other addresses)"
            ),
        }
    }

    fn borders(&self, certificate: &Certificate) -> Vec<String> {
        let mut lines = vec!["no interface of a gateway or router takes any of them".to_owned()];
        lines.extend(certificate.ends.iter().map(|end| self.end(end)));
        let mut by_switch: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for closed in &certificate.closed {
            let name = port_name_of(self.network, closed.port);
            let (switch, port) = name.split_once(':').unwrap_or((&name, ""));
            let key = format!("{switch}: not in {}", vlan_name(self.site(), closed.vlan));
            by_switch.entry(key).or_default().push(port.to_owned());
        }
        lines.extend(
            by_switch
                .into_iter()
                .map(|(key, ports)| format!("{key}: {}", ports.join(", "))),
        );
        lines
    }

    pub(super) fn end(&self, end: &End) -> String {
        let from = port_name_of(self.network, end.from);
        let frame = frame_text(end.frame);
        match end.why {
            EndReason::Dropped(at, why) => format!(
                "{} drops what {from} sends ({frame}): {}",
                port_name_of(self.network, at),
                refused_text(why)
            ),
            EndReason::NoInterface => {
                format!("no interface beyond {from} takes {frame}")
            }
            EndReason::Dead => format!("the far end of {from} is disabled"),
        }
    }

    /// Ports beside the set, by why nothing enters there.
    fn closed(&self, certificate: &Certificate) -> Vec<String> {
        let mut groups: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for closed in &certificate.closed {
            let reason = self.closed_reason(closed);
            let name = port_name_of(self.network, closed.port);
            groups.entry(reason).or_default().push(name);
        }
        let mut lines: Vec<String> = groups
            .into_iter()
            .map(|(reason, ports)| format!("{}: {reason}", self.some(&ports)))
            .collect();
        lines.push(
            "checked from every port of every other segment, with up to two tags, and from every interface of a \
             gateway or router"
                .to_owned(),
        );
        lines
    }

    pub(super) fn closed_reason(&self, closed: &Closed) -> String {
        let site = self.site();
        let untagged = match closed.untagged {
            Some(vlan) => format!("untagged frames take {}", vlan_name(site, vlan)),
            None => "untagged frames are dropped".to_owned(),
        };
        format!(
            "{untagged}; tag {} is dropped, {}",
            closed.vlan,
            refused_text(closed.tagged)
        )
    }
}

/// What part a port plays in a certificate, in a few words.
pub(super) fn part_text(part: PortPart) -> &'static str {
    match part {
        PortPart::Carries => "carries its frames",
        PortPart::Closed => "does not carry its VLAN, and lets none of its frames in",
        PortPart::Elsewhere => "on a switch that its frames do not reach and that sends it none",
        PortPart::Off => "disabled, or at a disabled end",
        PortPart::Member => "member of a LAG, listed as that",
    }
}
