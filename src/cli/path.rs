//! `boundwalk path`.

use std::io;
use std::net::IpAddr;

use clap::Args;

use boundwalk_analysis::{Endpoint, Fate, PathError, PathResult, find_party, path_via};
use boundwalk_forwarding::{DeviceIndex, Network, Packet};
use boundwalk_load::services;
use boundwalk_model::{Family, Protocol, Site, ZoneId};
use boundwalk_packet::{IntervalSet, ServiceBox};
use boundwalk_render::{path_document, path_json};

use super::format::{Format, USUAL, one_of, print};
use super::output::Output;
use super::site::{FamilyArguments, SiteArguments, did_you_mean, open, starts_itself};
use super::verdict::Verdict;

/// Follow one packet: each route, each rule tried and the one that decided, translations, where it stops and
/// why, and the reply's way back.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// Sender: an address, a host, or a segment (then one of its addresses).
    #[arg(value_name = "SOURCE")]
    source: String,
    /// Target: an address, a host, a segment, or a gateway itself.
    #[arg(value_name = "TARGET")]
    target: String,
    /// Service: https, tcp/502, udp/53, icmp/8, protocol/47. Of several ports the lowest is sent.
    #[arg(value_name = "SERVICE")]
    service: String,
    /// Where the packet starts, if not where its source address belongs: then the source is forged.
    #[arg(long, value_name = "NAME")]
    from: Option<String>,
    /// Next hop to send it by, whatever the sender's routes say: a gateway, router or host, or its address.
    #[arg(long, value_name = "NEXT HOP")]
    via: Option<String>,
    /// Source port [default: 49152, the first dynamic one].
    #[arg(long, value_name = "PORT")]
    source_port: Option<u16>,
    #[command(flatten)]
    family: FamilyArguments,
    /// List each rule that was tried, with the first field that differs.
    #[arg(long)]
    rules: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text", value_parser = one_of(USUAL))]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  \
    boundwalk path site.toml guest-wifi 10.20.10.200 ipp\n  \
    boundwalk path site.toml 10.20.10.7 203.0.113.9 https --rules\n  \
    boundwalk path site.toml 10.20.10.7 203.0.113.9 udp/53 --from guest-wifi\n\
    A target of several addresses is asked for each of them; the worst is shown in full.\n\
    Exit code 0: it arrives, 1: it does not (one of several does not), 2: could not run.";

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, arguments.format, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let network = opened.network();
    let asked = Asked {
        source: &arguments.source,
        target: &arguments.target,
        service: &arguments.service,
        from: arguments.from.as_deref(),
        via: arguments.via.as_deref(),
        source_port: arguments.source_port,
        families: arguments.family.families(),
    };
    let results = match walks(&network, &asked) {
        Ok(results) => results,
        Err(message) => {
            return output.failed(&message);
        }
    };
    let sources = &opened.sources;
    let document = || path_document(&network, sources, &results, arguments.rules);
    let json = || {
        path_json(
            &network,
            sources,
            &results,
            &boundwalk_analysis::notes(&network),
        )
    };
    print(arguments.format, output, document, json)?;
    let mut fates = results.iter().map(|result| result.best(&network));
    let arrives = fates.all(|fate| Fate::Unanswered <= fate);
    Ok(if arrives {
        Verdict::Clean
    } else {
        Verdict::Findings
    })
}

/// A packet as it is asked for.
pub(super) struct Asked<'a> {
    pub(super) source: &'a str,
    pub(super) target: &'a str,
    pub(super) service: &'a str,
    pub(super) from: Option<&'a str>,
    pub(super) via: Option<&'a str>,
    pub(super) source_port: Option<u16>,
    pub(super) families: &'a [Family],
}

/// Follows the first of the packets asked for.
pub(super) fn walk(network: &Network<'_>, asked: &Asked<'_>) -> Result<PathResult, String> {
    let packet = packets(network, asked)?.swap_remove(0);
    follow(network, asked, &packet)
}

/// Follows one packet to each address of the target, in each family asked for: the worst first.
fn walks(network: &Network<'_>, asked: &Asked<'_>) -> Result<Vec<PathResult>, String> {
    let packets = packets(network, asked)?;
    let mut results = packets
        .iter()
        .map(|packet| follow(network, asked, packet))
        .collect::<Result<Vec<PathResult>, String>>()?;
    results.sort_by_key(|result| result.best(network));
    Ok(results)
}

