//! Who appears in a matrix.

use std::borrow::Cow;

use rustc_hash::FxHashMap;

use boundwalk_forwarding::layer2::{Fabric, Origin};
use boundwalk_forwarding::{DeviceIndex, Flow, Network, Place, Plan};
use boundwalk_model::{HostId, RouterId, SegmentId, Site, SwitchId, VlanId, ZoneId};
use boundwalk_packet::{Interval, IntervalSet, Region};

/// A row or column of a matrix.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Endpoint {
    /// A zone.
    Zone(ZoneId),
    /// A segment.
    Segment(SegmentId),
    /// A host.
    Host(HostId),
    /// A gateway or router itself, as a target.
    Device(RouterId),
    /// Live ports of a switch that belong to no segment, by the VLAN of their untagged frames (`None`: they drop
    /// them). Whoever plugs in there is a hostile device.
    Unclaimed(SwitchId, Option<VlanId>),
}

impl Endpoint {
    /// The party of a place where a hostile device may be attached.
    pub fn of(fabric: &Fabric, origin: Origin) -> Self {
        match origin {
            Origin::Segment(segment) => Self::Segment(segment),
            Origin::Unclaimed(group) => {
                let group = fabric.unclaimed(group);
                Self::Unclaimed(group.switch, group.vlan)
            }
        }
    }
}

/// A target with its addresses in one family.
#[derive(Clone, Debug)]
pub struct Column {
    /// Who it is.
    pub party: Endpoint,
    /// Its addresses.
    pub addresses: IntervalSet,
    /// The segment whose addresses they are, if so.
    pub segment: Option<SegmentId>,
}

impl Column {
    /// The part of a flow delivered at a place that is for this column; `None` where none is.
    pub fn takes<'f>(
        &self,
        network: &Network<'_>,
        plan: &Plan,
        place: Place,
        flow: &'f Flow,
    ) -> Option<Cow<'f, Flow>> {
        match (self.party, place) {
            (Endpoint::Segment(column), Place::Segment(place)) if column == place => {}
            (Endpoint::Device(column), Place::Router(place)) if column == place => {}
            (Endpoint::Host(host), Place::Segment(place)) => {
                let own: IntervalSet = plan
                    .device(plan.host_index(host))
                    .interfaces
                    .iter()
                    .filter(|interface| interface.segment == place)
                    .flat_map(|interface| &interface.addresses)
                    .map(|&address| Interval::point(address))
                    .collect();
                return part_to(flow, &own, network);
            }
            _ => return None,
        }
        Some(Cow::Borrowed(flow))
    }
}

/// Which column a place is, for matrices by segment.
pub(super) struct Places(FxHashMap<Place, usize>);

impl Places {
    pub(super) fn new(targets: &[Column]) -> Self {
        let places = targets
            .iter()
            .enumerate()
            .filter_map(|(at, column)| match column.party {
                Endpoint::Segment(segment) => Some((Place::Segment(segment), at)),
                Endpoint::Device(router) => Some((Place::Router(router), at)),
                Endpoint::Zone(_) | Endpoint::Host(_) | Endpoint::Unclaimed(..) => None,
            });
        Self(places.collect())
    }

    pub(super) fn get(&self, place: Place) -> Option<&usize> {
        self.0.get(&place)
    }
}

/// The part of a flow with destinations in a set.
fn part_to<'f>(
    flow: &'f Flow,
    addresses: &IntervalSet,
    network: &Network<'_>,
) -> Option<Cow<'f, Flow>> {
    let destination = flow.now.destination.intersection(addresses);
    if destination.is_empty() {
        return None;
    }
    if destination == flow.now.destination {
        return Some(Cow::Borrowed(flow));
    }
    let part = Region {
        destination,
        ..flow.now.clone()
    };
    Some(Cow::Owned(flow.restricted(part, &network.classes)))
}

/// The targets of a matrix in one family: segments or hosts, then gateways and routers themselves. Addresses
/// that are valid on one link only are nobody's here: no router forwards to them.
pub fn columns(network: &Network<'_>, plan: &Plan, by_host: bool) -> Vec<Column> {
    let site = network.site;
    let mut columns: Vec<Column> = if by_host {
        (0..site.hosts.len())
            .map(HostId)
            .map(|host| host_column(plan, host))
            .collect()
    } else {
        let segments = site.segment_ids();
        let column = |segment| Column {
            party: Endpoint::Segment(segment),
            addresses: plan.segment(segment).addresses.clone(),
            segment: Some(segment),
        };
        segments.map(column).collect()
    };
    columns.extend((0..site.routers.len()).map(RouterId).map(|router| Column {
        party: Endpoint::Device(router),
        addresses: forwardable(plan, plan.router_index(router)),
        segment: None,
    }));
    columns
}

