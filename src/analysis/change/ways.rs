//! Ways round the gateway that a change opens or closes.

use rustc_hash::FxHashSet;

use boundwalk_forwarding::{Network, Origin};

use super::super::bypass::{Bypass, bypasses, ways};
use super::counterparts::{Counterparts, Matched};
use super::reach::ReachChange;

/// A pair with a way round the gateway in one version only.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WayChange {
    /// Where the device is attached.
    pub from: Matched<Origin>,
    /// What it reaches.
    pub to: Matched<Origin>,
    /// The way, in the version that has it.
    pub bypass: Bypass,
}

/// What a change does to ways round the gateway.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct WayChanges {
    /// Pairs of which the new version has a way round, and the old one had none.
    pub opened: Vec<WayChange>,
    /// Pairs of which the old version had a way round, and the new one has none.
    pub closed: Vec<WayChange>,
}

impl WayChanges {
    /// Whether nothing changed.
    pub fn is_empty(&self) -> bool {
        self.opened.is_empty() && self.closed.is_empty()
    }
}

type Ends = (Matched<Origin>, Matched<Origin>);

/// Compares the ways round of two versions. Rules decide none of them, so nothing is looked at where only rules differ.
#[must_use]
pub fn way_changes(old: &Network<'_>, new: &Network<'_>, reach: &ReachChange) -> WayChanges {
    if reach.only_rules {
        return WayChanges::default();
    }
    let counterparts = &reach.counterparts;
    let [before, after] = [(old, false), (new, true)]
        .map(|(network, new)| ends(network, counterparts, new).collect::<FxHashSet<Ends>>());
    WayChanges {
        opened: beyond(new, true, counterparts, &before),
        closed: beyond(old, false, counterparts, &after),
    }
}

/// The place in both versions that is this one in one of them.
fn matched(counterparts: &Counterparts, new: bool, origin: Origin) -> Option<Matched<Origin>> {
    let mut all = counterparts.origins();
    all.find(|matched| matched.side(new) == Some(origin))
}

/// Pairs of one version with a way round.
fn ends<'a>(
    network: &Network<'_>,
    counterparts: &'a Counterparts,
    new: bool,
) -> impl Iterator<Item = Ends> + 'a {
    let ends: Vec<(Origin, Origin)> = ways(network, &|_, _| true)
        .into_iter()
        .map(|(from, to, _)| (from, to))
        .collect();
    ends.into_iter().filter_map(move |(from, to)| {
        let matched = |origin| matched(counterparts, new, origin);
        Some((matched(from)?, matched(to)?))
    })
}

/// Ways of one version between pairs that the other has none for.
fn beyond(
    network: &Network<'_>,
    new: bool,
    counterparts: &Counterparts,
    known: &FxHashSet<Ends>,
) -> Vec<WayChange> {
    let ends = |from, to| {
        let from = matched(counterparts, new, from)?;
        Some((from, matched(counterparts, new, to)?))
    };
    let fresh = |from, to| ends(from, to).is_some_and(|ends| !known.contains(&ends));
    let changes = bypasses(network, &fresh).into_iter().filter_map(|bypass| {
        let (from, to) = ends(bypass.from, bypass.to)?;
        Some(WayChange { from, to, bypass })
    });
    changes.collect()
}
