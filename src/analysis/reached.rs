//! What arrived at a column of the matrix, whatever its source.

use std::sync::Arc;

use boundwalk_packet::{ClassSet, CutPiece, CutSet, IntervalSet, Region};

use super::short_way::PassedRules;

/// What arrived at a column, by destination and services, without regard to the source.
#[derive(Default)]
pub(super) struct Reached {
    regions: Vec<Region>,
    /// One for each set of destinations that was cut.
    cut: Vec<CutReached>,
}

/// The same of one set of destinations, cut for the rules that decided: rows of bits.
struct CutReached {
    destination: Arc<CutSet>,
    none: ClassSet,
    /// A row has the bits of destinations, then those of services.
    rows: Vec<u64>,
    destinations: usize,
    words: usize,
}

impl Reached {
    /// Notes what arrived.
    pub(super) fn note(&mut self, sent: &Region) {
        if self.holds(sent) {
            return;
        }
        let mut regions = self.regions.iter_mut();
        match regions.find(|old| old.destination == sent.destination) {
            Some(old) => old.services.union_with(&sent.services),
            None => self.regions.push(without_source(sent)),
        }
    }

    /// The same of a piece; `none` has the length of its services.
    pub(super) fn note_piece(
        &mut self,
        rules: &PassedRules<'_>,
        piece: CutPiece<'_>,
        none: &ClassSet,
    ) {
        let mut known = self.cut.iter_mut();
        if let Some(cut) = known.rfind(|cut| cut.is_of(rules)) {
            cut.note(piece);
            return;
        }
        self.cut.push(CutReached {
            destination: Arc::clone(&rules.destination),
            none: none.clone(),
            rows: [piece.destination, piece.services].concat(),
            destinations: piece.destination.len(),
            words: piece.destination.len() + piece.services.len(),
        });
    }

    /// Whether one part that arrived holds all of these destinations and services; else several may.
    pub(super) fn holds(&self, sent: &Region) -> bool {
        self.regions.iter().any(|old| {
            sent.services.is_subset(&old.services) && sent.destination.is_subset(&old.destination)
        })
    }

    /// The same of a piece.
    pub(super) fn holds_piece(&self, rules: &PassedRules<'_>, piece: CutPiece<'_>) -> bool {
        let known = self.cut.iter().rfind(|cut| cut.is_of(rules));
        known.is_some_and(|cut| cut.holds(piece))
    }

    /// All of it.
    pub(super) fn regions(&self) -> Vec<Region> {
        let mut all = self.regions.clone();
        all.extend(self.cut.iter().flat_map(CutReached::regions));
        all
    }
}

impl CutReached {
    fn is_of(&self, rules: &PassedRules<'_>) -> bool {
        Arc::ptr_eq(&self.destination, &rules.destination)
    }

    fn holds(&self, piece: CutPiece<'_>) -> bool {
        let mut rows = self.rows.chunks_exact(self.words);
        rows.any(|row| {
            let (destination, services) = row.split_at(self.destinations);
            piece.goes_within(destination, services)
        })
    }

    fn note(&mut self, piece: CutPiece<'_>) {
        if self.holds(piece) {
            return;
        }
        for row in self.rows.chunks_exact_mut(self.words) {
            let (destination, services) = row.split_at_mut(self.destinations);
            if destination == piece.destination {
                let pairs = services.iter_mut().zip(piece.services);
                pairs.for_each(|(mine, theirs)| *mine |= theirs);
                return;
            }
        }
        self.rows.extend_from_slice(piece.destination);
        self.rows.extend_from_slice(piece.services);
    }

    fn regions(&self) -> impl Iterator<Item = Region> {
        self.rows.chunks_exact(self.words).map(|row| {
            let (destination, bits) = row.split_at(self.destinations);
            let mut services = self.none.clone();
            services.add_bits(bits);
            Region {
                source: IntervalSet::point(0),
                destination: self.destination.addresses(destination),
                services,
            }
        })
    }
}

/// The destinations and services of a set of packets, as a set of its own.
pub(super) fn without_source(region: &Region) -> Region {
    Region {
        source: IntervalSet::point(0),
        ..region.clone()
    }
}
