//! Services of the site's own, and lists of services wherever they stand.

use rustc_hash::FxHashSet;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{Service, ServiceGroup, ServiceMatch};

use super::address_group::{members_first, report_cycle};
use super::context::{Context, owned};
use super::kinds;
use super::name_index::NameIndex;
use super::names::some_of;
use super::quote::shown;
use super::reader::{Entry, Table};
use super::service_item::{Item as Written, read as read_item};
use super::service_names::{as_groups, built_in, built_in_services};

/// An item with its name resolved.
#[derive(Clone, PartialEq, Eq, Debug)]
enum Item {
    One(Service),
    Own(usize),
    BuiltIn(&'static [Service]),
}

/// The items of one service; `None` where one of them is wrong.
type Parts = Option<Vec<(Item, Span)>>;

/// Opens all services of the site's own, those first that others are made of.
pub(super) fn read(cx: &mut Context<'_>, outline: &NameIndex<'_>) {
    let mut parts: Vec<Parts> = Vec::with_capacity(outline.services.len());
    for entry in &outline.services {
        parts.push(read_parts(cx, entry));
    }
    let edges = parts.iter().enumerate().flat_map(|(number, parts)| {
        parts
            .iter()
            .flatten()
            .filter_map(move |(item, _)| match item {
                Item::Own(member) => Some((number, *member)),
                _ => None,
            })
    });
    for component in members_first(parts.len(), edges) {
        match component.as_slice() {
            [number] if !refers_to_itself(&parts[*number], *number) => {
                if let Some(items) = &parts[*number] {
                    let opened = open(cx, items);
                    cx.service_states[*number].services = opened;
                }
            }
            several => report_cycle(&mut cx.report, &cx.services, several),
        }
    }
    for (number, entry) in outline.services.iter().enumerate() {
        let services = cx.service_states[number]
            .services
            .clone()
            .unwrap_or_default();
        warn_of_hiding(cx, entry, &services);
        cx.site.services.push(ServiceGroup {
            name: owned(entry.name),
            services,
        });
    }
    let own = cx.site.services.iter().cloned();
    let others = as_groups().filter(|group| cx.services.find(&group.name.value).is_none());
    cx.site.service_names = own.chain(others).collect();
}

/// A list of services of a table; `None` where the key is not given, or once its mistake is reported.
pub(super) fn list(cx: &mut Context<'_>, table: &Table<'_>, key: &str) -> Option<ServiceMatch> {
    let texts = table.strings(&mut cx.report, key)?;
    let items = resolve_all(cx, &texts)?;
    let services = open(cx, &items)?;
    Some(ServiceMatch {
        written: texts.into_iter().map(owned).collect(),
        services,
    })
}

fn read_parts(cx: &mut Context<'_>, entry: &Entry<'_>) -> Parts {
    let texts = entry.value.strings(&mut cx.report, entry.name.value)?;
    if texts.is_empty() {
        let message = format!("the service `{}` is empty", shown(entry.name.value));
        let problem =
            Problem::at(&kinds::EMPTY_LIST, entry.value.span, message).label("holds nothing");
        cx.report(problem.help("put services in, or remove it"));
        return None;
    }
    resolve_all(cx, &texts)
}

fn resolve_all(cx: &mut Context<'_>, texts: &[Spanned<&str>]) -> Parts {
    let mut items = Vec::with_capacity(texts.len());
    let mut sound = true;
    for &text in texts {
        match resolve(cx, text) {
            Some(item) => items.push((item, text.span)),
            None => sound = false,
        }
    }
    sound.then_some(items)
}

fn resolve(cx: &mut Context<'_>, text: Spanned<&str>) -> Option<Item> {
    match read_item(text.value) {
        Ok(Written::Service(service)) => Some(Item::One(service)),
        Ok(Written::Name(name)) => named(cx, Spanned::new(name, text.span)),
        Err(complaint) => {
            cx.report(complaint.at(text.span));
            None
        }
    }
}

fn named(cx: &mut Context<'_>, name: Spanned<&str>) -> Option<Item> {
    if let Some(number) = cx.services.find(name.value) {
        return Some(Item::Own(number));
    }
    if let Some(service) = built_in(name.value) {
        return Some(Item::BuiltIn(&service.services));
    }
    let own = cx.services.iter();
    let built_ins = built_in_services()
        .iter()
        .map(|service| service.name.as_str());
    let help = cx
        .report
        .did_you_mean(name.value, own.chain(built_ins), || {
            let own = some_of("service of your own", cx.services.iter());
            format!(
                "{own}; describe it under [services], or write protocol and port, as in tcp/443"
            )
        });
    let message = format!("no service is called `{}`", shown(name.value));
    cx.report(
        Problem::at(&kinds::UNKNOWN_NAME, name.span, message)
            .label("unknown name")
            .help(help),
    );
    None
}

fn refers_to_itself(parts: &Parts, number: usize) -> bool {
    parts
        .iter()
        .flatten()
        .any(|(item, _)| *item == Item::Own(number))
}

/// The parts of all items, each once; `None` where one is broken.
fn open(cx: &mut Context<'_>, items: &[(Item, Span)]) -> Option<Vec<Service>> {
    if let [(Item::One(service), _)] = items {
        return Some(vec![service.clone()]);
    }
    let mut opened = Vec::new();
    let mut seen: FxHashSet<Service> = FxHashSet::default();
    let mut sound = true;
    for (item, span) in items {
        let parts: &[Service] = match item {
            Item::One(service) => std::slice::from_ref(service),
            Item::BuiltIn(services) => services,
            Item::Own(number) => {
                cx.service_states[*number].used = true;
                match &cx.service_states[*number].services {
                    Some(services) => services,
                    None => {
                        sound = false;
                        continue;
                    }
                }
            }
        };
        for part in parts {
            if seen.insert(part.clone()) {
                opened.push(part.clone());
            }
        }
        // A service takes several times the room of an interval of addresses.
        let count = 8 * parts.len();
        sound &= cx.spend(count, *span);
    }
    sound.then_some(opened)
}

/// A name of the registry with another meaning misleads whoever knows the registry.
fn warn_of_hiding(cx: &mut Context<'_>, entry: &Entry<'_>, services: &[Service]) {
    let Some(hidden) = built_in(entry.name.value) else {
        return;
    };
    let same = services.len() == hidden.services.len()
        && services
            .iter()
            .all(|service| hidden.services.contains(service));
    if same || services.is_empty() {
        return;
    }
    let message = format!(
        "the service `{}` hides the built-in one of that name ({})",
        hidden.name, hidden.note
    );
    let problem = Problem::at(&kinds::HIDES_BUILT_IN, entry.name.span, message).about(&hidden.name);
    cx.report(problem.help(format!("call it otherwise, as in `site-{}`", hidden.name)));
}
