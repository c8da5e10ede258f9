//! Floor 5: what is wrong, weak or worth knowing in a site that loads. One file a check.
//!
//! [`CHECKS`] is the list of all of them; [`run`] runs them. A check judges what the floors below compute; it
//! reads no text and prints nothing. Mistakes that keep a site from loading (a reserved VLAN identifier, a name
//! that nothing has ...) are problems of [`load`](boundwalk_load), not findings.

mod accept;
mod acceptance;
mod acceptance_expired;
mod acceptance_stale;
mod acceptance_unknown;
mod address_twice;
mod addresses_wide;
mod answer_unknown;
mod any_destination;
mod baseline;
mod bypass_open;
mod cable_label_differs;
mod changed;
mod clear_text_across_zones;
mod clear_text_services;
mod default_gateway_unknown;
mod default_permit;
mod default_vlan_in_use;
mod deny_unlogged;
mod expectation_broken;
mod expectation_vacuous;
mod extent;
mod fingerprint;
mod gateway_tag_missing;
mod gateway_unprotected;
mod hides_built_in;
mod host_forwards;
mod host_off_segment;
mod icmpv6_needed_denied;
mod in_a_row;
mod ingress_filter_off;
mod interface_without_family;
mod ipv6_twin_missing;
mod ipv6_uncovered;
mod isolated_vlan_on_trunk;
mod isolation_broken;
mod lag_members_differ;
mod lag_never_active;
mod lag_one_end;
mod lag_without_vlans;
mod lags;
mod management_exposed;
mod measured;
mod names_look_alike;
mod native_vlan_differs;
mod need_unmet;
mod next_hop_idle;
mod no_way_back;
mod noticed;
mod object_spans_zones;
mod party_not_here;
mod permit;
mod permit_any_destination;
mod permit_any_service;
mod permit_any_source;
mod permit_cut_off_before;
mod permit_denied_further_on;
mod permit_exceeds_needs;
mod permit_unlogged;
mod permit_upward;
mod permits;
mod port_without_vlan;
mod ports_wide;
mod prefix_length_differs;
mod prefixes_overlap;
mod private_destination_leaves;
mod pvid_not_untagged;
mod reason_missing;
mod report;
mod review_overdue;
mod reviewed;
mod route_twice;
mod rule_asked;
mod rule_dead;
mod rule_disabled;
mod rule_expired;
mod rule_generalises;
mod rule_irrelevant;
mod rule_redundant;
mod rule_repeated;
mod rule_unhit;
mod rules_correlated;
mod same_segment_only;
mod segment_twice;
mod segment_unrouted;
mod segments_joined;
mod segments_share_vlan;
mod several_homes;
mod shared_address_alone;
mod site_not_modelled_here;
mod source_check_idle;
mod source_check_off;
mod tag_differs;
mod tags_on_access_port;
mod too_big_denied;
mod translation;
mod translation_dead;
mod translation_unanswered;
mod translation_undelivered;
mod translations;
mod trunk_vlan_one_end;
mod trunk_vlan_unused;
mod trust;
mod two_tag_hop;
mod untagged_in_several;
mod unused_name;
mod unused_port_live;
mod view;
mod words;
mod zone_empty;
mod zone_pairs;
mod zones_around;

pub use accept::{Judged, accept};
pub use baseline::{Baseline, JudgedFindings, KnownFinding};
pub use changed::changed;
pub use fingerprint::{Fingerprint, fingerprints};

use boundwalk_analysis::rules::{GatewayReview, gateway_reviews};
use boundwalk_diagnostic::{Check, Finding};
use boundwalk_forwarding::Network;

use report::FindingReport;
use view::CheckContext;

/// What a check is about.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[non_exhaustive]
pub enum Area {
    /// Switches, ports, cables, hosts.
    Wiring,
    /// Addresses, routes, what gateways let in, messages that a family needs.
    Routing,
    /// What rules do and do not do.
    RuleEffect,
    /// Rules that permit more than there is or is safe.
    RuleWidth,
    /// Rules that nobody looked after.
    RuleUpkeep,
    /// What people need and expect.
    Intent,
    /// The site as a whole.
    Whole,
}

impl Area {
    /// Whether it is about the rules of a gateway.
    pub fn is_rules(self) -> bool {
        matches!(self, Self::RuleEffect | Self::RuleWidth | Self::RuleUpkeep)
    }
}

