//! The first pass: what there is in all files, and what it is called.

use toml::de::DeTable;

use boundwalk_diagnostic::{FileId, Problem, Span, Spanned};
use boundwalk_model::{HostId, Protocol, RouterId, SwitchId};

use super::context::{Context, Device};
use super::keys;
use super::kinds;
use super::literal;
use super::quote::shown;
use super::reader::{Entry, Table, Value};
use super::report::ProblemReport;
use super::text::{check_name, check_title};

/// The parts of all files in order. Things whose name is taken are left out (and reported), so that the
/// number of each is its number in the site.
#[derive(Default)]
pub(super) struct NameIndex<'a> {
    pub zones: Vec<Entry<'a>>,
    pub segments: Vec<Entry<'a>>,
    pub services: Vec<Entry<'a>>,
    pub groups: Vec<Entry<'a>>,
    pub gateways: Vec<Entry<'a>>,
    pub routers: Vec<Entry<'a>>,
    pub hosts: Vec<Entry<'a>>,
    pub switches: Vec<Entry<'a>>,
    pub links: Vec<Value<'a>>,
    pub needs: Vec<Value<'a>>,
    pub expectations: Vec<Value<'a>>,
    pub accepted: Vec<Value<'a>>,
    pub baselines: Vec<Entry<'a>>,
}

/// Goes through the top level of all files.
pub(super) fn read<'a>(
    report: ProblemReport,
    roots: &'a [(FileId, DeTable<'a>)],
) -> (Context<'a>, NameIndex<'a>) {
    let mut cx = Context::new(report);
    let mut found = NameIndex::default();
    let mut site_place = None;
    for (file, root) in roots {
        let table = Table::root(&mut cx.report, *file, root, &keys::ROOT);
        read_site(&mut cx, &table, &mut site_place);
        let report = &mut cx.report;
        found.zones.extend(table.entries(report, "zones"));
        found.segments.extend(table.entries(report, "segments"));
        found.services.extend(table.entries(report, "services"));
        found.groups.extend(table.entries(report, "addresses"));
        found.gateways.extend(table.entries(report, "gateways"));
        found.routers.extend(table.entries(report, "routers"));
        found.hosts.extend(table.entries(report, "hosts"));
        found.switches.extend(table.entries(report, "switches"));
        found.links.extend(table.items(report, "links"));
        found.needs.extend(table.items(report, "needs"));
        found
            .expectations
            .extend(table.items(report, "expectations"));
        found.accepted.extend(table.items(report, "accepted"));
        found.baselines.extend(table.entries(report, "baselines"));
    }
    if found.segments.is_empty() {
        cx.report(no_segments(roots));
    }
    register(&mut cx, &mut found);
    (cx, found)
}

fn no_segments(roots: &[(FileId, DeTable<'_>)]) -> Problem {
    let message = "no segment is described";
    let problem = match roots.first() {
        Some((file, _)) => Problem::at(&kinds::NO_SEGMENTS, Span::new(*file, 0, 0), message),
        None => Problem::general(&kinds::NO_SEGMENTS, message),
    };
    problem.help(
        "a site needs at least one segment: add `[segments.office]` with its zone and prefixes; `boundwalk new` writes a site to start from",
    )
}

fn read_site<'a>(cx: &mut Context<'a>, root: &Table<'a>, place: &mut Option<Span>) {
    let Some(value) = root.get("site") else {
        return;
    };
    let here = root.key_span("site");
    if let Some(first) = *place {
        let problem = Problem::at(&kinds::DUPLICATE_NAME, here, "the site is described twice");
        cx.report(
            problem
                .note(first, "first here")
                .help("keep one `[site]` of all files"),
        );
        return;
    }
    *place = Some(here);
    if let Some(table) = Table::open(&mut cx.report, value, &keys::SITE) {
        if let Some(name) = table.text(&mut cx.report, "name") {
            if !name.value.is_empty() {
                check_title(&mut cx.report, "the site", name);
            }
            cx.site.name = name.value.to_owned();
        }
        cx.site.description = table.prose(&mut cx.report, "description");
        cx.site.review_months = review_months(&mut cx.report, &table);
    }
}

/// After how many months a rule must be looked at again.
fn review_months(report: &mut ProblemReport, table: &Table<'_>) -> Option<Spanned<u8>> {
    let months = table.integer(report, "review_months")?;
    match u8::try_from(months.value)
        .ok()
        .filter(|months| (1..=120).contains(months))
    {
        Some(value) => Some(Spanned {
            value,
            span: months.span,
        }),
        None => {
            let message = format!("{} months", months.value);
            let problem = Problem::at(&kinds::BAD_NUMBER, months.span, message);
            report.push(problem.help("write 1 to 120 months; 6 is usual (PCI DSS 1.2.7)"));
            None
        }
    }
}

fn register<'a>(cx: &mut Context<'a>, found: &mut NameIndex<'a>) {
    let report = &mut cx.report;
    found.zones.retain(|entry| {
        check_party_name(report, "a zone", entry.name);
        cx.zones.add(report, entry.name).is_some()
    });
    found.segments.retain(|entry| {
        check_party_name(report, "a segment", entry.name);
        check_address_name(report, "a segment", entry.name);
        cx.segments.add(report, entry.name).is_some()
    });
    found.groups.retain(|entry| {
        check_name(report, "an address group", entry.name);
        check_address_name(report, "an address group", entry.name);
        cx.groups.add(report, entry.name).is_some()
    });
    found.services.retain(|entry| {
        check_service_name(report, entry.name);
        cx.services.add(report, entry.name).is_some()
    });
    cx.group_states
        .resize_with(cx.groups.len(), Default::default);
    cx.service_states
        .resize_with(cx.services.len(), Default::default);
    register_devices(cx, found);
}

