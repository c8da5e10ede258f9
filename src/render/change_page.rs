//! A change as a page to attach to its ticket.

use boundwalk_analysis::change::Spot;
use boundwalk_forwarding::Packet;
use boundwalk_model::{Protocol, TCP, UDP};

use super::change::{ChangeKind, ChangeShown, Stance, intent_words};
use super::change_text::edit_words;
use super::document::{Document, Mark, Rank, Table, Tone};

/// Hosts that are named.
const MOST_HOSTS: usize = 20;
/// Tests that are listed each way.
const MOST_TESTS: usize = 12;

/// A change as a page: what opens, what closes, who is affected, risks, cautions, how to test, how to go back.
pub fn change_page<'a>(shown: &'a ChangeShown<'_>) -> Document<'a> {
    let mut out = Document::new("Change", &shown.site(1).name);
    let [old, new] = &shown.names;
    out.plain(0, format!("From {old} to {new}."));
    let mut summary = shown.summary();
    summary[..1].make_ascii_uppercase();
    out.toned(Tone::Strong, 0, Mark::None, format!("{summary}."));
    for kind in ChangeKind::BOTH {
        flows(&mut out, shown, kind);
    }
    let nobody = "Nobody, as far as the model knows.";
    chapter(&mut out, "Who is affected", affected(shown), nobody);
    let none = "None that the model shows.";
    chapter(&mut out, "Risks to weigh", shown.risks(), none);
    let edits = shown.edits.iter().map(|edit| edit_words(shown, edit));
    let none = "No setting differs.";
    chapter(&mut out, "What was edited", edits.collect(), none);
    tests(&mut out, shown);
    back(&mut out, shown);
    out.notes(shown.notes);
    out
}

/// What opens, or closes: as configured, beyond that for a hostile device, ways round, isolation.
fn flows(out: &mut Document<'_>, shown: &ChangeShown<'_>, kind: ChangeKind) {
    out.heading(Rank::Answer, format!("What {}", kind.word()));
    let before = out.len();
    pairs(out, shown, kind, Stance::Configured);
    if shown.pairs(kind, Stance::Hostile).next().is_some() {
        out.plain(0, "For a hostile device, beyond that:");
        pairs(out, shown, kind, Stance::Hostile);
    }
    let ways = kind.ways(shown.ways).iter();
    out.bullets(ways.map(|way| {
        let by = shown.opened_by(kind, way);
        let by = by.map_or(String::new(), |setting| format!(", by: {setting}"));
        format!("way round the gateway, {}{by}", shown.way(way))
    }));
    let isolated = shown.isolated(kind);
    out.bullets(isolated.map(|one| format!("isolation of {}", shown.isolation_words(one))));
    for stance in Stance::BOTH {
        let unknown = shown.unknown_pairs(stance);
        out.bullets(unknown.map(|pair| format!("{}: unknown, a limit was met", shown.pair(pair))));
    }
    if out.len() == before {
        out.plain(0, "Nothing.");
    }
}

fn pairs(out: &mut Document<'_>, shown: &ChangeShown<'_>, kind: ChangeKind, stance: Stance) {
    let (here, there) = match kind {
        ChangeKind::Opens => ("passes by", "before"),
        ChangeKind::Closes => ("passed by", "now"),
    };
    let mut rows = Vec::new();
    for pair in shown.pairs(kind, stance) {
        for changed in &shown.flows(kind, pair) {
            let words = shown.flow(kind, stance, pair, changed);
            rows.push(vec![
                shown.pair(pair),
                words.services,
                words.source,
                words.destination,
                words.passes_by,
                words.stopped,
            ]);
        }
    }
    if !rows.is_empty() {
        let titles = [
            "from -> to",
            "services",
            "source",
            "destination",
            here,
            there,
        ];
        out.table(Table::of_texts(&titles, rows));
    }
}

fn chapter(out: &mut Document<'_>, title: &str, lines: Vec<String>, none: &str) {
    out.heading(Rank::Answer, title);
    if lines.is_empty() {
        out.plain(0, none);
    }
    out.bullets(lines);
}

/// Segments at either end of what opens or closes, with the hosts there that the packets name, and needs and
/// expectations that stand otherwise.
fn affected(shown: &ChangeShown<'_>) -> Vec<String> {
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
        let more = match more {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        lines.push(format!("hosts: {named}{more}"));
    }
    lines.extend(shown.intent.iter().map(intent_words));
    lines
}

fn tests(out: &mut Document<'_>, shown: &ChangeShown<'_>) {
    out.heading(Rank::Answer, "How to test");
    out.plain(0, BEFORE_TESTS);
    let before = out.len();
    for (kind, expected) in [
        (ChangeKind::Opens, "now arrives"),
        (ChangeKind::Closes, "no longer arrives"),
    ] {
        let flows = shown
            .pairs(kind, Stance::Configured)
            .flat_map(|pair| kind.of(pair).iter().map(move |one| (pair, one)));
        for (pair, changed) in flows.take(MOST_TESTS) {
            let Some(packet) = changed.packet else {
                continue;
            };
            let (from, source) = (shown.spot(pair.from), packet.source);
            out.task(
                format!("from {from}, as {source}:"),
                Some(command(&packet)),
                expected,
            );
        }
    }
    if out.len() == before {
        out.task(NO_TEST.to_owned(), None, "");
    }
}

const BEFORE_TESTS: &str = "Only on a network that you may test, at a time that is agreed. Where nobody listens at \
    the target, start a listener there first.";
const MIRROR: &str =
    "This shows the mirror image of this page; after going back it must show no effect:";
const NO_TEST: &str =
    "nothing opens or closes for devices that do as configured: repeat any test that passed before";

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

fn back(out: &mut Document<'_>, shown: &ChangeShown<'_>) {
    let [old, new] = &shown.names;
    out.heading(Rank::Answer, "How to go back");
    out.plain(
        0,
        format!("Load {old} again on the devices that the edits above name, in reverse order."),
    );
    out.own(0, MIRROR);
    out.command(format!("boundwalk change {new} {old}"));
}
