//! Needs, expectations and accepted findings.

use super::setting::{Thing, ThingSetting, addresses, parties, services, text};
use boundwalk_model::{Accepted, Demands, Expectation, Need, Site};

pub(in super::super) fn needs(site: &Site) -> Vec<Thing> {
    site.needs
        .iter()
        .enumerate()
        .map(|(at, one)| need(site, at, one))
        .collect()
}

fn need(site: &Site, at: usize, need: &Need) -> Thing {
    let Need {
        name,
        from,
        to,
        source,
        destination,
        services: of_need,
        reason,
        owner,
        place: _,
    } = need;
    let settings: Vec<ThingSetting> = vec![
        ("from", parties(site, Some(from))),
        ("to", parties(site, Some(to))),
        ("source", addresses(source)),
        ("destination", addresses(destination)),
        ("services", services(of_need)),
        ("reason", text(reason)),
        ("owner", text(owner)),
    ];
    // A need without a name is numbered in the order of the file, which means nothing.
    let key = match name.value == format!("need {}", at + 1) {
        true => text(&settings),
        false => format!("\"{}\"", name.value),
    };
    Thing {
        name: format!("\"{}\"", name.value),
        key,
        place: name.span,
        settings,
    }
}

pub(in super::super) fn expectations(site: &Site) -> Vec<Thing> {
    site.expectations
        .iter()
        .map(|one| expectation(site, one))
        .collect()
}

fn expectation(site: &Site, line: &Expectation) -> Thing {
    let Expectation {
        name,
        from,
        to,
        source,
        destination,
        services: of_line,
        demands,
        hostile,
        reason,
        requirement,
        baseline,
        place: _,
    } = line;
    let Demands {
        permit,
        through,
        logged,
        inspected,
        isolated,
        one_way,
    } = demands;
    let through = through.map(|through| match through {
        boundwalk_model::Through::Any => "any".to_owned(),
        boundwalk_model::Through::Gateway(router) => site.router(router).name.value.clone(),
    });
    let settings = vec![
        ("from", parties(site, Some(from))),
        ("to", parties(site, Some(to))),
        ("source", addresses(source)),
        ("destination", addresses(destination)),
        ("services", services(of_line)),
        ("permit", text(permit)),
        ("through", text(&through)),
        ("logged", logged.to_string()),
        ("inspected", inspected.to_string()),
        ("isolated", isolated.to_string()),
        ("one_way", one_way.to_string()),
        ("stance", hostile.to_string()),
        ("reason", text(reason)),
        ("requirement", text(requirement)),
        ("baseline", text(baseline)),
    ];
    Thing::named(format!("\"{}\"", name.value), name.span, settings)
}

pub(super) fn accepted(site: &Site) -> Vec<Thing> {
    let one = |entry: &Accepted| {
        let Accepted {
            check,
            subject,
            reason,
            owner,
            until,
            place,
        } = entry;
        let name = match subject {
            Some(subject) => format!("{} of \"{}\"", check.value, subject.value),
            None => check.value.clone(),
        };
        let settings = vec![
            ("reason", reason.clone()),
            ("owner", owner.clone()),
            ("until", until.value.to_string()),
        ];
        Thing::named(name, *place, settings)
    };
    site.accepted.iter().map(one).collect()
}
