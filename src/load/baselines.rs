//! Ready-made sets of expectations, asked for by name.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use rustc_hash::FxHashMap;
use serde::Deserialize;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{Demands, Expectation, Permit, RuleParty, ServiceMatch, Through};

use super::context::Context;
use super::keys;
use super::kinds;
use super::name_index::NameIndex;
use super::names::some_of;
use super::party;
use super::quote::shown;
use super::reader::{Entry, Table, Value};
use super::service_item::{Item, read as read_item};
use super::service_names::built_in;

/// One line of a ready-made set.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BaselineLine {
    /// Its name, unique in the set.
    pub name: String,
    /// Roles that send.
    pub from: Vec<String>,
    /// Roles that receive; `gateway`: the gateways themselves.
    pub to: Vec<String>,
    /// Built-in services; `None`: every one.
    #[serde(default)]
    pub services: Option<Vec<String>>,
    /// Whether none of it may pass.
    #[serde(default)]
    pub permit: Option<Nothing>,
    /// Whether a gateway must decide.
    #[serde(default)]
    pub through: Option<AnyGateway>,
    /// Whether it must be logged.
    #[serde(default)]
    pub logged: bool,
    /// Whether it must hold against a hostile device.
    #[serde(default)]
    pub hostile: bool,
    /// The published requirement, with its number.
    pub requirement: String,
    /// Why.
    pub reason: String,
}

/// The only `permit` of a ready-made set: what may pass differs from site to site.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Nothing {
    /// None of it.
    Nothing,
}

/// The only `through` of a ready-made set: it knows no gateway by name.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AnyGateway {
    /// Any gateway.
    Gateway,
}

/// A ready-made set of expectations.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Baseline {
    /// Its name in the site file.
    #[serde(skip)]
    pub name: &'static str,
    /// What it is for.
    pub title: String,
    /// Roles, and who plays them.
    pub roles: BTreeMap<String, String>,
    /// Its lines.
    pub expectations: Vec<BaselineLine>,
}

/// All ready-made sets, by name.
pub fn baselines() -> &'static [Baseline] {
    &SETS
}

static SETS: LazyLock<Vec<Baseline>> = LazyLock::new(|| {
    let texts = [
        (
            "card-data",
            include_str!("../../policies/baselines/card-data.toml"),
        ),
        (
            "plant-floor",
            include_str!("../../policies/baselines/plant-floor.toml"),
        ),
        (
            "small-office",
            include_str!("../../policies/baselines/small-office.toml"),
        ),
    ];
    let read = |(name, text)| Baseline {
        name,
        ..toml::from_str::<Baseline>(text).expect("the sets are part of the program and tested")
    };
    texts.map(read).into_iter().collect()
});

/// Adds the lines of the sets that the site asks for. A line of the site's own with the same name stands in
/// for that of the set.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    for entry in &outline.baselines {
        let Some(table) = Table::open(&mut cx.report, entry.value, &keys::BASELINE) else {
            continue;
        };
        let Some(set) = baselines().iter().find(|set| set.name == entry.name.value) else {
            report_unknown_set(cx, entry);
            continue;
        };
        let Some(roles) = read_roles(cx, set, &table, entry) else {
            continue;
        };
        let without = read_without(cx, set, &table);
        for line in &set.expectations {
            let own = |known: &Expectation| known.name.value == line.name;
            if !without.contains(&line.name.as_str()) && !cx.site.expectations.iter().any(own) {
                let expectation = expectation(set.name, line, &roles, table.place());
                cx.site.expectations.extend(expectation);
            }
        }
    }
}

type Roles = FxHashMap<String, Vec<RuleParty>>;

fn report_unknown_set(cx: &mut Context<'_>, entry: &Entry<'_>) {
    let names = || baselines().iter().map(|set| set.name);
    let help = cx
        .report
        .did_you_mean(entry.name.value, names(), || some_of("baseline", names()));
    let message = format!("there is no baseline `{}`", shown(entry.name.value));
    let problem = Problem::at(&kinds::UNKNOWN_BASELINE, entry.name.span, message);
    cx.report(problem.help(help));
}

