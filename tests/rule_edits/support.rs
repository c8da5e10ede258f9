//! Sites and edits for the tests.

use boundwalk::diagnostic::Span;
use boundwalk::load::{Edit, EditError, EditedFile, Loaded, RuleField, apply_edits, load_text};
use boundwalk::model::{Role, RouterId, Rule, Site};

/// A small site with the gateway `edge`, to which rules are added.
pub const HEAD: &str = r#"[zones.inside]
trust = 70
[zones.outside]
trust = 0
[segments.brewhouse]
zone = "inside"
prefixes = ["10.44.60.0/24"]
[segments.office]
zone = "inside"
prefixes = ["10.44.20.0/24"]
[segments.internet]
zone = "outside"
external = true
[gateways.edge.interfaces.brewhouse]
segment = "brewhouse"
[gateways.edge.interfaces.office]
segment = "office"
[gateways.edge.interfaces.wan]
segment = "internet"
[gateways.edge]
default = "deny"
"#;

/// The rules of a gateway.
pub fn rules(site: &Site, router: RouterId) -> &[Rule] {
    let filter = site.router(router).filter();
    filter.map_or(&[], |filter| &filter.rules)
}

/// The site of a text that has no mistake.
pub fn loaded(text: &str) -> Loaded {
    let loaded = load_text("site.toml", text);
    assert!(loaded.site.is_some(), "{:#?}\n{text}", loaded.problems);
    loaded
}

/// The field of a key.
pub fn field(key: &str) -> RuleField {
    let mut all = RuleField::ALL.into_iter();
    all.find(|field| field.key() == key).expect("a field")
}

/// One edit in words: `remove NAME`, or `NAME: field = item, item`.
pub fn edit(site: &Site, words: &str) -> Edit {
    let router = RouterId(0);
    let number = |name: &str| {
        let mut all = rules(site, router).iter();
        let found = all.position(|rule| rule.name.value == name);
        found.unwrap_or_else(|| panic!("no rule `{name}`"))
    };
    if let Some(name) = words.strip_prefix("remove ") {
        let rule = number(name);
        return Edit::RemoveRule { router, rule };
    }
    let (name, change) = words.split_once(": ").expect("NAME: field = items");
    let (key, items) = change.split_once(" =").expect("field = items");
    let items = items.split(',').map(str::trim);
    Edit::SetRuleField {
        router,
        rule: number(name),
        field: field(key),
        items: items
            .filter(|item| !item.is_empty())
            .map(str::to_owned)
            .collect(),
    }
}

/// What edits make of a text.
pub fn edited(text: &str, edits: &[&str]) -> Result<Option<EditedFile>, EditError> {
    let loaded = loaded(text);
    let site = loaded.site.as_ref().expect("just checked");
    let edits: Vec<Edit> = edits.iter().map(|words| edit(site, words)).collect();
    let mut files = apply_edits(site, &loaded.sources, &edits)?;
    assert!(files.len() <= 1, "there is one text");
    Ok(files.pop())
}

/// A site whose places are all the same, without what loading remarked: a name that a removed rule used is unused now.
pub fn placeless(mut site: Site) -> Site {
    site.remarks.clear();
    for router in &mut site.routers {
        for route in &mut router.routes {
            route.place = Span::default();
        }
        if let Role::Gateway(filter) = &mut router.role {
            for rule in &mut filter.rules {
                rule.place = Span::default();
            }
        }
    }
    for host in &mut site.hosts {
        for route in &mut host.routes {
            route.place = Span::default();
        }
    }
    for lag in site.switches.iter_mut().flat_map(|switch| &mut switch.lags) {
        lag.place = Span::default();
    }
    for link in &mut site.links {
        link.place = Span::default();
    }
    for need in &mut site.needs {
        need.place = Span::default();
    }
    for expectation in &mut site.expectations {
        expectation.place = Span::default();
    }
    site
}
