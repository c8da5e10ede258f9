//! What an answer rests on.

use boundwalk_forwarding::layer2::InterfaceOf;
use rustc_hash::FxHashSet;

use boundwalk_forwarding::{DeviceId, Network};
use boundwalk_model::{Family, Host, SegmentId, Site};

/// What was modelled and assumed, in sentences, and the caution that goes with every answer.
#[must_use]
pub fn notes(network: &Network<'_>) -> Vec<String> {
    let mut notes = vec![modelled(network)];
    notes.extend(layer2(network));
    notes.extend(several_routers(network));
    notes.extend(standing_by(network));
    notes.extend(shared_addresses(network));
    notes.extend(overlapping(network));
    notes.extend(alternative_routes(network));
    notes.extend(external(network));
    notes.push(
        "Not modelled: traffic that a gateway starts itself, address translation that changes source ports, \
         contents of connections, filters on the hosts."
            .to_owned(),
    );
    notes.push(CAUTION.to_owned());
    notes
}

/// The caution that goes with every answer.
pub const CAUTION: &str = "This is a statement about the file, not about the network: it replaces neither a \
    security review nor a test of the running network. Where people, plant or card data depend on it, local \
    rules and qualified assessors decide.";

fn modelled(network: &Network<'_>) -> String {
    let site = network.site;
    let filters = || site.routers.iter().filter_map(|router| router.filter());
    let rules: usize = filters().map(|filter| filter.rules.len()).sum();
    let active = filters()
        .flat_map(|filter| &filter.rules)
        .filter(|rule| rule.active(network.today))
        .count();
    let gateways = filters().count();
    let mut parts = vec![
        format!(
            "{} in {}",
            count(site.segments.len(), "segment"),
            count(site.zones.len(), "zone")
        ),
        format!(
            "{} with {} ({active} active on {})",
            count(gateways, "gateway"),
            count(rules, "rule"),
            network.today
        ),
    ];
    let others = [
        (site.routers.len() - gateways, "router"),
        (site.hosts.len(), "host"),
    ];
    let present = others.into_iter().filter(|(number, _)| *number > 0);
    parts.extend(present.map(|(number, word)| count(number, word)));
    format!("Modelled: {}; IPv4 and IPv6 apart.", parts.join(", "))
}

/// How frames are taken to move, and what a hostile device may do to them.
fn layer2(network: &Network<'_>) -> Vec<String> {
    let site = network.site;
    if site.switches.is_empty() && site.links.is_empty() {
        return vec![
            "Layer 2 is assumed clean: a segment joins exactly the interfaces that the file puts on it; no \
             switch or cable is described."
                .to_owned(),
            "A hostile device is one on the sender's segment that uses any source address and any next hop \
             there; VLAN tags of its own making are not tried."
                .to_owned(),
        ];
    }
    let mut notes = vec![format!(
        "Layer 2 is computed from {} and {}: where frames can be flooded, whatever addresses the switches have \
         learned; every cable is taken to carry, and every live port to be a place to plug in.",
        count(site.switches.len(), "switch").replace("switchs", "switches"),
        count(site.links.len(), "cable")
    )];
    notes.extend(assumed(network));
    notes.push(
        "A hostile device is one at any live port of the sender's segment that uses any source address and any \
         next hop, and puts no tag, one or two on its frames."
            .to_owned(),
    );
    notes
}

/// Interfaces without a cable.
fn assumed(network: &Network<'_>) -> Option<String> {
    const FEW: usize = 8;
    let fabric = &network.fabric;
    let names: Vec<String> = fabric
        .interfaces
        .iter()
        .filter(|interface| interface.assumed)
        .map(|interface| interface_name(network.site, interface.of))
        .collect();
    let shown = names[..names.len().min(FEW)].join(", ");
    let more = match names.len().saturating_sub(FEW) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    (!names.is_empty()).then(|| {
        format!(
            "No cable is described for {shown}{more}: layer 2 is assumed clean there, each on its segment."
        )
    })
}

