//! The short way to a row of the matrix: where packets go does not depend on the rules, so that it is asked first, and
//! the rules that they pass then decide on sets of addresses that were cut for them once.
//!
//! It serves pairs between which every packet takes one way past the rules of one gateway at most, untranslated, and
//! which replies would take back. All others go the long way, piece by piece.

use std::sync::{Arc, Mutex, PoisonError};

use rustc_hash::FxHashMap;

use boundwalk_forwarding::{
    Arrival, Certainty, DeviceIndex, FilterPlan, Flow, Hop, Limit, Network, Place, Plan, Sender,
    Stopped, Target, WalkCoverage, reach_past_rules,
};
use boundwalk_model::Action;
use boundwalk_packet::{ClassSet, CutPiece, CutSet, CutSide, CutWalk, IntervalSet, Region};

/// Sets of addresses, each cut for the rules of a gateway: all of them, or those between two of its interfaces.
#[derive(Default)]
pub(super) struct Cuts(Mutex<FxHashMap<CutKey, Arc<CutSet>>>);

type CutKey = (DeviceIndex, Option<(usize, usize)>, CutSide, IntervalSet);

impl Cuts {
    fn get(
        &self,
        (device, filter): (DeviceIndex, &FilterPlan),
        between: Option<(usize, usize)>,
        side: CutSide,
        set: &IntervalSet,
    ) -> Arc<CutSet> {
        let key = (device, between, side, set.clone());
        let lock = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = lock().get(&key) {
            return Arc::clone(known);
        }
        let cut = Arc::new(match between {
            None => CutSet::new(&filter.lines, side, set),
            Some((ingress, egress)) => {
                CutSet::within(&filter.lines, side, set, &filter.between(ingress, egress))
            }
        });
        lock().insert(key, Arc::clone(&cut));
        cut
    }
}

/// Something that gets to a place if the rules that it passes permit it.
pub(super) struct Delivery {
    pub(super) place: Place,
    pub(super) flow: Flow,
}

/// What a sender can send to a target, as if all rules permitted it.
pub(super) struct Ways {
    pub(super) deliveries: Vec<Delivery>,
    pub(super) stopped: Vec<Stopped>,
}

impl Ways {
    /// `None` where some of it has no short way.
    pub(super) fn new(
        network: &Network<'_>,
        plan: &Plan,
        sender: Sender,
        target: Target<'_>,
        beyond: bool,
    ) -> Option<Self> {
        let mut ways = Self {
            deliveries: Vec::new(),
            stopped: Vec::new(),
        };
        let mut short = true;
        let coverage =
            reach_past_rules(
                network,
                plan,
                sender,
                target,
                beyond,
                &mut |arrival| match arrival {
                    Arrival::Delivered(place, flow) => {
                        short &= is_short(&flow);
                        ways.deliveries.push(Delivery { place, flow });
                    }
                    Arrival::Stopped(_, stopped) => {
                        short &= stopped.certainty == Certainty::Certain && stopped.host.is_none();
                        ways.stopped.push(stopped);
                    }
                },
            );
        (short && coverage.is_complete()).then_some(ways)
    }
}

/// Whether one gateway at most decides about a flow, as it was sent, and nothing else may become of it.
fn is_short(flow: &Flow) -> bool {
    let deciding = flow.hops.iter().filter(|hop| hop.filtered).count();
    deciding <= 1
        && flow.certainty == Certainty::Certain
        && flow.host.is_none()
        && flow.hops.iter().all(|hop| hop.translated.is_none())
        // What a device sends to itself does not count.
        && !flow.now.source.overlaps(&flow.now.destination)
}

/// What rules decide about a piece of what passes them.
pub(super) struct Decision<'a> {
    /// Number of the rule in the gateway's list; `None`: the default.
    pub(super) rule: Option<usize>,
    pub(super) permitted: bool,
    pub(super) piece: CutPiece<'a>,
}

/// The rules that a flow passes, with its addresses cut for them.
pub(super) struct PassedRules<'p> {
    filter: &'p FilterPlan,
    ingress: usize,
    egress: usize,
    pub(super) source: Arc<CutSet>,
    pub(super) destination: Arc<CutSet>,
}

impl<'p> PassedRules<'p> {
    /// `None`: no rules decide about the flow. Without `destinations` those of the flow are cut for it alone.
    pub(super) fn new(
        plan: &'p Plan,
        (sources, destinations): (&Cuts, Option<&Cuts>),
        flow: &Flow,
    ) -> Option<Self> {
        let hop: &Hop = flow.hops.iter().find(|hop| hop.filtered)?;
        let filter = plan.device(hop.device).filter.as_ref()?;
        let device = (hop.device, filter);
        let egress = hop.egress.unwrap_or(filter.itself);
        let (from, to) = (&flow.now.source, &flow.now.destination);
        let destination = match destinations {
            Some(cuts) => cuts.get(device, None, CutSide::Destination, to),
            None => {
                let between = Some((hop.ingress, egress));
                sources.get(device, between, CutSide::Destination, to)
            }
        };
        Some(Self {
            filter,
            ingress: hop.ingress,
            egress,
            source: sources.get(device, None, CutSide::Source, from),
            destination,
        })
    }

    /// Lists what the rules decide about each piece of a flow.
    pub(super) fn decide(
        &self,
        walk: &mut CutWalk,
        services: &ClassSet,
        most_pieces: usize,
        sink: &mut dyn FnMut(Decision<'_>),
    ) -> WalkCoverage {
        let filter = self.filter;
        let candidates = filter.between(self.ingress, self.egress);
        let walked = walk.walk(
            &filter.lines,
            &candidates,
            (&self.source, &self.destination),
            services,
            most_pieces,
            &mut |line, piece| {
                sink(Decision {
                    rule: line.map(|line| filter.rules[line]),
                    permitted: filter.action(line) == Action::Permit,
                    piece,
                });
            },
        );
        match walked {
            Ok(()) => WalkCoverage::Complete,
            Err(_) => WalkCoverage::Cut(Limit::OpenPieces(most_pieces)),
        }
    }

    /// A piece as a set of packets.
    pub(super) fn region(&self, piece: CutPiece<'_>, mut services: ClassSet) -> Region {
        services.add_bits(piece.services);
        Region {
            source: self.source.addresses(piece.source),
            destination: self.destination.addresses(piece.destination),
            services,
        }
    }
}
