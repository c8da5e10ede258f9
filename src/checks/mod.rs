//! Floor 5: what is wrong, weak or worth knowing in a site that loads. One file a check.
//!
//! [`CHECKS`] is the list of all of them; [`run`] runs them. A check judges what the floors below compute; it
//! reads no text and prints nothing. Mistakes that keep a site from loading (a reserved VLAN identifier, a name
//! that nothing has ...) are problems of [`load`](crate::load), not findings.

mod accept;
mod acceptance;
mod acceptance_expired;
mod acceptance_stale;
mod acceptance_unknown;
mod address_twice;
mod addresses_wide;
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
mod host_forwards;
mod host_off_segment;
mod icmpv6_needed_denied;
mod in_a_row;
mod ingress_filter_off;
mod ipv6_twin_missing;
mod ipv6_uncovered;
mod isolated_vlan_on_trunk;
mod isolation_broken;
mod lag_members_differ;
mod lag_never_active;
mod lag_one_end;
mod lags;
mod management_exposed;
mod measured;
mod native_vlan_differs;
mod need_unmet;
mod no_way_back;
mod object_spans_zones;
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
mod prefixes_overlap;
mod private_destination_leaves;
mod pvid_not_untagged;
mod reason_missing;
mod report;
mod review_overdue;
mod reviewed;
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
mod segments_joined;
mod segments_share_vlan;
mod several_homes;
mod shared_address_alone;
mod site_not_modelled_here;
mod source_check_off;
mod tags_on_access_port;
mod too_big_denied;
mod translation_dead;
mod translation_unanswered;
mod translation_undelivered;
mod translations;
mod trunk_vlan_one_end;
mod trunk_vlan_unused;
mod trust;
mod two_tag_hop;
mod untagged_in_several;
mod unused_port_live;
mod view;
mod words;
mod zone_pairs;

use crate::analysis::rules::{RuleBook, books};
use crate::diagnostic::{Check, Finding};
use crate::forwarding::Network;

pub use accept::{Judged, accept};
pub use baseline::{Baseline, Known, Standing};
pub use changed::changed;
pub use fingerprint::{Fingerprint, fingerprints};

use report::Report;
use view::View;

