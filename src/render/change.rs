//! What a change does, in words that every format shares.

use boundwalk_analysis::change::{
    Changed, Edit, EditKind, IntentChange, IsolationChange, PairChange, ReachChange, Spot, Trend,
    WayChange, WayChanges,
};
use boundwalk_analysis::intent::IntentStatus;
use boundwalk_analysis::{DecidedBy, ServiceLabels, origin_name};
use boundwalk_diagnostic::{Finding, Sources};
use boundwalk_forwarding::{Network, Origin, Stop};
use boundwalk_model::{HostId, PerFamily, RouterId, Site};

use super::frames::way_lines;

/// What is shown of a change. Pairs are of the old version, then of the new one.
pub struct ChangeShown<'a> {
    /// What the versions are called.
    pub names: [String; 2],
    /// The versions.
    pub networks: &'a [Network<'a>; 2],
    /// Their texts.
    pub sources: [&'a Sources; 2],
    /// Their names: of each version IPv4, then IPv6.
    pub namings: [PerFamily<ServiceLabels<'a>>; 2],
    /// What opens and closes.
    pub reach: &'a ReachChange,
    /// Ways round the gateway that come and go.
    pub ways: &'a WayChanges,
    /// What was edited.
    pub edits: &'a [Edit],
    /// Expectations and needs that stand otherwise.
    pub intent: &'a [IntentChange],
    /// Segments whose isolation stands otherwise.
    pub isolation: &'a [IsolationChange],
    /// Findings that are new; `None`: not asked for.
    pub findings: Option<(&'a [Finding], &'a [Finding])>,
    /// What the answers rest on.
    pub notes: &'a [String],
}

/// Whether something opens or closes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum ChangeKind {
    Opens,
    Closes,
}

/// For whom something opens or closes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Stance {
    /// For devices that do as configured.
    Configured,
    /// For a hostile device, beyond that.
    Hostile,
}

impl Stance {
    pub(super) const BOTH: [Self; 2] = [Self::Configured, Self::Hostile];
}

impl ChangeKind {
    pub(super) const BOTH: [Self; 2] = [Self::Opens, Self::Closes];

    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Opens => "opens",
            Self::Closes => "closes",
        }
    }

    /// The version in which the packets pass.
    pub(super) fn passes_in(self) -> usize {
        match self {
            Self::Opens => 1,
            Self::Closes => 0,
        }
    }

    pub(super) fn of(self, pair: &PairChange) -> &[Changed] {
        match self {
            Self::Opens => &pair.opened,
            Self::Closes => &pair.closed,
        }
    }

    /// Ways round the gateway that come or go.
    pub(super) fn ways(self, ways: &WayChanges) -> &[WayChange] {
        match self {
            Self::Opens => &ways.opened,
            Self::Closes => &ways.closed,
        }
    }

    /// Which way the isolation of a segment goes.
    pub(super) fn trend(self) -> Trend {
        match self {
            Self::Opens => Trend::Worse,
            Self::Closes => Trend::Better,
        }
    }
}

