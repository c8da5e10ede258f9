//! What opens: a pair with its flows, a path, a finding, a file, a port, a certificate.

use boundwalk_analysis::{
    By, Cabling, Endpoint, Question, ServiceLabels, Worksheet, find_party, notes, origin_name, path,
};
use boundwalk_forwarding::Packet;
use boundwalk_forwarding::layer2::Fabric;
use boundwalk_model::{Family, SwitchId};
use boundwalk_render::{
    Chain, Document, DocumentLine, Isolated, Opens, Tone, escape_control, finding_text,
    fixed_codes, flows_document, isolation_document, labelled, port_facts, problem_text,
    used_signs,
};

use super::super::matrix::{opened_zone, pair_flow};
use super::super::site::Broken;
use super::data::{Data, Grid};
use super::view::{FilePlace, Look, Target, View, ViewLine};

/// What opens a target; `None` where it is no more.
pub(super) fn open(data: &Data, grid: &Grid, target: &Target, columns: usize) -> Option<View> {
    // The last two are for the sign of what opens.
    let columns = columns.saturating_sub(2).max(40);
    match target {
        Target::Cell { from, to } => cell(data, grid, (from, to), columns),
        Target::Packet(packet) => way_of(data, packet),
        Target::Finding(message) => finding(data, message, columns),
        Target::File(place) => file(data, place),
        Target::Port(switch, port) => one_port(data, switch, port, columns),
        Target::Claim(segment) => claim(data, segment, columns),
        Target::Way(from, to) => round(data, from, to),
        Target::Problems => None,
        Target::Help => Some(help(data, grid, columns)),
    }
}

/// Flows from one to the other; a zone is opened into its segments.
fn cell(data: &Data, grid: &Grid, (from, to): (&str, &str), columns: usize) -> Option<View> {
    let site = &data.opened.site;
    let network = data.opened.network();
    let side = |name: &str, zone: bool| {
        let mut parties = find_party(site, name).into_iter();
        parties.find(|party| match party {
            Endpoint::Zone(_) => zone,
            Endpoint::Segment(_) => !zone,
            Endpoint::Device(_) => true,
            Endpoint::Host(_) | Endpoint::Unclaimed(..) => false,
        })
    };
    let zone = grid.sheet.by == "zone";
    let (from_party, to_party) = (side(from, zone)?, side(to, zone)?);
    let mut lines = Vec::new();
    for family in Family::ALL {
        let question = Question::all(By::Segment, family, false);
        let naming = ServiceLabels::new(&network, family);
        for from in opened_zone(site, from_party) {
            for to in opened_zone(site, to_party) {
                let pair = pair_flow(&network, &question, (from, to));
                if !pair.flows.is_empty() || !pair.complete {
                    let document = flows_document(site, &data.opened.sources, &[(&naming, &pair)]);
                    lines.extend(lines_of(data, &document, columns));
                    lines.push(ViewLine::default());
                }
            }
        }
    }
    if lines.is_empty() && from != to {
        lines.push(ViewLine::new("Nothing passes."));
    }
    if from == to {
        let inside = "Inside one segment no gateway stands between: no rule decides what passes.";
        lines.push(ViewLine::new(inside));
    }
    Some(View::new(
        format!("{} to {}", escape_control(from), escape_control(to)),
        lines,
    ))
}

/// The lines of an answer. What one of them names opens: a place where it stands, a packet its way.
fn lines_of(data: &Data, document: &Document<'_>, columns: usize) -> Vec<ViewLine> {
    let one = |line: DocumentLine| {
        let look = match line.tone {
            Tone::Plain => Look::Plain,
            Tone::Strong => Look::Strong,
            Tone::Faint => Look::Faint,
        };
        let mut shown = ViewLine::looking(line.text, look);
        match line.opens {
            Some(Opens::Place(span)) => shown.place = data.place(span),
            Some(Opens::Packet(packet)) => shown.opens = Some(Target::Packet(packet)),
            None => {}
        }
        if let Some(place) = &shown.place {
            shown.opens = Some(Target::File(place.clone()));
        }
        shown
    };
    document.lines(columns).into_iter().map(one).collect()
}

/// The way of a packet, stop by stop.
fn way_of(data: &Data, packet: &Packet) -> Option<View> {
    let network = data.opened.network();
    let result = path(&network, None, packet).ok()?;
    let chain = Chain::path(&network, &data.opened.sources, &result);
    Some(View::new(format!("Path of {packet}"), steps(&chain)))
}

