//! A packet that could be part of a plan, with what it would show.

use boundwalk_forwarding::{Packet, Place, Stop};
use boundwalk_model::{Action, Family, SegmentId};

use super::super::party::Endpoint;
use super::obligation::Obligation;
use super::pick::Picker;
use super::predict::{Prediction, Unpredictable, predict};

/// A packet with what is to be expected of it.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub packet: Packet,
    /// Whether its source port matters.
    pub pinned: bool,
    pub predicted: Prediction,
    /// Where it arrives, or whose address it is for.
    pub to: Endpoint,
    /// What it shows, ascending.
    pub covers: Vec<Obligation>,
    /// How many of its two ends are described devices.
    pub described: usize,
}

/// Why a packet is no candidate.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Refused {
    /// Nothing can be said of it.
    Unpredictable(Unpredictable),
    /// Nobody can send it from there, or listen where it arrives.
    NoDevice,
}

impl Candidate {
    /// Looks at a packet that is sent on a segment and is for an address of a party.
    pub fn new(
        picker: &Picker<'_>,
        from: Option<SegmentId>,
        aimed: Endpoint,
        (packet, pinned): (Packet, bool),
    ) -> Result<Self, Refused> {
        let predicted = predict(picker.network, from, &packet).map_err(Refused::Unpredictable)?;
        let end = predicted.arrives_as.unwrap_or(packet).destination;
        let ends = [packet.source, end].map(Family::value);
        if !ends.iter().all(|&end| picker.usable(end)) {
            return Err(Refused::NoDevice);
        }
        let to = match predicted.place {
            Some(Place::Segment(segment)) => Endpoint::Segment(segment),
            Some(Place::Router(router)) => Endpoint::Device(router),
            None => aimed,
        };
        let known =
            |end: &&u128| picker.hosts.contains(**end) || picker.plan.routers_own.contains(**end);
        Ok(Self {
            covers: covers(picker, &predicted, to),
            described: ends.iter().filter(known).count(),
            packet,
            pinned,
            predicted,
            to,
        })
    }

    /// How many of some obligations it shows.
    pub fn gain(&self, open: impl Fn(Obligation) -> bool) -> usize {
        self.covers.iter().filter(|one| open(**one)).count()
    }
}

fn covers(picker: &Picker<'_>, predicted: &Prediction, to: Endpoint) -> Vec<Obligation> {
    let (site, family) = (picker.network.site, picker.plan.family);
    let mut list: Vec<Obligation> = Vec::new();
    if predicted.expect.arrives() {
        let all = predicted
            .deciders
            .iter()
            .filter_map(|&(router, rule)| Some((router, rule?)))
            .chain(predicted.reply_rules.iter().copied());
        list.extend(all.map(|(router, rule)| Obligation::Permits {
            router,
            rule,
            family,
        }));
    } else {
        list.extend(stopping_rule(picker, predicted));
        if let Endpoint::Segment(to) = to
            && to != predicted.send_point
        {
            let from = predicted.send_point;
            list.push(Obligation::Stops { from, to, family });
            let claims = |segment: SegmentId| site.segment(segment).claims_isolation().is_some();
            if claims(from) {
                list.push(Obligation::NothingLeaves(from, family));
            }
            if claims(to) {
                list.push(Obligation::NothingEnters(to, family));
            }
        }
    }
    list.sort_unstable();
    list.dedup();
    list
}

/// The denying rule that stops a packet.
fn stopping_rule(picker: &Picker<'_>, predicted: &Prediction) -> Option<Obligation> {
    let Some(Stop::Denied(_)) = predicted.stop else {
        return None;
    };
    let &(router, rule) = predicted.deciders.last()?;
    let rule = rule?;
    let filter = picker.network.site.router(router).filter()?;
    (filter.rules[rule].action.value != Action::Permit).then_some(Obligation::Denies {
        router,
        rule,
        family: picker.plan.family,
    })
}
