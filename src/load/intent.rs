//! Needs and expectations.

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{Demands, Expectation, Need, Permit, RuleParty, Through};

use super::baselines;
use super::context::{Context, Device, owned};
use super::keys;
use super::kinds;
use super::matching;
use super::name_index::NameIndex;
use super::party;
use super::quote::shown;
use super::reader::{Table, Value, Words};
use super::rules::Titles;

const PERMITS: &Words<Permit> = &[
    ("nothing", Permit::Nothing),
    ("at-most", Permit::AtMost),
    ("at-least", Permit::AtLeast),
    ("exactly", Permit::Exactly),
];

/// Whether the stance is hostile.
const STANCES: &Words<bool> = &[("configured", false), ("hostile", true)];

/// Reads all needs, then all expectations, then those of the sets that the site asks for.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    let mut titles = Titles::default();
    for (position, &value) in outline.needs.iter().enumerate() {
        let need = read_need(cx, value, position, &mut titles);
        cx.site.needs.extend(need);
    }
    let mut titles = Titles::default();
    for &value in &outline.expectations {
        let expectation = read_expectation(cx, value, &mut titles);
        cx.site.expectations.extend(expectation);
    }
    baselines::read(cx, outline);
}

fn read_need<'a>(
    cx: &mut Context<'_>,
    value: Value<'a>,
    position: usize,
    titles: &mut Titles<'a>,
) -> Option<Need> {
    let table = Table::open(&mut cx.report, value, &keys::NEED)?;
    let name = match titles.read(&mut cx.report, &table, "a need", "need") {
        Some(name) => owned(name),
        None => Spanned::new(format!("need {}", position + 1), table.span),
    };
    let (from, to) = read_parties(cx, &table, &name.value);
    let matching = matching::read(cx, &table);
    Some(Need {
        name,
        from,
        to,
        source: matching.source,
        destination: matching.destination,
        services: matching.services,
        reason: table.note(&mut cx.report, "reason"),
        owner: table.note(&mut cx.report, "owner"),
        place: table.place(),
    })
}

fn read_expectation<'a>(
    cx: &mut Context<'_>,
    value: Value<'a>,
    titles: &mut Titles<'a>,
) -> Option<Expectation> {
    let table = Table::open(&mut cx.report, value, &keys::EXPECTATION)?;
    let name = titles.read(&mut cx.report, &table, "an expectation", "expectation");
    let (from, to) = read_parties(cx, &table, name.map_or("", |name| name.value));
    let matching = matching::read(cx, &table);
    let demands = read_demands(cx, &table);
    let report = &mut cx.report;
    let stance = table.word(report, "stance", STANCES);
    Some(Expectation {
        name: owned(name.unwrap_or(Spanned::new("", table.span))),
        from,
        to,
        source: matching.source,
        destination: matching.destination,
        services: matching.services,
        demands,
        hostile: stance.is_some_and(|stance| stance.value),
        reason: table.note(report, "reason"),
        requirement: table.note(report, "requirement"),
        baseline: None,
        place: table.place(),
    })
}

fn read_demands(cx: &mut Context<'_>, table: &Table<'_>) -> Demands {
    let permit = table.word(&mut cx.report, "permit", PERMITS);
    if let Some(permit) = permit
        && permit.value != Permit::Nothing
        && table.get("services").is_none()
    {
        let problem = Problem::at(
            &kinds::MISSING_KEY,
            permit.span,
            "this `permit` needs `services` to compare with",
        );
        cx.report(problem.help("add `services = …`; write \"any\" for every service"));
    }
    let through = read_through(cx, table);
    let mut flag = |key| {
        let flag = table.flag(&mut cx.report, key);
        flag.is_some_and(|flag| flag.value)
    };
    let demands = Demands {
        permit: permit.map(|permit| permit.value),
        through,
        logged: flag("logged"),
        inspected: flag("inspected"),
        isolated: flag("isolated"),
        one_way: flag("one_way"),
    };
    let tried = ["permit", "through"]
        .iter()
        .any(|key| table.get(key).is_some());
    if demands.is_empty() && !tried {
        let message = "this expectation demands nothing";
        let problem = Problem::at(&kinds::MISSING_KEY, table.span, message);
        cx.report(problem.help(
            "add `permit = \"nothing\"` (or at-most, at-least, exactly), `through`, `logged`, `inspected`, `isolated` or `one_way`",
        ));
    }
    demands
}

fn read_through(cx: &mut Context<'_>, table: &Table<'_>) -> Option<Through> {
    let name = table.text(&mut cx.report, "through")?;
    if name.value == "gateway" {
        return Some(Through::Any);
    }
    let number = cx.devices.require(&mut cx.report, name)?;
    match cx.kinds_of_devices[number] {
        Device::Router(router) if cx.site.router(router).filter().is_some() => {
            Some(Through::Gateway(router))
        }
        _ => {
            let message = format!(
                "`{}` has no rules, so it decides nothing",
                shown(name.value)
            );
            let problem = Problem::at(&kinds::NO_FILTER, name.span, message);
            let help = "name a gateway, or write \"gateway\" for any of them";
            cx.report(problem.help(help));
            None
        }
    }
}

fn read_parties(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    name: &str,
) -> (Vec<RuleParty>, Vec<RuleParty>) {
    let from = party::plain(party::list(cx, table, "from", false));
    let to = party::plain(party::list(cx, table, "to", true));
    let (Some(from), Some(to)) = (from, to) else {
        return (Vec::new(), Vec::new());
    };
    let segments = [party::segments_of(cx, &from), party::segments_of(cx, &to)];
    if let [Some(sends), Some(receives)] = &segments
        && sends == receives
        && let [only] = sends.as_slice()
    {
        let message = format!(
            "`from` and `to` are both just the segment `{}`",
            cx.segment_name(*only)
        );
        let problem = Problem::at(&kinds::SAME_SEGMENT_ONLY, table.key_span("to"), message);
        let problem = problem.about(name);
        let problem = problem.note(table.key_span("from"), "the same segment");
        cx.report(problem.help("no gateway sees traffic inside one segment: name two"));
    }
    (from, to)
}
