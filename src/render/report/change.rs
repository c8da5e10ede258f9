//! A change as a page: what opens and closes on the matrix, and all that a ticket asks for.

use std::fmt::Write;

use super::super::change::{
    ChangeKind, ChangeShown, Stance, edit_kind, intent_words, is_better, is_worse,
};
use super::super::legend::Legend;
use super::super::shape::Sheet;
use super::super::svg::xml;
use super::change_heat::heat;
use super::html::Html;
use super::summary::{Stands, capital, state};
use boundwalk_analysis::change::{PairChange, Trend};

/// A change as one HTML page. `matrix` is the one of the new version by segment, with its key and codes.
pub fn change_html(shown: &ChangeShown<'_>, matrix: (&Sheet, &Legend, &[Vec<String>])) -> String {
    let mut html = Html::new(shown.sources[1]);
    let site = &shown.networks[1].site.name;
    html.section("summary", "Summary");
    html.classed("p", "lead", &format!("{}.", capital(&shown.summary())));
    boxes(&mut html, shown);
    heat(&mut html, shown, matrix);
    for kind in ChangeKind::BOTH {
        flows(&mut html, shown, kind);
    }
    html.section("intent", "Expectations and needs");
    let intent: Vec<String> = shown.intent.iter().map(intent_words).collect();
    listed(&mut html, &intent, "All stand as before.");
    html.section("isolation", "Isolation");
    let isolation: Vec<String> = shown
        .isolation
        .iter()
        .filter(|one| one.trend() == Trend::Same)
        .map(|one| shown.isolation_words(one))
        .collect();
    let none = if shown.isolation.is_empty() {
        "It stands as before."
    } else {
        "What changed stands under what opens and what closes."
    };
    listed(&mut html, &isolation, none);
    findings(&mut html, shown);
    edits(&mut html, shown);
    html.section("assumed", "What was modelled and assumed");
    html.list(shown.notes);
    let name = if site.is_empty() {
        "Unnamed site"
    } else {
        site
    };
    let [old, new] = &shown.names;
    let head = format!(
        "<h1>{}: a change</h1><p class=\"lead\">From <code>{}</code> to <code>{}</code></p><p class=\"caution\"><strong>Read \
         this with care.</strong> {}</p>",
        xml(name),
        xml(old),
        xml(new),
        xml(boundwalk_analysis::CAUTION)
    );
    let interface = format!(
        "<p class=\"dim\">Made by boundwalk {}. The way back is the same page from the new version to the old one.</p>",
        env!("CARGO_PKG_VERSION")
    );
    html.finish(&format!("{name}: a change"), &head, &interface)
}

fn listed(html: &mut Html<'_>, lines: &[String], none: &str) {
    if lines.is_empty() {
        html.tag("p", none);
    } else {
        html.list(lines);
    }
}

fn boxes(html: &mut Html<'_>, shown: &ChangeShown<'_>) {
    html.raw("<div class=\"boxes\">");
    for kind in ChangeKind::BOTH {
        let title = match kind {
            ChangeKind::Opens => "Opens",
            ChangeKind::Closes => "Closes",
        };
        let (word, something) = counted(shown, kind);
        let good = kind == ChangeKind::Closes || !something;
        state(html, title, Stands::judged(good), &word);
        html.raw("</div>");
    }
    let worse = shown.intent.iter().filter(|one| is_worse(one)).count();
    let better = shown.intent.iter().filter(|one| is_better(one)).count();
    let word = format!("{worse} newly broken, {better} repaired");
    state(
        html,
        "Expectations and needs",
        Stands::judged(worse == 0),
        &word,
    );
    html.raw("</div>");
    let risks = shown.risks();
    let word = match risks.len() {
        0 => "none that the model shows".to_owned(),
        count => format!("{count} to weigh"),
    };
    state(html, "Risks", Stands::judged(risks.is_empty()), &word);
    html.raw("</div></div>\n");
    if !risks.is_empty() {
        html.raw("<h3>Risks to weigh</h3>");
        html.list(&risks);
    }
}