/// A way round the gateway, stop by stop.
fn round(data: &Data, from: &str, to: &str) -> Option<View> {
    let site = &data.opened.site;
    let network = data.opened.network();
    let name = |origin| origin_name(site, &network.fabric, origin);
    let mut ways = data.ways.iter();
    let way = ways.find(|way| name(way.from) == from && name(way.to) == to)?;
    let chain = Chain::bypass(&network, way, Vec::new());
    let mut lines = steps(&chain);
    if let Some(setting) = way.opened_by {
        let place = data.place(setting.place(site));
        let mut opens = |text: String| {
            let target = place.clone().map(Target::File);
            let line = ViewLine::new(escape_control(&text)).at(place.clone());
            lines.push(ViewLine {
                opens: target,
                ..line
            });
        };
        opens(format!("opened by: {}", setting.fact(site)));
        opens(format!("to close it: {}", setting.remedy(site)));
    }
    Some(View::new(escape_control(&chain.title), lines))
}

/// Stops with what lies between them; the cursor steps along.
fn steps(chain: &Chain<'_>) -> Vec<ViewLine> {
    let mut lines = Vec::new();
    for (number, stop) in chain.stops.iter().enumerate() {
        let what = if stop.what.is_empty() {
            String::new()
        } else {
            format!(" ({})", stop.what)
        };
        let title = format!("{}. {}{what}", number + 1, stop.name);
        lines.push(ViewLine {
            stop: true,
            ..ViewLine::looking(escape_control(&title), Look::Strong)
        });
        for text in &stop.lines {
            lines.push(ViewLine::new(format!("     {}", escape_control(text))));
        }
        if let Some(hop) = chain.hops.get(number) {
            let end = |word: &str, port: &str| {
                if port.is_empty() {
                    String::new()
                } else {
                    format!(", {word} {port}")
                }
            };
            let ports = end("out by", &hop.from) + &end("in by", &hop.to);
            lines.push(ViewLine::looking(
                format!(
                    "  |  {}{}",
                    escape_control(&hop.tags),
                    escape_control(&ports)
                ),
                Look::Faint,
            ));
        }
    }
    lines.push(ViewLine::default());
    lines.push(ViewLine::looking(escape_control(&chain.end), Look::Strong));
    lines
}

/// A line that opens a place.
fn go_to(place: FilePlace) -> ViewLine {
    let text = format!("go to {}:{}", escape_control(&place.file), place.line);
    ViewLine::opening(text, Target::File(place.clone())).at(Some(place))
}

/// Adds a text beside a label.
fn beside(lines: &mut Vec<ViewLine>, columns: usize, indent: usize, label: &str, text: &str) {
    let mut out = String::new();
    labelled(&mut out, columns - 2, indent, label, text);
    lines.extend(out.lines().map(ViewLine::new));
}

fn finding(data: &Data, message: &str, columns: usize) -> Option<View> {
    let mut findings = data.findings.iter();
    let finding = findings.find(|finding| finding.message == message)?;
    let mut lines = Vec::new();
    let mut known: Vec<FilePlace> = finding
        .span
        .iter()
        .copied()
        .chain(finding.notes.iter().map(|note| note.span))
        .filter_map(|span| data.place(span))
        .collect();
    known.dedup();
    lines.extend(known.into_iter().map(go_to));
    lines.push(ViewLine::default());
    let text = finding_text(&data.opened.sources, finding, false, columns);
    lines.extend(text.lines().map(ViewLine::new));
    for (title, text) in [
        ("Why it matters: ", finding.check.why),
        ("When it is fine: ", finding.check.fine_when),
    ] {
        beside(&mut lines, columns, 0, "", &format!("{title}{text}"));
        lines.push(ViewLine::default());
    }
    let title = format!("{} {}", finding.severity().word(), finding.check.name);
    Some(View::new(title, lines))
}

/// A file with its cursor at a line.
fn file(data: &Data, place: &FilePlace) -> Option<View> {
    let texts = data.text(&place.file)?;
    let numbered = texts.iter().enumerate().map(|(at, text)| {
        let number = at as u32 + 1;
        let mark = if number == place.line { '>' } else { ' ' };
        let look = if number == place.line {
            Look::Strong
        } else {
            Look::Plain
        };
        let own = FilePlace {
            file: place.file.clone(),
            line: number,
        };
        ViewLine::looking(format!("{mark}{number:>5}  {text}"), look).at(Some(own))
    });
    let mut view = View::new(escape_control(&place.file), numbered.collect());
    view.cursor = (place.line as usize).saturating_sub(1);
    view.top = view.cursor.saturating_sub(6);
    Some(view)
}

