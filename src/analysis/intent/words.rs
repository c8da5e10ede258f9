//! Breaches in words.

use boundwalk_forwarding::Network;

use super::super::stop_text::stopped;
use boundwalk_model::{Family, PerFamily};

use super::super::deciders::rule_name;
use super::super::party::{Endpoint, party_name};
use super::super::service_labels::ServiceLabels;
use super::status::{Breach, Demand, Link};

/// A breach in one sentence without a full stop.
pub fn breach_text(
    network: &Network<'_>,
    namings: &PerFamily<ServiceLabels<'_>>,
    breach: &Breach,
) -> String {
    let site = network.site;
    let from = &site.segment(breach.from).name.value;
    let to = match breach.to {
        Endpoint::Device(router) => format!("{} itself", site.router(router).name.value),
        party => party_name(site, party).into_owned(),
    };
    let family = breach.family.map_or("", Family::word);
    let services = match (&breach.services, breach.family) {
        (Some(services), Some(family)) => namings[family].services(services),
        _ => String::new(),
    };
    let who = if breach.hostile {
        format!("a hostile device on {from}")
    } else {
        from.clone()
    };
    let by = decided(network, breach);
    let shown = breach
        .packet
        .map_or(String::new(), |packet| format!("; for one {packet}"));
    match breach.demand {
        Demand::Nothing => format!("{who} reaches {to} over {family}: {services}{by}{shown}"),
        Demand::AtMost => {
            format!("{who} reaches {to} over {family} beyond that: {services}{by}{shown}")
        }
        Demand::AtLeast => {
            let why = breach
                .stop
                .map_or_else(|| "it ends elsewhere".to_owned(), stopped);
            format!("{who} does not reach {to} over {family}: {services}; {why}{by}{shown}")
        }
        Demand::Through => {
            format!(
                "{who} reaches {to} over {family} undecided by that gateway: {services}{by}{shown}"
            )
        }
        Demand::Logged => format!(
            "no rule logs what passes from {who} to {to} over {family}: {services}{by}{shown}"
        ),
        Demand::Inspected => {
            format!(
                "no rule has inspected what passes from {who} to {to} over {family}: {services}{by}{shown}"
            )
        }
        Demand::OneWay => {
            format!("{who} can start {services} towards {to} over {family}{by}{shown}")
        }
        Demand::Isolated => format!(
            "there is a way between {from} and {to}: {}",
            chain(network, &breach.chain)
        ),
    }
}

/// `, by edge rule 17 "cameras on the web"`, for each gateway on the way.
fn decided(network: &Network<'_>, breach: &Breach) -> String {
    let named: Vec<String> = breach
        .deciders
        .iter()
        .map(|&(router, rule)| rule_name(network, router, rule))
        .collect();
    if named.is_empty() {
        String::new()
    } else {
        format!(", by {}", named.join(" and "))
    }
}

/// `guest - edge - office`.
fn chain(network: &Network<'_>, links: &[Link]) -> String {
    let name = |link: &Link| match *link {
        Link::Segment(segment) => network.site.segment(segment).name.value.clone(),
        Link::Router(router) => network.site.router(router).name.value.clone(),
        Link::Host(host) => network.site.host(host).name.value.clone(),
    };
    links.iter().map(name).collect::<Vec<_>>().join(" - ")
}
