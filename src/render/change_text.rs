//! A change on a terminal.

use std::fmt::Write;

use boundwalk_analysis::change::{PairChange, Trend};

use super::change::{ChangeKind, ChangeShown, Stance, edit_kind, intent_words};
use super::matrix::TextStyle;
use super::text::{escape_control, labelled};

/// Edits that are listed, unless all are asked for.
const MOST_EDITS: usize = 40;
/// Sets of packets that are listed for a pair of a hostile device, unless all are asked for.
const MOST_HOSTILE_FLOWS: usize = 4;
/// Pairs that are listed each way, unless all are asked for.
const MOST_PAIRS: usize = 30;

/// A change as text. With `all`, every edit and every pair.
pub fn change_text(shown: &ChangeShown<'_>, all: bool, paint: TextStyle) -> String {
    let mut out = String::new();
    let [old, new] = &shown.names;
    let _ = writeln!(
        out,
        "{}",
        paint.strong(&escape_control(&format!("From {old} to {new}")))
    );
    edits(&mut out, shown, all, paint);
    let page = Page { shown, all, paint };
    for course in ChangeKind::BOTH {
        page.course(&mut out, course);
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
    let same = shown.isolation.iter();
    let same = same.filter(|one| one.trend() == Trend::Same);
    let same = same.map(|one| shown.isolation_words(one));
    list(&mut out, "Isolation would end otherwise", same.collect());
    if let Some((new, gone)) = shown.findings {
        for (title, findings, version) in [
            ("New findings, and those that are worse", new, 1),
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

fn edits(out: &mut String, shown: &ChangeShown<'_>, all: bool, paint: TextStyle) {
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

/// How a change is shown.
struct Page<'a> {
    shown: &'a ChangeShown<'a>,
    all: bool,
    paint: TextStyle,
}

impl Page<'_> {
    /// All that opens, or closes: for devices that do as configured, beyond that for a hostile one, ways round the
    /// gateway, isolation.
    fn course(&self, out: &mut String, course: ChangeKind) {
        let (shown, paint) = (self.shown, self.paint);
        let title = match course {
            ChangeKind::Opens => "Opens",
            ChangeKind::Closes => "Closes",
        };
        let _ = writeln!(out, "\n{}", paint.strong(title));
        let before = out.len();
        self.pairs(out, course, Stance::Configured);
        let hostile = shown.pairs(course, Stance::Hostile).next().is_some();
        if hostile {
            self.heading(out, "For a hostile device, beyond that");
            self.pairs(out, course, Stance::Hostile);
        }
        self.ways(out, course);
        let isolated: Vec<_> = shown.isolated(course).collect();
        if !isolated.is_empty() {
            self.heading(out, "Isolation");
        }
        for one in isolated {
            labelled(out, paint.columns, 2, "- ", &shown.isolation_words(one));
        }
        // A pair of which nothing is known is no pair that stays as it was.
        let unknown = Stance::BOTH.map(|stance| shown.unknown_pairs(stance).count());
        let unknown: usize = unknown.iter().sum();
        match (out.len() == before, unknown) {
            (true, 0) => _ = writeln!(out, "  nothing"),
            (_, 0) => {}
            (_, count) => {
                let text = format!("unknown for {count} more pairs: a limit was met");
                labelled(out, paint.columns, 2, "", &text);
            }
        }
    }

    fn heading(&self, out: &mut String, title: &str) {
        let _ = writeln!(out, "  {}:", self.paint.strong(title));
    }

    fn pairs(&self, out: &mut String, course: ChangeKind, stance: Stance) {
        let pairs: Vec<_> = self.shown.pairs(course, stance).collect();
        let most = if self.all { usize::MAX } else { MOST_PAIRS };
        for pair in pairs.iter().take(most) {
            self.pair(out, course, stance, pair);
        }
        self.rest(out, pairs.len(), most, "pairs");
    }

    fn rest(&self, out: &mut String, count: usize, most: usize, what: &str) {
        if most < count {
            let _ = writeln!(out, "  and {} more {what} (--all shows them)", count - most);
        }
    }

    fn pair(&self, out: &mut String, course: ChangeKind, stance: Stance, pair: &PairChange) {
        let (shown, paint) = (self.shown, self.paint);
        let _ = writeln!(
            out,
            "  {}",
            paint.strong(&escape_control(&shown.pair(pair)))
        );
        let flows = shown.flows(course, pair);
        let most = match stance {
            Stance::Hostile if !self.all => MOST_HOSTILE_FLOWS,
            Stance::Hostile | Stance::Configured => usize::MAX,
        };
        for changed in flows.iter().take(most) {
            let words = shown.flow(course, stance, pair, changed);
            let mut line = |indent: usize, label: &str, text: &str| {
                labelled(out, paint.columns, indent, label, text);
            };
            let (here, there) = match course {
                ChangeKind::Opens => ("now by  ", "before  "),
                ChangeKind::Closes => ("was by  ", "now     "),
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
        self.rest(out, flows.len(), most, "sets of packets");
        if let Some(limit) = pair.coverage.limit() {
            let text = format!("a limit was met, so this is not certain: {limit}");
            labelled(out, paint.columns, 4, "", &text);
        }
    }

    fn ways(&self, out: &mut String, course: ChangeKind) {
        let (shown, paint) = (self.shown, self.paint);
        let ways = course.ways(shown.ways);
        if ways.is_empty() {
            return;
        }
        self.heading(out, "Ways round the gateway");
        let most = if self.all { usize::MAX } else { MOST_PAIRS };
        for way in ways.iter().take(most) {
            labelled(out, paint.columns, 2, "- ", &shown.way(way));
            for step in shown.way_steps(course, way) {
                labelled(out, paint.columns, 6, "", &step);
            }
            if let Some(setting) = shown.opened_by(course, way) {
                labelled(out, paint.columns, 6, "by ", &setting);
            }
        }
        self.rest(out, ways.len(), most, "ways");
    }
}
