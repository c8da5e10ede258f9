//! Numbers grouped by which of some sets hold them.

use rustc_hash::FxHashMap;

use super::interval::Interval;
use super::interval_set::IntervalSet;

/// The coarsest grouping of the numbers `0..=top` that no given set cuts
/// through: two numbers share a part when the same sets hold them.
#[derive(Clone, Debug)]
pub(super) struct Partition {
    /// Where runs of one part begin. Invariant: ascending, the first is 0.
    starts: Vec<u32>,
    /// The part of each run.
    run_parts: Vec<u32>,
    /// The parts, by their lowest number. Invariant: none empty, disjoint,
    /// together `0..=top`.
    parts: Vec<IntervalSet>,
    /// The last number.
    top: u32,
}

impl Partition {
    /// Groups `0..=top` by `sets`. With `m` distinct sets and `c` cuts: `c m /
    /// 64` steps and a sort.
    pub(super) fn new<'a>(sets: impl Iterator<Item = &'a IntervalSet>, top: u32) -> Self {
        let mut distinct: Vec<&IntervalSet> = sets.collect();
        distinct.sort_unstable();
        distinct.dedup();
        let mut changes = vec![(0, usize::MAX)];
        for (number, set) in distinct.iter().enumerate() {
            for interval in set.intervals() {
                changes.push((narrow(interval.low(), top), number));
                changes.push((narrow(interval.high() + 1, top), number));
            }
        }
        changes.retain(|(value, _)| *value <= top);
        changes.sort_unstable();
        Self::sweep(&changes, distinct.len(), top)
    }

    /// How many parts there are, at least 1.
    pub(super) fn len(&self) -> usize {
        self.parts.len()
    }

    /// The part that holds `value`.
    pub(super) fn part_of(&self, value: u32) -> usize {
        let run = self.starts.partition_point(|start| *start <= value) - 1;
        self.run_parts[run] as usize
    }

    /// The parts that hold some of `low..=high`, one for each run met: a part may come several times.
    pub(super) fn parts_within(&self, low: u32, high: u32) -> impl Iterator<Item = usize> + '_ {
        let first = self.starts.partition_point(|start| *start <= low) - 1;
        let within = self.starts[first..]
            .iter()
            .zip(&self.run_parts[first..])
            .take_while(move |(start, _)| **start <= high);
        within.map(|(_, part)| *part as usize)
    }

    pub(super) fn part(&self, number: usize) -> &IntervalSet {
        &self.parts[number]
    }

    /// A number of each part, namely its lowest.
    pub(super) fn samples(&self) -> impl Iterator<Item = u128> + '_ {
        self.parts
            .iter()
            .map(|part| part.lowest().expect("no part is empty"))
    }

    /// One pass over the sorted changes with the running set of holders as the
    /// key of the part.
    fn sweep(changes: &[(u32, usize)], sets: usize, top: u32) -> Self {
        let mut holders = vec![0u64; sets.div_ceil(64)];
        let mut known: FxHashMap<Vec<u64>, u32> = FxHashMap::default();
        let (mut starts, mut run_parts) = (Vec::new(), Vec::new());
        for group in changes.chunk_by(|a, b| a.0 == b.0) {
            for (_, number) in group.iter().filter(|change| change.1 != usize::MAX) {
                holders[number / 64] ^= 1 << (number % 64);
            }
            let next = u32::try_from(known.len()).expect("no more parts than numbers");
            let part = *known.entry(holders.clone()).or_insert(next);
            starts.push(group[0].0);
            run_parts.push(part);
        }
        let mut runs: Vec<Vec<Interval>> = vec![Vec::new(); known.len()];
        let ends = starts.iter().skip(1).map(|start| start - 1);
        for ((low, high), part) in starts.iter().zip(ends.chain([top])).zip(&run_parts) {
            runs[*part as usize].push(Interval::between((*low).into(), high.into()));
        }
        let parts = runs.into_iter().map(IntervalSet::from_iter).collect();
        Self {
            starts,
            run_parts,
            parts,
            top,
        }
    }

    /// The numbers of the parts that are wanted. O(runs): they are in order already.
    pub(super) fn union(&self, wanted: impl Fn(usize) -> bool) -> IntervalSet {
        let mut held: Vec<Interval> = Vec::new();
        let mut begun = None;
        for (&start, &part) in self.starts.iter().zip(&self.run_parts) {
            match (begun, wanted(part as usize)) {
                (None, true) => begun = Some(start),
                (Some(low), false) => {
                    held.push(Interval::between(low.into(), (start - 1).into()));
                    begun = None;
                }
                (None, false) | (Some(_), true) => {}
            }
        }
        held.extend(begun.map(|low| Interval::between(low.into(), self.top.into())));
        held.into_iter().collect()
    }
}

/// A cut position; everything above `top` is one position.
fn narrow(value: u128, top: u32) -> u32 {
    u32::try_from(value).unwrap_or(u32::MAX).min(top + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_share_a_part_when_the_same_sets_hold_them() {
        let sets: Vec<IntervalSet> = (1..64u32)
            .step_by(5)
            .map(|bits| {
                (0..6u32)
                    .filter(|v| bits >> v & 1 == 1)
                    .map(|v| Interval::point(v.into()))
                    .collect()
            })
            .collect();
        for pair in sets.windows(2) {
            let parts = Partition::new(pair.iter(), 7);
            for x in 0..=7u32 {
                assert!(parts.part(parts.part_of(x)).contains(x.into()));
                for y in 0..=7u32 {
                    let alike = |s: &IntervalSet| s.contains(x.into()) == s.contains(y.into());
                    let together = parts.part_of(x) == parts.part_of(y);
                    assert_eq!(together, pair.iter().all(alike), "{x} {y} by {pair:?}");
                }
            }
        }
    }

    #[test]
    fn parts_together_hold_what_each_holds() {
        let cut = [2u32, 3, 5].map(|step| -> IntervalSet {
            (0..=40u32)
                .filter(|value| value % step == 0)
                .map(|value| Interval::point(value.into()))
                .collect()
        });
        let parts = Partition::new(cut.iter(), 40);
        for bits in 0..1u32 << parts.len() {
            let wanted = |part: usize| bits >> part & 1 == 1;
            let each = (0..parts.len())
                .filter(|&part| wanted(part))
                .flat_map(|part| parts.part(part).intervals());
            assert_eq!(parts.union(wanted), each.copied().collect(), "{bits:b}");
        }
    }

    #[test]
    fn nothing_to_tell_apart_leaves_one_part() {
        let all = IntervalSet::range(0, 255);
        for sets in [
            vec![],
            vec![all.clone()],
            vec![all.clone(), IntervalSet::empty()],
        ] {
            let parts = Partition::new(sets.iter(), 255);
            assert_eq!((parts.len(), parts.part(0)), (1, &all));
        }
    }
}
