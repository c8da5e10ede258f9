//! `boundwalk path`.

use std::io;
use std::net::IpAddr;

use clap::{Args, ValueEnum};

use crate::analysis::{CAUTION, Party, PathError, PathResult, find_party, path};
use crate::forwarding::{Network, Outcome, Packet};
use crate::load::services;
use crate::model::{Family, Protocol, Site, ZoneId};
use crate::packet::{IntervalSet, ServiceBox};
use crate::render::{path_json, path_text, wrapped};

use super::site::{FamilyArguments, SiteArguments, did_you_mean, open, starts_itself};
use super::{Output, Verdict};

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
    /// Source port [default: 49152, the first dynamic one].
    #[arg(long, value_name = "PORT")]
    source_port: Option<u16>,
    #[command(flatten)]
    family: FamilyArguments,
    /// List each rule that was tried, with the first field that differs.
    #[arg(long)]
    rules: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

const EXAMPLES: &str = "Examples, on the site that `boundwalk new` writes:\n  \
    boundwalk path site.toml guest-wifi 10.20.10.200 ipp\n  \
    boundwalk path site.toml 10.20.10.7 203.0.113.9 https --rules\n  \
    boundwalk path site.toml 10.20.10.7 203.0.113.9 udp/53 --from guest-wifi\n\
    Exit code 0: it arrives, 1: it does not, 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let json = arguments.format == Format::Json;
    let Some(opened) = open(&arguments.site, json, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let network = Network::new(&opened.site, opened.today);
    let asked = Asked {
        source: &arguments.source,
        target: &arguments.target,
        service: &arguments.service,
        from: arguments.from.as_deref(),
        source_port: arguments.source_port,
        families: arguments.family.families(),
    };
    let result = match walk(&network, &asked) {
        Ok(result) => result,
        Err(message) => {
            return output.failed(&message);
        }
    };
    let paint = output.paint();
    let sources = &opened.sources;
    let text = match arguments.format {
        Format::Json => {
            let notes = crate::analysis::notes(&network);
            path_json(&network, sources, &result, &notes)
        }
        Format::Text => {
            let shown = path_text(&network, sources, &result, arguments.rules, paint);
            let wired = !opened.site.switches.is_empty() || !opened.site.links.is_empty();
            let caution = match wired {
                true => format!("Layer 2 is computed from switches and cables. {CAUTION}"),
                false => format!("Layer 2 is assumed clean. {CAUTION}"),
            };
            let caution = wrapped(&caution, paint.columns.max(30)).join("\n");
            format!("{shown}\n{caution}\n")
        }
    };
    output.print(&text)?;
    let mut traces = result.traces.iter();
    let arrives = traces.any(|trace| matches!(trace.outcome, Outcome::Delivered(_)));
    Ok(match arrives {
        true => Verdict::Clean,
        false => Verdict::Findings,
    })
}

/// A packet as it is asked for.
pub(super) struct Asked<'a> {
    pub(super) source: &'a str,
    pub(super) target: &'a str,
    pub(super) service: &'a str,
    pub(super) from: Option<&'a str>,
    pub(super) source_port: Option<u16>,
    pub(super) families: &'a [Family],
}

/// Follows it; what is wrong with the question is told in a sentence.
pub(super) fn walk(network: &Network<'_>, asked: &Asked<'_>) -> Result<PathResult, String> {
    let site = network.site;
    let sources = End::new(network, asked.source)?;
    let targets = End::new(network, asked.target)?;
    let services = services(site, asked.service)?;
    let choose = |&family: &Family| {
        let mut known = services.iter();
        let service = known.find_map(|service| service.packets(family))?;
        let source = sources.address(network, family, None)?;
        let destination = targets.address(network, family, Some(source))?;
        Some((source, destination, service))
    };
    let (source, destination, service) =
        asked.families.iter().find_map(choose).ok_or_else(|| {
            "source, target and service have no address family in common".to_owned()
        })?;
    let packet = packet(source, destination, &service, asked.source_port);
    let from = match asked.from {
        Some(name) => Some(start(site, name)?),
        None => sources.party,
    };
    if let (None, Some(own)) = (asked.from, router_with(site, source)) {
        return Err(starts_itself(own));
    }
    path(network, from, &packet).map_err(|error| match error {
        PathError::MixedFamilies => "source and target are of two address families".to_owned(),
        PathError::NoAddress(family) => format!("the sender has no {} address", family.word()),
        PathError::SourceNowhere(address) => format!(
            "{address} belongs to no segment of the site; --from NAME says where the packet starts"
        ),
    })
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
    IntervalSet::point(u128::from(crate::model::TCP.0))
}

/// The name of the gateway or router whose own an address is.
fn router_with(site: &Site, address: IpAddr) -> Option<&str> {
    let mut routers = site.routers.iter();
    let own = routers.find(|router| router.own_addresses().contains(address));
    own.map(|router| router.name.value.as_str())
}

fn start(site: &Site, name: &str) -> Result<Party, String> {
    let found = find_party(site, name);
    let start = found
        .into_iter()
        .find(|party| matches!(party, Party::Segment(_) | Party::Host(_)));
    start.ok_or_else(|| unknown(site, name, "segment or host"))
}

/// A sender or target: its addresses or, where it was named, who it is.
struct End {
    written: Option<IpAddr>,
    party: Option<Party>,
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
        let rank = |party: &Party| match party {
            Party::Host(_) => 0,
            Party::Segment(_) => 1,
            Party::Device(_) => 2,
            Party::Zone(_) | Party::Unclaimed(..) => 3,
        };
        let party = match found.into_iter().min_by_key(rank) {
            Some(Party::Zone(zone)) => return Err(name_a_segment(network.site, zone)),
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
        match families.any(|family| end.address(network, family, None).is_some()) {
            true => Ok(end),
            false => Err(format!("`{text}` has no address")),
        }
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
            Party::Segment(segment) => plan.segment(segment).addresses.difference(&other),
            Party::Host(host) => plan.device(plan.host_index(host)).own.clone(),
            Party::Device(router) => plan.device(plan.router_index(router)).own.clone(),
            Party::Zone(_) | Party::Unclaimed(..) => return None,
        };
        crate::analysis::representative(plan, &set).map(|value| family.address(value))
    }
}

/// What to say to the name of a zone: a packet starts and ends on one segment.
fn name_a_segment(site: &Site, zone: ZoneId) -> String {
    let segments = site
        .segments_in(zone)
        .map(|segment| &site.segment(segment).name.value);
    let segments: Vec<&str> = segments.map(String::as_str).collect();
    format!(
        "`{}` is a zone; name one of its segments: {}",
        site.zone(zone).name.value,
        segments.join(", ")
    )
}

fn unknown(site: &Site, name: &str, what: &str) -> String {
    let hint = did_you_mean(site, name, |party| !matches!(party, Party::Zone(_)));
    format!("`{name}` is no {what} of this site{hint}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Service;

    #[test]
    fn a_service_of_any_protocol_is_shown_with_a_common_one() {
        let any = Service::Any.packets(Family::V4).expect("any matches IPv4");
        assert_eq!(any.protocols.intersection(&common()).lowest(), Some(6));
    }
}
