//! Address translations of gateways.

use std::net::IpAddr;

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{
    AddressMatch, Family, Interface, Role, RuleParty, Service, ServiceMatch, Translation,
    TranslationTarget,
};

use super::context::{Context, owned};
use super::keys::{self, Keys};
use super::kinds;
use super::literal;
use super::matching::{self, has};
use super::name_index::NameIndex;
use super::party::{self, Presence};
use super::quote::shown;
use super::reader::{Table, Value};
use super::rules::Titles;

/// Which of the two lists.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Direction {
    Destination,
    Source,
}

impl Direction {
    fn key(self) -> &'static str {
        match self {
            Self::Destination => "destination_translations",
            Self::Source => "source_translations",
        }
    }

    fn keys(self) -> &'static Keys {
        match self {
            Self::Destination => &keys::DESTINATION_TRANSLATION,
            Self::Source => &keys::SOURCE_TRANSLATION,
        }
    }
}

/// Reads the translations of all gateways.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for (number, entry) in outline.gateways.iter().enumerate() {
        let Some(table) = Table::reopen(entry.value, &keys::GATEWAY) else {
            continue;
        };
        let destination = read_list(cx, &table, number, Direction::Destination);
        let source = read_list(cx, &table, number, Direction::Source);
        if let Role::Gateway(filter) = &mut cx.site.routers[number].role {
            filter.destination_translations = destination;
            filter.source_translations = source;
        }
    }
}

fn read_list(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    gateway: usize,
    direction: Direction,
) -> Vec<Translation> {
    let items = table.items(&mut cx.report, direction.key());
    let stateful = cx.site.routers[gateway]
        .filter()
        .is_none_or(|filter| filter.stateful);
    if !items.is_empty() && !stateful {
        let message = "a gateway that keeps no state can't undo a translation for the replies";
        let problem = Problem::at(
            &kinds::TRANSLATION_STATELESS,
            table.key_span(direction.key()),
            message,
        );
        let problem = problem.note(table.key_span("stateful"), "no state is kept");
        cx.report(problem.help("remove the translations, or `stateful = false`"));
    }
    let presence = Presence::of(cx, gateway);
    let mut titles = Titles::default();
    let mut list = Vec::with_capacity(items.len());
    for item in items {
        let line = read_line(cx, item, direction, presence.as_ref(), &mut titles);
        if let Some(line) = &line
            && line.target == TranslationTarget::Interface
        {
            warn_of_missing_family(cx, gateway, line);
        }
        list.extend(line);
    }
    list
}

fn read_line<'a>(
    cx: &mut Context<'_>,
    value: Value<'a>,
    direction: Direction,
    presence: Option<&Presence>,
    titles: &mut Titles<'a>,
) -> Option<Translation> {
    let table = Table::open(&mut cx.report, value, direction.keys())?;
    let name = titles.read(&mut cx.report, &table, "a translation", "translation");
    let side = match direction {
        Direction::Destination => "from",
        Direction::Source => "to",
    };
    let parties = party::list(cx, &table, side, false);
    let title = name.map_or("", |name| name.value);
    party::warn_of_absent(cx, presence, title, parties.as_deref());
    let matching = matching::read(cx, &table);
    let target = read_target(cx, &table, direction);
    if let Some(target) = target {
        check_family(cx, &matching, target);
    }
    let target_value = target.map(|target| target.value);
    let mut port = None;
    if direction == Direction::Destination {
        let unchanged = target_value == Some(TranslationTarget::Unchanged);
        if table.get("destination").is_none() && !unchanged {
            warn_of_any_destination(cx, &table, name.map_or("", |name| name.value));
        }
        port = read_port(cx, &table, matching.services.as_ref(), target);
    }
    let enabled = table.flag(&mut cx.report, "enabled");
    Some(Translation {
        name: owned(name.unwrap_or(Spanned::new("", table.span))),
        parties: party::plain(parties),
        source: matching.source,
        destination: matching.destination,
        services: matching.services,
        target: target_value.unwrap_or(TranslationTarget::Unchanged),
        port,
        enabled: enabled.is_none_or(|flag| flag.value),
    })
}

fn read_target(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    direction: Direction,
) -> Option<Spanned<TranslationTarget>> {
    let text = table.text(&mut cx.report, "to_address")?;
    let target = match (text.value, direction) {
        ("unchanged", _) => TranslationTarget::Unchanged,
        ("interface", Direction::Source) => TranslationTarget::Interface,
        ("interface", Direction::Destination) => {
            let message = "a destination translation needs the address of the new destination";
            let problem = Problem::at(&kinds::BAD_WORD, text.span, message);
            cx.report(problem.help("write one address, or \"unchanged\""));
            return None;
        }
        _ => TranslationTarget::Address(read_target_address(cx, text, direction)?),
    };
    Some(Spanned::new(target, text.span))
}

fn read_target_address(
    cx: &mut Context<'_>,
    text: Spanned<&str>,
    direction: Direction,
) -> Option<IpAddr> {
    let address = match literal::address(text.value) {
        Ok(address) => address,
        Err(mut complaint) => {
            let words = match direction {
                Direction::Source => "one address, \"interface\" or \"unchanged\"",
                Direction::Destination => "one address or \"unchanged\"",
            };
            complaint.help = format!("{}; `to_address` takes {words}", complaint.help);
            cx.report(complaint.at(text.span));
            return None;
        }
    };
    if let Some(what) = literal::unusable(address) {
        let message = format!("{address} is {what}");
        let problem = Problem::at(&kinds::UNUSABLE_ADDRESS, text.span, message);
        cx.report(problem.help("translate to an address that a device can have"));
        return None;
    }
    Some(address)
}

