//! A test plan as CSV, to be filled in and handed to `verify`, and as a page.

use boundwalk_analysis::party_name;
use boundwalk_analysis::probes::Probe;
use boundwalk_model::{Family, RouterId};

use super::csv::harmless;
use super::document::{Document, Holds, Rank, Table};
use super::probes::{functions, untouched};
use super::probes_words::{
    CAREFUL, HOW, ProbesShown, command, expectation, far_end, port, service,
};

const HEADER: [&str; 14] = [
    "probe",
    "family",
    "from",
    "source",
    "to",
    "destination",
    "protocol",
    "port",
    "expect",
    "rule",
    "gateway",
    "covers",
    "result",
    "remark",
];

/// A plan as CSV (RFC 4180), a line a probe; `result` and `remark` are empty.
pub fn probes_csv(shown: &ProbesShown<'_>) -> String {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    // Writing to memory can't fail.
    let _ = writer.write_record(HEADER);
    for probe in &shown.plan.probes {
        let record = record(shown, probe);
        let _ = writer.write_record(record.iter().map(|field| harmless(field)));
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

fn record(shown: &ProbesShown<'_>, probe: &Probe) -> [String; HEADER.len()] {
    let site = shown.network.site;
    let packet = &probe.packet;
    let deciders = &probe.predicted.deciders;
    let rule = |&(router, rule): &(RouterId, Option<usize>)| {
        let filter = site.router(router).filter();
        let rule = filter.and_then(|filter| filter.rules.get(rule?));
        rule.map_or("default".to_owned(), |rule| rule.name.value.clone())
    };
    let gateway = |(router, _): &(RouterId, Option<usize>)| site.router(*router).name.value.clone();
    [
        probe.number.to_string(),
        Family::of(packet.source).word().to_owned(),
        shown.name(probe.predicted.send_point).to_owned(),
        packet.source.to_string(),
        party_name(site, probe.to).into_owned(),
        packet.destination.to_string(),
        packet.protocol.to_string(),
        port(packet, probe.pinned),
        probe.predicted.expect.word().to_owned(),
        deciders.iter().map(rule).collect::<Vec<_>>().join("; "),
        deciders.iter().map(gateway).collect::<Vec<_>>().join("; "),
        shown.covers(probe).join("; "),
        String::new(),
        String::new(),
    ]
}

/// A plan as a page with a table for each place to stand.
pub fn probes_page<'a>(shown: &ProbesShown<'a>) -> Document<'a> {
    let mut out = Document::new("Test plan", &shown.network.site.name);
    out.summary(shown.size());
    [CAREFUL, HOW].iter().for_each(|text| out.plain(0, *text));
    let here = |one: &Probe, other: &Probe| one.predicted.send_point == other.predicted.send_point;
    for probes in shown.plan.probes.chunk_by(here) {
        let name = shown.name(probes[0].predicted.send_point);
        out.heading(Rank::Answer, format!("Stand in {name}"));
        let rows = probes.iter().map(|probe| row(shown, probe));
        out.table(Table::new(&PAGE_COLUMNS, rows.collect()));
    }
    listeners(&mut out, shown);
    untouched(&mut out, shown);
    out.notes(shown.notes);
    out
}

const PAGE_COLUMNS: [(&str, Holds); 8] = [
    ("probe", Holds::Texts),
    ("with", Holds::Texts),
    ("send", Holds::Texts),
    ("expect", Holds::Texts),
    ("command", Holds::Commands),
    ("shows", Holds::Texts),
    ("result", Holds::Texts),
    ("remark", Holds::Texts),
];

fn row(shown: &ProbesShown<'_>, probe: &Probe) -> Vec<String> {
    let packet = &probe.packet;
    let target = format!(
        "{} to {} ({})",
        service(packet, probe.pinned),
        packet.destination,
        shown.target(probe)
    );
    let mut expect = format!(
        "{}, {}",
        expectation(probe.predicted.expect),
        shown.reason(&probe.predicted)
    );
    let seen = far_end(probe);
    if seen != *packet {
        expect.push_str(&format!("; arrives as {seen}"));
    }
    vec![
        probe.number.to_string(),
        shown.sender(probe),
        target,
        expect,
        command(packet, probe.pinned),
        shown.covers(probe).join("; "),
        String::new(),
        String::new(),
    ]
}

fn listeners(out: &mut Document<'_>, shown: &ProbesShown<'_>) {
    let list = shown.listeners();
    if list.is_empty() {
        return;
    }
    out.heading(Rank::Answer, "At the far side");
    let columns = [("start", Holds::Commands), ("at", Holds::Texts)];
    let rows = list.into_iter().map(|(command, who)| vec![command, who]);
    out.table(Table::new(&columns, rows.collect()));
    functions(out, shown);
}
