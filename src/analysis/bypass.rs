//! Ways round the gateway: pairs of segments of different zones that a device crosses without a filtering
//! gateway deciding, and the smallest set of settings that closes every way.

use rustc_hash::{FxHashMap, FxHashSet};

use crate::forwarding::layer2::{
    Admitted, Frame, FrameWay, NodeKind, SocketId, Start, Tagging, flood,
};
use crate::forwarding::{DeviceId, Network};
use crate::model::{Date, Family, Forwards, PortVlans, SegmentId, Site, VlanId};

use super::cut::{Cut, cut};
use super::needed::Needed;
use super::setting::{PortKey, Setting, end_key};
use super::ways::{Around, Way, begins, takes};

/// Most alternatives of a cut that are listed.
pub const MOST_ALTERNATIVES: usize = 8;

/// One ordered pair with a way round.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Bypass {
    /// Where the device sits.
    pub from: SegmentId,
    /// Whose devices it reaches.
    pub to: SegmentId,
    /// A shortest way.
    pub way: Way,
    /// Whether answers come back round the gateway as well.
    pub two_way: bool,
    /// Whether a device as configured goes this way; else only a hostile one does.
    pub configured: bool,
    /// The settings on the way, in its order.
    pub settings: Vec<Setting>,
    /// The one that opens it: the first that traffic inside segments does not need; `None` where no setting
    /// could close the way.
    pub opened_by: Option<Setting>,
}

/// All ways round, and how to close them.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Bypasses {
    /// Pairs with a way round, by segment of the sender.
    pub pairs: Vec<Bypass>,
    /// How many ordered pairs of segments of different zones were looked at.
    pub asked: usize,
    /// What to change, unless there is nothing to close.
    pub closing: Option<Closing>,
}

/// The smallest sets of settings whose change closes every way.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Closing {
    /// The sets, each verified by undoing it in the model; several where equally small.
    pub sets: Vec<Vec<Setting>>,
    /// Those of the settings that traffic inside some segment needs as well.
    pub needed: Vec<Setting>,
    /// Whether no smaller set does it.
    pub smallest: bool,
    /// Pairs that no setting can close.
    pub stay: Vec<(SegmentId, SegmentId)>,
}

/// Looks for ways round between the pairs that `asked` accepts; pairs of one zone are no bypass.
///
/// One flood for each segment, and for each device without rules that it meets one look-up for each target.
pub fn bypasses(
    network: &Network<'_>,
    asked: &dyn Fn(SegmentId, SegmentId) -> bool,
) -> Vec<Bypass> {
    let needed = std::cell::OnceCell::new();
    let mut found = Vec::new();
    for from in network.site.segment_ids() {
        let targets: Vec<SegmentId> = targets(network, from, asked);
        if targets.is_empty() || !may_leave(network, from) {
            continue;
        }
        let around = Around::new(network, from);
        for to in targets {
            if let Some(way) = around.way_to(to) {
                let needed = needed.get_or_init(|| Needed::new(network));
                found.push(describe(network, needed, from, to, way));
            }
        }
    }
    found
}

/// Segments of other zones that are asked about.
fn targets(
    network: &Network<'_>,
    from: SegmentId,
    asked: &dyn Fn(SegmentId, SegmentId) -> bool,
) -> Vec<SegmentId> {
    let site = network.site;
    let zone = site.segment(from).zone;
    site.segment_ids()
        .filter(|&to| site.segment(to).zone != zone && asked(from, to))
        .collect()
}

/// Whether frames of a segment get anywhere but to its own devices and to filtering gateways: what must hold
/// for any way round, and quickly told.
fn may_leave(network: &Network<'_>, from: SegmentId) -> bool {
    let reached = network.wiring.from_hostile(from);
    let place = |number: &u32| network.wiring.vacancies[*number as usize].segment;
    if reached.vacancies.iter().any(|number| place(number) != from) {
        return true;
    }
    let plan = network.plan(Family::V4);
    reached.feet.iter().any(|&foot| {
        let foot = network.fabric.foot(foot);
        let (device, _) = plan.place_of(foot.of);
        let device = plan.device(device);
        let forwards = device.forwards && device.filter.is_none();
        forwards || (foot.segment != from && matches!(device.id, DeviceId::Host(_)))
    })
}