/// A check and what looks for it.
#[non_exhaustive]
pub struct Registered {
    /// What it is.
    pub check: &'static Check,
    /// What it is about.
    pub area: Area,
    find: fn(&CheckContext<'_>, &mut FindingReport),
}

/// The row of a check: its file, and what it is about.
macro_rules! registered {
    ($file:ident, $area:ident) => {
        Registered {
            check: &$file::CHECK,
            area: Area::$area,
            find: $file::find,
        }
    };
}

/// Every check, by name.
pub static CHECKS: &[Registered] = &[
    registered!(acceptance_expired, Whole),
    registered!(acceptance_stale, Whole),
    registered!(acceptance_unknown, Whole),
    registered!(address_twice, Routing),
    registered!(addresses_wide, RuleWidth),
    registered!(answer_unknown, Whole),
    registered!(any_destination, Routing),
    registered!(bypass_open, Whole),
    registered!(cable_label_differs, Wiring),
    registered!(clear_text_across_zones, RuleWidth),
    registered!(default_gateway_unknown, Routing),
    registered!(default_permit, RuleWidth),
    registered!(default_vlan_in_use, Wiring),
    registered!(deny_unlogged, RuleUpkeep),
    registered!(expectation_broken, Intent),
    registered!(expectation_vacuous, Intent),
    registered!(gateway_tag_missing, Wiring),
    registered!(gateway_unprotected, RuleWidth),
    registered!(hides_built_in, RuleUpkeep),
    registered!(host_forwards, Wiring),
    registered!(host_off_segment, Wiring),
    registered!(icmpv6_needed_denied, Routing),
    registered!(ingress_filter_off, Wiring),
    registered!(interface_without_family, Routing),
    registered!(ipv6_twin_missing, RuleWidth),
    registered!(ipv6_uncovered, Routing),
    registered!(isolated_vlan_on_trunk, Wiring),
    registered!(isolation_broken, Whole),
    registered!(lag_members_differ, Wiring),
    registered!(lag_never_active, Wiring),
    registered!(lag_one_end, Wiring),
    registered!(lag_without_vlans, Wiring),
    registered!(management_exposed, RuleWidth),
    registered!(names_look_alike, Whole),
    registered!(native_vlan_differs, Wiring),
    registered!(need_unmet, Intent),
    registered!(next_hop_idle, Routing),
    registered!(no_way_back, Routing),
    registered!(object_spans_zones, RuleWidth),
    registered!(party_not_here, RuleEffect),
    registered!(permit_any_destination, RuleWidth),
    registered!(permit_any_service, RuleWidth),
    registered!(permit_any_source, RuleWidth),
    registered!(permit_cut_off_before, RuleEffect),
    registered!(permit_denied_further_on, RuleEffect),
    registered!(permit_exceeds_needs, Intent),
    registered!(permit_unlogged, RuleUpkeep),
    registered!(permit_upward, RuleWidth),
    registered!(port_without_vlan, Wiring),
    registered!(ports_wide, RuleWidth),
    registered!(prefix_length_differs, Routing),
    registered!(prefixes_overlap, Routing),
    registered!(private_destination_leaves, Routing),
    registered!(pvid_not_untagged, Wiring),
    registered!(reason_missing, RuleUpkeep),
    registered!(review_overdue, RuleUpkeep),
    registered!(route_twice, Routing),
    registered!(rule_dead, RuleEffect),
    registered!(rule_disabled, RuleUpkeep),
    registered!(rule_expired, RuleUpkeep),
    registered!(rule_generalises, RuleEffect),
    registered!(rule_irrelevant, RuleEffect),
    registered!(rule_redundant, RuleEffect),
    registered!(rule_repeated, RuleEffect),
    registered!(rule_unhit, RuleUpkeep),
    registered!(rules_correlated, RuleEffect),
    registered!(same_segment_only, Intent),
    registered!(segment_twice, Routing),
    registered!(segment_unrouted, Routing),
    registered!(segments_joined, Wiring),
    registered!(segments_share_vlan, Wiring),
    registered!(several_homes, Wiring),
    registered!(shared_address_alone, Routing),
    registered!(site_not_modelled_here, Whole),
    registered!(source_check_idle, Routing),
    registered!(source_check_off, Routing),
    registered!(tag_differs, Wiring),
    registered!(tags_on_access_port, Wiring),
    registered!(too_big_denied, Routing),
    registered!(translation_dead, Routing),
    registered!(translation_unanswered, Routing),
    registered!(translation_undelivered, Routing),
    registered!(trunk_vlan_one_end, Wiring),
    registered!(trunk_vlan_unused, Wiring),
    registered!(two_tag_hop, Wiring),
    registered!(untagged_in_several, Wiring),
    registered!(unused_name, RuleUpkeep),
    registered!(unused_port_live, Wiring),
    registered!(zone_empty, Whole),
];

/// Runs every check.
///
/// Findings come gravest first, then by place, then by name; ports described by one line of the file share
/// one finding. Cost: two matrices by segment, the review of each rule list, and for
/// each cable between switches and each VLAN on it the ports behind it.
#[must_use]
pub fn run(network: &Network<'_>) -> Vec<Finding> {
    run_some(network, &gateway_reviews(network), |_| true)
}

/// Runs the checks of some areas, with the reviews of all gateways.
#[must_use]
pub fn run_some<'n>(
    network: &'n Network<'n>,
    gateway_reviews: &'n [GatewayReview<'n>],
    wanted: impl Fn(Area) -> bool,
) -> Vec<Finding> {
    let names = CHECKS.iter().map(|known| known.check.name);
    let view = CheckContext::new(network, gateway_reviews, names.collect());
    let mut report = FindingReport::default();
    let asked = CHECKS.iter().filter(|one| wanted(one.area));
    // What others left open is asked when they have run, and those about accepted findings judge what all found.
    let rank = |one: &&Registered| match one.check.name {
        name if acceptance::OWN.contains(&name) => 2,
        name if name == answer_unknown::CHECK.name => 1,
        _ => 0,
    };
    let mut asked: Vec<&Registered> = asked.collect();
    asked.sort_by_key(rank);
    for registered in asked {
        report.begin(registered.check);
        (registered.find)(&view, &mut report);
    }
    report.finish()
}

/// What a check is about.
pub fn area(check: &Check) -> Option<Area> {
    let mut checks = CHECKS.iter();
    let own = checks.find(|registered| registered.check == check);
    own.map(|registered| registered.area)
}

/// The check of a name.
pub fn find(name: &str) -> Option<&'static Check> {
    let mut checks = CHECKS.iter().map(|registered| registered.check);
    checks.find(|check| check.name == name)
}