/// The packets asked for, one at least; what is wrong with the question is told in a sentence.
fn packets(network: &Network<'_>, asked: &Asked<'_>) -> Result<Vec<Packet>, String> {
    let site = network.site;
    let sources = End::new(network, asked.source)?;
    let targets = End::new(network, asked.target)?;
    let services = services(site, asked.service)?;
    let mut found = Vec::new();
    for &family in asked.families {
        let mut known = services.iter();
        let service = known.find_map(|service| service.packets(family));
        let source = sources.address(network, family, None);
        let (Some(service), Some(source)) = (service, source) else {
            continue;
        };
        for destination in targets.addresses(network, family, source) {
            found.push(packet(source, destination, &service, asked.source_port));
        }
    }
    if found.is_empty() {
        Err("source, target and service have no address family in common".to_owned())
    } else {
        Ok(found)
    }
}

/// Follows a packet.
fn follow(network: &Network<'_>, asked: &Asked<'_>, packet: &Packet) -> Result<PathResult, String> {
    let site = network.site;
    let from = match asked.from {
        Some(name) => Some(start(site, name)?),
        None => End::new(network, asked.source)?.party,
    };
    if let (None, Some(own)) = (asked.from, router_with(site, packet.source)) {
        return Err(starts_itself(own));
    }
    let via = asked
        .via
        .map(|name| next_hop(network, packet, name))
        .transpose()?;
    path_via(network, from, packet, via).map_err(|error| match error {
        PathError::NextHopNotThere => {
            let name = asked.via.unwrap_or_default();
            format!("the sender exchanges no frames with `{name}`")
        }
        PathError::MixedFamilies => "source and target are of two address families".to_owned(),
        PathError::NoAddress(family) => format!("the sender has no {} address", family.word()),
        PathError::SourceNowhere(address) => format!(
            "{address} belongs to no segment of the site; --from NAME says where the packet starts"
        ),
    })
}

/// The device that a next hop is, by name or by one of its addresses.
fn next_hop(network: &Network<'_>, packet: &Packet, name: &str) -> Result<DeviceIndex, String> {
    let plan = network.plan(Family::of(packet.source));
    if let Ok(address) = name.parse::<IpAddr>() {
        let value = Family::value(address);
        let owner = plan
            .devices
            .iter()
            .position(|device| device.own.contains(value));
        return owner
            .map(DeviceIndex)
            .ok_or_else(|| format!("no device of the site has the address {address}"));
    }
    let mut devices = find_party(network.site, name)
        .into_iter()
        .filter_map(|party| match party {
            Endpoint::Device(router) => Some(plan.router_index(router)),
            Endpoint::Host(host) => Some(plan.host_index(host)),
            _ => None,
        });
    let what = "gateway, router or host";
    devices
        .next()
        .ok_or_else(|| unknown(network.site, name, what))
}

/// One packet of a service: the lowest of its destination ports, a source port as clients take them.
fn packet(
    source: IpAddr,
    destination: IpAddr,
    service: &ServiceBox,
    source_port: Option<u16>,
) -> Packet {
    let usual = service.protocols.intersection(&common());
    let protocol = usual.lowest().or(service.protocols.lowest());
    let protocol = Protocol(protocol.unwrap_or_default() as u8);
    let lowest = |set: &IntervalSet| set.lowest().map(|lowest| lowest as u16);
    let dynamic = IntervalSet::range(49_152, 65_535);
    let client = lowest(&service.source_ports.intersection(&dynamic));
    let client = source_port.or(client).or(lowest(&service.source_ports));
    let (ports, messages) = (protocol.has_ports(), protocol.has_messages());
    let target = lowest(&service.destination_ports);
    Packet {
        source,
        destination,
        protocol,
        source_port: client.filter(|_| ports).unwrap_or_default(),
        destination_port: target.filter(|_| ports || messages).unwrap_or_default(),
    }
}

/// Protocols that a service with any protocol is shown with.
fn common() -> IntervalSet {
    IntervalSet::point(u128::from(boundwalk_model::TCP.0))
}

/// The name of the gateway or router whose own an address is.
fn router_with(site: &Site, address: IpAddr) -> Option<&str> {
    let mut routers = site.routers.iter();
    let own = routers.find(|router| router.own_addresses().contains(address));
    own.map(|router| router.name.value.as_str())
}

