//! Service sets that the analysis must be able to tell apart.

use rustc_hash::FxHashSet;

use boundwalk_model::{
    Date, Family, Host, ICMP, ICMPV6, Protocol, Service, Site, TCP, Translation,
};
use boundwalk_packet::{IntervalSet, ServiceBox, ServiceClasses};

use super::filter::boxes;

/// Type and code of an echo request and its reply, as kept in the destination port field: ICMP (RFC 792).
pub(super) const ECHO_V4: (u16, u16) = (8 << 8, 0);
/// The same for ICMPv6 (RFC 4443 section 4).
pub(super) const ECHO_V6: (u16, u16) = (128 << 8, 129 << 8);

/// Classes of services that no rule, no translation, need or expectation of the sites and none of the services asked for tells
/// apart.
///
/// Where a gateway is stateless, replies have to be run through its rules, so the partition is made closed
/// under exchanging the ports. A stateful gateway may be met by replies to what it never saw: all but TCP's may pass
/// there as new flows, so that the partition of all other protocols is made closed.
pub(super) fn classes(sites: &[&Site], today: Date, asked: &[Service]) -> ServiceClasses {
    let asked = Family::ALL.iter().flat_map(|&family| {
        asked
            .iter()
            .filter_map(move |service| service.packets(family))
    });
    let mut seeds: Vec<ServiceBox> = asked.collect();
    let mut filters = sites
        .iter()
        .flat_map(|site| &site.routers)
        .filter_map(|router| router.filter());
    let stateless = filters.any(|filter| !filter.stateful);
    for site in sites {
        add_seeds(site, today, &mut seeds);
    }
    // Whether a reply passes as a new flow, and whether an answer is only the first one, depends on it.
    seeds.push(whole_protocol(TCP));
    // Whether a reply is expected depends on these.
    for (protocol, (request, reply)) in [(ICMP, ECHO_V4), (ICMPV6, ECHO_V6)] {
        seeds.extend([whole_protocol(protocol), messages(protocol, request >> 8)]);
        if stateless {
            let reply = IntervalSet::point(u128::from(reply));
            seeds.push(ServiceBox {
                destination_ports: reply,
                ..whole_protocol(protocol)
            });
        }
    }
    let other_ways = sites.iter().any(|site| may_return_otherwise(site));
    match (stateless, other_ways) {
        (true, _) => ServiceClasses::symmetric(&seeds),
        (false, true) => {
            let tcp = IntervalSet::point(u128::from(TCP.0));
            ServiceClasses::symmetric_but(&seeds, &tcp)
        }
        (false, false) => ServiceClasses::new(&seeds),
    }
}

/// Whether replies may take another way than the packets that they answer: there are several devices that forward,
/// hosts that send by ways of their own, or switches that may join segments.
fn may_return_otherwise(site: &Site) -> bool {
    let hosts = || site.hosts.iter();
    let own_way = |host: &Host| {
        1 < host.interfaces.len() || !host.routes.is_empty() || !host.default_gateway.is_empty()
    };
    1 < site.routers.len() || hosts().any(own_way) || !site.switches.is_empty()
}

/// What one site tells apart.
fn add_seeds(site: &Site, today: Date, seeds: &mut Vec<ServiceBox>) {
    // Long lists name the same services again and again.
    let mut seen: FxHashSet<&[Service]> = FxHashSet::default();
    for filter in site.routers.iter().filter_map(|router| router.filter()) {
        for rule in filter.rules.iter().filter(|rule| rule.active(today)) {
            if let Some(services) = &rule.services
                && seen.insert(&services.services)
            {
                seeds.extend(
                    Family::ALL
                        .iter()
                        .flat_map(|&family| boxes(services, family)),
                );
            }
        }
        let arrivals = filter.destination_translations.iter();
        for translation in arrivals.chain(&filter.source_translations) {
            translation_seeds(translation, seeds);
        }
    }
    let needs = site.needs.iter().map(|need| &need.services);
    let expected = site.expectations.iter().map(|line| &line.services);
    for services in needs.chain(expected).flatten() {
        if seen.insert(&services.services) {
            let families = Family::ALL.iter();
            seeds.extend(families.flat_map(|&family| boxes(services, family)));
        }
    }
}

/// What a translation matches and, where it writes a port, what comes out.
fn translation_seeds(translation: &Translation, seeds: &mut Vec<ServiceBox>) {
    let Some(services) = &translation.services else {
        return;
    };
    for before in Family::ALL
        .iter()
        .flat_map(|&family| boxes(services, family))
    {
        if let Some(port) = translation.port {
            seeds.push(ServiceBox {
                protocols: before.protocols.clone(),
                source_ports: IntervalSet::range(0, 65_535),
                destination_ports: IntervalSet::point(u128::from(port)),
            });
        }
        seeds.push(before);
    }
}

/// Every packet of a protocol.
pub(super) fn whole_protocol(protocol: Protocol) -> ServiceBox {
    ServiceBox {
        protocols: IntervalSet::point(u128::from(protocol.0)),
        ..ServiceBox::any()
    }
}

/// The messages of a type, every code.
pub(super) fn messages(protocol: Protocol, kind: u16) -> ServiceBox {
    let first = u128::from(kind) * 256;
    ServiceBox {
        destination_ports: IntervalSet::range(first, first + 255),
        ..whole_protocol(protocol)
    }
}