/// The numbers of ordered pairs that [`bypasses`] looks at.
pub fn pairs_asked(network: &Network<'_>, asked: &dyn Fn(SegmentId, SegmentId) -> bool) -> usize {
    let segments = network.site.segment_ids();
    segments
        .map(|from| targets(network, from, asked).len())
        .sum()
}

fn describe(
    network: &Network<'_>,
    needed: &Needed,
    from: SegmentId,
    to: SegmentId,
    way: Way,
) -> Bypass {
    let settings = settings_of(network, (from, to), &way);
    let mut spare = settings
        .iter()
        .copied()
        .filter(|&setting| !needed.has(setting));
    let port = |setting: &Setting| !matches!(setting, Setting::Plugged(_));
    // A port that is set against itself before the cable that leads there.
    let opened_by = spare
        .clone()
        .find(port)
        .or(spare.next())
        .or(settings.first().copied());
    Bypass {
        from,
        to,
        two_way: comes_back(network, from, to, &way),
        configured: as_configured(network, from, &way),
        settings,
        opened_by,
        way,
    }
}

/// Whether a plain device sends such frames by itself: no tag but its own, and a device that forwards only
/// where plain devices use it.
fn as_configured(network: &Network<'_>, from: SegmentId, way: &Way) -> bool {
    let plain = match way.legs.first().map(|leg| leg.start) {
        Some(Start::Seat(_, frame)) => frame != Frame::HOSTILE,
        _ => true,
    };
    let used = way.handovers.first().is_none_or(|first| {
        Family::ALL.iter().any(|&family| {
            let first_hops = &network.plan(family).segment(from).first_hops;
            first_hops.contains(&(first.device, first.ingress))
        })
    });
    plain && used
}

/// Whether plain frames of the device that was reached get back to the sender without a filtering gateway.
fn comes_back(network: &Network<'_>, from: SegmentId, to: SegmentId, way: &Way) -> bool {
    let fabric = &network.fabric;
    let Some(home) = way.legs.first().and_then(|leg| begins(network, leg)) else {
        return false;
    };
    let start = match way.end.foot {
        Some(foot) => Start::Foot(foot),
        None => {
            let seated = fabric.seated(way.end.socket).iter();
            let mut mine = seated.filter(|(segment, _)| *segment == to);
            let tag = mine.find(|(_, tag)| way.end.frame.fits(*tag));
            Start::Seat(way.end.socket, Frame::of(tag.and_then(|(_, tag)| *tag)))
        }
    };
    let back = flood(fabric, &[start]);
    if way.handovers.is_empty() {
        // A hostile device takes whatever comes out where it sits.
        return back.taken.iter().any(|taken| taken.socket == home);
    }
    let last = way.handovers[way.handovers.len() - 1].device;
    Family::ALL.iter().any(|&family| {
        let plan = network.plan(family);
        let hops = plan.segment(to).first_hops.iter();
        let mut through = hops.filter(|(device, _)| {
            let here = plan.device(*device);
            *device == last && here.filter.is_none()
        });
        through.any(|&(device, _)| routes_to(network, plan, device, from))
    })
}

/// Whether some route of a device leads to a segment's devices.
fn routes_to(
    network: &Network<'_>,
    plan: &crate::forwarding::Plan,
    device: crate::forwarding::DeviceIndex,
    to: SegmentId,
) -> bool {
    let parts = plan
        .device(device)
        .routes
        .split(&plan.segment(to).addresses);
    parts.iter().any(|(hop, _)| {
        hop.and_then(|hop| hop.interface()).is_some_and(|egress| {
            let foot = plan.foot_of(&network.fabric, (device, egress));
            let reached = flood(&network.fabric, &[Start::Foot(foot)]);
            reached.taken.iter().any(|taken| takes(network, taken, to))
        })
    })
}

/// The settings that a way rests on, in its order.
pub(super) fn settings_of(
    network: &Network<'_>,
    (from, to): (SegmentId, SegmentId),
    way: &Way,
) -> Vec<Setting> {
    let mut settings = Vec::new();
    let mut seen: FxHashSet<Setting> = FxHashSet::default();
    let mut add = |setting: Setting| {
        if seen.insert(setting) {
            settings.push(setting);
        }
    };
    if let Some(socket) = way.legs.first().and_then(|leg| begins(network, leg)) {
        plugged(network, socket, from)
            .into_iter()
            .for_each(&mut add);
        seat_settings(network, socket, from)
            .into_iter()
            .for_each(&mut add);
    }
    for (number, leg) in way.legs.iter().enumerate() {
        frame_settings(network, leg).into_iter().for_each(&mut add);
        if let Some(handover) = way.handovers.get(number) {
            let plan = network.plan(Family::V4);
            match plan.device(handover.device).id {
                DeviceId::Router(router) => add(Setting::NoRules(router)),
                DeviceId::Host(host) => add(Setting::Forwards(host)),
            }
        }
    }
    plugged(network, way.end.socket, to)
        .into_iter()
        .for_each(&mut add);
    if way.end.foot.is_none() {
        seat_settings(network, way.end.socket, to)
            .into_iter()
            .for_each(&mut add);
    }
    settings
}

