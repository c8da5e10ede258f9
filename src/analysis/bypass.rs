//! Ways round the gateway: pairs of segments of different zones that a device crosses without a filtering
//! gateway deciding.

use boundwalk_forwarding::layer2::{Frame, Start, flood};
use boundwalk_forwarding::{
    DeviceId, DeviceIndex, Network, Origin, Place, Sender, WalkCoverage, returns,
};
use boundwalk_model::Family;

use super::matrix::addressed;
use super::needed::Needed;
use super::setting::Setting;
use super::way_settings::settings_of;
use super::ways::{Around, Routed, Way, begins, routed};

/// One ordered pair with a way round.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct Bypass {
    /// Where the device is attached.
    pub from: Origin,
    /// Whose devices it reaches, or the unclaimed ports where its frames come out.
    pub to: Origin,
    /// A shortest way.
    pub way: Way,
    /// Whether answers come back; `None`: a limit was met before one was found.
    pub two_way: Option<bool>,
    /// Whether a device as configured goes this way; else only a hostile one does.
    pub configured: bool,
    /// The settings on the way, in its order.
    pub settings: Vec<Setting>,
    /// The one that opens it: the first that traffic inside segments does not need; `None` where no setting
    /// could close the way.
    pub opened_by: Option<Setting>,
}

/// Looks for ways round between the pairs that `asked` accepts; pairs of one zone are no bypass. Hostile devices at
/// unclaimed ports are asked too, and frames that come out there.
///
/// One flood for each segment, and for each that meets a device without rules one walk of everything past those.
pub fn bypasses(network: &Network<'_>, asked: &dyn Fn(Origin, Origin) -> bool) -> Vec<Bypass> {
    let ways = ways(network, asked);
    if ways.is_empty() {
        return Vec::new();
    }
    let needed = Needed::new(network);
    let [v4, v6] = Family::ALL.map(|family| addressed(network, network.plan(family)));
    let sent = |routed: &Routed| {
        let addresses = match routed.family {
            Family::V4 => &v4,
            Family::V6 => &v6,
        };
        routed.flow.sent().destination.overlaps(addresses)
    };
    let mut described: Vec<Bypass> = Vec::new();
    for group in ways.chunk_by(|one, other| one.0 == other.0) {
        let from = group[0].0;
        let mut plain = match from.segment() {
            Some(from) => routed(network, Sender::Segment(from)),
            None => Vec::new(),
        };
        // Devices as configured send to addresses that somebody has or a translation matches.
        plain.retain(sent);
        let hostile = routed(network, Sender::Hostile(from));
        for (_, to, way) in group {
            let flows = [&plain[..], &hostile];
            described.push(describe(network, &needed, (from, *to), flows, way));
        }
    }
    described
}

/// The ways themselves, a shortest one for each pair.
pub(super) fn ways(
    network: &Network<'_>,
    asked: &dyn Fn(Origin, Origin) -> bool,
) -> Vec<(Origin, Origin, Way)> {
    let mut found = Vec::new();
    for from in network.fabric.origins() {
        let targets: Vec<Origin> = targets(network, from, asked);
        if targets.is_empty() || !may_leave(network, from) {
            continue;
        }
        let around = Around::new(network, from);
        let ways = targets.into_iter();
        found.extend(ways.filter_map(|to| Some((from, to, around.way_to(to)?))));
    }
    found
}

/// Segments of other zones that are asked about, and unclaimed ports, which are in none.
fn targets(
    network: &Network<'_>,
    from: Origin,
    asked: &dyn Fn(Origin, Origin) -> bool,
) -> Vec<Origin> {
    let site = network.site;
    let zone = from.segment().map(|from| site.segment(from).zone);
    let other = |&to: &Origin| match (zone, to) {
        (Some(zone), Origin::Segment(to)) => site.segment(to).zone != zone,
        (None, Origin::Unclaimed(_)) => false,
        _ => true,
    };
    network
        .fabric
        .origins()
        .filter(other)
        .filter(|&to| asked(from, to))
        .collect()
}

