//! A change, for people.

use boundwalk_analysis::change::{Edit, PairChange, Trend};
use boundwalk_diagnostic::Finding;

use super::change::{ChangeKind, ChangeShown, Stance, edit_kind, intent_words};
use super::document::{Document, Mark, Rank};

/// Edits that are listed, unless all are asked for.
const MOST_EDITS: usize = 40;
/// Sets of packets that are listed for a pair of a hostile device, unless all are asked for.
const MOST_HOSTILE_FLOWS: usize = 4;
/// Pairs that are listed each way, unless all are asked for.
const MOST_PAIRS: usize = 30;

/// A change. With `all`, every edit and every pair.
pub fn change_document<'a>(shown: &'a ChangeShown<'_>, all: bool) -> Document<'a> {
    let mut out = Document::new("Change", &shown.site(1).name);
    let [old, new] = &shown.names;
    out.heading(Rank::Answer, format!("From {old} to {new}"));
    edits(&mut out, shown, all);
    let page = Page { shown, all };
    for kind in ChangeKind::BOTH {
        page.kind(&mut out, kind);
    }
    out.section(
        "Expectations and needs",
        shown.intent.iter().map(intent_words),
    );
    let same = shown
        .isolation
        .iter()
        .filter(|one| one.trend() == Trend::Same);
    out.section(
        "Isolation would end otherwise",
        same.map(|one| shown.isolation_words(one)),
    );
    if let Some((new, gone)) = shown.findings {
        for (title, findings, version) in [
            ("New findings, and those that are worse", new, 1),
            ("Findings that are gone", gone, 0),
        ] {
            out.section(
                title,
                findings.iter().map(|one| finding(shown, one, version)),
            );
        }
    }
    out.summary(shown.summary());
    out.notes(shown.notes);
    out
}

fn finding(shown: &ChangeShown<'_>, finding: &Finding, version: usize) -> String {
    let place = finding.span.map(|span| shown.sources[version].place(span));
    let (word, name) = (finding.severity().word(), finding.check.name);
    let place = place.unwrap_or_default();
    format!("{word}[{name}]: {} ({place})", finding.message)
}

fn edits(out: &mut Document<'_>, shown: &ChangeShown<'_>, all: bool) {
    if shown.edits.is_empty() {
        out.gap();
        out.plain(0, "No setting differs.");
        return;
    }
    out.heading(Rank::Part, "Edited");
    let most = if all { usize::MAX } else { MOST_EDITS };
    let first = shown.edits.iter().take(most);
    out.bullets(first.map(|edit| edit_words(shown, edit)));
    rest(out, shown.edits.len(), most, "");
}

/// What was edited, with its place, and whether it plays no part.
pub(super) fn edit_words(shown: &ChangeShown<'_>, edit: &Edit) -> String {
    let effect = match shown.has_effect(edit) {
        Some(false) => ", no effect on who reaches what",
        _ => "",
    };
    let how = edit_kind(&edit.kind);
    format!("{} {how}{effect} ({})", edit.what, shown.edit_place(edit))
}

/// How many more there are; `what` ends with a space, or is empty.
fn rest(out: &mut Document<'_>, count: usize, most: usize, what: &str) {
    if most < count {
        let more = count - most;
        out.plain(2, format!("and {more} more {what}(--all shows them)"));
    }
}

/// How a change is shown.
struct Page<'a> {
    shown: &'a ChangeShown<'a>,
    all: bool,
}

impl Page<'_> {
    /// All that opens, or closes: for devices that do as configured, beyond that for a hostile one, ways round the
    /// gateway, isolation.
    fn kind(&self, out: &mut Document<'_>, kind: ChangeKind) {
        let shown = self.shown;
        let title = match kind {
            ChangeKind::Opens => "Opens",
            ChangeKind::Closes => "Closes",
        };
        out.heading(Rank::Part, title);
        let before = out.len();
        self.pairs(out, kind, Stance::Configured);
        if shown.pairs(kind, Stance::Hostile).next().is_some() {
            out.heading(Rank::Detail, "For a hostile device, beyond that:");
            self.pairs(out, kind, Stance::Hostile);
        }
        self.ways(out, kind);
        let mut isolated = shown.isolated(kind).peekable();
        if isolated.peek().is_some() {
            out.heading(Rank::Detail, "Isolation:");
        }
        out.bullets(isolated.map(|one| shown.isolation_words(one)));
        // A pair of which nothing is known is no pair that stays as it was.
        let unknown: usize = Stance::BOTH
            .map(|stance| shown.unknown_pairs(stance).count())
            .iter()
            .sum();
        match (out.len() == before, unknown) {
            (true, 0) => out.plain(2, "nothing"),
            (_, 0) => {}
            (_, count) => {
                let text = format!("unknown for {count} more pairs: a limit was met");
                out.plain(2, text);
            }
        }
    }

    fn most(&self) -> usize {
        if self.all { usize::MAX } else { MOST_PAIRS }
    }

    fn pairs(&self, out: &mut Document<'_>, kind: ChangeKind, stance: Stance) {
        let pairs: Vec<_> = self.shown.pairs(kind, stance).collect();
        for pair in pairs.iter().take(self.most()) {
            self.pair(out, kind, stance, pair);
        }
        rest(out, pairs.len(), self.most(), "pairs ");
    }

    fn pair(&self, out: &mut Document<'_>, kind: ChangeKind, stance: Stance, pair: &PairChange) {
        let shown = self.shown;
        out.heading(Rank::Detail, shown.pair(pair));
        let flows = shown.flows(kind, pair);
        let most = match stance {
            Stance::Hostile if !self.all => MOST_HOSTILE_FLOWS,
            Stance::Hostile | Stance::Configured => usize::MAX,
        };
        for changed in flows.iter().take(most) {
            let words = shown.flow(kind, stance, pair, changed);
            let (here, there) = match kind {
                ChangeKind::Opens => ("now by  ", "before  "),
                ChangeKind::Closes => ("was by  ", "now     "),
            };
            out.plain(4, words.services);
            out.labelled(6, "from    ", words.source);
            out.labelled(6, "to      ", words.destination);
            out.labelled(6, here, words.passes_by);
            out.labelled(6, there, words.stopped);
            if !words.packet.is_empty() {
                out.labelled(6, "witness ", words.packet);
            }
        }
        rest(out, flows.len(), most, "sets of packets ");
        if let Some(limit) = pair.coverage.limit() {
            let text = format!("a limit was met, so this is not certain: {limit}");
            out.plain(4, text);
        }
    }

    fn ways(&self, out: &mut Document<'_>, kind: ChangeKind) {
        let shown = self.shown;
        let ways = kind.ways(shown.ways);
        if ways.is_empty() {
            return;
        }
        out.heading(Rank::Detail, "Ways round the gateway:");
        for way in ways.iter().take(self.most()) {
            out.line(2, Mark::Bullet, shown.way(way));
            for step in shown.way_steps(kind, way) {
                out.plain(6, step);
            }
            if let Some(setting) = shown.opened_by(kind, way) {
                out.labelled(6, "by ", setting);
            }
        }
        rest(out, ways.len(), self.most(), "ways ");
    }
}