impl ChangeShown<'_> {
    pub(super) fn site(&self, version: usize) -> &Site {
        self.networks[version].site
    }

    /// The name of a place in one version.
    pub(super) fn name(&self, spot: Spot, version: usize) -> Option<String> {
        let (site, new) = (self.site(version), version == 1);
        match spot {
            Spot::Segment(matched) => Some(site.segment(matched.side(new)?).name.value.clone()),
            Spot::Router(matched) => Some(site.router(matched.side(new)?).name.value.clone()),
            Spot::Unclaimed(matched) => {
                let origin = Origin::Unclaimed(matched.side(new)?);
                let fabric = &self.networks[version].fabric;
                Some(origin_name(site, fabric, origin).into_owned())
            }
        }
    }

    /// The name of a place; a new name is shown with the old one.
    pub(super) fn spot(&self, spot: Spot) -> String {
        let name = named(self.name(spot, 0).as_ref(), self.name(spot, 1).as_ref());
        match spot {
            Spot::Router(_) => format!("{name} itself"),
            Spot::Segment(_) | Spot::Unclaimed(_) => name,
        }
    }

    /// The names of both ends in the old and in the new version; `None`: it is not there.
    pub(super) fn names_of(&self, from: Spot, to: Spot) -> [[Option<String>; 2]; 2] {
        [0, 1].map(|version| [from, to].map(|spot| self.name(spot, version)))
    }

    /// The names of both ends in the new version; of what is gone, in the old one.
    pub(super) fn new_names(&self, pair: &PairChange) -> (String, String) {
        let name = |spot| self.name(spot, 1).or_else(|| self.name(spot, 0));
        (
            name(pair.from).unwrap_or_default(),
            name(pair.to).unwrap_or_default(),
        )
    }

    pub(super) fn pair(&self, pair: &PairChange) -> String {
        let (from, to) = (self.spot(pair.from), self.spot(pair.to));
        format!("{from} -> {to}, {}", pair.family.word())
    }

    /// Every pair with a difference in a stance.
    pub(super) fn all_pairs(&self, stance: Stance) -> &[PairChange] {
        match stance {
            Stance::Configured => &self.reach.pairs,
            Stance::Hostile => &self.reach.hostile,
        }
    }

    /// Pairs with something that opens, or closes.
    pub(super) fn pairs(
        &self,
        kind: ChangeKind,
        stance: Stance,
    ) -> impl Iterator<Item = &PairChange> {
        self.all_pairs(stance)
            .iter()
            .filter(move |pair| !kind.of(pair).is_empty())
    }

    /// Pairs of which a limit was met and nothing is listed.
    pub(super) fn unknown_pairs(&self, stance: Stance) -> impl Iterator<Item = &PairChange> {
        self.all_pairs(stance)
            .iter()
            .filter(|pair| pair.opened.is_empty() && pair.closed.is_empty())
    }

    /// `office -> brewhouse, by frames`.
    pub(super) fn way(&self, way: &WayChange) -> String {
        let (from, to) = (self.spot(Spot::of(way.from)), self.spot(Spot::of(way.to)));
        let who = if way.bypass.configured {
            "as configured"
        } else {
            "for a hostile device"
        };
        let back = match way.bypass.two_way {
            Some(true) => "both ways",
            Some(false) => "one-way",
            None => "answers unknown (a limit was met)",
        };
        format!("{from} -> {to}: {who}, {back}")
    }

    /// The steps of a way round, in the version that has it.
    pub(super) fn way_steps(&self, kind: ChangeKind, way: &WayChange) -> Vec<String> {
        way_lines(&self.networks[kind.passes_in()], &way.bypass.way)
    }

    /// The setting that opens a way round, with its place.
    pub(super) fn opened_by(&self, kind: ChangeKind, way: &WayChange) -> Option<String> {
        let version = kind.passes_in();
        let site = self.site(version);
        let setting = way.bypass.opened_by?;
        let place = self.sources[version].place(setting.place(site));
        Some(format!("{} ({place})", setting.fact(site)))
    }

    /// Segments whose verdict goes one way.
    pub(super) fn isolated(&self, kind: ChangeKind) -> impl Iterator<Item = &IsolationChange> {
        self.isolation
            .iter()
            .filter(move |one| one.trend() == kind.trend())
    }

    /// Names of hosts that have an address at either end of what opens or closes.
    pub(super) fn hosts_affected(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for (kind, version) in [(ChangeKind::Closes, 0), (ChangeKind::Opens, 1)] {
            let network = &self.networks[version];
            for (number, host) in network.site.hosts.iter().enumerate() {
                let mut pairs = Stance::BOTH
                    .into_iter()
                    .flat_map(|stance| self.pairs(kind, stance));
                let met = pairs.any(|pair| {
                    let plan = network.plan(pair.family);
                    let own = &plan.device(plan.host_index(HostId(number))).own;
                    let mut sets = kind.of(pair).iter().map(|changed| &changed.packets);
                    sets.any(|set| set.source.overlaps(own) || set.destination.overlaps(own))
                });
                if met && !names.contains(&host.name.value.as_str()) {
                    names.push(&host.name.value);
                }
            }
        }
        names
    }

    /// Whether an edit of a rule plays a part in what opens or closes; `None` for other edits.
    pub(super) fn has_effect(&self, edit: &Edit) -> Option<bool> {
        let rule = edit.rule?;
        let spot = |version: usize| if version == 0 { rule.old } else { rule.new };
        let plays = |kind: ChangeKind, changed: &Changed| {
            let here = spot(kind.passes_in());
            let there = spot(1 - kind.passes_in());
            let is = |spot: Option<(RouterId, usize)>, &(router, at): &DecidedBy| {
                spot.is_some() && spot == at.map(|at| (router, at))
            };
            changed.passes_by.iter().any(|by| is(here, by))
                || changed.stopped_by.iter().any(|by| is(there, by))
                || matches!((changed.stop, there), (Some(Stop::Denied(Some(rule))), Some((_, own))) if rule == own)
        };
        let mut pairs = self.reach.pairs.iter().chain(&self.reach.hostile);
        Some(pairs.any(|pair| {
            let mut any = ChangeKind::BOTH
                .into_iter()
                .flat_map(|kind| kind.of(pair).iter().map(move |one| (kind, one)));
            any.any(|(kind, changed)| plays(kind, changed)) || !pair.complete()
        }))
    }

    /// Places of an edit, the new one first.
    pub(super) fn edit_place(&self, edit: &Edit) -> String {
        match (edit.new, edit.old) {
            (Some(new), _) => self.sources[1].place(new),
            (None, Some(old)) => self.sources[0].place(old),
            (None, None) => String::new(),
        }
    }
}

