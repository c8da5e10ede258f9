//! Every kind of load problem.

use boundwalk_diagnostic::{Kind, Severity};

const fn error(name: &'static str, summary: &'static str) -> Kind {
    Kind {
        name,
        severity: Severity::Error,
        summary,
    }
}

const fn warning(name: &'static str, summary: &'static str) -> Kind {
    Kind {
        name,
        severity: Severity::Warning,
        summary,
    }
}

const fn note(name: &'static str, summary: &'static str) -> Kind {
    Kind {
        name,
        severity: Severity::Note,
        summary,
    }
}

// The input as a whole.
pub(super) static UNREADABLE_FILE: Kind = error("unreadable-file", "a path that can't be read");
pub(super) static LINK_LEAVES: Kind = error(
    "link-leaves-folder",
    "a symbolic link to something outside its folder",
);
pub(super) static NO_TOML_FILES: Kind = error("no-toml-files", "a folder without a TOML file");
pub(super) static NOT_UTF8: Kind = error("not-utf8", "a file that is not UTF-8 text");
pub(super) static TOO_LARGE: Kind = error("too-large", "an input past a limit of size");
pub(super) static TOO_MANY_PROBLEMS: Kind =
    note("too-many-problems", "more problems than are listed");
pub(super) static CHECK_INCOMPLETE: Kind = note(
    "check-incomplete",
    "checks put off until the syntax is right",
);
pub(super) static TOML_SYNTAX: Kind = error("toml-syntax", "text that is not TOML");
pub(super) static NESTING_TOO_DEEP: Kind =
    error("nesting-too-deep", "values nested past the limit");
pub(super) static DUPLICATE_KEY: Kind = error("duplicate-key", "a key given twice in one table");

// The shape of tables and values.
pub(super) static UNKNOWN_KEY: Kind = error("unknown-key", "a key that its table does not take");
pub(super) static MISSING_KEY: Kind = error("missing-key", "a key that must be given");
pub(super) static CONFLICTING_KEYS: Kind =
    error("conflicting-keys", "keys that exclude each other");
pub(super) static WRONG_TYPE: Kind =
    error("wrong-type", "a value of another type than the key takes");
pub(super) static EMPTY_LIST: Kind = error("empty-list", "an empty list that would match nothing");
pub(super) static BAD_WORD: Kind = error("bad-word", "a word that the key does not take");
pub(super) static BAD_NUMBER: Kind = error("bad-number", "a number outside its range");
pub(super) static NO_FILTER: Kind = error(
    "no-filter",
    "a device without rules where a gateway is meant",
);
pub(super) static UNKNOWN_BASELINE: Kind = error(
    "unknown-baseline",
    "a ready-made set, a role or a line of one that does not exist",
);
pub(super) static BAD_TRUST: Kind = error("bad-trust", "a trust outside 0 to 100");
pub(super) static BAD_DATE: Kind = error("bad-date", "a value that is no calendar day");
pub(super) static BAD_TEXT: Kind = error(
    "bad-text",
    "text that is empty, too long or holds invisible characters",
);

// Names.
pub(super) static BAD_NAME: Kind =
    error("bad-name", "a name with characters that names may not hold");
pub(super) static RESERVED_NAME: Kind =
    error("reserved-name", "a name that already means something");
pub(super) static DUPLICATE_NAME: Kind = error("duplicate-name", "a name given to two things");
pub(super) static UNKNOWN_NAME: Kind = error("unknown-name", "a name that nothing has");
pub(super) static AMBIGUOUS_NAME: Kind =
    error("ambiguous-name", "a name that two kinds of things have");
pub(super) static GROUP_CYCLE: Kind = error("group-cycle", "a group that holds itself");
pub(super) static NO_SEGMENTS: Kind = error("no-segments", "a site without a segment");

// Addresses.
pub(super) static BAD_ADDRESS: Kind = error("bad-address", "text that is no address");
pub(super) static BAD_PREFIX: Kind = error("bad-prefix", "text that is no prefix");
pub(super) static BAD_RANGE: Kind = error("bad-range", "text that is no range");
pub(super) static HOST_BITS: Kind = error("host-bits", "a prefix with bits set below its length");
pub(super) static REVERSED_RANGE: Kind = error("reversed-range", "a range whose end comes first");
pub(super) static MIXED_FAMILIES: Kind = error(
    "mixed-families",
    "IPv4 where IPv6 belongs, or the other way round",
);
pub(super) static UNUSABLE_ADDRESS: Kind =
    error("unusable-address", "an address that no interface can have");
