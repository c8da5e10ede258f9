//! Zones and segments.

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{Prefix, Segment, SegmentId, VlanId, Zone, ZoneId};

use super::context::{Context, NO_ZONE, owned};
use super::keys;
use super::kinds;
use super::literal;
use super::name_index::NameIndex;
use super::prefix_index::PrefixIndex;
use super::quote::shown;
use super::reader::{Entry, Table};
use super::report::ProblemReport;

/// Reads all zones, then all segments.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for entry in &outline.zones {
        let zone = read_zone(&mut cx.report, entry);
        cx.site.zones.push(zone);
    }
    for entry in &outline.segments {
        let segment = read_segment(cx, entry);
        cx.site.segments.push(segment);
    }
    cx.prefixes = PrefixIndex::new(&cx.site.segments);
    cx.zone_members = vec![Vec::new(); cx.site.zones.len()];
    for (number, segment) in cx.site.segments.iter().enumerate() {
        if let Some(members) = cx.zone_members.get_mut(segment.zone.0) {
            members.push(SegmentId(number));
        }
    }
}

/// A VLAN identifier; its mistake is reported.
pub(super) fn vlan(report: &mut ProblemReport, number: Spanned<i128>) -> Option<VlanId> {
    let vlan = u16::try_from(number.value).ok().and_then(VlanId::new);
    if vlan.is_some() {
        return vlan;
    }
    let problem = match number.value {
        0 => Problem::at(
            &kinds::VLAN_RESERVED,
            number.span,
            "VLAN 0 marks a priority tag and names no VLAN",
        )
        .help("leave `vlan` out for untagged frames, or write 1 to 4094 (RFC 4363)"),
        4095 => Problem::at(&kinds::VLAN_RESERVED, number.span, "VLAN 4095 is reserved")
            .help("write 1 to 4094 (RFC 4363)"),
        other => Problem::at(
            &kinds::BAD_VLAN,
            number.span,
            format!("there is no VLAN {other}"),
        )
        .help("a VLAN identifier has 12 bits: write 1 to 4094"),
    };
    report.push(problem);
    None
}

/// The `vlan` of a table.
pub(super) fn vlan_of(report: &mut ProblemReport, table: &Table<'_>) -> Option<Spanned<VlanId>> {
    let number = table.integer(report, "vlan")?;
    vlan(report, number).map(|vlan| Spanned::new(vlan, number.span))
}

fn read_zone(report: &mut ProblemReport, entry: &Entry<'_>) -> Zone {
    let mut zone = Zone {
        name: owned(entry.name),
        trust: 0,
        description: String::new(),
    };
    let Some(table) = Table::open(report, entry.value, &keys::ZONE) else {
        return zone;
    };
    if let Some(trust) = table.integer(report, "trust") {
        match u8::try_from(trust.value).ok().filter(|&trust| trust <= 100) {
            Some(trust) => zone.trust = trust,
            None => {
                let message = match trust.value {
                    // What is beyond any integer was read as the largest.
                    i128::MAX | i128::MIN => "a trust far out of range".to_owned(),
                    value => format!("a trust of {value}"),
                };
                let problem = Problem::at(&kinds::BAD_TRUST, trust.span, message);
                report.push(problem.help("write 0 (the internet) to 100"));
            }
        }
    }
    zone.description = table.prose(report, "description");
    zone
}

fn read_segment(cx: &mut Context<'_>, entry: &Entry<'_>) -> Segment {
    let mut segment = Segment {
        name: owned(entry.name),
        zone: NO_ZONE,
        vlan: None,
        prefixes: Vec::new(),
        isolated: None,
        external: false,
        routes: Vec::new(),
        default_gateway: Vec::new(),
        description: String::new(),
    };
    let Some(table) = Table::open(&mut cx.report, entry.value, &keys::SEGMENT) else {
        return segment;
    };
    if let Some(zone) = table.text(&mut cx.report, "zone")
        && let Some(number) = cx.zones.require(&mut cx.report, zone)
    {
        segment.zone = ZoneId(number);
    }
    let report = &mut cx.report;
    segment.vlan = vlan_of(report, &table);
    segment.isolated = table.flag(report, "isolated");
    segment.external = table
        .flag(report, "external")
        .is_some_and(|flag| flag.value);
    segment.description = table.prose(report, "description");
    segment.prefixes = read_prefixes(report, &table, segment.external, entry);
    segment.routes = prefix_list(report, &table, "routes");
    if !segment.external && table.get("routes").is_some() {
        let message = "`routes` on a segment that is not external";
        let problem = Problem::at(&kinds::CONFLICTING_KEYS, table.key_span("routes"), message);
        report.push(problem.help(
            "`routes` lists private networks that an external segment routes: add `external = true`, or give the \
             route to a gateway or router",
        ));
    }
    segment.default_gateway = addresses(report, &table, "default_gateway");
    segment
}

/// A list of plain addresses, each one that a device can have.
pub(super) fn addresses(
    report: &mut ProblemReport,
    table: &Table<'_>,
    key: &str,
) -> Vec<Spanned<std::net::IpAddr>> {
    let mut list = Vec::new();
    for text in table.strings(report, key).unwrap_or_default() {
        match literal::address(text.value) {
            Ok(address) => list.push(Spanned::new(address, text.span)),
            Err(complaint) => report.push(complaint.at(text.span)),
        }
    }
    list
}

fn read_prefixes(
    report: &mut ProblemReport,
    table: &Table<'_>,
    external: bool,
    entry: &Entry<'_>,
) -> Vec<Spanned<Prefix>> {
    let texts = table.strings_or_none(report, "prefixes");
    if texts.is_empty()
        && !external
        && table
            .get("prefixes")
            .is_none_or(|value| value.list().is_some_and(|list| list.is_empty()))
    {
        let message = format!("the segment `{}` has no prefixes", shown(entry.name.value));
        let problem = Problem::at(&kinds::MISSING_KEY, table.key_span("prefixes"), message);
        report.push(
            problem.help(
                "add `prefixes = [\"192.0.2.0/24\"]`; only an external segment may go without",
            ),
        );
    }
    prefixes_of(report, texts)
}

fn prefix_list(report: &mut ProblemReport, table: &Table<'_>, key: &str) -> Vec<Spanned<Prefix>> {
    let texts = table.strings(report, key).unwrap_or_default();
    prefixes_of(report, texts)
}

fn prefixes_of(report: &mut ProblemReport, texts: Vec<Spanned<&str>>) -> Vec<Spanned<Prefix>> {
    let mut prefixes = Vec::new();
    for text in texts {
        match literal::prefix(text.value) {
            Ok(prefix) => prefixes.push(Spanned::new(prefix, text.span)),
            Err(complaint) => {
                // With host bits it is still clear which addresses are meant: no further mistake follows.
                let meant = text.value.parse().ok().map(Prefix::truncated);
                prefixes.extend(meant.map(|prefix| Spanned::new(prefix, text.span)));
                report.push(complaint.at(text.span));
            }
        }
    }
    prefixes
}
