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
mod in_a_row;
mod ingress_filter_off;
mod ipv6_uncovered;
mod isolated_vlan_on_trunk;
mod isolation_broken;
mod lag_members_differ;
mod lag_never_active;
mod lag_one_end;
mod native_vlan_differs;
mod no_way_back;
mod permit_cut_off_before;
mod permit_denied_further_on;
mod port_without_vlan;
mod pvid_not_untagged;
mod report;
mod reviewed;
mod rule_asked;
mod rule_dead;
mod rule_generalises;
mod rule_irrelevant;
mod rule_redundant;
mod rule_repeated;
mod rules_correlated;
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

use crate::analysis::rules::{RuleBook, books};
use crate::diagnostic::{Check, Finding};
use crate::forwarding::Network;

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
        check: &bypass_open::CHECK,
        find: bypass_open::find,
        area: Area::Whole,
    },
    Registered {
        check: &cable_label_differs::CHECK,
        find: cable_label_differs::find,
        area: Area::Wiring,
    },
    Registered {
        check: &default_vlan_in_use::CHECK,
        find: default_vlan_in_use::find,
        area: Area::Wiring,
    },
    Registered {
        check: &gateway_tag_missing::CHECK,
        find: gateway_tag_missing::find,
        area: Area::Wiring,
    },
    Registered {
        check: &host_forwards::CHECK,
        find: host_forwards::find,
        area: Area::Wiring,
    },
    Registered {
        check: &host_off_segment::CHECK,
        find: host_off_segment::find,
        area: Area::Wiring,
    },
    Registered {
        check: &icmpv6_needed_denied::CHECK,
        find: icmpv6_needed_denied::find,
        area: Area::Routing,
    },
    Registered {
        check: &ingress_filter_off::CHECK,
        find: ingress_filter_off::find,
        area: Area::Wiring,
    },
    Registered {
        check: &ipv6_uncovered::CHECK,
        find: ipv6_uncovered::find,
        area: Area::Routing,
    },
    Registered {
        check: &isolated_vlan_on_trunk::CHECK,
        find: isolated_vlan_on_trunk::find,
        area: Area::Wiring,
    },
    Registered {
        check: &isolation_broken::CHECK,
        find: isolation_broken::find,
        area: Area::Whole,
    },
    Registered {
        check: &lag_members_differ::CHECK,
        find: lag_members_differ::find,
        area: Area::Wiring,
    },
    Registered {
        check: &lag_never_active::CHECK,
        find: lag_never_active::find,
        area: Area::Wiring,
    },
    Registered {
        check: &lag_one_end::CHECK,
        find: lag_one_end::find,
        area: Area::Wiring,
    },
    Registered {
        check: &native_vlan_differs::CHECK,
        find: native_vlan_differs::find,
        area: Area::Wiring,
    },
    Registered {
        check: &no_way_back::CHECK,
        find: no_way_back::find,
        area: Area::Routing,
    },
    Registered {
        check: &permit_cut_off_before::CHECK,
        find: permit_cut_off_before::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &permit_denied_further_on::CHECK,
        find: permit_denied_further_on::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &port_without_vlan::CHECK,
        find: port_without_vlan::find,
        area: Area::Wiring,
    },
    Registered {
        check: &pvid_not_untagged::CHECK,
        find: pvid_not_untagged::find,
        area: Area::Wiring,
    },
    Registered {
        check: &rule_dead::CHECK,
        find: rule_dead::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &rule_generalises::CHECK,
        find: rule_generalises::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &rule_irrelevant::CHECK,
        find: rule_irrelevant::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &rule_redundant::CHECK,
        find: rule_redundant::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &rule_repeated::CHECK,
        find: rule_repeated::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &rules_correlated::CHECK,
        find: rules_correlated::find,
        area: Area::RuleEffect,
    },
    Registered {
        check: &several_homes::CHECK,
        find: several_homes::find,
        area: Area::Wiring,
    },
    Registered {
        check: &site_not_modelled_here::CHECK,
        find: site_not_modelled_here::find,
        area: Area::Whole,
    },
    Registered {
        check: &source_check_off::CHECK,
        find: source_check_off::find,
        area: Area::Routing,
    },
    Registered {
        check: &tags_on_access_port::CHECK,
        find: tags_on_access_port::find,
        area: Area::Wiring,
    },
    Registered {
        check: &too_big_denied::CHECK,
        find: too_big_denied::find,
        area: Area::Routing,
    },
    Registered {
        check: &trunk_vlan_one_end::CHECK,
        find: trunk_vlan_one_end::find,
        area: Area::Wiring,
    },
    Registered {
        check: &trunk_vlan_unused::CHECK,
        find: trunk_vlan_unused::find,
        area: Area::Wiring,
    },
    Registered {
        check: &two_tag_hop::CHECK,
        find: two_tag_hop::find,
        area: Area::Wiring,
    },
    Registered {
        check: &untagged_in_several::CHECK,
        find: untagged_in_several::find,
        area: Area::Wiring,
    },
    Registered {
        check: &unused_port_live::CHECK,
        find: unused_port_live::find,
        area: Area::Wiring,
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
    for registered in CHECKS.iter().filter(|one| wanted(one.area)) {
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