/// What a check is about.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
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
pub struct Registered {
    /// What it is.
    pub check: &'static Check,
    /// What it is about.
    pub area: Area,
    find: fn(&View<'_>, &mut Report),
}

/// Every check, by name.
pub static CHECKS: &[Registered] = &[
    Registered {
        check: &acceptance_expired::CHECK,
        area: Area::Whole,
        find: acceptance_expired::find,
    },
    Registered {
        check: &acceptance_stale::CHECK,
        area: Area::Whole,
        find: acceptance_stale::find,
    },
    Registered {
        check: &acceptance_unknown::CHECK,
        area: Area::Whole,
        find: acceptance_unknown::find,
    },
    Registered {
        check: &address_twice::CHECK,
        area: Area::Routing,
        find: address_twice::find,
    },
    Registered {
        check: &addresses_wide::CHECK,
        area: Area::RuleWidth,
        find: addresses_wide::find,
    },
    Registered {
        check: &bypass_open::CHECK,
        area: Area::Whole,
        find: bypass_open::find,
    },
    Registered {
        check: &cable_label_differs::CHECK,
        area: Area::Wiring,
        find: cable_label_differs::find,
    },
    Registered {
        check: &clear_text_across_zones::CHECK,
        area: Area::RuleWidth,
        find: clear_text_across_zones::find,
    },
    Registered {
        check: &default_gateway_unknown::CHECK,
        area: Area::Routing,
        find: default_gateway_unknown::find,
    },
    Registered {
        check: &default_permit::CHECK,
        area: Area::RuleWidth,
        find: default_permit::find,
    },
    Registered {
        check: &default_vlan_in_use::CHECK,
        area: Area::Wiring,
        find: default_vlan_in_use::find,
    },
    Registered {
        check: &deny_unlogged::CHECK,
        area: Area::RuleUpkeep,
        find: deny_unlogged::find,
    },
    Registered {
        check: &expectation_broken::CHECK,
        area: Area::Intent,
        find: expectation_broken::find,
    },
    Registered {
        check: &expectation_vacuous::CHECK,
        area: Area::Intent,
        find: expectation_vacuous::find,
    },
    Registered {
        check: &gateway_tag_missing::CHECK,
        area: Area::Wiring,
        find: gateway_tag_missing::find,
    },
    Registered {
        check: &gateway_unprotected::CHECK,
        area: Area::RuleWidth,
        find: gateway_unprotected::find,
    },
    Registered {
        check: &host_forwards::CHECK,
        area: Area::Wiring,
        find: host_forwards::find,
    },
    Registered {
        check: &host_off_segment::CHECK,
        area: Area::Wiring,
        find: host_off_segment::find,
    },
    Registered {
        check: &icmpv6_needed_denied::CHECK,
        area: Area::Routing,
        find: icmpv6_needed_denied::find,
    },
    Registered {
        check: &ingress_filter_off::CHECK,
        area: Area::Wiring,
        find: ingress_filter_off::find,
    },
    Registered {
        check: &ipv6_twin_missing::CHECK,
        area: Area::RuleWidth,
        find: ipv6_twin_missing::find,
    },
    Registered {
        check: &ipv6_uncovered::CHECK,
        area: Area::Routing,
        find: ipv6_uncovered::find,
    },
    Registered {
        check: &isolated_vlan_on_trunk::CHECK,
        area: Area::Wiring,
        find: isolated_vlan_on_trunk::find,
    },
    Registered {
        check: &isolation_broken::CHECK,
        area: Area::Whole,
        find: isolation_broken::find,
    },
    Registered {
        check: &lag_members_differ::CHECK,
        area: Area::Wiring,
        find: lag_members_differ::find,
    },
    Registered {
        check: &lag_never_active::CHECK,
        area: Area::Wiring,
        find: lag_never_active::find,
    },
    Registered {
        check: &lag_one_end::CHECK,
        area: Area::Wiring,
        find: lag_one_end::find,
    },
    Registered {
        check: &management_exposed::CHECK,
        area: Area::RuleWidth,
        find: management_exposed::find,
    },
    Registered {
        check: &native_vlan_differs::CHECK,
        area: Area::Wiring,
        find: native_vlan_differs::find,
    },
    Registered {
        check: &need_unmet::CHECK,
        area: Area::Intent,
        find: need_unmet::find,
    },
    Registered {
        check: &no_way_back::CHECK,
        area: Area::Routing,
        find: no_way_back::find,
    },
    Registered {
        check: &object_spans_zones::CHECK,
        area: Area::RuleWidth,
        find: object_spans_zones::find,
    },
    Registered {
        check: &permit_any_destination::CHECK,
        area: Area::RuleWidth,
        find: permit_any_destination::find,
    },
    Registered {
        check: &permit_any_service::CHECK,
        area: Area::RuleWidth,
        find: permit_any_service::find,
    },
    Registered {
        check: &permit_any_source::CHECK,
        area: Area::RuleWidth,
        find: permit_any_source::find,
    },
    Registered {
        check: &permit_cut_off_before::CHECK,
        area: Area::RuleEffect,
        find: permit_cut_off_before::find,
    },
    Registered {
        check: &permit_denied_further_on::CHECK,
        area: Area::RuleEffect,
        find: permit_denied_further_on::find,
    },
    Registered {
        check: &permit_exceeds_needs::CHECK,
        area: Area::Intent,
        find: permit_exceeds_needs::find,
    },
    Registered {
        check: &permit_unlogged::CHECK,
        area: Area::RuleUpkeep,
        find: permit_unlogged::find,
    },
    Registered {
        check: &permit_upward::CHECK,
        area: Area::RuleWidth,
        find: permit_upward::find,
    },
    Registered {
        check: &port_without_vlan::CHECK,
        area: Area::Wiring,
        find: port_without_vlan::find,
    },
    Registered {
        check: &ports_wide::CHECK,
        area: Area::RuleWidth,
        find: ports_wide::find,
    },
    Registered {
        check: &prefixes_overlap::CHECK,
        area: Area::Routing,
        find: prefixes_overlap::find,
    },
    Registered {
        check: &private_destination_leaves::CHECK,
        area: Area::Routing,
        find: private_destination_leaves::find,
    },
    Registered {
        check: &pvid_not_untagged::CHECK,
        area: Area::Wiring,
        find: pvid_not_untagged::find,
    },
    Registered {
        check: &reason_missing::CHECK,
        area: Area::RuleUpkeep,
        find: reason_missing::find,
    },
    Registered {
        check: &review_overdue::CHECK,
        area: Area::RuleUpkeep,
        find: review_overdue::find,
    },
    Registered {
        check: &rule_dead::CHECK,
        area: Area::RuleEffect,
        find: rule_dead::find,
    },
    Registered {
        check: &rule_disabled::CHECK,
        area: Area::RuleUpkeep,
        find: rule_disabled::find,
    },
    Registered {
        check: &rule_expired::CHECK,
        area: Area::RuleUpkeep,
        find: rule_expired::find,
    },
    Registered {
        check: &rule_generalises::CHECK,
        area: Area::RuleEffect,
        find: rule_generalises::find,
    },
    Registered {
        check: &rule_irrelevant::CHECK,
        area: Area::RuleEffect,
        find: rule_irrelevant::find,
    },
    Registered {
        check: &rule_redundant::CHECK,
        area: Area::RuleEffect,
        find: rule_redundant::find,
    },
    Registered {
        check: &rule_repeated::CHECK,
        area: Area::RuleEffect,
        find: rule_repeated::find,
    },
    Registered {
        check: &rule_unhit::CHECK,
        area: Area::RuleUpkeep,
        find: rule_unhit::find,
    },
    Registered {
        check: &rules_correlated::CHECK,
        area: Area::RuleEffect,
        find: rules_correlated::find,
    },
    Registered {
        check: &segments_joined::CHECK,
        area: Area::Wiring,
        find: segments_joined::find,
    },
    Registered {
        check: &segments_share_vlan::CHECK,
        area: Area::Wiring,
        find: segments_share_vlan::find,
    },
    Registered {
        check: &several_homes::CHECK,
        area: Area::Wiring,
        find: several_homes::find,
    },
    Registered {
        check: &shared_address_alone::CHECK,
        area: Area::Routing,
        find: shared_address_alone::find,
    },
    Registered {
        check: &site_not_modelled_here::CHECK,
        area: Area::Whole,
        find: site_not_modelled_here::find,
    },
    Registered {
        check: &source_check_off::CHECK,
        area: Area::Routing,
        find: source_check_off::find,
    },
    Registered {
        check: &tags_on_access_port::CHECK,
        area: Area::Wiring,
        find: tags_on_access_port::find,
    },
    Registered {
        check: &too_big_denied::CHECK,
        area: Area::Routing,
        find: too_big_denied::find,
    },
    Registered {
        check: &translation_dead::CHECK,
        area: Area::Routing,
        find: translation_dead::find,
    },
    Registered {
        check: &translation_unanswered::CHECK,
        area: Area::Routing,
        find: translation_unanswered::find,
    },
    Registered {
        check: &translation_undelivered::CHECK,
        area: Area::Routing,
        find: translation_undelivered::find,
    },
    Registered {
        check: &trunk_vlan_one_end::CHECK,
        area: Area::Wiring,
        find: trunk_vlan_one_end::find,
    },
    Registered {
        check: &trunk_vlan_unused::CHECK,
        area: Area::Wiring,
        find: trunk_vlan_unused::find,
    },
    Registered {
        check: &two_tag_hop::CHECK,
        area: Area::Wiring,
        find: two_tag_hop::find,
    },
    Registered {
        check: &untagged_in_several::CHECK,
        area: Area::Wiring,
        find: untagged_in_several::find,
    },
    Registered {
        check: &unused_port_live::CHECK,
        area: Area::Wiring,
        find: unused_port_live::find,
    },
];

/// Runs every check.
///
/// Findings come gravest first, then by place, then by name; what is the matter with several ports that one
/// line of the file describes is one finding. Cost: two matrices by segment, the review of each rule list, and for
/// each cable between switches and each VLAN on it the ports behind it.
pub fn run(network: &Network<'_>) -> Vec<Finding> {
    run_some(network, &books(network), |_| true)
}

/// Runs the checks of some areas, with the books of all gateways.
pub fn run_some<'n>(
    network: &'n Network<'n>,
    books: &'n [RuleBook<'n>],
    wanted: impl Fn(Area) -> bool,
) -> Vec<Finding> {
    let view = View::new(network, books);
    let mut report = Report::default();
    let asked = CHECKS.iter().filter(|one| wanted(one.area));
    // Those about accepted findings judge what the others found.
    let (last, first): (Vec<_>, Vec<_>) =
        asked.partition(|one| acceptance::OWN.contains(&one.check.name));
    for registered in first.into_iter().chain(last) {
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
