//! Floor 5: what is wrong, weak or worth knowing in a site that loads. One file a check.
//!
//! [`CHECKS`] is the list of all of them; [`run`] runs them. A check judges what the floors below compute; it
//! reads no text and prints nothing. Mistakes that keep a site from loading (a reserved VLAN identifier,
//! overlapping prefixes, an address given twice ...) are problems of [`load`](crate::load), not findings.

mod bypass_open;
mod cable_label_differs;
mod default_vlan_in_use;
mod gateway_tag_missing;
mod host_forwards;
mod host_off_segment;
mod icmpv6_needed_denied;
mod ingress_filter_off;
mod ipv6_uncovered;
mod isolated_vlan_on_trunk;
mod isolation_broken;
mod lag_members_differ;
mod lag_never_active;
mod lag_one_end;
mod native_vlan_differs;
mod no_way_back;
mod port_without_vlan;
mod pvid_not_untagged;
mod report;
mod reviewed;
mod rule_asked;
mod rules_correlated;
mod rule_repeated;
mod rule_redundant;
mod rule_irrelevant;
mod rule_generalises;
mod rule_dead;
mod several_homes;
mod site_not_modelled_here;
mod source_check_off;
mod tags_on_access_port;
mod too_big_denied;
mod trunk_vlan_one_end;
mod trunk_vlan_unused;
mod two_tag_hop;
mod untagged_in_several;
mod unused_port_live;
mod view;
mod wiring;
mod words;

use crate::diagnostic::{Check, Finding};
use crate::forwarding::Network;

use report::Report;
use view::View;

/// A check and what looks for it.
pub struct Registered {
    /// What it is.
    pub check: &'static Check,
    find: fn(&View<'_>, &mut Report),
}

/// Every check, by name.
pub static CHECKS: &[Registered] = &[
    Registered {
        check: &bypass_open::CHECK,
        find: bypass_open::find,
    },
    Registered {
        check: &cable_label_differs::CHECK,
        find: cable_label_differs::find,
    },
    Registered {
        check: &default_vlan_in_use::CHECK,
        find: default_vlan_in_use::find,
    },
    Registered {
        check: &gateway_tag_missing::CHECK,
        find: gateway_tag_missing::find,
    },
    Registered {
        check: &host_forwards::CHECK,
        find: host_forwards::find,
    },
    Registered {
        check: &host_off_segment::CHECK,
        find: host_off_segment::find,
    },
    Registered {
        check: &icmpv6_needed_denied::CHECK,
        find: icmpv6_needed_denied::find,
    },
    Registered {
        check: &ingress_filter_off::CHECK,
        find: ingress_filter_off::find,
    },
    Registered {
        check: &ipv6_uncovered::CHECK,
        find: ipv6_uncovered::find,
    },
    Registered {
        check: &isolated_vlan_on_trunk::CHECK,
        find: isolated_vlan_on_trunk::find,
    },
    Registered {
        check: &isolation_broken::CHECK,
        find: isolation_broken::find,
    },
    Registered {
        check: &lag_members_differ::CHECK,
        find: lag_members_differ::find,
    },
    Registered {
        check: &lag_never_active::CHECK,
        find: lag_never_active::find,
    },
    Registered {
        check: &lag_one_end::CHECK,
        find: lag_one_end::find,
    },
    Registered {
        check: &native_vlan_differs::CHECK,
        find: native_vlan_differs::find,
    },
    Registered {
        check: &no_way_back::CHECK,
        find: no_way_back::find,
    },
    Registered {
        check: &port_without_vlan::CHECK,
        find: port_without_vlan::find,
    },
    Registered {
        check: &pvid_not_untagged::CHECK,
        find: pvid_not_untagged::find,
    },
    Registered {
        check: &rule_dead::CHECK,
        find: rule_dead::find,
    },
    Registered {
        check: &rule_generalises::CHECK,
        find: rule_generalises::find,
    },
    Registered {
        check: &rule_irrelevant::CHECK,
        find: rule_irrelevant::find,
    },
    Registered {
        check: &rule_redundant::CHECK,
        find: rule_redundant::find,
    },
    Registered {
        check: &rule_repeated::CHECK,
        find: rule_repeated::find,
    },
    Registered {
        check: &rules_correlated::CHECK,
        find: rules_correlated::find,
    },
    Registered {
        check: &several_homes::CHECK,
        find: several_homes::find,
    },
    Registered {
        check: &site_not_modelled_here::CHECK,
        find: site_not_modelled_here::find,
    },
    Registered {
        check: &source_check_off::CHECK,
        find: source_check_off::find,
    },
    Registered {
        check: &tags_on_access_port::CHECK,
        find: tags_on_access_port::find,
    },
    Registered {
        check: &too_big_denied::CHECK,
        find: too_big_denied::find,
    },
    Registered {
        check: &trunk_vlan_one_end::CHECK,
        find: trunk_vlan_one_end::find,
    },
    Registered {
        check: &trunk_vlan_unused::CHECK,
        find: trunk_vlan_unused::find,
    },
    Registered {
        check: &two_tag_hop::CHECK,
        find: two_tag_hop::find,
    },
    Registered {
        check: &untagged_in_several::CHECK,
        find: untagged_in_several::find,
    },
    Registered {
        check: &unused_port_live::CHECK,
        find: unused_port_live::find,
    },
];

/// Runs every check.
///
/// Findings come gravest first, then by place, then by name; what is the matter with several ports that one
/// line of the file describes is one finding. Cost: two matrices by segment, and for each cable between
/// switches and each VLAN on it the ports behind it.
pub fn run(network: &Network<'_>) -> Vec<Finding> {
    let view = View::new(network);
    let mut report = Report::default();
    for registered in CHECKS {
        (registered.find)(&view, &mut report);
    }
    report.finish()
}

/// The check of a name.
pub fn find(name: &str) -> Option<&'static Check> {
    let mut checks = CHECKS.iter().map(|registered| registered.check);
    checks.find(|check| check.name == name)
}