/// What makes a port a place for devices of a segment: its PVID, or its membership.
fn seat_settings(network: &Network<'_>, id: SocketId, segment: SegmentId) -> Vec<Setting> {
    let site = network.site;
    let socket = network.fabric.socket(id);
    let vlan = site.segment(segment).vlan.map(|vlan| vlan.value);
    let (Tagging::Vlans(vlans), Some(key), Some(vlan)) =
        (&socket.tagging, PortKey::of(site, socket.name), vlan)
    else {
        return Vec::new();
    };
    match (vlans.pvid == Some(vlan), vlans.carries(vlan)) {
        (true, _) => {
            let pvid = Some(Setting::Pvid(key, vlan));
            pvid.into_iter().chain(lets_in(key, vlans, vlan)).collect()
        }
        (false, true) => vec![Setting::Member(key, vlan)],
        (false, false) => Vec::new(),
    }
}

/// What lets frames of a VLAN in at a port besides its PVID: membership where it filters on arrival, else that
/// it does not filter. `None`: it does not filter and is a member, so neither alone keeps them out.
fn lets_in(port: PortKey, vlans: &PortVlans, vlan: VlanId) -> Option<Setting> {
    match (vlans.carries(vlan), vlans.ingress_filter) {
        (_, true) => Some(Setting::Member(port, vlan)),
        (false, false) => Some(Setting::FilterOff(port)),
        (true, false) => None,
    }
}

/// The cable at a socket whose host the file puts on a segment that the port is not of.
fn plugged(network: &Network<'_>, socket: SocketId, segment: SegmentId) -> Option<Setting> {
    let fabric = &network.fabric;
    let here = fabric.socket(socket);
    let crate::forwarding::layer2::Far::Feet(feet) = &here.far else {
        return None;
    };
    let told = feet
        .iter()
        .any(|&foot| fabric.foot(foot).segment == segment);
    let real = super::needed::port_segments(fabric, socket).contains(&segment);
    match told && !real {
        true => here.link.map(Setting::Plugged),
        false => None,
    }
}

fn frame_settings(network: &Network<'_>, leg: &FrameWay) -> Vec<Setting> {
    let (site, fabric) = (network.site, &network.fabric);
    let key = |socket: SocketId| {
        let socket = fabric.sockets.get(socket.0 as usize)?;
        PortKey::of(site, socket.name)
    };
    let mut settings = Vec::new();
    for step in &leg.steps {
        if let NodeKind::Bridge(host) = fabric.node(step.node).kind
            && site.host(host).forwards.value == Forwards::Bridges
        {
            settings.push(Setting::Forwards(host));
        }
        let Some((vlan, admitted)) = step.vlan else {
            continue;
        };
        if let Some(port) = key(step.ingress) {
            settings.extend((admitted == Admitted::Pvid).then_some(Setting::Pvid(port, vlan)));
            settings.extend(
                port.vlans(site)
                    .and_then(|vlans| lets_in(port, vlans, vlan)),
            );
        }
        if let Some(port) = key(step.egress) {
            let untagged = port
                .vlans(site)
                .is_some_and(|vlans| vlans.untagged.contains(vlan));
            if untagged && !step.left.is_empty() {
                settings.push(Setting::Untagged(port, vlan));
            }
            settings.push(Setting::Member(port, vlan));
        }
    }
    settings
}

