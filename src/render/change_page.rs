//! A change as a page to attach to its ticket.

use std::fmt::Write;

use boundwalk_analysis::CAUTION;
use boundwalk_analysis::change::Spot;
use boundwalk_forwarding::Packet;
use boundwalk_model::{Protocol, TCP, UDP};

use super::change::{ChangeKind, ChangeShown, Stance, edit_kind, intent_words};
use super::markdown_text::escape;

/// Hosts that are named.
const MOST_HOSTS: usize = 20;
/// Tests that are listed each way.
const MOST_TESTS: usize = 12;

/// A change as a Markdown page: what opens, what closes, who is affected, risks, cautions, how to test, how to go back.
pub fn change_markdown(shown: &ChangeShown<'_>) -> String {
    let mut out = String::new();
    let site = &shown.networks[1].site.name;
    let _ = match site.is_empty() {
        true => writeln!(out, "# Change\n"),
        false => writeln!(out, "# Change: {}\n", escape(site)),
    };
    let [old, new] = &shown.names;
    let _ = writeln!(out, "From {} to {}.\n", code(old), code(new));
    let mut summary = shown.summary();
    summary[..1].make_ascii_uppercase();
    let _ = writeln!(out, "**{}.**\n", escape(&summary));
    for course in ChangeKind::BOTH {
        flows(&mut out, shown, course);
    }
    affected(&mut out, shown);
    chapter(
        &mut out,
        "Risks to weigh",
        shown.risks(),
        "None that the model shows.",
    );
    edits(&mut out, shown);
    tests(&mut out, shown);
    back(&mut out, shown);
    let _ = writeln!(out, "## Cautions\n");
    for note in shown.notes {
        let _ = writeln!(out, "- {}", escape(note));
    }
    if !shown.notes.iter().any(|note| note == CAUTION) {
        let _ = writeln!(out, "- {}", escape(CAUTION));
    }
    out
}

/// A text as code, whatever it holds.
fn code(text: &str) -> String {
    format!("`{}`", super::text::escape_control(text).replace('`', "'"))
}

/// What opens, or closes, in tables: as configured, beyond that for a hostile device, ways round, isolation.
fn flows(out: &mut String, shown: &ChangeShown<'_>, course: ChangeKind) {
    let _ = writeln!(out, "## What {}\n", course.word());
    let before = out.len();
    pairs(out, shown, course, Stance::Configured);
    if shown.pairs(course, Stance::Hostile).next().is_some() {
        let _ = writeln!(out, "For a hostile device, beyond that:\n");
        pairs(out, shown, course, Stance::Hostile);
    }
    let mut lines: Vec<String> = Vec::new();
    for way in course.ways(shown.ways) {
        let by = shown.opened_by(course, way);
        let by = by.map_or(String::new(), |setting| format!(", by: {setting}"));
        lines.push(format!("way round the gateway, {}{by}", shown.way(way)));
    }
    let isolated = shown.isolated(course);
    lines.extend(isolated.map(|one| format!("isolation of {}", shown.isolation_words(one))));
    for stance in Stance::BOTH {
        let unknown = shown.unknown_pairs(stance);
        lines.extend(unknown.map(|pair| format!("{}: unknown, a limit was met", shown.pair(pair))));
    }
    for line in &lines {
        let _ = writeln!(out, "- {}", escape(line));
    }
    if out.len() == before {
        let _ = writeln!(out, "Nothing.");
    }
    if !lines.is_empty() || out.len() == before || !out.ends_with("\n\n") {
        out.push('\n');
    }
}

fn pairs(out: &mut String, shown: &ChangeShown<'_>, course: ChangeKind, stance: Stance) {
    let (here, there) = match course {
        ChangeKind::Opens => ("passes by", "before"),
        ChangeKind::Closes => ("passed by", "now"),
    };
    let mut any = false;
    for pair in shown.pairs(course, stance) {
        if !any {
            let _ = writeln!(
                out,
                "| from -> to | services | source | destination | {here} | {there} |"
            );
            let _ = writeln!(out, "|---|---|---|---|---|---|");
        }
        any = true;
        for changed in &shown.flows(course, pair) {
            let words = shown.flow(course, stance, pair, changed);
            let name = shown.pair(pair);
            let cells = [
                name.as_str(),
                &words.services,
                &words.source,
                &words.destination,
                &words.passes_by,
                &words.stopped,
            ];
            let cells = cells.map(escape);
            let _ = writeln!(out, "| {} |", cells.join(" | "));
        }
    }
    if any {
        out.push('\n');
    }
}

