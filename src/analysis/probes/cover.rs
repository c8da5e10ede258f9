//! Few packets that together show everything that is to be shown.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};

use boundwalk_forwarding::Stop;

use super::candidate::Candidate;
use super::obligation::Obligation;

/// How much a candidate adds, and what decides between those that add the same.
type Rank = (usize, usize, bool, usize, bool, Reverse<usize>);

/// Numbers of candidates that together show what any of them shows, ascending: always the one that shows most of
/// what is open, then those go again that the others make needless. The greedy choice is at most a logarithmic factor
/// above the smallest (*A greedy heuristic for the set-covering problem*, Mathematics of Operations Research 4, 1979).
///
/// Cost: candidates times what they show, times a logarithm; what a candidate adds only ever shrinks, so it is worked
/// out again only when it comes first.
pub(super) fn cover(candidates: &[Candidate], required: &BTreeSet<Obligation>) -> Vec<usize> {
    let mut open: BTreeSet<Obligation> = required.clone();
    let mut denying: BTreeSet<Obligation> = BTreeSet::new();
    let mut taken: Vec<usize> = Vec::new();
    let mut heap: BinaryHeap<Rank> = (0..candidates.len())
        .map(|at| rank(candidates, at, &open, &denying))
        .collect();
    while let Some(known) = heap.pop() {
        let Reverse(at) = known.5;
        let now = rank(candidates, at, &open, &denying);
        if now.0 == 0 {
            continue;
        }
        if now < known {
            heap.push(now);
            continue;
        }
        for &one in &candidates[at].covers {
            open.remove(&one);
            if !one.required() {
                denying.insert(one);
            }
        }
        taken.push(at);
    }
    thin(candidates, required, &mut taken);
    taken.sort_unstable();
    taken
}

fn rank(
    candidates: &[Candidate],
    at: usize,
    open: &BTreeSet<Obligation>,
    denying: &BTreeSet<Obligation>,
) -> Rank {
    let candidate = &candidates[at];
    let gain = candidate.gain(|one| open.contains(&one));
    let more = candidate.gain(|one| !one.required() && !denying.contains(&one));
    (
        gain,
        more,
        translated(candidate),
        candidate.described,
        by_rule(candidate),
        Reverse(at),
    )
}

/// Whether it is sent to another address than it arrives at. Such a probe also exercises the translation, as real
/// traffic from outside does.
fn translated(candidate: &Candidate) -> bool {
    let seen = candidate.predicted.arrives_as;
    seen.is_some_and(|seen| seen.destination != candidate.packet.destination)
}

/// Whether a gateway's rules decide, and nothing else stops it on the way: that is what people want to see tried.
fn by_rule(candidate: &Candidate) -> bool {
    matches!(candidate.predicted.stop, None | Some(Stop::Denied(_)))
}

/// Drops what the others show as well, the last taken first.
fn thin(candidates: &[Candidate], required: &BTreeSet<Obligation>, taken: &mut Vec<usize>) {
    let mut shown: BTreeMap<Obligation, usize> = BTreeMap::new();
    for one in taken.iter().flat_map(|&at| &candidates[at].covers) {
        *shown.entry(*one).or_default() += usize::from(required.contains(one));
    }
    for place in (0..taken.len()).rev() {
        let own = &candidates[taken[place]].covers;
        let alone = |one: &Obligation| shown.get(one) == Some(&1);
        if !own.iter().any(alone) {
            for one in own {
                shown
                    .entry(*one)
                    .and_modify(|count| *count = count.saturating_sub(1));
            }
            taken.remove(place);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::net::{IpAddr, Ipv4Addr};

    use boundwalk_forwarding::{Packet, Sender};
    use boundwalk_model::{Family, SegmentId, TCP};

    use super::super::super::party::Endpoint;
    use super::super::predict::{Expect, Prediction};
    use super::*;

    fn candidate(covers: &[usize]) -> Candidate {
        let address = IpAddr::V4(Ipv4Addr::new(10, 44, 20, 7));
        let packet = Packet {
            source: address,
            destination: address,
            protocol: TCP,
            source_port: 49_152,
            destination_port: 443,
        };
        let predicted = Prediction {
            sender: Sender::Segment(SegmentId(0)),
            send_point: SegmentId(0),
            expect: Expect::Arrives,
            deciders: Vec::new(),
            reply_rules: Vec::new(),
            stop: None,
            place: None,
            arrives_as: None,
            first_hops: Vec::new(),
        };
        Candidate {
            packet,
            pinned: false,
            predicted,
            to: Endpoint::Segment(SegmentId(0)),
            covers: covers.iter().copied().map(enters).collect(),
            described: 0,
        }
    }

    fn enters(number: usize) -> Obligation {
        Obligation::NothingEnters(SegmentId(number), Family::V4)
    }

    /// The first shows most and is taken first; then the two others are needed, and show all that it does.
    #[test]
    fn a_candidate_goes_again_where_later_ones_show_all_that_it_does() {
        let candidates = [
            candidate(&[1, 2, 3, 4]),
            candidate(&[1, 2, 5]),
            candidate(&[3, 4, 6]),
        ];
        let required: BTreeSet<Obligation> = (1..=6).map(enters).collect();
        assert_eq!(cover(&candidates, &required), [1, 2]);
        // Without one of them it stays.
        let required: BTreeSet<Obligation> = (1..=5).map(enters).collect();
        assert_eq!(cover(&candidates[..2], &required), [0, 1]);
    }
}
