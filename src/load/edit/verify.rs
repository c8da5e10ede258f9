//! Is the edited text the site that was asked for? It is loaded again and compared, places apart.

use std::collections::BTreeMap;

use toml::de::DeTable;

use crate::{Loaded, load_texts};
use boundwalk_diagnostic::{Severity, Sources, Span};
use boundwalk_model::{Role, RouterId, Rule, Site};

use super::plan::{EditPlan, rules};
use super::rule::written_fields;
use super::{EditError, EditedFile, RuleField};

/// Loads the texts as they are after the edits. Cost: that of a load.
pub fn load_edited(sources: &Sources, edited: &[EditedFile]) -> Loaded {
    let texts = sources.files().iter().enumerate().map(|(number, source)| {
        let new = edited.iter().find(|file| file.file.0 as usize == number);
        let text = new.map_or(source.text(), |file| &file.after);
        (source.name().to_owned(), text.to_owned())
    });
    load_texts(texts.collect())
}

/// Refuses files that would not load, or would load as another site than the edits ask for.
pub(super) fn check(
    site: &Site,
    sources: &Sources,
    plan: &EditPlan<'_>,
    edited: &[EditedFile],
) -> Result<(), EditError> {
    let loaded = load_edited(sources, edited);
    let Some(new) = &loaded.site else {
        return Err(would_not_load(&loaded));
    };
    if without_rules_and_places(site) != without_rules_and_places(new) {
        return Err(differs(
            "something else than the rules has changed".to_owned(),
        ));
    }
    for router in (0..site.routers.len()).map(RouterId) {
        check_rules(site, new, plan, router)?;
    }
    check_items(&loaded, plan, site)
}

/// A rule that shall be in the new list.
struct Expected<'a> {
    /// The rule that it is, or is a copy of.
    rule: &'a Rule,
    /// Its name, if it is a copy.
    name: Option<&'a str>,
    /// Fields that shall hold these items.
    fields: BTreeMap<RuleField, &'a [String]>,
}

/// The rules that shall be left and added, in order.
fn expected<'a>(site: &'a Site, plan: &'a EditPlan<'_>, router: RouterId) -> Vec<Expected<'a>> {
    let mut all = Vec::new();
    for (number, rule) in rules(site, router).iter().enumerate() {
        let wish = plan.wish(router, number);
        if wish.is_some_and(|wish| wish.removed) {
            continue;
        }
        let fields = wish.map(|wish| &wish.fields).into_iter().flatten();
        all.push(Expected {
            rule,
            name: None,
            fields: fields.map(|(&field, &items)| (field, items)).collect(),
        });
        let copies = wish.map_or(&[][..], |wish| wish.copies);
        all.extend(copies.iter().map(|copy| {
            Expected {
                rule,
                name: Some(&copy.name),
                fields: copy
                    .fields
                    .iter()
                    .map(|(&field, items)| (field, items.as_slice()))
                    .collect(),
            }
        }));
    }
    all
}