/// The smallest sets of settings that close all ways given.
///
/// Undoes each set in a copy of the site and looks again. Exponential in the worst case, bounded.
pub fn closing(
    network: &Network<'_>,
    pairs: &[Bypass],
    asked: &dyn Fn(SegmentId, SegmentId) -> bool,
) -> Option<Closing> {
    if pairs.is_empty() {
        return None;
    }
    let size = network.fabric.sockets.len() + network.fabric.feet.len();
    let attempt = Attempt {
        today: network.today,
        rounds: (1_000_000 / size.max(1)).clamp(20, 300),
        bare: stripped(network.site),
        needed: Needed::new(network),
        asked,
    };
    let unclosable = pairs.iter().filter(|pair| pair.settings.is_empty());
    let mut stay: Vec<(SegmentId, SegmentId)> =
        unclosable.map(|pair| (pair.from, pair.to)).collect();
    // A pair may turn out to stay open only once its shorter ways are closed: then all begins again without it.
    let found = loop {
        let before = stay.len();
        let found = attempt.cut(pairs, &mut stay)?;
        if stay.len() == before {
            break found;
        }
    };
    let mut used: Vec<Setting> = found.sets.iter().flatten().copied().collect();
    used.sort_unstable();
    used.dedup();
    used.retain(|setting| attempt.needed.has(*setting));
    stay.sort_unstable();
    Some(Closing {
        sets: found.sets,
        needed: used,
        smallest: found.smallest,
        stay,
    })
}

/// What one search for a cut works with.
struct Attempt<'a> {
    today: Date,
    /// How many sets may be tried that leave something open.
    rounds: usize,
    bare: Site,
    needed: Needed,
    asked: &'a dyn Fn(SegmentId, SegmentId) -> bool,
}

impl Attempt<'_> {
    /// The smallest sets for all pairs but those that stay open, to which pairs are added that no setting
    /// closes.
    fn cut(
        &self,
        pairs: &[Bypass],
        stay: &mut Vec<(SegmentId, SegmentId)>,
    ) -> Option<Cut<Setting>> {
        let weight = |setting: Setting| if self.needed.has(setting) { 1_000 } else { 1 };
        let closable = pairs
            .iter()
            .filter(|pair| !stay.contains(&(pair.from, pair.to)));
        let first: Vec<Vec<Setting>> = closable.map(|pair| pair.settings.clone()).collect();
        let mut known: FxHashMap<Vec<Setting>, Vec<Vec<Setting>>> = FxHashMap::default();
        known.insert(Vec::new(), first);
        let mut doubt = false;
        let mut open = |set: &[Setting]| {
            if let Some(paths) = known.get(set) {
                return paths.clone();
            }
            let left = self.left_open(set, stay);
            // Carrying a VLAN tagged instead may open a way that was not there before: what is left is then no
            // proof that every set must meet it.
            let retagged = set
                .iter()
                .any(|setting| matches!(setting, Setting::Untagged(..)));
            doubt |= retagged && !left.is_empty();
            known.insert(set.to_vec(), left.clone());
            left
        };
        let mut found = cut(&weight, &mut open, MOST_ALTERNATIVES, self.rounds)?;
        found.smallest &= !doubt;
        Some(found)
    }

    /// Ways that stay open once a set of settings is undone, each by its settings.
    fn left_open(
        &self,
        set: &[Setting],
        stay: &mut Vec<(SegmentId, SegmentId)>,
    ) -> Vec<Vec<Setting>> {
        let mut changed = self.bare.clone();
        set.iter().for_each(|setting| setting.undo(&mut changed));
        let network = Network::new(&changed, self.today);
        let known = stay.clone();
        let asked = |from, to| (self.asked)(from, to) && !known.contains(&(from, to));
        let mut paths = Vec::new();
        for pair in bypasses(&network, &asked) {
            let kept = pair
                .settings
                .into_iter()
                .filter(|setting| !set.contains(setting));
            let path: Vec<Setting> = kept.collect();
            match path.is_empty() {
                true => stay.push((pair.from, pair.to)),
                false => paths.push(path),
            }
        }
        paths
    }
}

/// The site without what plays no part where no rule decides.
pub(super) fn stripped(site: &Site) -> Site {
    let mut bare = site.clone();
    bare.needs.clear();
    bare.expectations.clear();
    bare.services.clear();
    bare.service_names.clear();
    bare.addresses.clear();
    for router in &mut bare.routers {
        if let crate::model::Role::Gateway(filter) = &mut router.role {
            filter.rules.clear();
            filter.destination_translations.clear();
            filter.source_translations.clear();
        }
    }
    bare
}

/// The port or LAG that an end of a cable is, for those who show ways.
pub fn port_of_end(site: &Site, link: usize, end: usize) -> Option<PortKey> {
    end_key(site, &site.links[link].ends[end].value)
}
