//! A test plan as CSV, to be filled in and handed to `verify`, and as Markdown.

use std::fmt::Write;

use boundwalk_analysis::party_name;
use boundwalk_analysis::probes::{Probe, obligation_text, why_text};
use boundwalk_model::{Family, RouterId};

use super::csv::harmless;
use super::markdown_text::escape;
use super::probes_words::{
    CAREFUL, HOW, LISTENERS, ProbesShown, RAW, command, expectation, far_end, port, service,
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

/// A plan as Markdown, a table a place to stand.
pub fn probes_markdown(shown: &ProbesShown<'_>) -> String {
    let mut out = String::new();
    let site = &shown.network.site.name;
    let _ = match site.is_empty() {
        true => writeln!(out, "# Test plan\n"),
        false => writeln!(out, "# Test plan: {}\n", escape(site)),
    };
    let _ = writeln!(out, "{}.\n\n{CAREFUL}\n\n{HOW}", escape(&shown.size()));
    let mut place = None;
    for probe in &shown.plan.probes {
        let here = Some(probe.predicted.send_point);
        if place != here {
            place = here;
            let name = escape(shown.name(probe.predicted.send_point));
            let _ = writeln!(out, "\n## Stand in {name}\n");
            out.push_str("| probe | with | send | expect | command | shows | result | remark |\n");
            out.push_str("|---|---|---|---|---|---|---|---|\n");
        }
        row(&mut out, shown, probe);
    }
    listeners(&mut out, shown);
    untouched(&mut out, shown);
    out.push_str("\n## What was modelled and assumed\n\n");
    for note in shown.notes {
        let _ = writeln!(out, "- {}", escape(note));
    }
    out
}

fn row(out: &mut String, shown: &ProbesShown<'_>, probe: &Probe) {
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
    let command = command(packet, probe.pinned).replace('|', "\\|");
    let _ = writeln!(
        out,
        "| {} | {} | {} | {} | `{command}` | {} | | |",
        probe.number,
        escape(&shown.sender(probe)),
        escape(&target),
        escape(&expect),
        escape(&shown.covers(probe).join("; "))
    );
}

fn listeners(out: &mut String, shown: &ProbesShown<'_>) {
    let list = shown.listeners();
    if list.is_empty() {
        return;
    }
    out.push_str("\n## At the far side\n\n");
    for (command, who) in list {
        let _ = writeln!(out, "- `{command}` ({})", escape(&who));
    }
    let raw = if shown.raw() { RAW } else { "" };
    let _ = writeln!(out, "\n```sh\n{LISTENERS}{raw}```");
}

fn untouched(out: &mut String, shown: &ProbesShown<'_>) {
    if shown.plan.untouched.is_empty() {
        return;
    }
    out.push_str("\n## Touched by no probe\n\n");
    for one in &shown.plan.untouched {
        let what = obligation_text(shown.network, one.obligation);
        let _ = writeln!(out, "- {}: {}", escape(&what), escape(why_text(one.why)));
    }
}