/// The address that is written must be of the family of the packets that match.
fn check_family(
    cx: &mut Context<'_>,
    matching: &matching::Matching,
    target: Spanned<TranslationTarget>,
) {
    let TranslationTarget::Address(address) = target.value else {
        return;
    };
    let family = Family::of(address);
    let mut families = matching.families().peekable();
    if families.peek().is_none() || families.any(|matched| matched == family) {
        return;
    }
    let other = if family == Family::V4 {
        Family::V6
    } else {
        Family::V4
    };
    let message = format!(
        "what matches here is {}, and {address} is {}",
        other.word(),
        family.word()
    );
    let problem = Problem::at(&kinds::MIXED_FAMILIES, target.span, message);
    cx.report(problem.help(format!(
        "write an {} address; translation between the families is not modelled",
        other.word()
    )));
}

fn warn_of_any_destination(cx: &mut Context<'_>, table: &Table<'_>, name: &str) {
    let message = "this translates packets to every destination";
    let problem = Problem::at(&kinds::ANY_DESTINATION, table.span, message).about(name);
    cx.report(problem.help("add `destination = …`, the address that outsiders know"));
}

fn read_port(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    services: Option<&ServiceMatch>,
    target: Option<Spanned<TranslationTarget>>,
) -> Option<u16> {
    let number = table.integer(&mut cx.report, "to_port")?;
    let port = u16::try_from(number.value).ok().filter(|&port| port > 0);
    if port.is_none() {
        let problem = Problem::at(
            &kinds::BAD_PORT,
            number.span,
            format!("there is no port {}", number.value),
        );
        cx.report(problem.help("ports go from 1 to 65535"));
    }
    if target.is_some_and(|target| target.value == TranslationTarget::Unchanged) {
        let message = "`to_port` with a destination that stays unchanged";
        let problem = Problem::at(&kinds::CONFLICTING_KEYS, table.key_span("to_port"), message);
        cx.report(problem.help("write the destination's own address, or leave `to_port` out"));
    }
    check_services(cx, table, services);
    port
}

fn check_services(cx: &mut Context<'_>, table: &Table<'_>, services: Option<&ServiceMatch>) {
    let span = table.key_span("to_port");
    let Some(list) = services else {
        if table.get("services").is_none() {
            let message = "`to_port` for every service, also those without ports";
            let problem = Problem::at(&kinds::PORT_WITHOUT_PORTS, span, message);
            cx.report(problem.help("add `services = …` with the ports that are translated"));
        }
        return;
    };
    let portless = |service: &&Service| match service {
        Service::Ports { .. } => false,
        Service::Whole(protocol) => !protocol.has_ports(),
        Service::Any | Service::Message { .. } => true,
    };
    if list.services.iter().find(portless).is_some() {
        let written: Vec<String> = list.written.iter().map(|item| shown(&item.value)).collect();
        let message = format!(
            "`to_port` for services without ports (in {})",
            written.join(", ")
        );
        let problem = Problem::at(&kinds::PORT_WITHOUT_PORTS, span, message);
        let problem = problem.note(table.key_span("services"), "not all of these have ports");
        cx.report(problem.help("name services of tcp, udp, sctp, dccp or udplite only"));
    }
}

/// Which addresses a line speaks of in so many words: only for those is a missing family a mistake.
fn speaks_of(line: &Translation, family: Family) -> bool {
    let lists: Vec<&AddressMatch> = line.source.iter().chain(&line.destination).collect();
    !lists.is_empty() && lists.iter().all(|list| has(Some(list), family))
}

fn warn_of_missing_family(cx: &mut Context<'_>, gateway: usize, line: &Translation) {
    let Some(parties) = &line.parties else { return };
    let mut problems = Vec::new();
    for interface in &cx.site.routers[gateway].interfaces {
        let Some(segment) = cx.site.segments.get(interface.segment.0) else {
            continue;
        };
        let here = [
            RuleParty::Segment(interface.segment),
            RuleParty::Zone(segment.zone),
        ];
        if parties.iter().any(|party| here.contains(party)) {
            let missing = missing_addresses(interface, line);
            problems.extend(missing.map(|what| no_address(interface, line, what)));
        }
    }
    problems.into_iter().for_each(|problem| cx.report(problem));
}

/// What an interface would have to have for a line that translates to its address.
fn missing_addresses(
    interface: &Interface,
    line: &Translation,
) -> impl Iterator<Item = &'static str> {
    let silent = line.source.is_none() && line.destination.is_none();
    let any = (silent && interface.addresses.is_empty()).then_some("address");
    let lacks = |family| {
        let mut addresses = interface.addresses.iter();
        speaks_of(line, family) && !addresses.any(|address| address.value.family() == family)
    };
    let v4 = lacks(Family::V4).then_some("IPv4 address");
    let v6 = lacks(Family::V6).then_some("IPv6 address");
    any.into_iter().chain(v4).chain(v6)
}

fn no_address(interface: &Interface, line: &Translation, what: &str) -> Problem {
    let name = &interface.name.value;
    let message = format!("the interface `{name}` has no {what} to translate to");
    let problem = Problem::at(&kinds::INTERFACE_WITHOUT_FAMILY, line.name.span, message)
        .about(&line.name.value);
    let problem = problem.note(interface.name.span, "the interface");
    problem.help("give the interface an address, or name the address to translate to")
}