fn one_port(data: &Data, switch: &str, port: &str, columns: usize) -> Option<View> {
    let site = &data.opened.site;
    let number = site
        .switches
        .iter()
        .position(|one| one.name.value == switch)?;
    let fabric = Fabric::new(site);
    let cabling = Cabling::new(site, &fabric);
    let sheet = Worksheet::new(site, &cabling, SwitchId(number));
    let line = sheet.lines.iter().find(|line| line.name == port)?;
    let own = &site.switches[number];
    let mut ports = own.ports.iter();
    let place = ports
        .find(|one| one.name.value == port)
        .map(|one| one.name.span)
        .or_else(|| {
            let mut lags = own.lags.iter();
            lags.find(|lag| lag.name.value == port).map(|lag| lag.place)
        });
    let place = place.and_then(|span| data.place(span));
    let mut lines = Vec::new();
    if let Some(place) = place {
        lines.push(go_to(place));
        lines.push(ViewLine::default());
    }
    for (title, text) in port_facts(site, &sheet, line) {
        beside(&mut lines, columns, 0, &format!("{title:<16}  "), &text);
    }
    Some(View::new(
        format!("{}:{}", escape_control(switch), escape_control(port)),
        lines,
    ))
}

fn claim(data: &Data, segment: &str, columns: usize) -> Option<View> {
    let site = &data.opened.site;
    let mut claims = data.claims.iter();
    let (id, verdict) = claims.find(|(id, _)| site.segment(*id).name.value == segment)?;
    let network = data.opened.network();
    let shown = Isolated {
        segment: *id,
        verdict,
        distance: None,
    };
    let document = isolation_document(&network, &data.opened.sources, &[shown], &[], false);
    Some(View::new(
        format!("Isolation of {}", escape_control(segment)),
        lines_of(data, &document, columns),
    ))
}

/// Why a file does not load.
pub(super) fn problems(broken: &Broken, columns: usize) -> View {
    let mut lines = Vec::new();
    for problem in &broken.problems {
        let text = problem_text(&broken.sources, problem, false, columns.max(60));
        lines.extend(text.lines().map(ViewLine::new));
    }
    View::new("The file does not load", lines)
}

const KEYS: [(&str, &str); 12] = [
    (
        "arrows, h j k l",
        "move; PageUp, PageDown, Home, End: further",
    ),
    ("Enter", "open what the cursor is at"),
    ("Esc, Backspace", "back"),
    (
        "1 to 5, Tab",
        "matrix, findings, ports, isolation, ways round the gateway",
    ),
    ("z", "matrix by zone, and by segment again"),
    ("/", "find; n: the next one"),
    ("e", "open the place in $VISUAL or $EDITOR"),
    ("p", "what is wrong with a file that does not load"),
    ("r", "read the site again"),
    ("?", "this page"),
    ("q, Ctrl-C", "quit"),
    ("", "A save of the site is noticed by itself."),
];

fn help(data: &Data, grid: &Grid, columns: usize) -> View {
    let mut lines = vec![ViewLine::looking("Keys", Look::Strong)];
    for (keys, text) in KEYS {
        lines.push(ViewLine::new(format!("  {keys:<16}  {text}")));
    }
    lines.push(ViewLine::default());
    let title = "What passes, from the row to the column";
    lines.push(ViewLine::looking(title, Look::Strong));
    let mut explain =
        |code: &str, text: &str| beside(&mut lines, columns, 2, &format!("{code:<4} "), text);
    for (code, text) in fixed_codes(&grid.sheet) {
        explain(code, &text);
    }
    explain(
        "a, A",
        "a capital between all addresses, small between some",
    );
    for (code, text) in grid.key.lines() {
        explain(&code, &text);
    }
    for (sign, text) in used_signs(&grid.codes) {
        explain(&sign.to_string(), text);
    }
    lines.push(ViewLine::default());
    lines.push(ViewLine::looking("What this rests on", Look::Strong));
    let network = data.opened.network();
    for note in notes(&network) {
        beside(&mut lines, columns, 2, "- ", &note);
    }
    View::new("Help", lines)
}
