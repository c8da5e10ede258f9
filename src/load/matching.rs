//! What rules, translations, needs and expectations match by address and service.

use boundwalk_diagnostic::{Problem, Span};
use boundwalk_model::{AddressMatch, Family, ICMP, ICMPV6, Service, ServiceMatch};

use super::context::Context;
use super::kinds;
use super::reader::Table;
use super::{address_group, service_group};

/// The three match lists of a line; `None`: anything.
#[derive(Default)]
pub(super) struct Matching {
    pub source: Option<AddressMatch>,
    pub destination: Option<AddressMatch>,
    pub services: Option<ServiceMatch>,
}

/// Reads `source`, `destination` and `services`, and reports a line that can match in no family.
pub(super) fn read(cx: &mut Context<'_>, table: &Table<'_>) -> Matching {
    let matching = Matching {
        source: address_group::list(cx, table, "source"),
        destination: address_group::list(cx, table, "destination"),
        services: service_group::list(cx, table, "services"),
    };
    if matching.families().next().is_none() {
        report_nothing(cx, table, &matching);
    }
    matching
}

impl Matching {
    /// The families of the packets that can match.
    pub fn families(&self) -> impl Iterator<Item = Family> + '_ {
        Family::ALL.into_iter().filter(|&family| {
            has(self.source.as_ref(), family)
                && has(self.destination.as_ref(), family)
                && serves(self.services.as_ref(), family)
        })
    }
}

/// Whether a list has an address of a family.
pub(super) fn has(list: Option<&AddressMatch>, family: Family) -> bool {
    list.is_none_or(|list| !list.set.of(family).is_empty())
}

fn serves(list: Option<&ServiceMatch>, family: Family) -> bool {
    list.is_none_or(|list| {
        list.services
            .iter()
            .any(|service| exists_in(service, family))
    })
}

/// ICMP belongs to IPv4 and ICMPv6 to IPv6; every other protocol to both.
fn exists_in(service: &Service, family: Family) -> bool {
    let protocol = match service {
        Service::Any | Service::Ports { .. } => return true,
        Service::Whole(protocol) | Service::Message { protocol, .. } => *protocol,
    };
    match family {
        Family::V4 => protocol != ICMPV6,
        Family::V6 => protocol != ICMP,
    }
}

fn report_nothing(cx: &mut Context<'_>, table: &Table<'_>, matching: &Matching) {
    let parts: [(&str, bool, bool); 3] = [
        (
            "source",
            has(matching.source.as_ref(), Family::V4),
            has(matching.source.as_ref(), Family::V6),
        ),
        (
            "destination",
            has(matching.destination.as_ref(), Family::V4),
            has(matching.destination.as_ref(), Family::V6),
        ),
        (
            "services",
            serves(matching.services.as_ref(), Family::V4),
            serves(matching.services.as_ref(), Family::V6),
        ),
    ];
    let mut spans: Vec<(Span, String)> = parts
        .into_iter()
        .filter(|(_, v4, v6)| v4 != v6)
        .map(|(key, v4, _)| {
            let family = if v4 { Family::V4 } else { Family::V6 };
            (
                table.key_span(key),
                format!("`{key}` is {} only", family.word()),
            )
        })
        .collect();
    let (span, label) = spans.pop().unwrap_or((table.span, String::new()));
    let mut problem =
        Problem::at(&kinds::MATCHES_NOTHING, span, "no packet can match this").label(label);
    for (span, text) in spans {
        problem = problem.note(span, text);
    }
    cx.report(
        problem
            .help("a packet is IPv4 or IPv6 in all of its parts: write one line for each family"),
    );
}
