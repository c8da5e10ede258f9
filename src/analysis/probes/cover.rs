//! Few packets that together show everything that is to be shown.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use crate::forwarding::Stop;

use super::candidate::Candidate;
use super::obligation::Obligation;

/// Numbers of candidates that together show what any of them shows, ascending: always the one that shows most of
/// what is open, then those go again that the others make needless. The greedy choice is at most a logarithmic factor
/// above the smallest (Chvátal, 1979, A greedy heuristic for the set-covering problem; from memory).
///
/// Cost: candidates times chosen ones.
pub(super) fn cover(candidates: &[Candidate], required: &BTreeSet<Obligation>) -> Vec<usize> {
    let mut open: BTreeSet<Obligation> = required.clone();
    let mut denying: BTreeSet<Obligation> = BTreeSet::new();
    let mut taken: Vec<usize> = Vec::new();
    loop {
        let best = candidates
            .iter()
            .enumerate()
            .map(|(at, candidate)| {
                let gain = candidate.gain(|one| open.contains(&one));
                let more = candidate.gain(|one| !one.required() && !denying.contains(&one));
                let rank = (
                    gain,
                    more,
                    translated(candidate),
                    candidate.described,
                    by_rule(candidate),
                    Reverse(at),
                );
                (rank, at)
            })
            .max();
        let Some(((gain, ..), at)) = best else { break };
        if gain == 0 {
            break;
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

/// Whether it is sent to another address than it arrives at: it shows the translation too, and from outside it is what
/// people really send.
fn translated(candidate: &Candidate) -> bool {
    let seen = candidate.foreseen.arrives_as;
    seen.is_some_and(|seen| seen.destination != candidate.packet.destination)
}

/// Whether a gateway's rules decide, and nothing else stops it on the way: that is what people want to see tried.
fn by_rule(candidate: &Candidate) -> bool {
    matches!(candidate.foreseen.stop, None | Some(Stop::Denied(_)))
}

/// Drops what the others show as well, the last taken first.
fn thin(candidates: &[Candidate], required: &BTreeSet<Obligation>, taken: &mut Vec<usize>) {
    for place in (0..taken.len()).rev() {
        let shown = |one: &Obligation| {
            let mut others = taken.iter().enumerate().filter(|(at, _)| *at != place);
            others.any(|(_, &other)| candidates[other].covers.contains(one))
        };
        let mut own = candidates[taken[place]].covers.iter();
        if own.all(|one| !required.contains(one) || shown(one)) {
            taken.remove(place);
        }
    }
}
