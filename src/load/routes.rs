//! Static routes of gateways, routers and hosts.

use std::net::IpAddr;

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{Family, InterfaceAddress, Prefix, Route, SegmentId, Via};

use super::context::Context;
use super::interface_check::is_link_local;
use super::keys::Keys;
use super::kinds;
use super::literal;
use super::quote::shown;
use super::reader::{Table, Value};

/// An interface as routes see it.
pub(super) struct OwnInterface {
    pub name: String,
    pub segment: SegmentId,
    pub addresses: Vec<Spanned<InterfaceAddress>>,
}

/// The `routes` of a device with this name and these interfaces.
pub(super) fn read(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    keys: &'static Keys,
    (device, own_interfaces): (&str, &[OwnInterface]),
) -> Vec<Route> {
    let mut seen: FxHashMap<(Prefix, u32), (Span, &str)> = FxHashMap::default();
    for address in own_interfaces
        .iter()
        .flat_map(|own_interface| &own_interface.addresses)
    {
        let on_link = "this prefix is on-link by the interface's address";
        seen.insert(
            (address.value.prefix(), Route::ON_LINK),
            (address.span, on_link),
        );
    }
    let mut routes = Vec::new();
    for value in table.items(&mut cx.report, "routes") {
        let Some(route) = read_route(cx, value, keys, own_interfaces) else {
            continue;
        };
        let mut same = [Route::ON_LINK, route.preference].into_iter();
        let first = same.find_map(|preference| seen.get(&(route.destination, preference)));
        if let Some(&(first, why)) = first {
            let message = format!("a second route to {}", route.destination);
            let subject = format!("{device} {}", route.destination);
            let problem = Problem::at(&kinds::ROUTE_TWICE, route.place, message)
                .about(subject)
                .note(first, why);
            cx.report(problem.help(
                "give the backup a higher `preference`: which of the two is used nobody can say, and answers hold for both",
            ));
        }
        let place = (route.place, "the first route to it");
        let key = (route.destination, route.preference);
        seen.entry(key).or_insert(place);
        routes.push(route);
    }
    routes
}

/// The `preference` of a route; `None`: its mistake is reported.
fn read_preference(cx: &mut Context<'_>, table: &Table<'_>) -> Option<u32> {
    if table.get("preference").is_none() {
        return Some(Route::USUAL);
    }
    let number = table.integer(&mut cx.report, "preference")?;
    let found = u32::try_from(number.value).ok();
    let found = found.filter(|&preference| Route::ON_LINK < preference);
    if found.is_none() {
        let message = format!("a preference of {}", number.value);
        let problem = Problem::at(&kinds::BAD_PREFERENCE, number.span, message);
        cx.report(
            problem.help(
                "write 1 (the best) to 4294967295; the lowest is used, the others are backups",
            ),
        );
    }
    found
}

fn read_route(
    cx: &mut Context<'_>,
    value: Value<'_>,
    keys: &'static Keys,
    own_interfaces: &[OwnInterface],
) -> Option<Route> {
    let table = Table::open(&mut cx.report, value, keys)?;
    let to = table.text(&mut cx.report, "to");
    let via = read_via(cx, &table);
    let discard = table.flag(&mut cx.report, "discard");
    let discard = discard.is_some_and(|flag| flag.value);
    let interface = read_interface(cx, &table, own_interfaces);
    let preference = read_preference(cx, &table);
    if !check_target(cx, &table, discard) {
        return None;
    }
    let destination = read_destination(cx, to?, via, discard)?;
    let preference = preference?;
    let via = if discard {
        Via::Discard
    } else {
        let via = via?;
        check_families(cx, via, destination)?;
        let interface = find_interface(cx, via, interface?, own_interfaces)?;
        let address = via.value;
        Via::NextHop { address, interface }
    };
    let place = table.place();
    Some(Route {
        destination,
        via,
        preference,
        place,
    })
}

