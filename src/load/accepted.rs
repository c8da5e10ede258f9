//! Accepted findings.

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::Accepted;

use super::context::{Context, owned};
use super::keys;
use super::kinds;
use super::name_index::NameIndex;
use super::reader::{Table, Value};
use super::report::ProblemReport;
use super::text::check_prose;

/// Reads them in order.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for &value in &outline.accepted {
        let accepted = read_one(&mut cx.report, value);
        cx.site.accepted.extend(accepted);
    }
}

fn read_one(report: &mut ProblemReport, value: Value<'_>) -> Option<Accepted> {
    let table = Table::open(report, value, &keys::ACCEPTED)?;
    let check = words(report, &table, "check");
    let subject = words(report, &table, "subject");
    let reason = words(report, &table, "reason");
    let owner = words(report, &table, "owner");
    let until = table.date(report, "until");
    Some(Accepted {
        check: owned(check?),
        subject: subject.map(owned),
        reason: reason?.value.to_owned(),
        owner: owner?.value.to_owned(),
        until: until?,
        place: table.place(),
    })
}

/// A text that says something.
fn words<'a>(report: &mut ProblemReport, table: &Table<'a>, key: &str) -> Option<Spanned<&'a str>> {
    let text = table.text(report, key)?;
    check_prose(report, key, text);
    if text.value.trim().is_empty() {
        let problem = Problem::at(&kinds::BAD_TEXT, text.span, format!("`{key}` is blank"));
        report.push(problem.help(match key {
            "check" => "name the check, as it stands in brackets in front of the finding",
            "subject" => "write the subject of the finding, or leave the key out",
            "reason" => "say why this can be lived with",
            _ => "say who decided that",
        }));
    }
    Some(text)
}