fn several_routers(network: &Network<'_>) -> Option<String> {
    let several: Vec<&str> = network
        .site
        .segment_ids()
        .filter(|&segment| {
            Family::ALL
                .iter()
                .any(|&family| network.plan(family).segment(segment).first_hops.len() > 1)
        })
        .map(|segment| network.site.segment(segment).name.value.as_str())
        .collect();
    (!several.is_empty()).then(|| {
        format!(
            "Devices on {} are assumed to use any of the routers there; name `default_gateway` to settle it.",
            several.join(", ")
        )
    })
}

/// Hosts with several default gateways of one family.
fn standing_by(network: &Network<'_>) -> Option<String> {
    let several = |host: &&Host| {
        Family::ALL.iter().any(|&family| {
            let listed = host.default_gateway.iter();
            1 < listed
                .filter(|address| Family::of(address.value) == family)
                .count()
        })
    };
    let names: Vec<&str> = network
        .site
        .hosts
        .iter()
        .filter(several)
        .map(|host| host.name.value.as_str())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "Of several default gateways of one family {} is assumed to use the first; the others stand by and are \
             not tried.",
            names.join(", ")
        )
    })
}

/// Addresses that several devices have, with who has them.
fn shared_addresses(network: &Network<'_>) -> Option<String> {
    const FEW: usize = 4;
    let mut shared = Vec::new();
    for family in Family::ALL {
        let plan = network.plan(family);
        for address in plan.doubled.intervals().iter().map(|one| one.low()) {
            let names: Vec<&str> = plan
                .devices
                .iter()
                .filter(|device| device.own.contains(address))
                .map(|device| device_name(network.site, device.id))
                .collect();
            shared.push(format!(
                "{} of {}",
                family.address(address),
                names.join(" and ")
            ));
        }
    }
    let more = match shared.len().saturating_sub(FEW) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    shared.truncate(FEW);
    (!shared.is_empty()).then(|| {
        format!(
            "Addresses that several devices have: {}{more}. Any of them may answer: a packet passes if one of them lets it \
             through, and passes for certain only if each of them does.",
            shared.join(", ")
        )
    })
}

fn device_name(site: &Site, device: DeviceId) -> &str {
    match device {
        DeviceId::Router(router) => &site.router(router).name.value,
        DeviceId::Host(host) => &site.host(host).name.value,
    }
}

fn overlapping(network: &Network<'_>) -> Option<String> {
    let overlap = |family: &Family| !network.plan(*family).contested.is_empty();
    Family::ALL.iter().any(overlap).then(|| {
        "Prefixes of segments overlap: addresses that lie in several are looked for on each of these segments."
            .to_owned()
    })
}

/// Routes besides the best of their prefix.
fn alternative_routes(network: &Network<'_>) -> Option<String> {
    let site = network.site;
    let mut all = site
        .routers
        .iter()
        .map(|router| &router.routes)
        .chain(site.hosts.iter().map(|host| &host.routes));
    let several = all.any(|routes| {
        let mut seen = FxHashSet::default();
        routes.iter().any(|route| !seen.insert(route.destination))
    });
    several.then(|| {
        "Of several routes to one prefix the one with the lowest `preference` is used. A packet passes if a backup route \
         lets it through, but nothing that must pass relies on a backup; of equal routes either may be used."
            .to_owned()
    })
}

fn external(network: &Network<'_>) -> Option<String> {
    let outside = |segment: &SegmentId| network.site.segment(*segment).external;
    let names: Vec<&str> = network
        .site
        .segment_ids()
        .filter(outside)
        .map(|segment| network.site.segment(segment).name.value.as_str())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "{} stands for every address that the routes send there and that no router must drop (RFC 6890); \
             it is assumed to send replies back the way they came.",
            names.join(", ")
        )
    })
}

fn count(number: usize, word: &str) -> String {
    match number {
        1 => format!("1 {word}"),
        _ => format!("{number} {word}s"),
    }
}

/// `edge:office`, `jump:eth1`.
pub fn interface_name(site: &Site, interface: InterfaceOf) -> String {
    match interface {
        InterfaceOf::Router(router, at) => {
            let router = site.router(router);
            format!("{}:{}", router.name.value, router.interfaces[at].name.value)
        }
        InterfaceOf::Host(host, at) => {
            let host = site.host(host);
            format!("{}:{}", host.name.value, host.interfaces[at].name.value)
        }
    }
}