/// Who plays which role; `None` once a mistake is reported.
fn read_roles(
    cx: &mut Context<'_>,
    set: &Baseline,
    table: &Table<'_>,
    entry: &Entry<'_>,
) -> Option<Roles> {
    let mut roles = Roles::default();
    let mut sound = true;
    for role in table.entries(&mut cx.report, "roles") {
        if !set.roles.contains_key(role.name.value) {
            let known = || set.roles.keys().map(String::as_str);
            let help = cx
                .report
                .did_you_mean(role.name.value, known(), || some_of("role", known()));
            let message = format!("`{}` has no role `{}`", set.name, shown(role.name.value));
            let problem = Problem::at(&kinds::UNKNOWN_BASELINE, role.name.span, message);
            cx.report(problem.help(help));
            sound = false;
            continue;
        }
        match players(cx, role.value, role.name.value) {
            Some(parties) => _ = roles.insert(role.name.value.to_owned(), parties),
            None => sound = false,
        }
    }
    for (role, who) in set
        .roles
        .iter()
        .filter(|(role, _)| !roles.contains_key(*role))
    {
        if !sound {
            break;
        }
        let message = format!("`{}` does not say who plays the role `{role}`", set.name);
        let problem = Problem::at(&kinds::MISSING_KEY, entry.name.span, message);
        let help =
            format!("{who}: write `{role} = [\"…\"]` under roles, or `[]` where there are none");
        cx.report(problem.help(help));
        sound = false;
    }
    sound.then_some(roles)
}

/// The zones and segments of a role; an empty list is an answer here.
fn players(cx: &mut Context<'_>, value: Value<'_>, key: &str) -> Option<Vec<RuleParty>> {
    if value.list().is_some_and(|list| list.is_empty()) {
        return Some(Vec::new());
    }
    let texts = value.strings(&mut cx.report, key)?;
    party::read_all(cx, &texts, key)
}

fn read_without<'a>(cx: &mut Context<'_>, set: &Baseline, table: &Table<'a>) -> Vec<&'a str> {
    let mut names = Vec::new();
    for name in table.strings_or_none(&mut cx.report, "without") {
        if set.expectations.iter().any(|line| line.name == name.value) {
            names.push(name.value);
            continue;
        }
        let known = || set.expectations.iter().map(|line| line.name.as_str());
        let help = cx
            .report
            .did_you_mean(name.value, known(), || some_of("line", known()));
        let message = format!("`{}` has no line \"{}\"", set.name, shown(name.value));
        let problem = Problem::at(&kinds::UNKNOWN_BASELINE, name.span, message);
        cx.report(problem.help(help));
    }
    names
}

/// The line with the site's parties; `None` where a side has nobody.
fn expectation(
    set: &'static str,
    line: &BaselineLine,
    roles: &Roles,
    place: Span,
) -> Option<Expectation> {
    let parties = |names: &[String]| {
        let mut parties: Vec<RuleParty> = Vec::new();
        for name in names {
            match name.as_str() {
                "gateway" => parties.push(RuleParty::Gateway),
                role => parties.extend(roles.get(role).into_iter().flatten()),
            }
        }
        (!parties.is_empty()).then_some(parties)
    };
    Some(Expectation {
        name: Spanned::new(line.name.clone(), place),
        from: parties(&line.from)?,
        to: parties(&line.to)?,
        source: None,
        destination: None,
        services: line.services.as_ref().map(|names| services(names, place)),
        demands: Demands {
            permit: line.permit.map(|_| Permit::Nothing),
            through: line.through.map(|_| Through::Any),
            logged: line.logged,
            ..Demands::default()
        },
        hostile: line.hostile,
        reason: Some(line.reason.clone()),
        requirement: Some(line.requirement.clone()),
        baseline: Some(set),
        place,
    })
}

fn services(names: &[String], place: Span) -> ServiceMatch {
    let opened = names.iter().flat_map(|name| match read_item(name) {
        Ok(Item::Service(service)) => vec![service],
        Ok(Item::Name(name)) => {
            built_in(name).map_or_else(Vec::new, |known| known.services.clone())
        }
        Err(_) => Vec::new(),
    });
    ServiceMatch {
        services: opened.collect(),
        written: names
            .iter()
            .map(|name| Spanned::new(name.clone(), place))
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_demands_something_of_roles_and_services_that_exist() {
        for set in baselines() {
            assert!(set.expectations.len() >= 5, "{}", set.name);
            for line in &set.expectations {
                let roles = line.from.iter().chain(&line.to);
                for role in roles.filter(|role| *role != "gateway") {
                    assert!(set.roles.contains_key(role), "{}: {role}", line.name);
                }
                for name in line.services.iter().flatten() {
                    assert!(built_in(name).is_some(), "{}: {name}", line.name);
                }
                assert!(line.permit.is_some() || line.through.is_some() || line.logged);
                assert!(line.requirement.contains(' ') && !line.reason.is_empty());
            }
        }
    }
}
