//! Every rule of a gateway: does it decide anything, and would anything change without it?

use boundwalk_model::RouterId;
use boundwalk_packet::{Mask, Point};

use super::dead::{Dead, Life};
use super::judge::Judge;
use super::packet::RulePacket;
use super::redundant::Use;

/// What a rule does.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum RuleStatus {
    /// Nothing: it is disabled, or has expired.
    Off,
    /// Nothing: no packet that it names can arrive at this gateway and leave it so that the rules see it.
    Irrelevant,
    /// Nothing: earlier rules decide everything that it names.
    Dead(Dead),
    /// It decides packets.
    Decides {
        /// One of them.
        witness: RulePacket,
        /// What would change without it.
        without: Without,
    },
    /// A limit was met before this could be said.
    Unknown,
}

/// What would change if a rule went.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Without {
    /// This packet would be decided otherwise.
    Changed(RulePacket),
    /// No packet would be decided otherwise.
    Same {
        /// Other rules on which that rests, by number; the default may have a part in it too.
        by: Vec<usize>,
    },
    /// A limit was met before this could be said.
    Unknown,
}

/// What there is to say of each rule of a gateway.
#[derive(Clone, PartialEq, Eq, Debug)]
#[non_exhaustive]
pub struct RuleReview {
    /// The gateway.
    pub router: RouterId,
    /// By rule number.
    pub rules: Vec<RuleStatus>,
    /// Rules that can all go at once without changing what is done with any packet, ascending: those that are dead,
    /// irrelevant or off, and as many of the others as were found. None of those that stay can go then.
    pub together: Vec<usize>,
    /// Whether it is proved that no larger set exists.
    pub largest: bool,
}

impl RuleReview {
    /// Looks at every rule of a gateway.
    ///
    /// Each rule takes a probe or two and few cuts in real lists; the effort bounds the others.
    pub fn new(judge: &Judge<'_, '_>) -> Self {
        let space = judge.space;
        let count = space.filter.rules.len();
        let lives: Vec<Option<Life>> = (0..count)
            .map(|rule| space.meets(rule).then(|| judge.life(rule)))
            .collect();
        let mut gone = Mask::none(count);
        for (rule, life) in lives.iter().enumerate() {
            if matches!(life, None | Some(Life::Covered(_))) {
                gone.insert(rule);
            }
        }
        let uses = uses(judge, &lives);
        let (together, largest) = together(judge, &uses, gone);
        let rules = lives
            .into_iter()
            .zip(uses)
            .enumerate()
            .map(|(rule, (life, used))| status(judge, rule, life, used));
        Self {
            router: space.router,
            rules: rules.collect(),
            together,
            largest,
        }
    }
}

/// Whether each rule that decides is needed in the list as it is. Dead rules are part of it: they come to life when
/// what hides them goes.
fn uses(judge: &Judge<'_, '_>, lives: &[Option<Life>]) -> Vec<Option<Use>> {
    let none = Mask::none(lives.len());
    let one = |(rule, life): (usize, &Option<Life>)| match life {
        Some(Life::Decides(point)) => Some(judge.use_of(rule, Some(point), &none)),
        _ => None,
    };
    lives.iter().enumerate().map(one).collect()
}

/// As many rules as were found that can all go at once; and whether that is proved to be the most.
fn together(judge: &Judge<'_, '_>, uses: &[Option<Use>], dead: Mask) -> (Vec<usize>, bool) {
    let spare: Vec<(usize, &[usize])> = uses
        .iter()
        .enumerate()
        .filter_map(|(rule, used)| match used {
            Some(Use::Spare(by)) => Some((rule, by.as_slice())),
            _ => None,
        })
        .collect();
    let forward = removable(judge, spare.iter(), dead.clone());
    let best = if forward.count() == dead.count() + spare.len() {
        forward
    } else {
        let backward = removable(judge, spare.iter().rev(), dead);
        if backward.count() > forward.count() {
            backward
        } else {
            forward
        }
    };
    let best = all_removable(judge, uses, best);
    let largest = judge.all_must_stay(&best);
    (best.iter().collect(), largest)
}

/// Takes rules away that are needed in the whole list, and not in what is left of it: a dead rule that is gone needs
/// nothing more before it.
fn all_removable(judge: &Judge<'_, '_>, uses: &[Option<Use>], mut gone: Mask) -> Mask {
    loop {
        let before = gone.count();
        for (rule, used) in uses.iter().enumerate() {
            let Some(Use::Needed(point)) = used else {
                continue;
            };
            let used = (!gone.contains(rule)).then(|| judge.use_of(rule, Some(point), &gone));
            if matches!(used, Some(Use::Spare(_))) {
                gone.insert(rule);
            }
        }
        if gone.count() == before {
            return gone;
        }
    }
}

/// Takes one rule after the other away, if nothing changes by it.
fn removable<'a>(
    judge: &Judge<'_, '_>,
    spare: impl Iterator<Item = &'a (usize, &'a [usize])>,
    mut gone: Mask,
) -> Mask {
    for &(rule, by) in spare {
        // What it rested on is all still there, or it is asked again.
        let rests = by.iter().all(|other| !gone.contains(*other));
        if rests || matches!(judge.use_of(rule, None, &gone), Use::Spare(_)) {
            gone.insert(rule);
        }
    }
    gone
}

fn status(judge: &Judge<'_, '_>, rule: usize, life: Option<Life>, used: Option<Use>) -> RuleStatus {
    let space = judge.space;
    let decides = |point: &Point| space.packet(point);
    match life {
        None if !space.filter.rules[rule].active(space.network.today) => RuleStatus::Off,
        None => RuleStatus::Irrelevant,
        Some(Life::Unknown) => RuleStatus::Unknown,
        Some(Life::Covered(by)) => {
            let dead = judge.dead(rule, &by);
            if dead.by.is_empty() {
                RuleStatus::Irrelevant
            } else {
                RuleStatus::Dead(dead)
            }
        }
        Some(Life::Decides(point)) => RuleStatus::Decides {
            witness: decides(&point),
            without: match used {
                Some(Use::Needed(point)) => Without::Changed(decides(&point)),
                Some(Use::Spare(by)) => Without::Same { by },
                Some(Use::Unknown) | None => Without::Unknown,
            },
        },
    }
}