/// Whether the rules of one gateway are those that shall be left, in the same order.
fn check_rules(
    site: &Site,
    new: &Site,
    plan: &EditPlan<'_>,
    router: RouterId,
) -> Result<(), EditError> {
    let expected = expected(site, plan, router);
    let found = rules(new, router);
    let gateway = &site.router(router).name.value;
    if expected.len() != found.len() {
        return Err(differs(format!("`{gateway}` has {} rules", found.len())));
    }
    for (expected, new) in expected.iter().zip(found) {
        if !same_rule(expected, new) {
            let name = &new.name.value;
            return Err(differs(format!("the rule `{name}` of `{gateway}`")));
        }
    }
    Ok(())
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

/// Whether a rule is as it shall be, but for its place and the items of fields that were set.
fn same_rule(expected: &Expected<'_>, new: &Rule) -> bool {
    let (mut old, mut new) = (expected.rule.clone(), new.clone());
    if let Some(name) = expected.name {
        old.name.value = name.to_owned();
    }
    for rule in [&mut old, &mut new] {
        rule.place = Span::default();
        for field in expected.fields.keys() {
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
fn check_items(loaded: &Loaded, plan: &EditPlan<'_>, site: &Site) -> Result<(), EditError> {
    for (file, wishes) in plan.by_file(site) {
        let source = loaded.sources.get(file).ok_or(EditError::OtherTexts)?;
        let root = DeTable::parse(source.text()).map_err(|_| EditError::OtherTexts)?;
        for (router, _) in wishes {
            let gateway = &site.router(router).name.value;
            let fields = written_fields(root.get_ref(), gateway).ok_or(EditError::OtherTexts)?;
            for (expected, fields) in expected(site, plan, router).iter().zip(fields) {
                for (field, items) in &expected.fields {
                    if fields.get(field).map_or(&[][..], Vec::as_slice) != *items {
                        let name = &expected.rule.name.value;
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
    let mut site = Site {
        // Places again, and names that only a rule may have used.
        remarks: Vec::new(),
        ..site.clone()
    };
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
    places.extend(site.accepted.iter_mut().map(|accepted| &mut accepted.place));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Edit, load_text};
    use boundwalk_diagnostic::FileId;

    const TEXT: &str = r#"[zones.inside]
trust = 70
[segments.office]
zone = "inside"
prefixes = ["10.44.20.0/24"]
[gateways.edge]
default = "deny"
[gateways.edge.interfaces.office]
segment = "office"
[[gateways.edge.rules]]
name = "a"
action = "permit"
[[gateways.edge.rules]]
name = "b"
from = ["office"]
action = "reject"
"#;

    /// What is said of a result that edits have.
    fn verdict(edits: &[Edit], after: &str) -> Result<(), EditError> {
        let loaded = load_text("site.toml", TEXT);
        let site = loaded.site.expect("a site");
        let plan = EditPlan::new(&site, edits)?;
        let edited = EditedFile {
            file: FileId(0),
            name: "site.toml".to_owned(),
            before: TEXT.to_owned(),
            after: after.to_owned(),
        };
        check(&site, &loaded.sources, &plan, &[edited])
    }

    fn differs(what: &str) -> Result<(), EditError> {
        let what = what.to_owned();
        Err(EditError::WouldDiffer { what })
    }

    #[test]
    fn a_wrong_result_is_refused() {
        let (router, rule) = (RouterId(0), 1);
        let remove = [Edit::RemoveRule { router, rule }];
        let good = TEXT.split_inclusive("\n[[").take(2).collect::<String>();
        let good = good.trim_end_matches("[[").to_owned();
        assert_eq!(verdict(&remove, &good), Ok(()));
        assert_eq!(verdict(&[], TEXT), Ok(()));
        assert_eq!(verdict(&remove, TEXT), differs("`edge` has 2 rules"));
        let other_rule = good.replace("permit", "deny");
        assert_eq!(
            verdict(&remove, &other_rule),
            differs("the rule `a` of `edge`")
        );
        let other_trust = good.replace("70", "71");
        let elsewhere = differs("something else than the rules has changed");
        assert_eq!(verdict(&remove, &other_trust), elsewhere);
        let broken = verdict(&remove, &good.replace("permit", "perhaps"));
        assert!(
            matches!(broken, Err(EditError::WouldNotLoad { .. })),
            "{broken:?}"
        );
    }

    #[test]
    fn a_field_without_the_items_asked_for_is_refused() {
        let set = |items: &[&str]| {
            [Edit::SetRuleField {
                router: RouterId(0),
                rule: 1,
                field: RuleField::From,
                items: items.iter().map(|&item| item.to_owned()).collect(),
            }]
        };
        let wrong = || differs("`from` of the rule `b`");
        assert_eq!(verdict(&set(&["inside"]), TEXT), wrong());
        assert_eq!(verdict(&set(&[]), TEXT), wrong());
        assert_eq!(
            verdict(
                &set(&["inside"]),
                &TEXT.replace("[\"office\"]", "\"inside\"")
            ),
            Ok(())
        );
    }
}
