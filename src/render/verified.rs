//! Results of a test, held against the model.

use serde::Serialize;

use boundwalk_analysis::probes::{
    Checked, Judgement, ResultDifference, Verified, shared_text, suspects, unforeseen_text,
};
use boundwalk_forwarding::Network;

use super::document::{Document, Mark, Rank};
use super::json::{JsonPacket, json_packet};
use super::json_text::to_text;

/// What is shown of results.
pub struct VerifiedShown<'a> {
    /// The network.
    pub network: &'a Network<'a>,
    /// Name of the file of results.
    pub file: &'a str,
    /// The results, judged.
    pub verified: &'a Verified<'a>,
}

impl VerifiedShown<'_> {
    /// `12 results: 10 as the model says, 2 differ; 3 not done`.
    fn counts(&self) -> String {
        let count = |wanted: fn(&Judgement) -> bool| self.verified.count(wanted);
        let good = count(|judged| *judged == Judgement::AsExpected);
        let bad = count(|judged| matches!(judged, Judgement::Differs(_)));
        let unclear = count(|judged| matches!(judged, Judgement::Unclear(_)));
        let open = count(|judged| *judged == Judgement::NotDone);
        let done = good + bad + unclear;
        let ending = if done == 1 { "" } else { "s" };
        let verb = if bad == 1 { "differs" } else { "differ" };
        let mut text = format!("{done} result{ending}: {good} as the model says, {bad} {verb}");
        if unclear > 0 {
            text.push_str(&format!(
                ", {unclear} on which the model says nothing definite"
            ));
        }
        if open > 0 {
            text.push_str(&format!("; {open} not done"));
        }
        text
    }

    fn differing(&self) -> impl Iterator<Item = &Checked<'_>> {
        self.verified
            .rows
            .iter()
            .filter(|row| matches!(row.judgement, Judgement::Differs(_) | Judgement::Unclear(_)))
    }

    /// What was sent, what was to be expected and what was seen.
    fn told(&self, row: &Checked<'_>) -> String {
        let probe = if row.row.probe.is_empty() {
            String::new()
        } else {
            format!("probe {}: ", row.row.probe)
        };
        let seen = row.row.result.map_or("", |result| result.word());
        let expect = row.predicted.as_ref();
        let expect = expect.map_or("unclear", |predicted| predicted.expect.word());
        let stale = if row.stale {
            format!(
                " (the plan said {}: the site has changed since)",
                row.row.expect
            )
        } else {
            String::new()
        };
        let remark = if row.row.remark.is_empty() {
            String::new()
        } else {
            format!("; remark: {}", row.row.remark)
        };
        format!(
            "{probe}{}: expected {expect}{stale}, seen {seen}{remark}",
            row.packet
        )
    }

    /// What could explain it.
    fn reasons(&self, row: &Checked<'_>) -> Vec<String> {
        match row.judgement {
            Judgement::Unclear(why) => vec![unforeseen_text(why).to_owned()],
            _ => suspects(self.network, row),
        }
    }
}

/// Results that differ, what could explain each, and what those have in common.
pub fn verified_document<'a>(shown: &VerifiedShown<'a>) -> Document<'a> {
    let mut out = Document::new("Results of the test", &shown.network.site.name);
    for row in shown.differing() {
        let label = format!("{}:{}: ", shown.file, row.row.line);
        out.labelled(0, &label, shown.told(row));
        for reason in shown.reasons(row) {
            out.line(4, Mark::Bullet, reason);
        }
    }
    let shared = shown.verified.shared.iter();
    let mut shared = shared
        .map(|shared| shared_text(shown.network, shared))
        .peekable();
    if shared.peek().is_some() {
        out.heading(Rank::Part, "In common");
        shared.for_each(|text| out.plain(2, text));
    }
    out.summary(shown.counts());
    out
}

#[derive(Serialize)]
struct JsonVerified<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    file: &'a str,
    clean: bool,
    rows: Vec<JsonRow<'a>>,
    in_common: Vec<JsonShared>,
}

#[derive(Serialize)]
struct JsonRow<'a> {
    line: u64,
    probe: &'a str,
    packet: JsonPacket,
    expect: Option<&'static str>,
    /// What the plan said, where the model says something else now.
    planned: Option<&'a str>,
    result: Option<&'static str>,
    judgement: &'static str,
    explanations: Vec<String>,
    remark: &'a str,
}

#[derive(Serialize)]
struct JsonShared {
    text: String,
    lines: Vec<u64>,
}

/// Results for programs.
pub fn verified_json(shown: &VerifiedShown<'_>) -> String {
    let rows = shown.verified.rows.iter().map(|row| JsonRow {
        line: row.row.line,
        probe: &row.row.probe,
        packet: json_packet(&row.packet),
        expect: row.predicted.as_ref().ok().map(|known| known.expect.word()),
        planned: row.stale.then_some(row.row.expect.as_str()),
        result: row.row.result.map(|result| result.word()),
        judgement: word(&row.judgement),
        explanations: shown.reasons(row),
        remark: &row.row.remark,
    });
    let shared = shown.verified.shared.iter().map(|shared| JsonShared {
        text: shared_text(shown.network, shared),
        lines: shared.lines.clone(),
    });
    to_text(&JsonVerified {
        document: "boundwalk-verified",
        version: 1,
        site: &shown.network.site.name,
        file: shown.file,
        clean: shown.verified.clean(),
        rows: rows.collect(),
        in_common: shared.collect(),
    })
}

fn word(judgement: &Judgement) -> &'static str {
    match judgement {
        Judgement::NotDone => "not done",
        Judgement::AsExpected => "as expected",
        Judgement::Unclear(_) => "unclear",
        Judgement::Differs(ResultDifference::Arrived) => "arrived though stopped",
        Judgement::Differs(ResultDifference::Refused) => "refused though dropped",
        Judgement::Differs(ResultDifference::Nothing) => "nothing though permitted",
        Judgement::Differs(ResultDifference::NoAnswer) => "no answer",
        Judgement::Differs(ResultDifference::Answered) => "answered though one way",
    }
}
