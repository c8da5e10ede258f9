//! The keys that each table of the format takes. Readers accept these and no others, and a test holds the
//! schema to the same list.

/// The keys of one kind of table.
#[derive(PartialEq, Eq, Debug)]
pub struct Keys {
    /// Where such tables stand: `*` is any name, `[]` any item of a list; empty for the file itself.
    pub path: &'static str,
    /// What such a table describes, for messages.
    pub what: &'static str,
    /// Keys that must be given.
    pub required: &'static [&'static str],
    /// Keys that may be given.
    pub optional: &'static [&'static str],
}

impl Keys {
    /// All keys, the required ones first.
    pub fn all(&self) -> impl Iterator<Item = &'static str> + use<> {
        self.required.iter().chain(self.optional).copied()
    }

    /// Whether such a table takes a key.
    pub fn takes(&self, key: &str) -> bool {
        self.all().any(|known| known == key)
    }
}

pub(super) static ROOT: Keys = Keys {
    path: "",
    what: "the site file",
    required: &[],
    optional: &[
        "site",
        "zones",
        "segments",
        "services",
        "addresses",
        "gateways",
        "routers",
        "hosts",
        "switches",
        "links",
        "needs",
        "expectations",
        "accepted",
        "baselines",
    ],
};

pub(super) static SITE: Keys = Keys {
    path: "site",
    what: "the site",
    required: &[],
    optional: &["name", "description", "review_months"],
};

pub(super) static ZONE: Keys = Keys {
    path: "zones.*",
    what: "a zone",
    required: &["trust"],
    optional: &["description"],
};

pub(super) static SEGMENT: Keys = Keys {
    path: "segments.*",
    what: "a segment",
    required: &["zone"],
    optional: &[
        "vlan",
        "prefixes",
        "isolated",
        "external",
        "routes",
        "default_gateway",
        "description",
    ],
};

pub(super) static GATEWAY: Keys = Keys {
    path: "gateways.*",
    what: "a gateway",
    required: &["default", "interfaces"],
    optional: &[
        "stateful",
        "description",
        "lags",
        "routes",
        "rules",
        "destination_translations",
        "source_translations",
    ],
};

pub(super) static ROUTER: Keys = Keys {
    path: "routers.*",
    what: "a router",
    required: &["interfaces"],
    optional: &["description", "lags", "routes"],
};

const INTERFACE_SHAPE: Keys = Keys {
    path: "",
    what: "an interface",
    required: &["segment"],
    optional: &[
        "addresses",
        "shared_addresses",
        "port",
        "vlan",
        "source_check",
    ],
};

pub(super) static GATEWAY_INTERFACE: Keys = Keys {
    path: "gateways.*.interfaces.*",
    ..INTERFACE_SHAPE
};
pub(super) static ROUTER_INTERFACE: Keys = Keys {
    path: "routers.*.interfaces.*",
    ..INTERFACE_SHAPE
};

const LAG_SHAPE: Keys = Keys {
    path: "",
    what: "a LAG",
    required: &["ports", "lacp"],
    optional: &["speed"],
};

pub(super) static GATEWAY_LAG: Keys = Keys {
    path: "gateways.*.lags.*",
    ..LAG_SHAPE
};
pub(super) static ROUTER_LAG: Keys = Keys {
    path: "routers.*.lags.*",
    ..LAG_SHAPE
};
pub(super) static SWITCH_LAG: Keys = Keys {
    path: "switches.*.lags.*",
    ..LAG_SHAPE
};

const ROUTE_SHAPE: Keys = Keys {
    path: "",
    what: "a route",
    required: &["to"],
    optional: &["via", "discard", "interface", "preference"],
};

pub(super) static GATEWAY_ROUTE: Keys = Keys {
    path: "gateways.*.routes[]",
    ..ROUTE_SHAPE
};
pub(super) static ROUTER_ROUTE: Keys = Keys {
    path: "routers.*.routes[]",
    ..ROUTE_SHAPE
};
pub(super) static HOST_ROUTE: Keys = Keys {
    path: "hosts.*.routes[]",
    ..ROUTE_SHAPE
};

