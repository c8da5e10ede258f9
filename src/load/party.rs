//! Zones and segments by name, as `from` and `to` take them.

use rustc_hash::FxHashSet;

use boundwalk_diagnostic::{Problem, Spanned};
use boundwalk_model::{RuleParty, SegmentId, ZoneId};

use super::context::Context;
use super::kinds;
use super::quote::shown;
use super::reader::Table;

/// The segments and zones that a gateway has interfaces on.
pub(super) struct Presence {
    /// Name of the gateway.
    pub gateway: String,
    segments: FxHashSet<SegmentId>,
    zones: FxHashSet<ZoneId>,
}

impl Presence {
    /// Where the gateway of a number is; `None` while one of its interfaces could not be placed.
    pub fn of(cx: &Context<'_>, router: usize) -> Option<Self> {
        let router = &cx.site.routers[router];
        let segments: FxHashSet<SegmentId> = router
            .interfaces
            .iter()
            .map(|interface| interface.segment)
            .collect();
        let mut zones = FxHashSet::default();
        for interface in &router.interfaces {
            zones.insert(cx.site.segments.get(interface.segment.0)?.zone);
        }
        Some(Self {
            gateway: router.name.value.clone(),
            segments,
            zones,
        })
    }
}

/// A list of zones and segments; `None` where the key is not given, or once its mistake is reported.
/// `gateway` tells whether the word stands for the gateway itself here.
pub(super) fn list(
    cx: &mut Context<'_>,
    table: &Table<'_>,
    key: &str,
    gateway: bool,
) -> Option<Vec<Spanned<RuleParty>>> {
    let texts = table.strings(&mut cx.report, key)?;
    let mut parties = Vec::with_capacity(texts.len());
    let mut sound = true;
    for text in texts {
        match read(cx, text, key, gateway) {
            Some(party) => parties.push(Spanned::new(party, text.span)),
            None => sound = false,
        }
    }
    sound.then_some(parties)
}

/// The zones and segments of names that a role is given to.
pub(super) fn read_all(
    cx: &mut Context<'_>,
    texts: &[Spanned<&str>],
    key: &str,
) -> Option<Vec<RuleParty>> {
    let parties: Vec<Option<RuleParty>> = texts
        .iter()
        .map(|&text| read(cx, text, key, false))
        .collect();
    parties.into_iter().collect()
}

/// The parties without their places.
pub(super) fn plain(parties: Option<Vec<Spanned<RuleParty>>>) -> Option<Vec<RuleParty>> {
    parties.map(|list| list.into_iter().map(|party| party.value).collect())
}

/// Warns of parties of a line of this name that no interface of the gateway is on: they match nothing there.
pub(super) fn warn_of_absent(
    cx: &mut Context<'_>,
    presence: Option<&Presence>,
    line: &str,
    parties: Option<&[Spanned<RuleParty>]>,
) {
    let Some(presence) = presence else { return };
    for party in parties.unwrap_or_default() {
        let name = match party.value {
            RuleParty::Gateway => continue,
            RuleParty::Segment(id) if presence.segments.contains(&id) => continue,
            RuleParty::Zone(id) if presence.zones.contains(&id) => continue,
            RuleParty::Segment(id) => format!("segment `{}`", cx.segment_name(id)),
            RuleParty::Zone(id) => format!("zone `{}`", cx.zones.name(id.0).value),
        };
        let message = format!(
            "the gateway `{}` has no interface on the {name}",
            presence.gateway
        );
        let problem =
            Problem::at(&kinds::PARTY_NOT_HERE, party.span, message).label("matches nothing here");
        let problem = problem.about(format!("{} \"{line}\"", presence.gateway));
        cx.report(problem.help("`from` and `to` mean interfaces of this gateway; for what lies behind another router use `source` or `destination`"));
    }
}

/// The segments that parties come to, sorted; `None` where the gateway itself is among them.
pub(super) fn segments_of(cx: &Context<'_>, parties: &[RuleParty]) -> Option<Vec<SegmentId>> {
    let mut segments = Vec::new();
    for party in parties {
        match party {
            RuleParty::Gateway => return None,
            RuleParty::Segment(id) => segments.push(*id),
            RuleParty::Zone(id) => segments.extend(cx.zone_members.get(id.0).into_iter().flatten()),
        }
    }
    segments.sort_unstable();
    segments.dedup();
    Some(segments)
}

fn read(cx: &mut Context<'_>, text: Spanned<&str>, key: &str, gateway: bool) -> Option<RuleParty> {
    let report = &mut cx.report;
    match text.value.split_once(':') {
        Some(("zone", name)) => {
            let found = cx.zones.require(report, Spanned::new(name, text.span));
            return found.map(|number| RuleParty::Zone(ZoneId(number)));
        }
        Some(("segment", name)) => {
            let found = cx.segments.require(report, Spanned::new(name, text.span));
            return found.map(|number| RuleParty::Segment(SegmentId(number)));
        }
        _ => {}
    }
    if text.value == "gateway" {
        if !gateway {
            let message = format!("`gateway` can't stand in `{key}` here");
            let problem = Problem::at(&kinds::BAD_PARTY, text.span, message);
            cx.report(problem.help(
                "the gateway itself is only ever a target: it stands in `to` of rules, needs and expectations",
            ));
        }
        return gateway.then_some(RuleParty::Gateway);
    }
    named(cx, text)
}

/// A bare name, without `zone:` or `segment:` in front.
fn named(cx: &mut Context<'_>, text: Spanned<&str>) -> Option<RuleParty> {
    let zone = cx.zones.find(text.value).map(ZoneId);
    let segment = cx.segments.find(text.value).map(SegmentId);
    match (zone, segment) {
        (Some(zone), None) => Some(RuleParty::Zone(zone)),
        (None, Some(segment)) => Some(RuleParty::Segment(segment)),
        // A zone of just that segment: both readings are one.
        (Some(zone), Some(segment)) if cx.zone_members[zone.0] == [segment] => {
            Some(RuleParty::Segment(segment))
        }
        (Some(_), Some(_)) => {
            let name = shown(text.value);
            let message = format!("`{name}` names a zone and a segment, and they differ");
            let problem = Problem::at(&kinds::AMBIGUOUS_NAME, text.span, message);
            let help = format!("write `zone:{name}` or `segment:{name}`");
            cx.report(problem.label("which one?").help(help));
            None
        }
        (None, None) => {
            unknown(cx, text);
            None
        }
    }
}

fn unknown(cx: &mut Context<'_>, text: Spanned<&str>) {
    let help = if text.value == "any" {
        "leave the key out to match any".to_owned()
    } else if cx.groups.find(text.value).is_some() || cx.devices.find(text.value).is_some() {
        "groups and devices go into `source` and `destination`; here stand zones and segments"
            .to_owned()
    } else {
        let all: Vec<&str> = cx.zones.iter().chain(cx.segments.iter()).collect();
        cx.report.did_you_mean(text.value, all.iter().copied(), || {
            super::names::some_of("zone or segment", all.iter().copied())
        })
    };
    let message = format!("no zone or segment is called `{}`", shown(text.value));
    cx.report(
        Problem::at(&kinds::UNKNOWN_NAME, text.span, message)
            .label("unknown name")
            .help(help),
    );
}