/// Whether frames of a device get anywhere but to devices of its own segment and to filtering gateways: what must
/// hold for any way round, and quickly told.
fn may_leave(network: &Network<'_>, from: Origin) -> bool {
    let reached = network.wiring.from_hostile(from);
    let own = from.segment();
    let place = |number: &u32| network.wiring.free_ports[*number as usize].segment;
    let unclaimed = |group| Origin::Unclaimed(group) != from;
    if reached.unclaimed.iter().any(|&group| unclaimed(group))
        || reached
            .free_ports
            .iter()
            .any(|number| Some(place(number)) != own)
    {
        return true;
    }
    let plan = network.plan(Family::V4);
    reached.interfaces.iter().any(|&interface| {
        let interface = network.fabric.interface(interface);
        let (device, _) = plan.place_of(interface.of);
        let device = plan.device(device);
        let host = matches!(device.id, DeviceId::Host(_));
        device.forwards_unfiltered()
            || host && (Some(interface.segment) != own || 1 < device.interfaces.len())
    })
}

/// The numbers of ordered pairs of segments that [`bypasses`] looks at.
pub fn pairs_asked(network: &Network<'_>, asked: &dyn Fn(Origin, Origin) -> bool) -> usize {
    network
        .site
        .segment_ids()
        .map(Origin::Segment)
        .flat_map(|from| targets(network, from, asked))
        .filter(|to| to.segment().is_some())
        .count()
}

fn describe(
    network: &Network<'_>,
    needed: &Needed,
    (from, to): (Origin, Origin),
    [plain, hostile]: [&[Routed]; 2],
    way: &Way,
) -> Bypass {
    let settings = settings_of(network, (from, to), way);
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
        two_way: comes_back(network, (from, to), hostile, way),
        configured: as_configured((from, to), plain, way),
        settings,
        opened_by,
        way: way.clone(),
    }
}

/// Whether a device as configured gets there: by plain frames of its own, or by its packets, passed on or taken by
/// devices without rules. Nobody is configured at unclaimed ports.
fn as_configured((from, to): (Origin, Origin), plain: &[Routed], way: &Way) -> bool {
    let untagged = match way.legs.first().map(|leg| leg.start) {
        Some(Start::AttachPoint(_, frame)) => frame != Frame::HOSTILE,
        _ => true,
    };
    let direct = untagged && way.handovers.is_empty() && way.far_address.is_none();
    let routed = || plain.iter().any(|routed| Some(routed.to) == to.segment());
    from.segment().is_some() && (direct || routed())
}

/// Whether answers get back to the sender: plain frames of what was reached, or replies to a packet that goes this
/// way.
fn comes_back(
    network: &Network<'_>,
    (from, to): (Origin, Origin),
    hostile: &[Routed],
    way: &Way,
) -> Option<bool> {
    if way.handovers.is_empty() && way.far_address.is_none() {
        return Some(frames_come_back(network, to, way));
    }
    let devices: Vec<DeviceIndex> = way
        .handovers
        .iter()
        .map(|handover| handover.device)
        .collect();
    let same = |routed: &&Routed| {
        let crossed = routed.flow.hops.iter().filter(|hop| hop.egress.is_some());
        Some(routed.to) == to.segment() && crossed.map(|hop| hop.device).eq(devices.iter().copied())
    };
    let mut coverage = WalkCoverage::Complete;
    let found = hostile.iter().filter(same).any(|routed| {
        let plan = network.plan(routed.family);
        let place = Place::Segment(routed.to);
        let (back, walked) = returns(network, plan, Sender::Hostile(from), place, &routed.flow);
        coverage.note(walked);
        !back.is_empty()
    });
    (found || coverage.is_complete()).then_some(found)
}

/// Whether plain frames of the device that was reached get back to the sender.
fn frames_come_back(network: &Network<'_>, to: Origin, way: &Way) -> bool {
    let fabric = &network.fabric;
    let Some(home) = way.legs.first().and_then(|leg| begins(network, leg)) else {
        return false;
    };
    let start = match way.end.interface {
        Some(interface) => Start::WiredInterface(interface),
        None => {
            let mut mine = fabric
                .seated(way.end.port)
                .iter()
                .filter(|(segment, _)| Some(*segment) == to.segment());
            let tag = mine.find(|(_, tag)| way.end.frame.fits(*tag));
            Start::AttachPoint(way.end.port, Frame::of(tag.and_then(|(_, tag)| *tag)))
        }
    };
    // A hostile device takes whatever comes out at its port.
    let back = flood(fabric, &[start]);
    back.taken.iter().any(|taken| taken.port == home)
}
