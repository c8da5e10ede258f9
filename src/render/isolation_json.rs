//! Whether segments are isolated, for programs.

use serde::Serialize;

use boundwalk_analysis::{
    Certificate, Contact, Direction, Distance, Fault, IsolationVerdict, Opening, interface_name,
};
use boundwalk_diagnostic::Sources;
use boundwalk_forwarding::Network;

use super::certificate::part_text;
use super::frames::{frame_lines_to_interface, node_name, port_name, port_name_of, way_lines};
use super::isolation::{Isolated, IsolationView, met_text, verdict_text};
use super::json::{JsonPlace, json_place};
use super::json_text::to_text;

#[derive(Serialize)]
struct JsonIsolation<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    segments: Vec<JsonSegment<'a>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonSegment<'a> {
    segment: &'a str,
    claimed: bool,
    verdict: &'static str,
    certificate: Option<JsonCertificate>,
    contacts: Vec<JsonContact>,
    out: Option<JsonOpening>,
    into: Option<JsonOpening>,
    distance: Option<JsonDistance>,
}

#[derive(Serialize)]
struct JsonCertificate {
    inside: Vec<JsonInside>,
    sends: Vec<JsonSend>,
    takers: Vec<String>,
    closed: Vec<JsonClosed>,
    ends: Vec<String>,
    ports: Vec<JsonPort>,
}

#[derive(Serialize)]
struct JsonInside {
    device: String,
    vlan: Option<u16>,
}

#[derive(Serialize)]
struct JsonSend {
    port: String,
    tags: Vec<u16>,
    /// How many further tags the sender may put below.
    further_tags: u8,
    attached: String,
}

#[derive(Serialize)]
struct JsonPort {
    port: String,
    part: &'static str,
}

#[derive(Serialize)]
struct JsonClosed {
    port: String,
    vlan: u16,
    why: String,
}

#[derive(Serialize)]
struct JsonContact {
    direction: &'static str,
    met: String,
    way: Vec<String>,
}

#[derive(Serialize)]
struct JsonOpening {
    other: String,
    round_the_gateway: bool,
    way: Vec<String>,
    packet: Option<String>,
}

#[derive(Serialize)]
struct JsonDistance {
    one_fault: Vec<JsonFault>,
    two_faults: Vec<[JsonFault; 2]>,
    faults: usize,
    tried: usize,
    complete: bool,
}

#[derive(Serialize)]
struct JsonFault {
    fault: String,
    place: Option<JsonPlace>,
}

/// The answers as a JSON document.
pub fn isolation_json(
    network: &Network<'_>,
    sources: &Sources,
    answers: &[Isolated<'_>],
    notes: &[String],
) -> String {
    let view = IsolationView {
        network,
        sources,
        all: true,
    };
    to_text(&JsonIsolation {
        document: "boundwalk-isolation",
        version: 1,
        site: &network.site.name,
        segments: answers.iter().map(|answer| view.json(answer)).collect(),
        notes,
    })
}

impl<'a> IsolationView<'a> {
    fn json(&self, answer: &Isolated<'_>) -> JsonSegment<'a> {
        let site = self.network.site;
        let segment = site.segment(answer.segment);
        let none: &[Contact] = &[];
        let (certificate, contacts, out, into) = match answer.verdict {
            IsolationVerdict::ByDesign(certificate) => (Some(&**certificate), none, None, None),
            IsolationVerdict::ByRule { contacts, .. } => (None, &contacts[..], None, None),
            IsolationVerdict::Reachable {
                contacts,
                out,
                into,
                ..
            } => (None, &contacts[..], out.as_ref(), into.as_ref()),
            IsolationVerdict::Unknown { contacts, .. } => (None, &contacts[..], None, None),
        };
        JsonSegment {
            segment: &segment.name.value,
            claimed: segment.claims_isolation().is_some(),
            verdict: verdict_text(answer.verdict),
            certificate: certificate.map(|certificate| self.json_certificate(certificate)),
            contacts: contacts
                .iter()
                .map(|contact| self.json_contact(contact))
                .collect(),
            out: out.map(|opening| self.json_opening(opening)),
            into: into.map(|opening| self.json_opening(opening)),
            distance: answer.distance.map(|distance| self.json_distance(distance)),
        }
    }

    fn json_certificate(&self, certificate: &Certificate) -> JsonCertificate {
        let network = self.network;
        JsonCertificate {
            inside: certificate
                .inside
                .iter()
                .map(|&(node, vlan)| JsonInside {
                    device: node_name(network, node),
                    vlan: vlan.map(|vlan| vlan.get()),
                })
                .collect(),
            sends: certificate
                .sends
                .iter()
                .map(|(port_id, frame)| JsonSend {
                    port: port_name_of(network, *port_id),
                    tags: frame.tags().to_vec(),
                    further_tags: frame.free(),
                    attached: self.attached(*port_id),
                })
                .collect(),
            takers: certificate
                .takers
                .iter()
                .map(|&interface| {
                    interface_name(network.site, network.fabric.interface(interface).of)
                })
                .collect(),
            closed: certificate
                .closed
                .iter()
                .map(|closed| JsonClosed {
                    port: port_name_of(network, closed.port),
                    vlan: closed.vlan.get(),
                    why: self.closed_reason(closed),
                })
                .collect(),
            ends: certificate.ends.iter().map(|end| self.end(end)).collect(),
            ports: certificate
                .ports
                .iter()
                .map(|&(name, part)| JsonPort {
                    port: port_name(network.site, name),
                    part: part_text(part),
                })
                .collect(),
        }
    }

    fn json_contact(&self, contact: &Contact) -> JsonContact {
        JsonContact {
            direction: match contact.direction {
                Direction::Out => "out",
                Direction::Into => "into",
            },
            met: met_text(self.network, contact.met),
            way: frame_lines_to_interface(self.network, &contact.way),
        }
    }

    fn json_opening(&self, opening: &Opening) -> JsonOpening {
        match opening {
            Opening::Around { other, way } => JsonOpening {
                other: self.origin(*other).into_owned(),
                round_the_gateway: true,
                way: way_lines(self.network, way),
                packet: None,
            },
            Opening::Through {
                other,
                flow,
                packet,
            } => JsonOpening {
                other: self.origin(*other).into_owned(),
                round_the_gateway: false,
                way: flow.hops.iter().map(|hop| self.hop(hop)).collect(),
                packet: Some(packet.to_string()),
            },
        }
    }

    fn json_distance(&self, distance: &Distance) -> JsonDistance {
        let site = self.network.site;
        let fault = |fault: Fault| JsonFault {
            fault: fault.clause(site),
            place: json_place(self.sources, fault.place(site)),
        };
        JsonDistance {
            one_fault: distance.one.iter().copied().map(fault).collect(),
            two_faults: distance.two.iter().map(|pair| pair.map(fault)).collect(),
            faults: distance.faults,
            tried: distance.tried,
            complete: distance.complete,
        }
    }
}