fn chapter(out: &mut String, title: &str, lines: Vec<String>, none: &str) {
    let _ = writeln!(out, "## {title}\n");
    if lines.is_empty() {
        let _ = writeln!(out, "{none}");
    }
    for line in lines {
        let _ = writeln!(out, "- {}", escape(&line));
    }
    out.push('\n');
}

/// Segments at either end of what opens or closes, with the hosts there that the packets name, and needs and
/// expectations that stand otherwise.
fn affected(out: &mut String, shown: &ChangeShown<'_>) {
    let mut lines: Vec<String> = Vec::new();
    for pair in shown.reach.pairs.iter().chain(&shown.reach.hostile) {
        for spot in [pair.from, pair.to] {
            let name = match spot {
                Spot::Segment(_) => format!("segment {}", shown.spot(spot)),
                Spot::Unclaimed(_) => shown.spot(spot),
                Spot::Router(_) => continue,
            };
            if !lines.contains(&name) {
                lines.push(name);
            }
        }
    }
    let hosts = shown.hosts_affected();
    if !hosts.is_empty() {
        let more = hosts.len().saturating_sub(MOST_HOSTS);
        let named = hosts[..hosts.len() - more].join(", ");
        let more = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        lines.push(format!("hosts: {named}{more}"));
    }
    lines.extend(shown.intent.iter().map(intent_words));
    chapter(
        out,
        "Who is affected",
        lines,
        "Nobody, as far as the model knows.",
    );
}

fn edits(out: &mut String, shown: &ChangeShown<'_>) {
    let lines = shown.edits.iter().map(|edit| {
        let effect = match shown.has_effect(edit) {
            Some(false) => ", no effect on who reaches what",
            _ => "",
        };
        let how = edit_kind(&edit.kind);
        format!("{} {how}{effect} ({})", edit.what, shown.edit_place(edit))
    });
    chapter(
        out,
        "What was edited",
        lines.collect(),
        "No setting differs.",
    );
}

fn tests(out: &mut String, shown: &ChangeShown<'_>) {
    let _ = writeln!(out, "## How to test\n");
    let _ = writeln!(
        out,
        "Only on a network that you may test, at a time that is agreed. Where nobody listens at the target, start a \
         listener there first.\n"
    );
    let mut any = false;
    for (course, expected) in [
        (ChangeKind::Opens, "now arrives"),
        (ChangeKind::Closes, "no longer arrives"),
    ] {
        let flows = shown
            .pairs(course, Stance::Configured)
            .flat_map(|pair| course.of(pair).iter().map(move |one| (pair, one)));
        for (pair, changed) in flows.take(MOST_TESTS) {
            let Some(packet) = changed.packet else {
                continue;
            };
            any = true;
            let from = escape(&shown.spot(pair.from));
            let _ = writeln!(
                out,
                "- [ ] from {from}, as {}: `{}` {expected}",
                packet.source,
                command(&packet)
            );
        }
    }
    if !any {
        let _ = writeln!(
            out,
            "- [ ] nothing opens or closes for devices that do as configured: repeat any test that passed before"
        );
    }
    out.push('\n');
}

/// A command that sends such a packet.
fn command(packet: &Packet) -> String {
    let (to, port) = (packet.destination, packet.destination_port);
    match packet.protocol {
        TCP => format!("nc -z -v -w 2 {to} {port}"),
        UDP => format!("echo test | nc -u -w 2 {to} {port}"),
        Protocol(1 | 58) if matches!(port >> 8, 8 | 128) => format!("ping -c 1 -W 2 {to}"),
        other => format!("a packet of {other} to {to}"),
    }
}

fn back(out: &mut String, shown: &ChangeShown<'_>) {
    let [old, new] = &shown.names;
    let _ = writeln!(out, "## How to go back\n");
    let _ = writeln!(
        out,
        "Load {} again on the devices that the edits above name, in reverse order. `boundwalk change` from {} to {} \
         shows the mirror image of this page; after going back it must show no effect.\n",
        code(old),
        code(new),
        code(old)
    );
}