fn register_devices<'a>(cx: &mut Context<'a>, found: &mut NameIndex<'a>) {
    let report = &mut cx.report;
    let mut routers = 0;
    for list in [&mut found.gateways, &mut found.routers] {
        list.retain(|entry| {
            check_name(report, "a gateway or router", entry.name);
            let new = cx.devices.add(report, entry.name).is_some();
            if new {
                cx.kinds_of_devices.push(Device::Router(RouterId(routers)));
                routers += 1;
            }
            new
        });
    }
    let mut hosts = 0;
    found.hosts.retain(|entry| {
        check_name(report, "a host", entry.name);
        check_address_name(report, "a host", entry.name);
        let new = cx.devices.add(report, entry.name).is_some();
        if new {
            cx.kinds_of_devices.push(Device::Host(HostId(hosts)));
            hosts += 1;
        }
        new
    });
    let mut switches = 0;
    found.switches.retain(|entry| {
        check_name(report, "a switch", entry.name);
        let new = cx.devices.add(report, entry.name).is_some();
        if new {
            cx.kinds_of_devices.push(Device::Switch(SwitchId(switches)));
            switches += 1;
        }
        new
    });
}

/// "gateway" and "any" mean something where zones and segments are named.
fn check_party_name(report: &mut ProblemReport, what: &str, name: Spanned<&str>) {
    if check_name(report, what, name) && matches!(name.value, "gateway" | "any") {
        report.push(reserved(
            what,
            name,
            "it means something of its own in rules",
        ));
    }
}

/// A name that reads as an address could never be told from one.
fn check_address_name(report: &mut ProblemReport, what: &str, name: Spanned<&str>) {
    if name.value == "any" && what != "a segment" {
        report.push(reserved(what, name, "it means every address"));
    } else if literal::is_address_like(name.value) {
        report.push(reserved(what, name, "it reads as an address"));
    }
}

fn check_service_name(report: &mut ProblemReport, name: Spanned<&str>) {
    if !check_name(report, "a service", name) {
        return;
    }
    if name.value == "any" {
        report.push(reserved("a service", name, "it means every packet"));
    } else if name.value.chars().all(|c| c.is_ascii_digit() || c == '-') {
        report.push(reserved("a service", name, "it reads as ports"));
    } else if Protocol::named(name.value).is_some() || name.value == "protocol" {
        report.push(reserved("a service", name, "it is the name of a protocol"));
    }
}

fn reserved(what: &str, name: Spanned<&str>, why: &str) -> Problem {
    let message = format!("{what} can't be called `{}`: {why}", shown(name.value));
    let problem = Problem::at(&kinds::RESERVED_NAME, name.span, message).label("reserved");
    problem.help(format!(
        "choose another name, as in `{}-1`",
        shown(name.value)
    ))
}
