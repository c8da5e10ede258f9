//! Laws about changes in what commands other than the matrix say: hostile reach, ways round and isolation.

use boundwalk::analysis::change::{
    ReachChange, Spot, isolation_changes, reach_change, way_changes,
};
use boundwalk::analysis::{By, Endpoint, IsolationVerdict, Matrix, Question, bypasses, isolations};
use boundwalk::forwarding::{Network, Origin};
use boundwalk::model::{Family, SegmentId};

use crate::drawn::{TODAY, site};
use crate::facts::{Facts, passes_hostile};
use crate::law::{Compared, Law};
use crate::other_laws::without;

pub const LAWS: &[Law] = &[
    Law {
        name: "what begins or ends to pass for a hostile device opens or closes",
        holds: hostile,
    },
    Law {
        name: "ways round and verdicts of isolation that differ are changes",
        holds: status,
    },
];

/// What is asked about two versions and what is said to change between them.
type Ask<'a> = &'a mut dyn FnMut(&[Network<'_>; 2], &ReachChange) -> Result<(), String>;

/// Asks about each change of a site, both ways.
fn each_change(facts: &Facts<'_>, ask: Ask<'_>) -> Result<(), String> {
    for text in (0..3).filter_map(|kind| without(facts, kind)) {
        let matched = site(&text);
        let limit = facts.network.open_pieces();
        for [old, new] in [
            [facts.network.site, &matched],
            [&matched, facts.network.site],
        ] {
            let versions = Network::versions(old, new, TODAY);
            let versions = versions.map(|network| network.limited_to(limit));
            let change = reach_change(&versions[0], &versions[1], &mut |_, _| {});
            ask(&versions, &change).map_err(|wrong| format!("{wrong}\nthe twin:\n{text}"))?;
        }
    }
    Ok(())
}

/// The segment of a place of a comparison; none is renamed here.
fn segment(spot: Spot) -> Option<SegmentId> {
    spot.segment().and_then(|matched| matched.old)
}

fn hostile(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    each_change(facts, &mut |versions, change| {
        for family in Family::ALL {
            let [old, new] = versions.each_ref().map(|network| {
                let question = Question::all(By::Segment, family, true);
                Matrix::new(network, &question, &mut |_, _| {})
            });
            for (from, to) in facts.pairs() {
                let cell = |matrix: &Matrix| {
                    let at = |parties: &[Endpoint], segment| {
                        let mut parties = parties.iter();
                        parties.position(|&party| party == Endpoint::Segment(segment))
                    };
                    let cells = &matrix.cells[at(&matrix.rows, from)?];
                    passes_hostile(&cells[at(&matrix.columns, to)?])
                };
                let (Some(before), Some(after)) = (cell(&old), cell(&new)) else {
                    compared.so(facts.may_be_unknown(), || format!("{from:?} {to:?}"))?;
                    continue;
                };
                let own: Vec<_> = change
                    .pairs
                    .iter()
                    .chain(&change.hostile)
                    .filter(|pair| pair.family == family)
                    .filter(|pair| (segment(pair.from), segment(pair.to)) == (Some(from), Some(to)))
                    .collect();
                let opened = own.iter().any(|pair| !pair.opened.is_empty());
                let closed = own.iter().any(|pair| !pair.closed.is_empty());
                let cut = own.iter().any(|pair| !pair.complete());
                let says = || format!("{family:?} {from:?} {to:?}: {before} {after} {own:#?}");
                compared.follows(Some(after && !before && !cut), Some(opened), says)?;
                compared.follows(Some(before && !after && !cut), Some(closed), says)?;
                compared.follows(Some(opened && !cut), Some(after), says)?;
                compared.follows(Some(closed && !cut), Some(before), says)?;
            }
        }
        Ok(())
    })?;
    compared.made()
}

fn status(facts: &Facts<'_>) -> Result<usize, String> {
    let mut compared = Compared::new(facts);
    let segments: Vec<SegmentId> = facts.network.site.segment_ids().collect();
    each_change(facts, &mut |[old, new], change| {
        let ways = |network: &Network<'_>| -> Vec<(SegmentId, SegmentId)> {
            let all = bypasses(network, &|_, _| true);
            let ends = |one: Origin, other: Origin| Some((one.segment()?, other.segment()?));
            all.iter()
                .filter_map(|one| ends(one.from, one.to))
                .collect()
        };
        let (before, after) = (ways(old), ways(new));
        let changed = way_changes(old, new, change);
        for pair in facts.pairs() {
            let (from, to) = (Origin::Segment(pair.0), Origin::Segment(pair.1));
            for (listed, there, not) in [
                (&changed.opened, &after, &before),
                (&changed.closed, &before, &after),
            ] {
                let differs = there.contains(&pair) && !not.contains(&pair);
                let mut listed = listed.iter();
                let says = listed.any(|way| way.bypass.from == from && way.bypass.to == to);
                compared.same(Some(differs), Some(says), || {
                    format!("{pair:?}: {changed:#?}")
                })?;
            }
        }
        let listed = isolation_changes(old, new, change);
        let stood = [old, new].map(|network| isolations(network, &segments));
        for (at, &segment) in segments.iter().enumerate() {
            let kinds = [0, 1].map(|version: usize| std::mem::discriminant(&stood[version][at]));
            let says = listed.iter().any(|one| one.segment == segment);
            // With a limit met, a verdict is what was found until then: it may differ and nothing else.
            let sure = |version: usize| match &stood[version][at] {
                IsolationVerdict::Reachable { limit, .. } => limit.is_none(),
                IsolationVerdict::Unknown { .. } => false,
                IsolationVerdict::ByDesign(_) | IsolationVerdict::ByRule { .. } => true,
            };
            let known = change.complete() && sure(0) && sure(1);
            let differs = known.then_some(kinds[0] != kinds[1]);
            compared.same(differs, Some(says), || {
                format!("{segment:?}: {says}, {:#?}", [&stood[0][at], &stood[1][at]])
            })?;
        }
        Ok(())
    })?;
    compared.made()
}
