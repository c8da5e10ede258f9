//! A change on a terminal.

use std::fmt::Write;

use super::change::{ChangeShown, Course, edit_kind, intent_words};
use super::matrix::Paint;
use super::text::{clean, labelled};

/// Edits that are listed, unless all are asked for.
const MOST_EDITS: usize = 40;
/// Pairs that are listed each way, unless all are asked for.
const MOST_PAIRS: usize = 30;

/// A change as text. With `all`, every edit and every pair.
pub fn change_text(shown: &ChangeShown<'_>, all: bool, paint: Paint) -> String {
    let mut out = String::new();
    let [old, new] = &shown.names;
    let _ = writeln!(
        out,
        "{}",
        paint.strong(&clean(&format!("From {old} to {new}")))
    );
    edits(&mut out, shown, all, paint);
    for course in Course::BOTH {
        flows(&mut out, shown, course, all, paint);
    }
    let list = |out: &mut String, title: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            let _ = writeln!(out, "\n{}", paint.strong(title));
            for line in lines {
                labelled(out, paint.columns, 2, "- ", &line);
            }
        }
    };
    let intent = shown.intent.iter().map(intent_words).collect();
    list(&mut out, "Expectations and needs", intent);
    let isolation = shown.isolation.iter().map(|one| shown.isolation_words(one));
    list(&mut out, "Isolation", isolation.collect());
    if let Some((new, gone)) = shown.findings {
        for (title, findings, version) in [
            ("New findings", new, 1),
            ("Findings that are gone", gone, 0),
        ] {
            let lines = findings.iter().map(|finding| {
                let place = finding.span.map(|span| shown.sources[version].place(span));
                let (word, name) = (finding.severity().word(), finding.check.name);
                let place = place.unwrap_or_default();
                format!("{word}[{name}]: {} ({place})", finding.message)
            });
            list(&mut out, title, lines.collect());
        }
    }
    let mut summary = String::new();
    labelled(&mut summary, paint.columns, 0, "", &shown.summary());
    let _ = write!(out, "\n{}\n", paint.strong(summary.trim_end()));
    out
}

fn edits(out: &mut String, shown: &ChangeShown<'_>, all: bool, paint: Paint) {
    if shown.edits.is_empty() {
        let _ = writeln!(out, "\nNo setting differs.");
        return;
    }
    let _ = writeln!(out, "\n{}", paint.strong("Edited"));
    let most = if all { usize::MAX } else { MOST_EDITS };
    for edit in shown.edits.iter().take(most) {
        let mut text = format!("{} {}", edit.what, edit_kind(&edit.kind));
        if shown.has_effect(edit) == Some(false) {
            text.push_str(", no effect on who reaches what");
        }
        text.push_str(&format!(" ({})", shown.edit_place(edit)));
        labelled(out, paint.columns, 2, "- ", &text);
    }
    if shown.edits.len() > most {
        let _ = writeln!(
            out,
            "  and {} more (--all shows them)",
            shown.edits.len() - most
        );
    }
}

fn flows(out: &mut String, shown: &ChangeShown<'_>, course: Course, all: bool, paint: Paint) {
    let pairs: Vec<_> = shown.pairs(course).collect();
    let title = match course {
        Course::Opens => "Opens",
        Course::Closes => "Closes",
    };
    let _ = writeln!(out, "\n{}", paint.strong(title));
    if pairs.is_empty() {
        let _ = writeln!(out, "  nothing");
    }
    let most = if all { usize::MAX } else { MOST_PAIRS };
    for pair in pairs.iter().take(most) {
        let _ = writeln!(out, "  {}", paint.strong(&clean(&shown.pair(pair))));
        for changed in course.of(pair) {
            let words = shown.flow(course, pair, changed);
            let mut line = |indent: usize, label: &str, text: &str| {
                labelled(out, paint.columns, indent, label, text);
            };
            let (here, there) = match course {
                Course::Opens => ("now by  ", "before  "),
                Course::Closes => ("was by  ", "now     "),
            };
            line(4, "", &words.services);
            line(6, "from    ", &words.source);
            line(6, "to      ", &words.destination);
            line(6, here, &words.passes_by);
            line(6, there, &words.stopped);
            if !words.packet.is_empty() {
                line(6, "witness ", &words.packet);
            }
        }
        if !pair.complete {
            let _ = writeln!(out, "    a limit was met: at least this, perhaps more");
        }
    }
    if pairs.len() > most {
        let _ = writeln!(
            out,
            "  and {} more pairs (--all shows them)",
            pairs.len() - most
        );
    }
}
