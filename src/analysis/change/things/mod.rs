//! The things of a site with their settings as comparable texts.
//!
//! Every struct of the model is taken apart field by field without `..`: a new field stops the build until somebody
//! says under which name its edits are reported, or why it is none. Lists whose order means nothing are sorted.

mod intent;
mod layer2;
mod layer3;
mod segments;
mod setting;

pub(super) use intent::{expectations, needs};
pub(super) use layer3::{rules, translations};

pub(super) use setting::{Thing, ThingSetting};

use boundwalk_model::Site;

/// Things of one kind.
pub(super) struct ThingKind {
    /// What one is called, before its name.
    pub word: &'static str,
    pub list: fn(&Site) -> Vec<Thing>,
}

pub(super) const KINDS: &[ThingKind] = &[
    ThingKind {
        word: "site",
        list: segments::site,
    },
    ThingKind {
        word: "zone",
        list: segments::zones,
    },
    ThingKind {
        word: "segment",
        list: segments::segments,
    },
    ThingKind {
        word: "address group",
        list: segments::groups,
    },
    ThingKind {
        word: "service",
        list: segments::services,
    },
    ThingKind {
        word: "host",
        list: layer3::hosts,
    },
    ThingKind {
        word: "gateway",
        list: layer3::gateways,
    },
    ThingKind {
        word: "router",
        list: layer3::plain_routers,
    },
    ThingKind {
        word: "interface",
        list: layer3::interfaces,
    },
    ThingKind {
        word: "route",
        list: layer3::routes,
    },
    ThingKind {
        word: "switch",
        list: layer2::switches,
    },
    ThingKind {
        word: "switch port",
        list: layer2::ports,
    },
    ThingKind {
        word: "LAG",
        list: layer2::lags,
    },
    ThingKind {
        word: "cable",
        list: layer2::cables,
    },
    ThingKind {
        word: "need",
        list: needs,
    },
    ThingKind {
        word: "expectation",
        list: expectations,
    },
    ThingKind {
        word: "accepted finding",
        list: intent::accepted,
    },
];