pub(super) static NETWORK_ADDRESS: Kind = error(
    "network-address",
    "a network or broadcast address given to an interface",
);
pub(super) static NO_ADDRESSES: Kind = error("no-addresses", "a name that stands for no address");
pub(super) static EXTERNAL_ADDRESSES: Kind = error(
    "external-addresses",
    "an external segment used as a list of addresses",
);
pub(super) static ADDRESS_TWICE: Kind = error(
    "own-address-twice",
    "an address that two interfaces of one device have",
);
pub(super) static ADDRESS_OUTSIDE_PREFIX: Kind = error(
    "address-outside-prefix",
    "an address outside the prefixes of its segment",
);
pub(super) static PREFIX_LENGTH_DIFFERS: Kind = warning(
    "prefix-length-differs",
    "an interface with another prefix length than its segment",
);

pub(super) static NAMES_LOOK_ALIKE: Kind =
    warning("names-look-alike", "two names that differ and look alike");

// Services.
pub(super) static BAD_SERVICE: Kind = error("bad-service", "text that is no service");
pub(super) static BAD_PROTOCOL: Kind = error(
    "bad-protocol",
    "a protocol that does not exist or takes no such detail",
);
pub(super) static BAD_PORT: Kind = error("bad-port", "text that is no port");
pub(super) static BAD_ICMP: Kind = error("bad-icmp", "text that is no message type and code");
pub(super) static HIDES_BUILT_IN: Kind = warning(
    "hides-built-in",
    "a service that gives a built-in name another meaning",
);

// Segments and VLANs.
pub(super) static BAD_VLAN: Kind = error("bad-vlan", "a VLAN outside 1 to 4094");
pub(super) static VLAN_RESERVED: Kind = error(
    "vlan-reserved",
    "a VLAN identifier that the standard reserves",
);
pub(super) static SEGMENT_WITHOUT_VLAN: Kind = error(
    "segment-without-vlan",
    "a segment without VLAN where a VLAN is needed",
);
pub(super) static ZONE_EMPTY: Kind = warning("zone-empty", "a zone without a segment");
pub(super) static SEGMENT_UNROUTED: Kind = note(
    "segment-unrouted",
    "a segment that no gateway or router is on",
);

// Gateways, routers and hosts.
pub(super) static SEGMENT_TWICE: Kind = warning(
    "segment-twice",
    "a router with two interfaces on one segment",
);
pub(super) static TAG_TWICE: Kind = error("tag-twice", "two interfaces with one tag on one port");
pub(super) static TAG_DIFFERS: Kind = warning(
    "tag-differs",
    "an interface with another tag than its segment",
);
pub(super) static SOURCE_CHECK_IDLE: Kind = warning(
    "source-check-idle",
    "a source check on an interface without addresses",
);
pub(super) static NEXT_HOP_NOT_ON_LINK: Kind = error(
    "next-hop-not-on-link",
    "a next hop that no interface reaches directly",
);
pub(super) static NEXT_HOP_AMBIGUOUS: Kind = error(
    "next-hop-ambiguous",
    "a next hop that several interfaces could reach",
);
pub(super) static NEXT_HOP_IS_OWN: Kind =
    error("next-hop-is-own", "a next hop that is the device itself");
pub(super) static NEXT_HOP_IDLE: Kind = warning(
    "next-hop-idle",
    "a next hop that no forwarding device of the site has",
);
pub(super) static ROUTE_TWICE: Kind = warning(
    "route-twice",
    "two routes for one destination, of which none is said to be the backup",
);
pub(super) static BAD_PREFERENCE: Kind = error("bad-preference", "a route preference below 1");

// Rules, translations, needs and expectations.
pub(super) static MATCHES_NOTHING: Kind =
    error("matches-nothing", "a line that no packet can match");
pub(super) static BAD_PARTY: Kind = error(
    "bad-party",
    "\"gateway\" where only zones and segments may stand",
);
pub(super) static PARTY_NOT_HERE: Kind = warning(
    "party-not-here",
    "a zone or segment that the gateway is not on",
);
pub(super) static TRANSLATION_STATELESS: Kind = error(
    "translation-stateless",
    "a translation on a gateway that keeps no state",
);
pub(super) static PORT_WITHOUT_PORTS: Kind = error(
    "port-without-ports",
    "a port translation of services without ports",
);
pub(super) static ANY_DESTINATION: Kind = warning(
    "any-destination",
    "a destination translation of every destination",
);
pub(super) static INTERFACE_WITHOUT_FAMILY: Kind = warning(
    "interface-without-family",
    "a translation to an address that the interface does not have",
);
pub(super) static SAME_SEGMENT_ONLY: Kind = warning(
    "same-segment-only",
    "a need or expectation inside one segment",
);
pub(super) static UNUSED_NAME: Kind = note("unused-name", "a group or service that nothing uses");

// Switches and cables.
pub(super) static PORT_TWICE: Kind = error("port-twice", "a port described twice");
pub(super) static LAG_PORT_TWICE: Kind =
    error("lag-port-twice", "a port that is a member of two LAGs");
pub(super) static LAG_MEMBER_VLANS: Kind = error(
    "lag-member-vlans",
    "a member of a LAG with settings of its own",
);
pub(super) static BAD_SPEED: Kind = error("bad-speed", "text that is no speed");
pub(super) static LAG_WITHOUT_VLANS: Kind =
    warning("lag-without-vlans", "a LAG that the file puts into no VLAN");
