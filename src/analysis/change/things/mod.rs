//! The things of a site with their settings as comparable texts.
//!
//! Every struct of the model is taken apart field by field without `..`: a new field stops the build until somebody
//! says under which name its edits are reported, or why it is none. Lists whose order means nothing are sorted.

mod intent;
mod layer2;
mod layer3;
mod segments;

use boundwalk_diagnostic::{Span, Spanned};
use boundwalk_model::{
    AddressMatch, AddressSet, Date, InterfaceAddress, LinkEnd, Party, Service, ServiceMatch, Site,
};

pub(super) use intent::{expectations, needs};
pub(super) use layer3::{rules, translations};

/// A name of a setting as the site file has it, and its value as a text that is equal exactly where the value is.
pub(super) type Setting = (&'static str, String);

/// A thing with a name, a place, and its settings.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Thing {
    /// What it is called in an answer.
    pub name: String,
    /// What it is found again by in the other version: the name, or the content of what the file does not name.
    pub key: String,
    pub place: Span,
    pub settings: Vec<Setting>,
}

impl Thing {
    /// A thing that the file names.
    fn named(name: impl Into<String>, place: Span, settings: Vec<Setting>) -> Self {
        let name = name.into();
        Self {
            key: name.clone(),
            name,
            place,
            settings,
        }
    }
}

/// Things of one kind.
pub(super) struct Kind {
    /// What one is called, before its name.
    pub word: &'static str,
    pub list: fn(&Site) -> Vec<Thing>,
}

pub(super) const KINDS: &[Kind] = &[
    Kind {
        word: "site",
        list: segments::site,
    },
    Kind {
        word: "zone",
        list: segments::zones,
    },
    Kind {
        word: "segment",
        list: segments::segments,
    },
    Kind {
        word: "address group",
        list: segments::groups,
    },
    Kind {
        word: "service",
        list: segments::services,
    },
    Kind {
        word: "host",
        list: layer3::hosts,
    },
    Kind {
        word: "gateway",
        list: layer3::gateways,
    },
    Kind {
        word: "router",
        list: layer3::plain_routers,
    },
    Kind {
        word: "interface",
        list: layer3::interfaces,
    },
    Kind {
        word: "route",
        list: layer3::routes,
    },
    Kind {
        word: "switch",
        list: layer2::switches,
    },
    Kind {
        word: "switch port",
        list: layer2::ports,
    },
    Kind {
        word: "LAG",
        list: layer2::lags,
    },
    Kind {
        word: "cable",
        list: layer2::cables,
    },
    Kind {
        word: "need",
        list: needs,
    },
    Kind {
        word: "expectation",
        list: expectations,
    },
    Kind {
        word: "accepted finding",
        list: intent::accepted,
    },
];

/// A value as a text: equal exactly where the value is, for types without places.
fn text(value: &impl std::fmt::Debug) -> String {
    format!("{value:?}")
}

/// Texts as a set: their order and repetitions mean nothing.
fn set(texts: impl Iterator<Item = String>) -> String {
    let mut texts: Vec<String> = texts.collect();
    texts.sort_unstable();
    texts.dedup();
    texts.join(", ")
}

fn date(date: &Option<Spanned<Date>>) -> String {
    date.map_or(String::new(), |date| date.value.to_string())
}

fn party(site: &Site, party: &Party) -> String {
    match *party {
        Party::Zone(zone) => format!("zone {}", site.zone(zone).name.value),
        Party::Segment(segment) => format!("segment {}", site.segment(segment).name.value),
        Party::Gateway => "gateway".to_owned(),
    }
}

fn parties(site: &Site, list: Option<&[Party]>) -> String {
    list.map_or("any".to_owned(), |list| {
        set(list.iter().map(|one| party(site, one)))
    })
}

/// A list of addresses: what it comes to, and the items it is written with.
fn addresses(list: &Option<AddressMatch>) -> String {
    let Some(AddressMatch { written, set }) = list else {
        return String::new();
    };
    format!("{} as {}", address_set(set), items(written))
}

fn address_set(addresses: &AddressSet) -> String {
    let AddressSet { v4, v6 } = addresses;
    format!("{v4:?} {v6:?}")
}

/// A list of services likewise.
fn services(list: &Option<ServiceMatch>) -> String {
    let Some(ServiceMatch { written, services }) = list else {
        return String::new();
    };
    format!("{} as {}", service_set(services), items(written))
}

fn service_set(services: &[Service]) -> String {
    set(services.iter().map(text))
}

fn items(written: &[Spanned<String>]) -> String {
    set(written.iter().map(|item| text(&item.value)))
}

/// The addresses of an interface.
fn own(addresses: &[Spanned<InterfaceAddress>]) -> String {
    set(addresses.iter().map(|address| address.value.0.to_string()))
}

/// An end of a cable: its name, and what it is found again by. Interfaces of hosts that the file does not name are
/// numbered in its order, which means nothing.
fn end(site: &Site, end: &LinkEnd) -> (String, String) {
    match end {
        LinkEnd::Switch(id, port) => {
            let name = format!("{}:{port}", site.switches[id.0].name.value);
            (name.clone(), name)
        }
        LinkEnd::Router(id, port) => {
            let name = format!("{}:{port}", site.router(*id).name.value);
            (name.clone(), name)
        }
        LinkEnd::Host(id, port) => {
            let host = site.host(*id);
            let mut interfaces = host.interfaces.iter().enumerate();
            let found = interfaces.find(|(_, interface)| interface.name.value == *port);
            let name = format!("{}:{port}", host.name.value);
            let key = found.map_or_else(
                || name.clone(),
                |(at, interface)| layer3::host_interface_key(site, host, at, interface),
            );
            (name, key)
        }
    }
}