pub(super) static RULE: Keys = Keys {
    path: "gateways.*.rules[]",
    what: "a rule",
    required: &["name", "action"],
    optional: &[
        "from",
        "to",
        "source",
        "destination",
        "services",
        "log",
        "inspect",
        "enabled",
        "reason",
        "owner",
        "ticket",
        "reviewed",
        "expires",
        "hits",
    ],
};

pub(super) static DESTINATION_TRANSLATION: Keys = Keys {
    path: "gateways.*.destination_translations[]",
    what: "a destination translation",
    required: &["name", "to_address"],
    optional: &[
        "from",
        "source",
        "destination",
        "services",
        "to_port",
        "enabled",
    ],
};

pub(super) static SOURCE_TRANSLATION: Keys = Keys {
    path: "gateways.*.source_translations[]",
    what: "a source translation",
    required: &["name", "to_address"],
    optional: &["to", "source", "destination", "services", "enabled"],
};

pub(super) static HOST: Keys = Keys {
    path: "hosts.*",
    what: "a host",
    required: &["interfaces"],
    optional: &["forwards", "default_gateway", "description", "routes"],
};

pub(super) static HOST_INTERFACE: Keys = Keys {
    path: "hosts.*.interfaces[]",
    what: "an interface",
    required: &[],
    optional: &[
        "name",
        "segment",
        "addresses",
        "shared_addresses",
        "vlan",
        "port",
    ],
};

pub(super) static SWITCH: Keys = Keys {
    path: "switches.*",
    what: "a switch",
    required: &[],
    optional: &["vlan_aware", "description", "lags", "ports"],
};

pub(super) static PORT: Keys = Keys {
    path: "switches.*.ports.*",
    what: "a port",
    required: &[],
    optional: &[
        "access",
        "untagged",
        "tagged",
        "pvid",
        "ingress_filter",
        "accept",
        "enabled",
        "isolated",
        "speed",
        "description",
    ],
};

pub(super) static LINK: Keys = Keys {
    path: "links[]",
    what: "a link",
    required: &["ends"],
    optional: &["label"],
};

pub(super) static NEED: Keys = Keys {
    path: "needs[]",
    what: "a need",
    required: &["from", "to"],
    optional: &[
        "name",
        "source",
        "destination",
        "services",
        "reason",
        "owner",
    ],
};

pub(super) static EXPECTATION: Keys = Keys {
    path: "expectations[]",
    what: "an expectation",
    required: &["name", "from", "to"],
    optional: &[
        "permit",
        "source",
        "destination",
        "services",
        "through",
        "logged",
        "inspected",
        "isolated",
        "one_way",
        "stance",
        "reason",
        "requirement",
    ],
};

pub(super) static BASELINE: Keys = Keys {
    path: "baselines.*",
    what: "a baseline",
    required: &["roles"],
    optional: &["without"],
};

pub(super) static ACCEPTED: Keys = Keys {
    path: "accepted[]",
    what: "an accepted finding",
    required: &["check", "reason", "owner", "until"],
    optional: &["subject"],
};

/// The keys of every kind of table, for tools and tests that walk the format.
pub static TABLES: &[&Keys] = &[
    &ROOT,
    &SITE,
    &ZONE,
    &SEGMENT,
    &GATEWAY,
    &GATEWAY_LAG,
    &GATEWAY_INTERFACE,
    &GATEWAY_ROUTE,
    &RULE,
    &DESTINATION_TRANSLATION,
    &SOURCE_TRANSLATION,
    &ROUTER,
    &ROUTER_LAG,
    &ROUTER_INTERFACE,
    &ROUTER_ROUTE,
    &HOST,
    &HOST_INTERFACE,
    &HOST_ROUTE,
    &SWITCH,
    &SWITCH_LAG,
    &PORT,
    &LINK,
    &NEED,
    &EXPECTATION,
    &ACCEPTED,
    &BASELINE,
];
