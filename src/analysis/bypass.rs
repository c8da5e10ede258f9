//! Ways round the gateway: pairs of segments of different zones that a device crosses without a filtering
//! gateway deciding.

use crate::forwarding::layer2::{Frame, Start, flood};
use crate::forwarding::{DeviceId, DeviceIndex, Network, Plan};
use crate::model::{Family, SegmentId};

use super::needed::Needed;
use super::setting::Setting;
use super::way_settings::settings_of;
use super::ways::{Around, Way, begins, takes};

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

/// Looks for ways round between the pairs that `asked` accepts; pairs of one zone are no bypass.
///
/// One flood for each segment, and for each device without rules that it meets one look-up for each target.
pub fn bypasses(
    network: &Network<'_>,
    asked: &dyn Fn(SegmentId, SegmentId) -> bool,
) -> Vec<Bypass> {
    let ways = ways(network, asked);
    if ways.is_empty() {
        return Vec::new();
    }
    let needed = Needed::new(network);
    let described = ways
        .into_iter()
        .map(|(from, to, way)| describe(network, &needed, from, to, way));
    described.collect()
}

/// The ways themselves, a shortest one for each pair.
pub(super) fn ways(
    network: &Network<'_>,
    asked: &dyn Fn(SegmentId, SegmentId) -> bool,
) -> Vec<(SegmentId, SegmentId, Way)> {
    let mut found = Vec::new();
    for from in network.site.segment_ids() {
        let targets: Vec<SegmentId> = targets(network, from, asked);
        if targets.is_empty() || !may_leave(network, from) {
            continue;
        }
        let around = Around::new(network, from);
        let ways = targets.into_iter();
        found.extend(ways.filter_map(|to| Some((from, to, around.way_to(to)?))));
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
        device.forwards_unfiltered()
            || (foot.segment != from && matches!(device.id, DeviceId::Host(_)))
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
fn routes_to(network: &Network<'_>, plan: &Plan, device: DeviceIndex, to: SegmentId) -> bool {
    let parts = plan
        .device(device)
        .routes
        .split(&plan.segment(to).addresses);
    parts.iter().any(|(hop, _)| {
        hop.and_then(|hop| hop.interface()).is_some_and(|egress| {
            let foot = plan.foot_of(&network.fabric, (device, egress));
            let reached = flood(&network.fabric, &[Start::Foot(foot)]);
            reached
                .taken
                .iter()
                .any(|taken| takes(&network.fabric, taken, to))
        })
    })
}