fn check_families(cx: &mut Context<'_>, via: Spanned<IpAddr>, destination: Prefix) -> Option<()> {
    let family = destination.family();
    if Family::of(via.value) == family {
        return Some(());
    }
    let message = format!("the next hop {} of a route to {destination}", via.value);
    let problem = Problem::at(&kinds::MIXED_FAMILIES, via.span, message);
    let help = format!(
        "a route to {destination} needs an {} next hop",
        family.word()
    );
    cx.report(problem.help(help));
    None
}

fn read_via(cx: &mut Context<'_>, table: &Table<'_>) -> Option<Spanned<IpAddr>> {
    let text = table.text(&mut cx.report, "via")?;
    let address = match literal::address(text.value) {
        Ok(address) => address,
        Err(complaint) => {
            cx.report(complaint.at(text.span));
            return None;
        }
    };
    if let Some(what) = literal::unusable(address) {
        let problem = Problem::at(
            &kinds::UNUSABLE_ADDRESS,
            text.span,
            format!("{address} is {what}"),
        );
        cx.report(problem.help("a next hop is the address of another device"));
        return None;
    }
    Some(Spanned::new(address, text.span))
}

/// Exactly one of `via` and `discard`.
fn check_target(cx: &mut Context<'_>, table: &Table<'_>, discard: bool) -> bool {
    match (table.get("via").is_some(), discard) {
        (true, true) => {
            let message = "a route that both leads to a next hop and discards";
            let problem = Problem::at(&kinds::CONFLICTING_KEYS, table.key_span("discard"), message);
            cx.report(
                problem
                    .note(table.key_span("via"), "the next hop")
                    .help("keep one of the two"),
            );
            false
        }
        (false, false) => {
            let problem = Problem::at(
                &kinds::MISSING_KEY,
                table.span,
                "a route needs `via` or `discard = true`",
            );
            cx.report(problem.help("say where it leads: `via = \"192.0.2.1\"`"));
            false
        }
        (true, false) => true,
        (false, true) if table.get("interface").is_some() => {
            let message = "a route that discards leaves by no interface";
            let problem = Problem::at(
                &kinds::CONFLICTING_KEYS,
                table.key_span("interface"),
                message,
            );
            cx.report(problem.help("leave `interface` out"));
            false
        }
        (false, true) => true,
    }
}

fn read_destination(
    cx: &mut Context<'_>,
    to: Spanned<&str>,
    via: Option<Spanned<IpAddr>>,
    discard: bool,
) -> Option<Prefix> {
    if to.value != "default" {
        return match literal::prefix(to.value) {
            Ok(prefix) => Some(prefix),
            Err(complaint) => {
                cx.report(complaint.at(to.span));
                None
            }
        };
    }
    if discard {
        let message = "`default` without a next hop is of no family";
        let problem = Problem::at(&kinds::BAD_PREFIX, to.span, message);
        cx.report(problem.help("write `0.0.0.0/0` or `::/0`"));
        return None;
    }
    let all = Family::of(via?.value).address(0);
    let net = ipnet::IpNet::new(all, 0).expect("0 is a length of both families");
    Some(Prefix::truncated(net))
}

/// The interface a route names: outer `None` where the name is wrong.
#[expect(
    clippy::option_option,
    reason = "no name given and a wrong name are two things"
)]
fn read_interface(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    own_interfaces: &[OwnInterface],
) -> Option<Option<usize>> {
    if table.get("interface").is_none() {
        return Some(None);
    }
    let name = table.text(&mut cx.report, "interface")?;
    let found = own_interfaces
        .iter()
        .position(|own_interface| own_interface.name == name.value);
    if found.is_none() {
        let names: Vec<&str> = own_interfaces
            .iter()
            .map(|own_interface| own_interface.name.as_str())
            .collect();
        let help = cx
            .report
            .did_you_mean(name.value, names.iter().copied(), || {
                super::names::some_of("interface", names.iter().copied())
            });
        let message = format!(
            "no interface of this device is called `{}`",
            shown(name.value)
        );
        cx.report(
            Problem::at(&kinds::UNKNOWN_NAME, name.span, message)
                .label("unknown name")
                .help(help),
        );
    }
    found.map(Some)
}

