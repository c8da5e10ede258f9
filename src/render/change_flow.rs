//! What opens or closes for a pair, in words.

use boundwalk_analysis::change::{Changed, PairChange, Spot};
use boundwalk_analysis::{DecidedBy, rule_name, rule_span, stopped};
use boundwalk_forwarding::Stop;
use boundwalk_packet::Region;

use super::change::{ChangeKind, ChangeShown, Stance};

/// One set of packets that opens or closes, in words.
pub(super) struct FlowWords {
    pub services: String,
    pub source: String,
    pub destination: String,
    pub passes_by: String,
    pub stopped: String,
    pub packet: String,
}

impl ChangeShown<'_> {
    /// What opens, or closes, for a pair, to be read: sets that differ in a packet to itself only are one.
    pub(super) fn flows(&self, kind: ChangeKind, pair: &PairChange) -> Vec<Changed> {
        let mut flows: Vec<Changed> = Vec::new();
        for changed in kind.of(pair) {
            let known = flows.iter_mut().find(|known| itself_apart(known, changed));
            match known {
                Some(known) => {
                    let (one, other) = (&known.packets, &changed.packets);
                    known.packets = Region {
                        source: one.source.union(&other.source),
                        destination: one.destination.union(&other.destination),
                        services: one.services.clone(),
                    };
                }
                None => flows.push(changed.clone()),
            }
        }
        flows
    }

    pub(super) fn flow(
        &self,
        kind: ChangeKind,
        stance: Stance,
        pair: &PairChange,
        changed: &Changed,
    ) -> FlowWords {
        let here = kind.passes_in();
        let naming = &self.namings[here][pair.family];
        FlowWords {
            services: naming.services(&changed.packets.services),
            source: match stance {
                Stance::Configured => naming.addresses(&changed.packets.source),
                Stance::Hostile => naming.senders(&changed.packets.source),
            },
            destination: naming.addresses(&changed.packets.destination),
            passes_by: if changed.passes_by.is_empty() {
                "undecided by any gateway".to_owned()
            } else {
                self.deciders(here, &changed.passes_by)
            },
            stopped: self.stopped(1 - here, kind, pair, changed),
            packet: changed
                .packet
                .map_or(String::new(), |packet| packet.to_string()),
        }
    }

    fn deciders(&self, version: usize, deciders: &[DecidedBy]) -> String {
        let one = |&(router, rule): &DecidedBy| {
            let place = rule_span(self.site(version), router, rule);
            let place = place.map(|span| self.sources[version].place(span));
            let name = rule_name(&self.networks[version], router, rule);
            format!("{name} ({})", place.unwrap_or_default())
        };
        deciders.iter().map(one).collect::<Vec<_>>().join(", ")
    }

    fn stopped(
        &self,
        version: usize,
        kind: ChangeKind,
        pair: &PairChange,
        changed: &Changed,
    ) -> String {
        let why = self.why_not(version, kind, pair, changed);
        match (changed.stop, changed.stopped_by.is_empty()) {
            (Some(Stop::Denied(_)), false) => {
                format!("{why} by {}", self.deciders(version, &changed.stopped_by))
            }
            _ => why,
        }
    }

    /// Why it does not pass in a version, without the rules that deny it.
    pub(super) fn why_not(
        &self,
        version: usize,
        kind: ChangeKind,
        pair: &PairChange,
        changed: &Changed,
    ) -> String {
        let missing = |spot: Spot| {
            let was = if version == 0 { "was" } else { "is" };
            let there = self.name(spot, version).is_some();
            let name = self.spot(spot);
            match spot {
                _ if there => None,
                Spot::Segment(_) => Some(format!("there {was} no segment {name}")),
                Spot::Router(_) => Some(format!("there {was} no gateway {name}")),
                Spot::Unclaimed(_) => Some(format!("there {was} no {name}")),
            }
        };
        if let Some(text) = missing(pair.from).or_else(|| missing(pair.to)) {
            return text;
        }
        match changed.stop {
            Some(stop) => stopped(stop),
            None => match kind {
                ChangeKind::Opens => "did not arrive there".to_owned(),
                ChangeKind::Closes => "does not arrive there".to_owned(),
            },
        }
    }
}

/// Whether two sets are each every packet from some addresses but from the one that it goes to.
fn itself_apart(known: &Changed, other: &Changed) -> bool {
    let Changed {
        packets,
        packet: _,
        passes_by,
        stop,
        stopped_by,
    } = other;
    let mut single = packets.destination.intervals().iter();
    let single = match (single.next(), single.next()) {
        (Some(one), None) => one.low() == one.high(),
        _ => false,
    };
    let around = |region: &Region| region.source.union(&region.destination);
    single
        && known.packets.services == packets.services
        && known.passes_by == *passes_by
        && known.stop == *stop
        && known.stopped_by == *stopped_by
        && around(&known.packets) == around(packets)
}
