//! A change as a page: what opens and closes on the matrix, and all that a ticket asks for.

use std::fmt::Write;

use super::super::change::{ChangeShown, Course, edit_kind, intent_words, is_better, is_worse};
use super::super::key::Key;
use super::super::shape::Sheet;
use super::super::svg::xml;
use super::change_heat::heat;
use super::html::Html;
use super::summary::{Stands, capital, state};

/// A change as one HTML page. `matrix` is the one of the new version by segment, with its key and codes.
pub fn change_html(shown: &ChangeShown<'_>, matrix: (&Sheet, &Key, &[Vec<String>])) -> String {
    let mut html = Html::new(shown.sources[1]);
    let site = &shown.networks[1].site.name;
    html.section("summary", "Summary");
    html.classed("p", "lead", &format!("{}.", capital(&shown.summary())));
    boxes(&mut html, shown);
    heat(&mut html, shown, matrix);
    for course in Course::BOTH {
        flows(&mut html, shown, course);
    }
    html.section("intent", "Expectations and needs");
    let intent: Vec<String> = shown.intent.iter().map(intent_words).collect();
    listed(&mut html, &intent, "All stand as before.");
    html.section("isolation", "Isolation");
    let isolation: Vec<String> = shown
        .isolation
        .iter()
        .map(|one| shown.isolation_words(one))
        .collect();
    listed(&mut html, &isolation, "It stands as before.");
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
        xml(crate::analysis::CAUTION)
    );
    let foot = format!(
        "<p class=\"dim\">Made by boundwalk {}. The way back is the same page from the new version to the old one.</p>",
        env!("CARGO_PKG_VERSION")
    );
    html.finish(&format!("{name}: a change"), &head, &foot)
}

fn listed(html: &mut Html<'_>, lines: &[String], none: &str) {
    match lines.is_empty() {
        true => html.tag("p", none),
        false => html.list(lines),
    }
}

fn boxes(html: &mut Html<'_>, shown: &ChangeShown<'_>) {
    html.raw("<div class=\"boxes\">");
    for course in Course::BOTH {
        let count = shown.pairs(course).count();
        let (title, good) = match course {
            Course::Opens => ("Opens", count == 0),
            Course::Closes => ("Closes", true),
        };
        let word = match count {
            0 => "nothing".to_owned(),
            1 => "something for 1 pair".to_owned(),
            count => format!("something for {count} pairs"),
        };
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

fn flow(html: &mut Html<'_>, rows: &[(&str, &String)]) {
    html.raw("<dl class=\"flow\">");
    for (label, text) in rows.iter().filter(|(_, text)| !text.is_empty()) {
        html.fact(label, text);
    }
    html.raw("</dl>");
}

fn flows(html: &mut Html<'_>, shown: &ChangeShown<'_>, course: Course) {
    let (here, there) = match course {
        Course::Opens => {
            html.section("opens", "What opens");
            ("now by", "before")
        }
        Course::Closes => {
            html.section("closes", "What closes");
            ("was by", "now")
        }
    };
    if shown.pairs(course).next().is_none() {
        html.raw("<p>Nothing.</p>\n");
    }
    for (at, pair) in shown.reach.pairs.iter().enumerate() {
        if course.of(pair).is_empty() {
            continue;
        }
        // A pair that both opens and closes something is led to where it opens.
        let id = match course == Course::Closes && !pair.opened.is_empty() {
            true => String::new(),
            false => format!(" id=\"p{at}\""),
        };
        let name = xml(&shown.pair(pair));
        let _ = write!(html.out, "<details open{id}><summary>{name}</summary><div>");
        for changed in course.of(pair) {
            let words = shown.flow(course, pair, changed);
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
        if !pair.complete {
            html.raw("<p>A limit was met: at least this, perhaps more.</p>");
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
    for (title, findings, version) in [("New", new, 1), ("Gone", gone, 0)] {
        html.tag("h3", title);
        let lines: Vec<String> = findings
            .iter()
            .map(|one| {
                let place = one.span.map(|span| shown.sources[version].place(span));
                let place = place.unwrap_or_default();
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
    match rows.is_empty() {
        true => html.raw("<p>No setting differs.</p>\n"),
        false => html.table(
            "What was edited",
            &["what", "how", "effect", "place"],
            &rows,
        ),
    }
}