/// What opens, or closes, in a few words, and whether anything does or may.
fn counted(shown: &ChangeShown<'_>, kind: ChangeKind) -> (String, bool) {
    let of = |count: usize, one: &str, more: &str| match count {
        0 => None,
        1 => Some(format!("1 {one}")),
        count => Some(format!("{count} {more}")),
    };
    let [plain, hostile] = Stance::BOTH.map(|stance| shown.pairs(kind, stance).count());
    let ways = kind.ways(shown.ways).len();
    let isolated = shown.isolated(kind).count();
    let parts = [
        of(plain, "pair", "pairs"),
        of(
            hostile,
            "pair for a hostile device",
            "pairs for a hostile device",
        ),
        of(ways, "way round the gateway", "ways round the gateway"),
        of(isolated, "isolation", "isolations"),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    match (parts.is_empty(), shown.limit().is_some()) {
        (true, false) => ("nothing".to_owned(), false),
        (true, true) => ("unknown: a limit was met".to_owned(), true),
        (false, _) => (parts.join(", "), true),
    }
}

fn flow(html: &mut Html<'_>, rows: &[(&str, &String)]) {
    html.raw("<dl class=\"flow\">");
    for (label, text) in rows.iter().filter(|(_, text)| !text.is_empty()) {
        html.fact(label, text);
    }
    html.raw("</dl>");
}

fn flows(html: &mut Html<'_>, shown: &ChangeShown<'_>, kind: ChangeKind) {
    let (here, there) = match kind {
        ChangeKind::Opens => {
            html.section("opens", "What opens");
            ("now by", "before")
        }
        ChangeKind::Closes => {
            html.section("closes", "What closes");
            ("was by", "now")
        }
    };
    let words = [here, there];
    let before = html.out.len();
    for (at, pair) in shown.reach.pairs.iter().enumerate() {
        // A pair that both opens and closes something is led to where it opens.
        let led = kind == ChangeKind::Opens || pair.opened.is_empty();
        let id = led.then(|| format!("p{at}"));
        pair_flows(html, shown, (kind, Stance::Configured), (pair, id), words);
    }
    if shown.pairs(kind, Stance::Hostile).next().is_some() {
        html.tag("h3", "For a hostile device, beyond that");
    }
    for (at, pair) in shown.reach.hostile.iter().enumerate() {
        let led = kind == ChangeKind::Opens || pair.opened.is_empty();
        let id = led.then(|| format!("h{at}"));
        pair_flows(html, shown, (kind, Stance::Hostile), (pair, id), words);
    }
    ways(html, shown, kind);
    let isolated: Vec<String> = shown
        .isolated(kind)
        .map(|one| shown.isolation_words(one))
        .collect();
    if !isolated.is_empty() {
        html.tag("h3", "Isolation");
        html.list(&isolated);
    }
    let unknown: Vec<String> = Stance::BOTH
        .into_iter()
        .flat_map(|stance| shown.unknown_pairs(stance))
        .map(|pair| shown.pair(pair))
        .collect();
    if !unknown.is_empty() {
        html.tag("h3", "Unknown: a limit was met");
        html.list(&unknown);
    }
    if html.out.len() == before {
        html.raw("<p>Nothing.</p>\n");
    }
}

fn pair_flows(
    html: &mut Html<'_>,
    shown: &ChangeShown<'_>,
    (kind, stance): (ChangeKind, Stance),
    (pair, id): (&PairChange, Option<String>),
    [here, there]: [&str; 2],
) {
    if kind.of(pair).is_empty() {
        return;
    }
    let id = id.map_or(String::new(), |id| format!(" id=\"{id}\""));
    let name = xml(&shown.pair(pair));
    let _ = write!(html.out, "<details open{id}><summary>{name}</summary><div>");
    for changed in &shown.flows(kind, pair) {
        let words = shown.flow(kind, stance, pair, changed);
        let rows = [
            ("services", &words.services),
            ("from", &words.source),
            ("to", &words.destination),
            (here, &words.passes_by),
            (there, &words.stopped),
            ("witness", &words.packet),
        ];
        flow(html, &rows);
    }
    if let Some(limit) = pair.coverage.limit() {
        html.tag(
            "p",
            &format!("A limit was met, so this is not certain: {limit}."),
        );
    }
    html.raw("</div></details>\n");
}

/// Ways round the gateway that come or go, step by step.
fn ways(html: &mut Html<'_>, shown: &ChangeShown<'_>, kind: ChangeKind) {
    let ways = kind.ways(shown.ways);
    if !ways.is_empty() {
        html.tag("h3", "Ways round the gateway");
    }
    for way in ways {
        let name = xml(&shown.way(way));
        let _ = write!(html.out, "<details open><summary>{name}</summary><div>");
        html.list(&shown.way_steps(kind, way));
        if let Some(setting) = shown.opened_by(kind, way) {
            html.tag("p", &format!("By: {setting}."));
        }
        html.raw("</div></details>\n");
    }
}

fn findings(html: &mut Html<'_>, shown: &ChangeShown<'_>) {
    html.section("findings", "Findings");
    let Some((new, gone)) = shown.findings else {
        html.raw("<p>Not asked for.</p>\n");
        return;
    };
    for (title, findings, version) in [("New or worse", new, 1), ("Gone", gone, 0)] {
        html.tag("h3", title);
        let lines: Vec<String> = findings
            .iter()
            .map(|one| {
                let place = one
                    .span
                    .map(|span| shown.sources[version].place(span))
                    .unwrap_or_default();
                format!(
                    "{} {}: {} ({place})",
                    one.severity().word(),
                    one.check.name,
                    one.message
                )
            })
            .collect();
        listed(html, &lines, "None.");
    }
}

fn edits(html: &mut Html<'_>, shown: &ChangeShown<'_>) {
    html.section("edits", "What was edited");
    let rows: Vec<Vec<String>> = shown
        .edits
        .iter()
        .map(|edit| {
            let effect = match shown.has_effect(edit) {
                Some(false) => "no effect on who reaches what",
                Some(true) => "opens or closes something",
                None => "",
            };
            vec![
                edit.what.clone(),
                edit_kind(&edit.kind),
                effect.to_owned(),
                shown.edit_place(edit),
            ]
        })
        .collect();
    if rows.is_empty() {
        html.raw("<p>No setting differs.</p>\n");
    } else {
        html.table(
            "What was edited",
            &["what", "how", "effect", "place"],
            &rows,
        );
    }
}
