//! Rules of gateways.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{Action, Role, Rule};

use super::context::{Context, owned};
use super::gateways::ACTIONS;
use super::keys;
use super::kinds;
use super::matching;
use super::name_index::NameIndex;
use super::names::twice;
use super::party::{self, Presence};
use super::reader::{Table, Value};
use super::report::ProblemReport;
use super::text::check_title;

/// Reads the rules of all gateways.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for (number, entry) in outline.gateways.iter().enumerate() {
        let Some(table) = Table::reopen(entry.value, &keys::GATEWAY) else {
            continue;
        };
        let presence = Presence::of(cx, number);
        let items = table.items(&mut cx.report, "rules");
        let mut titles = Titles::default();
        let mut rules = Vec::with_capacity(items.len());
        for item in items {
            if let Some(rule) = read_rule(cx, item, presence.as_ref(), &mut titles) {
                rules.push(rule);
            }
        }
        if let Role::Gateway(filter) = &mut cx.site.routers[number].role {
            filter.rules = rules;
        }
    }
}

/// Names of the lines of one list.
#[derive(Default)]
pub(super) struct Titles<'a> {
    seen: FxHashMap<&'a str, Span>,
}

impl<'a> Titles<'a> {
    /// The `name` of a line; reports one that is unfit or taken. `what` is "a rule", `kind` "rule".
    pub fn read(
        &mut self,
        report: &mut ProblemReport,
        table: &Table<'a>,
        what: &str,
        kind: &str,
    ) -> Option<Spanned<&'a str>> {
        let title = table.text(report, "name")?;
        check_title(report, what, title);
        match self.seen.get(title.value) {
            Some(&first) => report.push(twice(kind, title, first)),
            None => {
                self.seen.insert(title.value, title.span);
            }
        }
        Some(title)
    }
}

fn read_rule<'a>(
    cx: &mut Context<'_>,
    value: Value<'a>,
    presence: Option<&Presence>,
    titles: &mut Titles<'a>,
) -> Option<Rule> {
    let table = Table::open(&mut cx.report, value, &keys::RULE)?;
    let name = titles.read(&mut cx.report, &table, "a rule", "rule");
    let from = party::list(cx, &table, "from", false);
    let to = party::list(cx, &table, "to", true);
    let title = name.map_or("", |name| name.value);
    party::warn_of_absent(cx, presence, title, from.as_deref());
    party::warn_of_absent(cx, presence, title, to.as_deref());
    let matching = matching::read(cx, &table);
    let report = &mut cx.report;
    let action = table.word(report, "action", ACTIONS);
    Some(Rule {
        name: owned(name.unwrap_or(Spanned::new("", table.span))),
        from: party::plain(from),
        to: party::plain(to),
        source: matching.source,
        destination: matching.destination,
        services: matching.services,
        action: action.unwrap_or(Spanned::new(Action::Deny, table.span)),
        log: table.flag(report, "log").is_some_and(|flag| flag.value),
        inspect: table.flag(report, "inspect").is_some_and(|flag| flag.value),
        enabled: table.flag(report, "enabled").is_none_or(|flag| flag.value),
        expires: table.date(report, "expires"),
        reviewed: table.date(report, "reviewed"),
        reason: table.note(report, "reason"),
        owner: table.note(report, "owner"),
        ticket: table.note(report, "ticket"),
        hits: read_hits(report, &table),
        place: table.place(),
    })
}

fn read_hits(report: &mut ProblemReport, table: &Table<'_>) -> Option<u64> {
    let hits = table.integer(report, "hits")?;
    let count = u64::try_from(hits.value).ok();
    if count.is_none() {
        let problem = Problem::at(
            &kinds::BAD_NUMBER,
            hits.span,
            "`hits` is no count of packets",
        );
        report.push(problem.help("write the gateway's counter, a whole number from 0"));
    }
    count
}
