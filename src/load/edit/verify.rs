//! Is the edited text the site that was asked for? It is loaded again and compared, places apart.

use toml::de::DeTable;

use crate::diagnostic::{Severity, Sources, Span};
use crate::load::{Loaded, load_texts};
use crate::model::{Role, Rule, Site};

use super::plan::{Plan, Wish, rules};
use super::rule::written_fields;
use super::{EditError, EditedFile, RuleField};

/// Refuses files that would not load, or would load as another site than the edits ask for.
pub(super) fn check(
    site: &Site,
    sources: &Sources,
    plan: &Plan<'_>,
    edited: &[EditedFile],
) -> Result<(), EditError> {
    let texts = sources.files().iter().enumerate().map(|(number, source)| {
        let new = edited.iter().find(|file| file.file.0 as usize == number);
        let text = new.map_or(source.text(), |file| &file.after);
        (source.name().to_owned(), text.to_owned())
    });
    let loaded = load_texts(texts.collect());
    let Some(new) = &loaded.site else {
        return Err(would_not_load(&loaded));
    };
    if without_rules_and_places(site) != without_rules_and_places(new) {
        return Err(differs(
            "something else than the rules has changed".to_owned(),
        ));
    }
    for router in (0..site.routers.len()).map(crate::model::RouterId) {
        let old = rules(site, router).iter().enumerate();
        let kept: Vec<_> = old
            .map(|(number, rule)| (rule, plan.wish(router, number)))
            .filter(|(_, wish)| !wish.is_some_and(|wish| wish.removed))
            .collect();
        let found = rules(new, router);
        let gateway = &site.router(router).name.value;
        if kept.len() != found.len() {
            return Err(differs(format!("`{gateway}` has {} rules", found.len())));
        }
        for ((old, wish), new) in kept.into_iter().zip(found) {
            if !same_rule(old, new, wish) {
                return Err(differs(format!(
                    "the rule `{}` of `{gateway}`",
                    new.name.value
                )));
            }
        }
    }
    check_items(&loaded, plan, site)
}

fn differs(what: String) -> EditError {
    EditError::WouldDiffer { what }
}

fn would_not_load(loaded: &Loaded) -> EditError {
    let mut problems = loaded.problems.iter();
    let error = problems.find(|problem| problem.severity() == Severity::Error);
    let problem = error.map_or_else(String::new, |error| match error.span {
        Some(span) => format!("{}: {}", loaded.sources.place(span), error.message),
        None => error.message.clone(),
    });
    EditError::WouldNotLoad { problem }
}

/// Whether two rules are one but for their place and the fields that were set.
fn same_rule(old: &Rule, new: &Rule, wish: Option<&Wish<'_>>) -> bool {
    let (mut old, mut new) = (old.clone(), new.clone());
    let set = wish.into_iter().flat_map(|wish| wish.fields.keys());
    for rule in [&mut old, &mut new] {
        rule.place = Span::default();
        for field in set.clone() {
            match field {
                RuleField::From => rule.from = None,
                RuleField::To => rule.to = None,
                RuleField::Source => rule.source = None,
                RuleField::Destination => rule.destination = None,
                RuleField::Services => rule.services = None,
            }
        }
    }
    old == new
}

/// Whether the fields that were set hold the items asked for. The model keeps no words of `from` and `to`, so
/// the text is asked.
fn check_items(loaded: &Loaded, plan: &Plan<'_>, site: &Site) -> Result<(), EditError> {
    for (file, wishes) in plan.by_file(site) {
        let source = loaded.sources.get(file).ok_or(EditError::OtherTexts)?;
        let root = DeTable::parse(source.text()).map_err(|_| EditError::OtherTexts)?;
        for (router, wishes) in wishes {
            let gateway = &site.router(router).name.value;
            let fields = written_fields(root.get_ref(), gateway).ok_or(EditError::OtherTexts)?;
            let total = rules(site, router).len();
            let removed = |number: &usize| wishes.get(number).is_some_and(|wish| wish.removed);
            let kept = (0..total).filter(|number| !removed(number));
            for (number, fields) in kept.zip(fields) {
                let asked = wishes
                    .get(&number)
                    .into_iter()
                    .flat_map(|wish| &wish.fields);
                for (field, items) in asked {
                    if fields.get(field).map_or(&[][..], Vec::as_slice) != *items {
                        let name = &rules(site, router)[number].name.value;
                        let key = field.key();
                        return Err(differs(format!("`{key}` of the rule `{name}`")));
                    }
                }
            }
        }
    }
    Ok(())
}

/// A site in which nothing is left that an edit may change.
fn without_rules_and_places(site: &Site) -> Site {
    let mut site = site.clone();
    let mut places: Vec<&mut Span> = Vec::new();
    for router in &mut site.routers {
        if let Role::Gateway(filter) = &mut router.role {
            filter.rules.clear();
        }
        places.extend(router.routes.iter_mut().map(|route| &mut route.place));
    }
    for host in &mut site.hosts {
        places.extend(host.routes.iter_mut().map(|route| &mut route.place));
    }
    for switch in &mut site.switches {
        places.extend(switch.lags.iter_mut().map(|lag| &mut lag.place));
    }
    places.extend(site.links.iter_mut().map(|link| &mut link.place));
    places.extend(site.needs.iter_mut().map(|need| &mut need.place));
    places.extend(
        site.expectations
            .iter_mut()
            .map(|expectation| &mut expectation.place),
    );
    for place in places {
        *place = Span::default();
    }
    site
}
