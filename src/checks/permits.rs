//! Permits that really permit something, and whom they speak of.

use boundwalk_analysis::rules::RuleStatus;
use boundwalk_model::{Action, AddressMatch, Family, RuleParty, SegmentId, Site, Zone};

use super::permit::{PermitRule, ReachedSegment};
use super::reviewed::Reviewed;
use super::view::CheckContext;

impl<'a> CheckContext<'a> {
    /// Every permit that decides packets, or may, in the order of the file: the others permit nothing, whatever they
    /// say.
    pub(super) fn permits(&self) -> &[PermitRule<'a>] {
        self.permits.get_or_init(|| permits(self))
    }
}

fn permits<'v>(view: &CheckContext<'v>) -> Vec<PermitRule<'v>> {
    let mut permits = Vec::new();
    for gateway in view.reviewed() {
        let gateway_review = gateway.0;
        let all = met_by(view, gateway);
        for (number, rule) in gateway_review.rules.iter().enumerate() {
            let status = &gateway_review.review.rules[number];
            let idle = matches!(
                status,
                RuleStatus::Off | RuleStatus::Irrelevant | RuleStatus::Dead(_)
            );
            if rule.action.value == Action::Permit && !idle {
                let meant = |parties: &Option<Vec<RuleParty>>, field: &Option<AddressMatch>| {
                    meant(view, gateway, &all, parties.as_deref(), field.as_ref())
                };
                permits.push(PermitRule {
                    senders: meant(&rule.from, &rule.source),
                    targets: meant(&rule.to, &rule.destination),
                    gateway,
                    number,
                    rule,
                });
            }
        }
    }
    permits
}

/// Every segment that a gateway has an interface on, and those that its routes lead to.
pub(super) fn met_by(view: &CheckContext<'_>, gateway: Reviewed<'_>) -> Vec<ReachedSegment> {
    let mut all: Vec<ReachedSegment> = gateway
        .router
        .interfaces
        .iter()
        .enumerate()
        .map(|(interface, own)| ReachedSegment {
            interface,
            segment: own.segment,
            behind: false,
        })
        .collect();
    for segment in view.site.segment_ids() {
        if all.iter().any(|met| met.segment == segment && !met.behind) {
            continue;
        }
        for family in Family::ALL {
            let plan = view.network.plan(family);
            let routes = &plan.device(plan.router_index(gateway.id)).routes;
            let ways = routes
                .split_ways(&plan.segment(segment).cover)
                .into_iter()
                .filter_map(|(hop, _, _)| hop.and_then(|hop| hop.interface()));
            for interface in ways {
                let met = ReachedSegment {
                    interface,
                    segment,
                    behind: true,
                };
                if !all.contains(&met) {
                    all.push(met);
                }
            }
        }
    }
    all
}

/// Those of the segments that a list of parties and a list of addresses mean.
fn meant(
    view: &CheckContext<'_>,
    gateway: Reviewed<'_>,
    all: &[ReachedSegment],
    parties: Option<&[RuleParty]>,
    field: Option<&AddressMatch>,
) -> Vec<ReachedSegment> {
    let named = |met: &&ReachedSegment| {
        let segment = gateway.router.interfaces[met.interface].segment;
        let zone = view.site.segment(segment).zone;
        let meant = |party: &RuleParty| match *party {
            RuleParty::Zone(own) => own == zone,
            RuleParty::Segment(own) => own == segment,
            RuleParty::Gateway => false,
        };
        parties.is_none_or(|parties| parties.iter().any(meant))
    };
    let addressed = |met: &&ReachedSegment| {
        field.is_none_or(|field| {
            Family::ALL.iter().any(|&family| {
                let own = &view.network.plan(family).segment(met.segment).cover;
                own.overlaps(field.set.of(family))
            })
        })
    };
    all.iter()
        .filter(named)
        .filter(addressed)
        .copied()
        .collect()
}

/// Whether a field of addresses limits nothing: there is none, or it holds all of a family. A rule for all of IPv4
/// and nothing of IPv6 is as wide as one without the field.
pub(super) fn is_anything(field: &Option<AddressMatch>) -> bool {
    let Some(field) = field else {
        return true;
    };
    Family::ALL
        .iter()
        .any(|&family| *field.set.of(family) == family.full())
}

/// Whether some parties name all that others name; none at all stands for everything.
pub(super) fn names_all(
    site: &Site,
    outer: &Option<Vec<RuleParty>>,
    inner: &Option<Vec<RuleParty>>,
) -> bool {
    let (Some(outer), Some(inner)) = (outer, inner) else {
        return outer.is_none();
    };
    inner.iter().all(|party| {
        let zone = match *party {
            RuleParty::Segment(segment) => Some(RuleParty::Zone(site.segment(segment).zone)),
            _ => None,
        };
        outer.contains(party) || zone.is_some_and(|zone| outer.contains(&zone))
    })
}

/// The segments of some places, each once.
pub(super) fn segments(places: &[ReachedSegment]) -> Vec<SegmentId> {
    let mut segments: Vec<SegmentId> = Vec::new();
    for met in places {
        if !segments.contains(&met.segment) {
            segments.push(met.segment);
        }
    }
    segments
}

/// The zone of a segment.
pub(super) fn zone_of(site: &Site, segment: SegmentId) -> &Zone {
    site.zone(site.segment(segment).zone)
}

/// Names of parties as they would be written: `["office", "guest"]`.
pub(super) fn as_list(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
    format!("[{}]", quoted.join(", "))
}

/// The zones that a gateway has interfaces on, as they would be written, each once.
pub(super) fn zones_as_list(site: &Site, gateway: Reviewed<'_>) -> String {
    let mut names: Vec<&str> = Vec::new();
    for interface in &gateway.router.interfaces {
        let name = zone_of(site, interface.segment).name.value.as_str();
        if !names.contains(&name) {
            names.push(name);
        }
    }
    as_list(&names)
}