/// The one interface on whose link the next hop is.
fn find_interface(
    cx: &mut Context<'_>,
    via: Spanned<IpAddr>,
    named: Option<usize>,
    own_interfaces: &[OwnInterface],
) -> Option<usize> {
    if let Some(number) = named {
        let own_interface = &own_interfaces[number];
        let near = is_link_local(via.value) || on_link(own_interface, via.value);
        if !near && !in_segment(cx, own_interface, via.value) {
            not_on_link(cx, via, own_interfaces);
            return None;
        }
        return check_own(cx, via, &own_interfaces[number..=number]).then_some(number);
    }
    if is_link_local(via.value) {
        let message = format!("the link-local next hop {} could be on any link", via.value);
        let problem = Problem::at(&kinds::NEXT_HOP_AMBIGUOUS, via.span, message);
        cx.report(problem.help("add `interface = …`"));
        return None;
    }
    let mut found =
        (0..own_interfaces.len()).filter(|&number| on_link(&own_interfaces[number], via.value));
    match (found.next(), found.next()) {
        (Some(number), None) => check_own(cx, via, own_interfaces).then_some(number),
        (Some(first), Some(second)) => {
            let message = format!("{} is on-link at more than one interface", via.value);
            let problem = Problem::at(&kinds::NEXT_HOP_AMBIGUOUS, via.span, message);
            let (first, second) = (&own_interfaces[first].name, &own_interfaces[second].name);
            let help = format!("add `interface = \"{first}\"` or `interface = \"{second}\"`");
            cx.report(problem.help(help));
            None
        }
        (None, _) => {
            not_on_link(cx, via, own_interfaces);
            None
        }
    }
}

fn on_link(own_interface: &OwnInterface, address: IpAddr) -> bool {
    own_interface
        .addresses
        .iter()
        .any(|own| own.value.prefix().contains(address))
}

/// An interface without addresses may still be named: then its segment says what is on-link. An external
/// segment without prefixes leaves it open.
fn in_segment(cx: &Context<'_>, own_interface: &OwnInterface, address: IpAddr) -> bool {
    cx.site
        .segments
        .get(own_interface.segment.0)
        .is_none_or(|segment| {
            segment
                .prefixes
                .iter()
                .any(|prefix| prefix.value.contains(address))
                || (segment.external && !segment.has(Family::of(address)))
        })
}

fn check_own(cx: &mut Context<'_>, via: Spanned<IpAddr>, own_interfaces: &[OwnInterface]) -> bool {
    let mut own = own_interfaces
        .iter()
        .flat_map(|own_interface| &own_interface.addresses);
    let Some(own) = own.find(|own| own.value.address() == via.value) else {
        return true;
    };
    let message = format!(
        "the next hop {} is an address of the device itself",
        via.value
    );
    let problem =
        Problem::at(&kinds::NEXT_HOP_IS_OWN, via.span, message).note(own.span, "its own address");
    cx.report(problem.help("name the next device on the way"));
    false
}

fn not_on_link(cx: &mut Context<'_>, via: Spanned<IpAddr>, own_interfaces: &[OwnInterface]) {
    // A broken interface is reported by itself; what it would have reached can't be told.
    if own_interfaces
        .iter()
        .any(|own_interface| cx.site.segments.get(own_interface.segment.0).is_none())
    {
        return;
    }
    let message = format!(
        "no interface of the device reaches the next hop {} directly",
        via.value
    );
    let problem = Problem::at(&kinds::NEXT_HOP_NOT_ON_LINK, via.span, message);
    let family = Family::of(via.value);
    let links: Vec<String> = own_interfaces
        .iter()
        .flat_map(|own_interface| &own_interface.addresses)
        .map(|own| own.value.prefix())
        .filter(|prefix| prefix.family() == family)
        .take(8)
        .map(|prefix| prefix.to_string())
        .collect();
    let help = match links.as_slice() {
        [] => format!("no interface has an {} address", family.word()),
        links => format!("on-link are {}", links.join(", ")),
    };
    cx.report(problem.help(help));
}
