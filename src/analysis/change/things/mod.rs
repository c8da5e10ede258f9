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

pub(super) use setting::{Setting, Thing};

use boundwalk_model::Site;

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