pub(super) static VLAN_BOTH: Kind =
    error("vlan-both", "a VLAN both tagged and untagged on one port");
pub(super) static VLAN_UNAWARE: Kind = error("vlan-unaware", "VLANs on a switch that knows none");
pub(super) static LINK_END_TWICE: Kind = error("link-end-twice", "a port with two cables");

/// Every kind of problem that loading can find.
pub static KINDS: &[&Kind] = &[
    &UNREADABLE_FILE,
    &LINK_LEAVES,
    &NO_TOML_FILES,
    &NOT_UTF8,
    &TOO_LARGE,
    &TOO_MANY_PROBLEMS,
    &CHECK_INCOMPLETE,
    &TOML_SYNTAX,
    &NESTING_TOO_DEEP,
    &DUPLICATE_KEY,
    &UNKNOWN_KEY,
    &MISSING_KEY,
    &CONFLICTING_KEYS,
    &WRONG_TYPE,
    &EMPTY_LIST,
    &BAD_WORD,
    &BAD_NUMBER,
    &NO_FILTER,
    &UNKNOWN_BASELINE,
    &BAD_TRUST,
    &BAD_DATE,
    &BAD_TEXT,
    &BAD_NAME,
    &RESERVED_NAME,
    &DUPLICATE_NAME,
    &UNKNOWN_NAME,
    &AMBIGUOUS_NAME,
    &GROUP_CYCLE,
    &NO_SEGMENTS,
    &BAD_ADDRESS,
    &BAD_PREFIX,
    &BAD_RANGE,
    &HOST_BITS,
    &REVERSED_RANGE,
    &MIXED_FAMILIES,
    &UNUSABLE_ADDRESS,
    &NETWORK_ADDRESS,
    &NO_ADDRESSES,
    &EXTERNAL_ADDRESSES,
    &ADDRESS_TWICE,
    &ADDRESS_OUTSIDE_PREFIX,
    &PREFIX_LENGTH_DIFFERS,
    &BAD_SERVICE,
    &BAD_PROTOCOL,
    &BAD_PORT,
    &BAD_ICMP,
    &NAMES_LOOK_ALIKE,
    &HIDES_BUILT_IN,
    &BAD_VLAN,
    &VLAN_RESERVED,
    &SEGMENT_WITHOUT_VLAN,
    &ZONE_EMPTY,
    &SEGMENT_UNROUTED,
    &SEGMENT_TWICE,
    &TAG_TWICE,
    &TAG_DIFFERS,
    &SOURCE_CHECK_IDLE,
    &NEXT_HOP_NOT_ON_LINK,
    &NEXT_HOP_AMBIGUOUS,
    &NEXT_HOP_IS_OWN,
    &NEXT_HOP_IDLE,
    &ROUTE_TWICE,
    &BAD_PREFERENCE,
    &MATCHES_NOTHING,
    &BAD_PARTY,
    &PARTY_NOT_HERE,
    &TRANSLATION_STATELESS,
    &PORT_WITHOUT_PORTS,
    &ANY_DESTINATION,
    &INTERFACE_WITHOUT_FAMILY,
    &SAME_SEGMENT_ONLY,
    &UNUSED_NAME,
    &PORT_TWICE,
    &LAG_PORT_TWICE,
    &LAG_MEMBER_VLANS,
    &BAD_SPEED,
    &LAG_WITHOUT_VLANS,
    &VLAN_BOTH,
    &VLAN_UNAWARE,
    &LINK_END_TWICE,
];

/// Kinds whose truth depends on one value alone. After a mistake of syntax part of a file may not have been
/// read; every other kind could then be a consequence of that mistake.
pub(super) static LOCAL: &[&Kind] = &[
    &UNREADABLE_FILE,
    &LINK_LEAVES,
    &NO_TOML_FILES,
    &NOT_UTF8,
    &TOO_LARGE,
    &TOML_SYNTAX,
    &NESTING_TOO_DEEP,
    &DUPLICATE_KEY,
    &UNKNOWN_KEY,
    &WRONG_TYPE,
    &EMPTY_LIST,
    &BAD_WORD,
    &BAD_NUMBER,
    &BAD_TRUST,
    &BAD_DATE,
    &BAD_TEXT,
    &BAD_NAME,
    &RESERVED_NAME,
    &BAD_PREFERENCE,
    &BAD_ADDRESS,
    &BAD_PREFIX,
    &BAD_RANGE,
    &HOST_BITS,
    &REVERSED_RANGE,
    &UNUSABLE_ADDRESS,
    &NETWORK_ADDRESS,
    &BAD_SERVICE,
    &BAD_PROTOCOL,
    &BAD_PORT,
    &BAD_ICMP,
    &BAD_VLAN,
    &VLAN_RESERVED,
    &BAD_PARTY,
];
