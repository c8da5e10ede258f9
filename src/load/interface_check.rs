//! Addresses of interfaces: what is read and what is checked for gateways, routers and hosts alike.

use std::net::IpAddr;

use ipnet::IpNet;

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{Family, InterfaceAddress, Prefix, SegmentId};

use super::context::{Context, Device, Owner};
use super::kinds;
use super::literal;
use super::reader::Table;

/// Addresses of an interface, and those of them that it shares.
pub(super) type Addresses = (Vec<Spanned<InterfaceAddress>>, Vec<IpAddr>);

/// The `addresses` and then the `shared_addresses` of an interface on a segment, each with its prefix length, checked
/// against the segment.
pub(super) fn read_addresses(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    device: Device,
    segment: SegmentId,
) -> Addresses {
    let mut addresses = read_list(cx, (table, "addresses"), device, segment);
    let shared = read_list(cx, (table, "shared_addresses"), device, segment);
    let values = shared
        .iter()
        .map(|address| address.value.address())
        .collect();
    addresses.extend(shared);
    (addresses, values)
}

fn read_list(
    cx: &mut Context<'_>,
    (table, key): (&Table<'_>, &str),
    device: Device,
    segment: SegmentId,
) -> Vec<Spanned<InterfaceAddress>> {
    let mut addresses = Vec::new();
    for text in table.strings_or_none(&mut cx.report, key) {
        match literal::interface(text.value) {
            Ok((address, net)) => {
                let address = Spanned::new(address, text.span);
                if let Some(net) = check(cx, address, net, segment) {
                    own(cx, address, device, segment);
                    addresses.push(Spanned::new(InterfaceAddress(net), text.span));
                }
            }
            Err(complaint) => cx.report(complaint.at(text.span)),
        }
    }
    addresses
}

/// Whether an address means something only on its own link (RFC 4291 section 2.5.6).
pub(super) fn is_link_local(address: IpAddr) -> bool {
    matches!(address, IpAddr::V6(v6) if v6.is_unicast_link_local())
}

/// Under what an address is kept in [`Context::owners`].
pub(super) fn owner_key(address: IpAddr, segment: SegmentId) -> (Option<SegmentId>, IpAddr) {
    (is_link_local(address).then_some(segment), address)
}

fn check(
    cx: &mut Context<'_>,
    address: Spanned<IpAddr>,
    net: Option<IpNet>,
    segment: SegmentId,
) -> Option<IpNet> {
    if let Some(what) = literal::unusable(address.value) {
        let message = format!("{} is {what}", address.value);
        let problem = Problem::at(&kinds::UNUSABLE_ADDRESS, address.span, message);
        cx.report(problem.help("give the interface an address of its segment"));
        return None;
    }
    let prefix = prefix_of(cx, address, segment);
    let net = match (net, prefix) {
        (Some(net), _) => net,
        (None, Some(prefix)) => with_length(address.value, prefix.net().prefix_len()),
        (None, None) if is_link_local(address.value) => with_length(address.value, 64),
        (None, None) => {
            missing_length(cx, address, segment);
            return None;
        }
    };
    check_host_part(cx, net, address);
    match prefix {
        Some(prefix) => check_length(cx, net, prefix, address),
        None => check_outside(cx, address, segment),
    }
    Some(net)
}

fn with_length(address: IpAddr, length: u8) -> IpNet {
    IpNet::new(address, length).expect("the length is one of the same family")
}

/// The prefix of the segment that holds an address.
fn prefix_of(cx: &Context<'_>, address: Spanned<IpAddr>, segment: SegmentId) -> Option<Prefix> {
    let segment = cx.site.segments.get(segment.0)?;
    let mut prefixes = segment.prefixes.iter().map(|prefix| prefix.value);
    prefixes.find(|prefix| prefix.contains(address.value))
}

fn missing_length(cx: &mut Context<'_>, address: Spanned<IpAddr>, segment: SegmentId) {
    let Some(found) = cx.site.segments.get(segment.0) else {
        return;
    };
    if found.has(Family::of(address.value)) {
        check_outside(cx, address, segment);
        return;
    }
    let message = format!(
        "{} has no prefix length, and its segment has no prefix to take it from",
        address.value
    );
    let problem = Problem::at(&kinds::BAD_PREFIX, address.span, message);
    let length = if address.value.is_ipv4() { 24 } else { 64 };
    cx.report(problem.help(format!("add the length, as in {}/{length}", address.value)));
}

/// The lowest address of a prefix names the prefix and the highest of an IPv4 one means everybody on it; a
/// point-to-point prefix has neither (RFC 3021 section 2.1, RFC 6164 section 6, RFC 4291 section 2.6.1).
fn check_host_part(cx: &mut Context<'_>, net: IpNet, address: Spanned<IpAddr>) {
    let room = net.max_prefix_len() - net.prefix_len();
    let what = match net {
        _ if room < 2 => return,
        IpNet::V4(v4) if v4.addr() == v4.network() => "the network address",
        IpNet::V4(v4) if v4.addr() == v4.broadcast() => "the broadcast address",
        IpNet::V6(v6) if v6.addr() == v6.network() => "the subnet-router anycast address",
        _ => return,
    };
    let message = format!("{} is {what} of {}", address.value, net.trunc());
    let problem = Problem::at(&kinds::NETWORK_ADDRESS, address.span, message);
    let mut hosts = net.hosts();
    let first = match net {
        IpNet::V4(_) => hosts.next(),
        IpNet::V6(_) => hosts.nth(1),
    };
    let help = match first {
        Some(first) => format!(
            "give it a host's address, as in {first}/{}",
            net.prefix_len()
        ),
        None => "give it a host's address".to_owned(),
    };
    cx.report(problem.help(help));
}

fn check_length(cx: &mut Context<'_>, net: IpNet, prefix: Prefix, address: Spanned<IpAddr>) {
    if net.prefix_len() == prefix.net().prefix_len() {
        return;
    }
    let message = format!("{net} has another prefix length than its segment ({prefix})");
    let place = segment_prefix_span(cx, prefix);
    let mut problem =
        Problem::at(&kinds::PREFIX_LENGTH_DIFFERS, address.span, message).about(net.to_string());
    if let Some(place) = place {
        problem = problem.note(place, "the segment's prefix");
    }
    cx.report(problem.help(format!(
        "did you mean {}/{}?",
        address.value,
        prefix.net().prefix_len()
    )));
}

fn segment_prefix_span(cx: &Context<'_>, prefix: Prefix) -> Option<boundwalk_diagnostic::Span> {
    let placed = cx.prefixes.locate(prefix.net().addr())?;
    (placed.prefix == prefix).then_some(placed.span)
}

/// An external segment without prefixes of the family takes any address.
fn check_outside(cx: &mut Context<'_>, address: Spanned<IpAddr>, id: SegmentId) {
    if is_link_local(address.value) {
        return;
    }
    let Some(segment) = cx.site.segments.get(id.0) else {
        return;
    };
    let family = Family::of(address.value);
    if segment.external && !segment.has(family) {
        return;
    }
    let name = &segment.name.value;
    let shown = address.value;
    let message = if segment.has(family) {
        format!("{shown} lies outside the segment `{name}`")
    } else {
        let family = family.word();
        format!("{shown} stands on the segment `{name}`, which has no {family} prefix")
    };
    let mut problem = Problem::at(&kinds::ADDRESS_OUTSIDE_PREFIX, address.span, message);
    let prefixes = segment.prefixes.iter();
    for prefix in prefixes.filter(|prefix| prefix.value.family() == family) {
        problem = problem.note(prefix.span, format!("`{name}` has this prefix"));
    }
    let located = cx.prefixes.locate(address.value);
    let help = match located.filter(|placed| placed.segment != id) {
        Some(placed) => {
            problem = problem.note(placed.span, "the address lies in this prefix");
            let other = cx.segment_name(placed.segment);
            format!("the address lies in the segment `{other}`; change one of the two")
        }
        None => format!("give it an address of `{name}`, or `{name}` a prefix that holds it"),
    };
    cx.report(problem.help(help));
}

/// Notes who has an address. That several devices have it is a fault of the network and not of the file: a finding.
fn own(cx: &mut Context<'_>, address: Spanned<IpAddr>, device: Device, segment: SegmentId) {
    let owner = Owner {
        device,
        segment,
        span: address.span,
    };
    let known = cx.owners.entry(owner_key(address.value, segment));
    let known = known.or_default();
    if let Some(first) = known.iter().find(|known| known.device == device) {
        let (first, second) = (first.span.min(address.span), first.span.max(address.span));
        let message = format!(
            "two interfaces of one device have the address {}",
            address.value
        );
        let problem = Problem::at(&kinds::ADDRESS_TWICE, second, message);
        let problem = problem.note(first, "it is first given here");
        cx.report(problem.help("give each interface an address of its own"));
        return;
    }
    known.push(owner);
}
