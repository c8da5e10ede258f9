//! Which segment and which gateway of one version is which of the other.

use crate::model::{RouterId, SegmentId, Site};

/// The same thing in both versions, or a thing of one of them.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Twin<T> {
    /// In the old version; `None`: it is new.
    pub old: Option<T>,
    /// In the new version; `None`: it is gone.
    pub new: Option<T>,
}

/// What corresponds to what.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Counterparts {
    /// Segments: in the order of the old version, then new ones.
    pub segments: Vec<Twin<SegmentId>>,
    /// Gateways and routers likewise.
    pub routers: Vec<Twin<RouterId>>,
}

impl Counterparts {
    /// By name; what has no namesake by its VLAN and prefixes, then by its prefixes, then by its VLAN; gateways by
    /// their addresses.
    pub fn new(old: &Site, new: &Site) -> Self {
        let prefixes = |site: &Site, at: usize| {
            let segment = &site.segments[at];
            let all = segment.prefixes.iter().map(|prefix| prefix.value);
            let mut all: Vec<_> = all.collect();
            all.sort_unstable();
            (!all.is_empty()).then_some(all)
        };
        let vlan = |site: &Site, at: usize| site.segments[at].vlan.map(|vlan| vlan.value);
        let name = |site: &Site, at: usize| Some(site.segments[at].name.value.clone());
        let mut segments = Pairing::new(old.segments.len(), new.segments.len());
        segments.by(|at| name(old, at), |at| name(new, at));
        let both = |site, at| Some((vlan(site, at)?, prefixes(site, at)?));
        segments.by(|at| both(old, at), |at| both(new, at));
        segments.by(|at| prefixes(old, at), |at| prefixes(new, at));
        segments.by(|at| vlan(old, at), |at| vlan(new, at));
        let name = |site: &Site, at: usize| Some(site.routers[at].name.value.clone());
        let own = |site: &Site, at: usize| {
            let own = site.routers[at].own_addresses();
            (own != crate::model::AddressSet::default()).then_some(own)
        };
        let mut routers = Pairing::new(old.routers.len(), new.routers.len());
        routers.by(|at| name(old, at), |at| name(new, at));
        routers.by(|at| own(old, at), |at| own(new, at));
        Self {
            segments: segments.twins(SegmentId),
            routers: routers.twins(RouterId),
        }
    }
}

struct Pairing {
    /// By number in the old version.
    old: Vec<Option<usize>>,
    taken: Vec<bool>,
}

impl Pairing {
    fn new(old: usize, new: usize) -> Self {
        Self {
            old: vec![None; old],
            taken: vec![false; new],
        }
    }

    /// Pairs what is not paired yet and has the same mark.
    fn by<M: PartialEq>(
        &mut self,
        old_mark: impl Fn(usize) -> Option<M>,
        new_mark: impl Fn(usize) -> Option<M>,
    ) {
        let free: Vec<usize> = (0..self.taken.len())
            .filter(|&at| !self.taken[at])
            .collect();
        let mut free: Vec<(usize, M)> = free
            .into_iter()
            .filter_map(|at| Some((at, new_mark(at)?)))
            .collect();
        for at in 0..self.old.len() {
            if self.old[at].is_some() {
                continue;
            }
            let Some(mark) = old_mark(at) else { continue };
            // Mostly the order is the same: then the first is the one.
            if let Some(found) = free.iter().position(|(_, other)| *other == mark) {
                let (number, _) = free.remove(found);
                self.old[at] = Some(number);
                self.taken[number] = true;
            }
        }
    }

    fn twins<T>(&self, id: impl Fn(usize) -> T) -> Vec<Twin<T>> {
        let old = self.old.iter().enumerate().map(|(at, twin)| Twin {
            old: Some(id(at)),
            new: twin.map(&id),
        });
        let added = self.taken.iter().enumerate().filter(|(_, taken)| !**taken);
        let added = added.map(|(at, _)| Twin {
            old: None,
            new: Some(id(at)),
        });
        old.chain(added).collect()
    }
}