fn host_column(plan: &Plan, host: HostId) -> Column {
    Column {
        party: Endpoint::Host(host),
        addresses: forwardable(plan, plan.host_index(host)),
        segment: None,
    }
}

/// A device's own addresses but for those that are never forwarded.
pub(super) fn forwardable(plan: &Plan, device: DeviceIndex) -> IntervalSet {
    plan.device(device).own.difference(&plan.nobody)
}

/// Whether two parties are one, or two hosts that share their only segment: traffic between them crosses no
/// router.
pub(super) fn within(plan: &Plan, one: Endpoint, other: Endpoint) -> bool {
    let (Endpoint::Host(host), Endpoint::Host(neighbour)) = (one, other) else {
        return one == other;
    };
    let segments = |host: HostId| {
        let mut segments: Vec<SegmentId> = plan
            .device(plan.host_index(host))
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        segments.dedup();
        segments
    };
    let (here, there) = (segments(host), segments(neighbour));
    host == neighbour || (here.len() == 1 && here == there)
}

/// The name of a party.
pub fn party_name(site: &Site, party: Endpoint) -> Cow<'_, str> {
    match party {
        Endpoint::Zone(zone) => Cow::Borrowed(&site.zone(zone).name.value),
        Endpoint::Segment(segment) => Cow::Borrowed(&site.segment(segment).name.value),
        Endpoint::Host(host) => Cow::Borrowed(&site.host(host).name.value),
        Endpoint::Device(router) => Cow::Borrowed(&site.router(router).name.value),
        Endpoint::Unclaimed(switch, vlan) => {
            let switch = &site.switches[switch.0].name.value;
            Cow::Owned(match vlan {
                Some(vlan) => format!("unclaimed ports, VLAN {vlan} of {switch}"),
                None => format!("unclaimed ports without a VLAN of {switch}"),
            })
        }
    }
}

/// The name of a place where a hostile device may be attached: a segment, or ports that belong to none.
pub fn origin_name<'s>(site: &'s Site, fabric: &Fabric, origin: Origin) -> Cow<'s, str> {
    party_name(site, Endpoint::of(fabric, origin))
}

/// Every zone, segment, host, gateway and router, in this order.
pub fn all_parties(site: &Site) -> impl Iterator<Item = Endpoint> + '_ {
    let zones = (0..site.zones.len()).map(|at| Endpoint::Zone(ZoneId(at)));
    let segments = site.segment_ids().map(Endpoint::Segment);
    let hosts = (0..site.hosts.len()).map(|at| Endpoint::Host(HostId(at)));
    let routers = (0..site.routers.len()).map(|at| Endpoint::Device(RouterId(at)));
    zones.chain(segments).chain(hosts).chain(routers)
}

/// Every party of a name: a name may stand for a zone and a segment at once. `segment:office` says which.
#[must_use]
pub fn find_party(site: &Site, name: &str) -> Vec<Endpoint> {
    let (kind, name) = match name.split_once(':') {
        Some((kind, rest)) => (Some(kind), rest),
        None => (None, name),
    };
    let kind_fits = |party: Endpoint| match (kind, party) {
        (None, _) => true,
        (Some(kind), Endpoint::Zone(_)) => kind == "zone",
        (Some(kind), Endpoint::Segment(_)) => kind == "segment",
        (Some(kind), Endpoint::Host(_)) => kind == "host",
        (Some(kind), Endpoint::Device(_)) => kind == "gateway" || kind == "router",
        (Some(_), Endpoint::Unclaimed(..)) => false,
    };
    all_parties(site)
        .filter(|&party| party_name(site, party) == name)
        .filter(|&party| kind_fits(party))
        .collect()
}

/// Whether a party is among those chosen, or is part of one of them, or one of them is part of it. No choice
/// is every party.
pub fn chosen(site: &Site, choice: &[Endpoint], party: Endpoint) -> bool {
    choice.is_empty() || choice.iter().any(|&wanted| same(site, wanted, party))
}

/// Whether a chosen party is, or holds, a party of the matrix.
fn same(site: &Site, wanted: Endpoint, party: Endpoint) -> bool {
    match (wanted, party) {
        (Endpoint::Zone(zone), Endpoint::Segment(segment)) => site.segment(segment).zone == zone,
        (Endpoint::Zone(zone), Endpoint::Host(host)) => {
            let mut interfaces = site.host(host).interfaces.iter();
            interfaces.any(|interface| site.segment(interface.segment).zone == zone)
        }
        (Endpoint::Segment(segment), Endpoint::Zone(zone)) => site.segment(segment).zone == zone,
        (Endpoint::Segment(segment), Endpoint::Host(host)) => {
            let mut interfaces = site.host(host).interfaces.iter();
            interfaces.any(|interface| interface.segment == segment)
        }
        (wanted, party) => wanted == party,
    }
}