fn start(site: &Site, name: &str) -> Result<Endpoint, String> {
    let found = find_party(site, name);
    let start = found
        .into_iter()
        .find(|party| matches!(party, Endpoint::Segment(_) | Endpoint::Host(_)));
    start.ok_or_else(|| unknown(site, name, "segment or host"))
}

/// A sender or target: its addresses or, where it was named, who it is.
struct End {
    written: Option<IpAddr>,
    party: Option<Endpoint>,
}

impl End {
    fn new(network: &Network<'_>, text: &str) -> Result<Self, String> {
        if let Ok(address) = text.parse() {
            return Ok(Self {
                written: Some(address),
                party: None,
            });
        }
        let found = find_party(network.site, text);
        // A host before a segment before a gateway: the narrowest thing of that name.
        let rank = |party: &Endpoint| match party {
            Endpoint::Host(_) => 0,
            Endpoint::Segment(_) => 1,
            Endpoint::Device(_) => 2,
            Endpoint::Zone(_) | Endpoint::Unclaimed(..) => 3,
        };
        let party = match found.into_iter().min_by_key(rank) {
            Some(Endpoint::Zone(zone)) => return Err(name_a_segment(network.site, zone)),
            Some(party) => party,
            None => {
                let what = "address, host, segment or gateway";
                return Err(unknown(network.site, text, what));
            }
        };
        let end = Self {
            written: None,
            party: Some(party),
        };
        let mut families = Family::ALL.into_iter();
        if families.any(|family| end.address(network, family, None).is_some()) {
            Ok(end)
        } else {
            Err(format!("`{text}` has no address"))
        }
    }

    /// The addresses to send to in a family: of a host, gateway or router all, of a segment one of a device there.
    fn addresses(&self, network: &Network<'_>, family: Family, other: IpAddr) -> Vec<IpAddr> {
        let plan = network.plan(family);
        let device = match self.party {
            Some(Endpoint::Host(host)) => plan.host_index(host),
            Some(Endpoint::Device(router)) => plan.router_index(router),
            _ => {
                return self
                    .address(network, family, Some(other))
                    .into_iter()
                    .collect();
            }
        };
        plan.device(device)
            .interfaces
            .iter()
            .flat_map(|interface| &interface.addresses)
            .filter(|&&address| !plan.nobody.contains(address))
            .map(|&address| family.address(address))
            .collect()
    }

    /// One of its addresses in a family. Of a segment, one that is not the other end's: two devices there.
    fn address(
        &self,
        network: &Network<'_>,
        family: Family,
        other: Option<IpAddr>,
    ) -> Option<IpAddr> {
        let Some(party) = self.party else {
            return self
                .written
                .filter(|&address| Family::of(address) == family);
        };
        let plan = network.plan(family);
        let other = other.map_or_else(IntervalSet::empty, |other| {
            IntervalSet::point(Family::value(other))
        });
        let set = match party {
            Endpoint::Segment(segment) => plan.segment(segment).addresses.difference(&other),
            Endpoint::Host(host) => plan.device(plan.host_index(host)).own.clone(),
            Endpoint::Device(router) => plan.device(plan.router_index(router)).own.clone(),
            Endpoint::Zone(_) | Endpoint::Unclaimed(..) => return None,
        };
        boundwalk_analysis::representative(plan, &set).map(|value| family.address(value))
    }
}

/// What to say to the name of a zone: a packet starts and ends on one segment.
fn name_a_segment(site: &Site, zone: ZoneId) -> String {
    let segments: Vec<&str> = site
        .segments_in(zone)
        .map(|segment| &site.segment(segment).name.value)
        .map(String::as_str)
        .collect();
    format!(
        "`{}` is a zone; name one of its segments: {}",
        site.zone(zone).name.value,
        segments.join(", ")
    )
}

fn unknown(site: &Site, name: &str, what: &str) -> String {
    let hint = did_you_mean(site, name, |party| !matches!(party, Endpoint::Zone(_)));
    format!("`{name}` is no {what} of this site{hint}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_model::Service;

    #[test]
    fn a_service_of_any_protocol_is_shown_with_a_common_one() {
        let any = Service::Any.packets(Family::V4).expect("any matches IPv4");
        assert_eq!(any.protocols.intersection(&common()).lowest(), Some(6));
    }
}
