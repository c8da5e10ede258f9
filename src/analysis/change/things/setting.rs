//! A thing of a site, and its settings as texts.

use boundwalk_diagnostic::{Span, Spanned};
use boundwalk_model::{
    AddressMatch, AddressSet, Date, InterfaceAddress, RuleParty, Service, ServiceMatch, Site,
};

/// A name of a setting as the site file has it, and its value as a text that is equal exactly where the value is.
pub type ThingSetting = (&'static str, String);

/// A thing with a name, a place, and its settings.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Thing {
    /// What it is called in an answer.
    pub name: String,
    /// What it is found again by in the other version: the name, or the content of what the file does not name.
    pub key: String,
    pub place: Span,
    pub settings: Vec<ThingSetting>,
}

impl Thing {
    /// A thing that the file names.
    pub fn named(name: impl Into<String>, place: Span, settings: Vec<ThingSetting>) -> Self {
        let name = name.into();
        Self {
            key: name.clone(),
            name,
            place,
            settings,
        }
    }
}

/// A value as a text: equal exactly where the value is, for types without places.
pub(super) fn text(value: &impl std::fmt::Debug) -> String {
    format!("{value:?}")
}

/// Texts as a set: their order and repetitions mean nothing.
pub(super) fn set(texts: impl Iterator<Item = String>) -> String {
    let mut texts: Vec<String> = texts.collect();
    texts.sort_unstable();
    texts.dedup();
    texts.join(", ")
}

pub(super) fn date(date: &Option<Spanned<Date>>) -> String {
    date.map_or(String::new(), |date| date.value.to_string())
}

pub(super) fn party(site: &Site, party: &RuleParty) -> String {
    match *party {
        RuleParty::Zone(zone) => format!("zone {}", site.zone(zone).name.value),
        RuleParty::Segment(segment) => format!("segment {}", site.segment(segment).name.value),
        RuleParty::Gateway => "gateway".to_owned(),
    }
}

pub(super) fn parties(site: &Site, list: Option<&[RuleParty]>) -> String {
    list.map_or("any".to_owned(), |list| {
        set(list.iter().map(|one| party(site, one)))
    })
}

/// A list of addresses: what it comes to, and the items it is written with.
pub(super) fn addresses(list: &Option<AddressMatch>) -> String {
    let Some(AddressMatch { written, set }) = list else {
        return String::new();
    };
    format!("{} as {}", address_set(set), items(written))
}

pub(super) fn address_set(addresses: &AddressSet) -> String {
    let AddressSet { v4, v6 } = addresses;
    format!("{v4:?} {v6:?}")
}

/// A list of services likewise.
pub(super) fn services(list: &Option<ServiceMatch>) -> String {
    let Some(ServiceMatch { written, services }) = list else {
        return String::new();
    };
    format!("{} as {}", service_set(services), items(written))
}

pub(super) fn service_set(services: &[Service]) -> String {
    set(services.iter().map(text))
}

pub(super) fn items(written: &[Spanned<String>]) -> String {
    set(written.iter().map(|item| text(&item.value)))
}

/// The addresses of an interface.
pub(super) fn own(addresses: &[Spanned<InterfaceAddress>]) -> String {
    set(addresses.iter().map(|address| address.value.0.to_string()))
}
