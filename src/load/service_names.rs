//! The services that have a name without anybody describing them.

use std::sync::LazyLock;

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{FileId, Span, Spanned};
use boundwalk_model::{Service, ServiceGroup};

use super::service_item::{Item, read};

/// A built-in service.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct BuiltInService {
    /// Its name; IANA's unless [`BuiltInService::own`].
    pub name: String,
    /// Its parts.
    pub services: Vec<Service>,
    /// What it is for.
    pub note: String,
    /// The name is ours and not of the registry.
    pub own: bool,
}

/// All built-in services, in the order of `policies/services.toml`.
pub fn built_in_services() -> &'static [BuiltInService] {
    &TABLE.list
}

/// The built-in service of a name.
pub(super) fn built_in(name: &str) -> Option<&'static BuiltInService> {
    TABLE.numbers.get(name).map(|&number| &TABLE.list[number])
}

/// The built-in services as groups. They stand in no file of the input, so their place is of none.
pub(super) fn as_groups() -> impl Iterator<Item = ServiceGroup> {
    let nowhere = Span::new(FileId(u32::MAX), 0, 0);
    TABLE.list.iter().map(move |service| ServiceGroup {
        name: Spanned::new(service.name.clone(), nowhere),
        services: service.services.clone(),
    })
}

struct Table {
    list: Vec<BuiltInService>,
    numbers: FxHashMap<String, usize>,
}

static TABLE: LazyLock<Table> = LazyLock::new(|| {
    let list = parse(include_str!("../../policies/services.toml"));
    let numbers = list
        .iter()
        .enumerate()
        .map(|(number, service)| (service.name.clone(), number))
        .collect();
    Table { list, numbers }
});

/// The file is part of the program and a test loads it, so its form is certain.
fn parse(text: &str) -> Vec<BuiltInService> {
    const CERTAIN: &str = "services.toml is part of the program and tested";
    let root = toml::de::DeTable::parse(text).expect(CERTAIN).into_inner();
    let mut entries: Vec<_> = root.iter().collect();
    entries.sort_by_key(|(name, _)| name.span().start);
    let mut list = Vec::with_capacity(entries.len());
    for (name, value) in entries {
        let table = value.get_ref().as_table().expect(CERTAIN);
        let items = table
            .get("items")
            .and_then(|items| items.get_ref().as_array())
            .expect(CERTAIN);
        let services =
            items
                .iter()
                .map(|item| match read(item.get_ref().as_str().expect(CERTAIN)) {
                    Ok(Item::Service(service)) => service,
                    Ok(Item::Name(_)) | Err(_) => unreachable!("{CERTAIN}"),
                });
        list.push(BuiltInService {
            name: name.get_ref().to_string(),
            services: services.collect(),
            note: table
                .get("note")
                .and_then(|note| note.get_ref().as_str())
                .expect(CERTAIN)
                .to_owned(),
            own: table
                .get("own")
                .and_then(|own| own.get_ref().as_bool())
                .unwrap_or(false),
        });
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_model::Protocol;

    #[test]
    fn names_are_no_protocols_and_differ() {
        let list = built_in_services();
        assert!(list.len() > 60, "{}", list.len());
        for service in list {
            assert_eq!(Protocol::named(&service.name), None, "{}", service.name);
            assert!(
                !service.services.is_empty() && !service.note.is_empty(),
                "{}",
                service.name
            );
            assert_eq!(built_in(&service.name), Some(service));
        }
    }
}
