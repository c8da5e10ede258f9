//! How much of a rule earlier rules take, and what is left of it.

use num_bigint::BigUint;

use boundwalk_model::{Family, Protocol};
use boundwalk_packet::{ClassSet, Field, IntervalSet, PacketBox, Region};

use super::judge::Judge;
use super::space::{Owner, RuleSpace};

/// Boxes that what is left of a rule may fall into before it is given up.
const MOST_PIECES: usize = 5_000;

/// What becomes of the packets of one family that a rule names, counted as sources times destinations times
/// services (protocol, both ports), once for each interface whose source check does not tell where they came in.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Share {
    /// The family.
    pub family: Family,
    /// How many there are of those that can arrive and leave.
    pub all: BigUint,
    /// How many of them the rule decides; a lower bound where `exact` is false.
    pub decided: BigUint,
    /// How many each earlier rule takes, by number, ascending.
    pub taken: Vec<(usize, BigUint)>,
    /// Whether the counts are exact: the rest of a rule can fall into very many pieces.
    pub exact: bool,
}

/// A part of what a rule decides.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Part {
    /// The family.
    pub family: Family,
    /// Interfaces that it arrives by, by number, ascending.
    pub ingress: Vec<usize>,
    /// Interfaces that it leaves by; one past the last stands for the gateway itself.
    pub egress: Vec<usize>,
    /// Addresses and services.
    pub region: Region,
}

/// What a rule names and what it decides of that.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Shares {
    /// One for each family of which the rule names packets that can arrive and leave.
    pub families: Vec<Share>,
    /// What it decides, as disjoint parts; not all of it where a share is not exact.
    pub parts: Vec<Part>,
}

impl Share {
    /// How much of it some packets are, in thousandths, rounded down.
    pub fn permille(&self, packets: &BigUint) -> u32 {
        let all = self.all.clone().max(1u32.into());
        u32::try_from(packets * 1000u32 / all).unwrap_or(1000)
    }
}

impl Judge<'_, '_> {
    /// What earlier rules take of a rule and what it decides.
    ///
    /// Earlier rules that share packets with it are taken away one after the other, so each gets what it decides
    /// first. Cost: pieces times earlier rules that meet it.
    pub fn shares(&self, rule: usize) -> Shares {
        let mut shares = Shares {
            families: Vec::new(),
            parts: Vec::new(),
        };
        let space = self.space;
        for family in Family::ALL {
            let mut share = Share {
                family,
                all: BigUint::ZERO,
                decided: BigUint::ZERO,
                taken: Vec::new(),
                exact: true,
            };
            let boxes = space.of_rule(rule);
            for number in boxes.filter(|&number| space.family_of(number) == family) {
                let left = self.rest(number, &mut share);
                for packets in &left {
                    share.decided += space.size(packets);
                    shares.parts.push(space.part(family, packets));
                }
            }
            if share.all > BigUint::ZERO {
                shares.families.push(share);
            }
        }
        shares
    }

    /// What earlier boxes leave of a box, and what each rule takes of it.
    fn rest(&self, number: usize, share: &mut Share) -> Vec<PacketBox> {
        let space = self.space;
        let packets = &space.boxes[number];
        let mut pieces = vec![packets.clone()];
        let mut total = space.size(packets);
        for earlier in self.all_meeting(packets, 0..number) {
            let taker = &space.boxes[earlier];
            let mut taken = BigUint::ZERO;
            let mut rest = Vec::new();
            for piece in pieces {
                match piece.intersection(taker) {
                    Some(common) => {
                        taken += space.size(&common);
                        rest.extend(piece.difference(taker));
                    }
                    None => rest.push(piece),
                }
            }
            pieces = rest;
            match space.owners[earlier] {
                Owner::Rule(rule) => add(&mut share.taken, rule, taken),
                // The rules never see those.
                Owner::Translation(_) => total -= taken,
            }
            if pieces.len() > MOST_PIECES {
                share.exact = false;
                pieces.clear();
                break;
            }
        }
        share.all += total;
        pieces
    }
}

fn add(taken: &mut Vec<(usize, BigUint)>, rule: usize, more: BigUint) {
    if more == BigUint::ZERO {
        return;
    }
    match taken.iter_mut().find(|(known, _)| *known == rule) {
        Some((_, size)) => *size += more,
        None => taken.push((rule, more)),
    }
    taken.sort_by_key(|(rule, _)| *rule);
}

impl RuleSpace<'_> {
    /// The family of a box of a rule: its sources all have the same.
    fn family_of(&self, number: usize) -> Family {
        let universe = &self.universe;
        let lowest = self.boxes[number].field(Field::Source).lowest();
        let piece = universe.sources.piece(lowest.unwrap_or_default());
        universe.pieces.all()[piece].family
    }

    /// How many packets a box of numbers stands for.
    fn size(&self, packets: &PacketBox) -> BigUint {
        let universe = &self.universe;
        let addresses = |field: Field, ranks: &super::ranks::Ranks| -> BigUint {
            packets
                .field(field)
                .intervals()
                .iter()
                .flat_map(|part| part.low()..=part.high())
                .map(|rank| universe.pieces.all()[ranks.piece(rank)].addresses.size())
                .sum()
        };
        let services = self.network.classes.size(
            &self.classes_of(packets),
            &Protocol::with_ports(),
            &Protocol::with_messages(),
        );
        packets.field(Field::Ingress).size()
            * addresses(Field::Source, &universe.sources)
            * addresses(Field::Destination, &universe.destinations)
            * services
    }

    fn classes_of(&self, packets: &PacketBox) -> ClassSet {
        self.universe
            .class_set(packets.field(Field::DestinationPort))
    }

    fn part(&self, family: Family, packets: &PacketBox) -> Part {
        let universe = &self.universe;
        let addresses = |field: Field, ranks: &super::ranks::Ranks| -> IntervalSet {
            packets
                .field(field)
                .intervals()
                .iter()
                .flat_map(|part| part.low()..=part.high())
                .map(|rank| universe.pieces.all()[ranks.piece(rank)].addresses)
                .collect()
        };
        Part {
            family,
            ingress: universe.arrived_by(packets),
            egress: universe.left_by(packets),
            region: Region {
                source: addresses(Field::Source, &universe.sources),
                destination: addresses(Field::Destination, &universe.destinations),
                services: self.classes_of(packets),
            },
        }
    }
}