fn named(old: Option<&String>, new: Option<&String>) -> String {
    match (old, new) {
        (Some(old), Some(new)) if old != new => format!("{new} (was {old})"),
        (_, Some(name)) | (Some(name), None) => name.clone(),
        (None, None) => String::new(),
    }
}

pub(super) fn is_worse(one: &IntentChange) -> bool {
    !matches!(one.before, Some(IntentStatus::Broken(_)))
        && matches!(one.after, Some(IntentStatus::Broken(_)))
}

pub(super) fn is_better(one: &IntentChange) -> bool {
    matches!(one.before, Some(IntentStatus::Broken(_)))
        && matches!(one.after, Some(IntentStatus::Held))
}

/// `the expectation "guests stay out" held and is broken now`.
pub(super) fn intent_words(one: &IntentChange) -> String {
    let state = |side: &Option<IntentStatus>| {
        side.as_ref()
            .map_or("not there", |side| status(one.need, side))
    };
    format!(
        "the {} \"{}\": was {}, is {}",
        if one.need { "need" } else { "expectation" },
        one.name,
        state(&one.before),
        state(&one.after)
    )
}

/// How an expectation or a need stands, in a word.
pub(super) fn status(need: bool, status: &IntentStatus) -> &'static str {
    match (status, need) {
        (IntentStatus::Held, true) => "met",
        (IntentStatus::Held, false) => "held",
        (IntentStatus::Broken(_), true) => "unmet",
        (IntentStatus::Broken(_), false) => "broken",
        (IntentStatus::Vacuous, _) => "vacuous",
        (IntentStatus::Unknown(_), _) => "unknown",
    }
}

/// `added`, or `changed (services, log)`.
pub(super) fn edit_kind(kind: &EditKind) -> String {
    match kind {
        EditKind::Added => "added".to_owned(),
        EditKind::Removed => "removed".to_owned(),
        EditKind::Moved => "moved".to_owned(),
        EditKind::Renamed(old) => format!("renamed (was \"{old}\")"),
        EditKind::Changed(settings) => format!("changed ({})", settings.join(", ")),
    }
}
