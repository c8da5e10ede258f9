//! What each command claims of a site, held against what the kernel did there.
//!
//! A packet that a kernel brought from one segment to another passes there, whichever command is asked: the matrix
//! has its service in the cell, a line that expects nothing is broken, neither segment is isolated. Where no gateway
//! decided, a way round is listed and the demand for a gateway is broken. A frame made by hand that a device of
//! another segment took is what a hostile device can do. And what passes for every address arrived.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use boundwalk::analysis::intent::{IntentStatus, judge_expectations};
use boundwalk::analysis::{
    By, Bypass, Cell, Endpoint, Extent, HostileReach, IsolationVerdict, Matrix, Question, bypasses,
    isolations,
};
use boundwalk::forwarding::layer2::InterfaceOf;
use boundwalk::forwarding::{Network, Origin, Sender, UnclaimedId, trace};
use boundwalk::model::{Family, HostId, RouterId, SegmentId, Site, TCP};

use crate::job::{FIRST, Job, Probe, SECOND, Sent};
use crate::judge::{crossed, first_hop};
use crate::seen::{Seen, Sight};
use crate::topology::{Plug, Topology, host_space, owners, router_space};

/// What is claimed of an ordered pair of segments: the first word of a line's name, and the demand.
const LINES: [(&str, &str); 6] = [
    ("nothing", "permit = \"nothing\""),
    (
        "nothing-hostile",
        "permit = \"nothing\"\nstance = \"hostile\"",
    ),
    ("through", "through = \"gateway\""),
    (
        "through-hostile",
        "through = \"gateway\"\nstance = \"hostile\"",
    ),
    ("isolated", "isolated = true"),
    ("at-least", "permit = \"at-least\"\nservices = [\"any\"]"),
];

/// How many claims were compared, by what they are about.
pub type Compared = BTreeMap<&'static str, usize>;

/// Every claim about each ordered pair of segments that some interface is on.
pub fn lines(site: &Site) -> String {
    let routers = site.routers.iter().flat_map(|router| &router.interfaces);
    let hosts = site.hosts.iter().flat_map(|host| &host.interfaces);
    let used: BTreeSet<SegmentId> = routers
        .map(|interface| interface.segment)
        .chain(hosts.map(|interface| interface.segment))
        .collect();
    let name = |segment: SegmentId| &site.segment(segment).name.value;
    let mut text = String::new();
    for &from in &used {
        for &to in used.iter().filter(|&&to| to != from) {
            let (from, to) = (name(from), name(to));
            for (claim, demand) in LINES {
                write!(
                    text,
                    "[[expectations]]\nname = \"{claim} {from} {to}\"\n\
                     from = \"{from}\"\nto = \"{to}\"\n{demand}\n"
                )
                .expect("a string");
            }
        }
    }
    text
}

/// Each sort of claim was compared: twice at least, most of them hundreds of times.
pub fn assert_varied(compared: &Compared) {
    let sorts = 14;
    assert!(
        compared.len() == sorts && compared.values().all(|&count| 1 < count),
        "{compared:#?}"
    );
}

/// Everything that is claimed of a site.
struct Claims<'a> {
    topology: &'a Topology<'a>,
    network: &'a Network<'a>,
    matrices: [Matrix; 2],
    lines: BTreeMap<String, IntentStatus>,
    bypasses: Vec<Bypass>,
    verdicts: Vec<IsolationVerdict>,
    compared: &'a mut Compared,
    wrong: Vec<String>,
}

/// Claims that the kernel contradicts, one a line.
pub fn contradicted(
    topology: &Topology<'_>,
    network: &Network<'_>,
    job: &Job,
    sight: &Sight,
    compared: &mut Compared,
) -> Vec<String> {
    let matrix = |family| {
        Matrix::new(
            network,
            &Question::all(By::Segment, family, true),
            &mut |_, _| {},
        )
    };
    let judged = judge_expectations(network)
        .into_iter()
        .map(|line| (line.expectation.name.value.clone(), line.status));
    let segments: Vec<SegmentId> = network.site.segment_ids().collect();
    let mut claims = Claims {
        topology,
        network,
        matrices: Family::ALL.map(matrix),
        lines: judged.collect(),
        bypasses: bypasses(network, &|_, _| true),
        verdicts: isolations(network, &segments),
        compared,
        wrong: Vec::new(),
    };
    let nothing = Seen::default();
    for probe in &job.probes {
        let seen = sight.probes.get(&probe.number).unwrap_or(&nothing);
        claims.of_packet(probe, seen);
        let again = probe.number - FIRST + SECOND;
        let again = sight.probes.get(&again).unwrap_or(&nothing);
        claims.of_one_way(probe, again);
    }
    for frame in &job.frames {
        if let Some(takers) = sight.frames.get(&frame.number) {
            claims.of_frame(frame, takers);
        }
    }
    claims.wrong
}

/// From one segment to another.
type Pair = (SegmentId, SegmentId);

impl Claims<'_> {
    fn name(&self, segment: SegmentId) -> &str {
        &self.network.site.segment(segment).name.value
    }

    fn same_zone(&self, (from, to): Pair) -> bool {
        let zone = |segment| self.network.site.segment(segment).zone;
        zone(from) == zone(to)
    }

    fn check(&mut self, about: &'static str, holds: bool, what: impl FnOnce() -> String) {
        *self.compared.entry(about).or_default() += 1;
        if !holds {
            self.wrong.push(format!("{about}: {}", what()));
        }
    }

    /// Whether a line about a pair is broken; one that speaks of nobody is not there.
    fn broken(&self, claim: &str, (from, to): Pair) -> Option<bool> {
        let name = format!("{claim} {} {}", self.name(from), self.name(to));
        match self.lines.get(&name)? {
            IntentStatus::Broken(_) => Some(true),
            IntentStatus::Held => Some(false),
            IntentStatus::Vacuous => None,
            IntentStatus::Unknown(limit) => panic!("{limit:?} met by so small a site"),
        }
    }

    fn line_broken(&mut self, about: &'static str, claim: &str, pair: Pair, what: &str) {
        if let Some(broken) = self.broken(claim, pair) {
            self.check(about, broken, || format!("{claim} is held: {what}"));
        }
    }

    fn cell(&self, family: Family, (from, to): Pair) -> &Cell {
        let matrix = &self.matrices[usize::from(family == Family::V6)];
        let [from, to] = [from, to].map(Endpoint::Segment);
        let row = matrix.rows.iter().position(|&party| party == from);
        let column = matrix.columns.iter().position(|&party| party == to);
        let (row, column) = row.zip(column).expect("every segment is asked about");
        &matrix.cells[row][column]
    }

    fn listed(&self, (from, to): Pair) -> bool {
        let [from, to] = [from, to].map(Origin::Segment);
        let mut listed = self.bypasses.iter();
        listed.any(|bypass| bypass.from == from && bypass.to == to)
    }

    /// The segments that a probe goes between, where both are those of hosts and differ. A host sends from an
    /// address of the interface that the packet leaves by: other sources are left to single paths.
    fn pair(&self, probe: &Probe) -> Option<(Pair, HostId)> {
        let owners = owners(self.network.site, &self.topology.fabric);
        let routers = self.network.site.routers.len();
        let on = |address| {
            let mut hosts = owners[routers..].iter().enumerate();
            hosts.find_map(|(host, owner)| {
                let mut own = owner.addresses.iter();
                let (interface, _) = own.find(|(_, own)| own.address() == address)?;
                Some((
                    self.topology.fabric.interface(*interface).segment,
                    HostId(host),
                ))
            })
        };
        let (from, _) = on(probe.packet.source)?;
        let (egress, ..) = first_hop(self.topology, self.network, probe)?;
        if self.topology.fabric.interface(egress).segment != from {
            return None;
        }
        let (to, host) = on(probe.packet.destination)?;
        (from != to).then_some(((from, to), host))
    }

    fn class(&self, probe: &Probe) -> usize {
        let packet = &probe.packet;
        let classes = &self.network.classes;
        classes.class_of(
            packet.protocol.0,
            packet.source_port,
            packet.destination_port,
        )
    }

    /// With real neighbour discovery: what devices as configured do.
    fn of_packet(&mut self, probe: &Probe, seen: &Seen) {
        let Some((pair, host)) = self.pair(probe) else {
            return;
        };
        let family = Family::of(probe.packet.source);
        let what = format!(
            "{} to {}, {:?} {seen:?}",
            self.name(pair.0),
            self.name(pair.1),
            probe.packet
        );
        let class = self.class(probe);
        if !seen.taken.contains(&host_space(host)) {
            self.lost(probe, pair, class, seen, &what);
            return;
        }
        let has = self.cell(family, pair).some.contains(class);
        self.check(
            "a packet arrives, and its cell has the service",
            has,
            || what.clone(),
        );
        for claim in ["nothing", "nothing-hostile", "isolated"] {
            self.line_broken(
                "a packet arrives, and what denies it is broken",
                claim,
                pair,
                &what,
            );
        }
        self.reachable(pair, &what);
        if self.undecided(seen) {
            for claim in ["through", "through-hostile"] {
                let about = "no gateway decided, and the demand for one is broken";
                self.line_broken(about, claim, pair, &what);
            }
            self.round(pair, &what);
        }
        let stateful = self
            .network
            .site
            .routers
            .iter()
            .filter_map(|router| router.filter());
        let half_open =
            probe.packet.protocol == TCP && stateful.into_iter().any(|one| one.stateful);
        if seen.answered.contains(&host_space(probe.from)) && !half_open {
            let two_way = self.cell(family, pair).two_way;
            let answered = matches!(two_way, Extent::Some | Extent::All);
            let about = "an answer comes back, and its cell is answered";
            self.check(about, answered, || what.clone());
        }
    }

    /// Not delivered: then not every packet of the service is.
    fn lost(&mut self, probe: &Probe, pair: Pair, class: usize, seen: &Seen, what: &str) {
        let traces = trace(self.network, Sender::Host(probe.from), &probe.packet);
        if crossed(self.topology, self.network, probe, &traces, seen) {
            return;
        }
        let every = self
            .cell(Family::of(probe.packet.source), pair)
            .every
            .contains(class);
        let about = "a packet is lost, and its cell does not have it for every address";
        self.check(about, !every, || what.to_owned());
        self.line_broken(
            "a packet is lost, and what demands everything is broken",
            "at-least",
            pair,
            what,
        );
    }

    /// With permanent neighbours, straight to a device of the other segment: what a hostile device can do.
    fn of_one_way(&mut self, probe: &Probe, seen: &Seen) {
        let Some((pair, host)) = self.pair(probe) else {
            return;
        };
        let arrived = seen.taken.contains(&host_space(host));
        if !arrived || !seen.passed.is_empty() || !self.undecided(seen) {
            return;
        }
        let family = Family::of(probe.packet.source);
        let what = format!("one way, {:?} {seen:?}", probe.packet);
        let cell = self.cell(family, pair);
        let passes = !cell.some.is_empty() || matches!(cell.hostile, HostileReach::Larger(_));
        let about = "a packet arrives one way, and its cell says so of a hostile device";
        self.check(about, passes, || what.clone());
        for claim in ["nothing-hostile", "through-hostile", "isolated"] {
            let about = "a packet arrives one way, and what denies it to hostile devices is broken";
            self.line_broken(about, claim, pair, &what);
        }
        self.round(pair, &what);
        self.reachable(pair, &what);
    }

    fn of_frame(&mut self, sent: &Sent, takers: &BTreeSet<(String, String)>) {
        // The kernel skips an outer priority tag.
        if sent.tags.first() == Some(&0) {
            return;
        }
        let topology = self.topology;
        let fabric = &topology.fabric;
        let taken = |plug: &Plug| takers.contains(&(plug.space.clone(), plug.device.clone()));
        let interfaces: Vec<InterfaceOf> = fabric
            .interface_ids()
            .filter(|&interface| taken(topology.plug_of(interface)))
            .map(|interface| fabric.interface(interface).of)
            .filter(|&of| !self.own(sent, of))
            .collect();
        let free: Vec<UnclaimedId> = topology
            .spares
            .iter()
            .filter(|(_, plug)| taken(plug))
            .filter_map(|(port, _)| fabric.unclaimed_at(*port))
            .collect();
        let claimed = fabric
            .claimed(sent.port)
            .iter()
            .copied()
            .map(Origin::Segment);
        let unclaimed = fabric.unclaimed_at(sent.port).map(Origin::Unclaimed);
        let from: Vec<Origin> = claimed.chain(unclaimed).collect();
        for from in from {
            let what = format!("a frame {:?} from {from:?}", sent.tags);
            for &of in &interfaces {
                self.frame_taken(from, of, &what);
            }
            for &group in &free {
                self.frame_out(from, Origin::Unclaimed(group), &what);
            }
        }
    }

    /// An interface takes a frame of a hostile device.
    fn frame_taken(&mut self, from: Origin, of: InterfaceOf, what: &str) {
        let there = self
            .topology
            .fabric
            .interface(self.topology.interface(of))
            .segment;
        match (from, of) {
            (Origin::Segment(from), InterfaceOf::Router(..)) => {
                let isolated = matches!(self.verdicts[from.0], IsolationVerdict::ByDesign(_));
                let about = "a frame comes to a gateway or router, and its segment is not cut off";
                self.check(about, !isolated, || what.to_owned());
            }
            (Origin::Segment(from), InterfaceOf::Host(..)) if from != there => {
                let pair = (from, there);
                let about = "a frame comes to another segment, and isolation is broken";
                self.line_broken(about, "isolated", pair, what);
                self.round(pair, what);
                self.reachable(pair, what);
            }
            (Origin::Unclaimed(_), InterfaceOf::Host(..)) => {
                self.frame_out(from, Origin::Segment(there), what);
            }
            _ => {}
        }
    }

    /// A frame goes from or to unclaimed ports.
    fn frame_out(&mut self, from: Origin, to: Origin, what: &str) {
        let both = from.segment().is_none() && to.segment().is_none();
        if !both {
            let mut listed = self.bypasses.iter();
            let listed = listed.any(|bypass| (bypass.from, bypass.to) == (from, to));
            let about = "a frame goes from or to unclaimed ports, and a way round is listed";
            self.check(about, listed, || format!("{what} to {to:?}"));
        }
        for segment in [from, to].into_iter().filter_map(Origin::segment) {
            let reachable = matches!(self.verdicts[segment.0], IsolationVerdict::Reachable { .. });
            let about = "a frame goes from or to unclaimed ports, and the segment is reachable";
            self.check(about, reachable, || format!("{what} to {to:?}"));
        }
    }

    /// Whether an interface is the sender's own.
    fn own(&self, sent: &Sent, of: InterfaceOf) -> bool {
        self.topology.plug_of(self.topology.interface(of)).space == sent.from.space
    }

    fn round(&mut self, pair: Pair, what: &str) {
        if !self.same_zone(pair) {
            let listed = self.listed(pair);
            let about = "no gateway decided, and a way round is listed";
            self.check(about, listed, || what.to_owned());
        }
    }

    fn reachable(&mut self, pair: Pair, what: &str) {
        for segment in [pair.0, pair.1] {
            let reachable = matches!(self.verdicts[segment.0], IsolationVerdict::Reachable { .. });
            let about = "something passes, and the segment is reachable";
            self.check(about, reachable, || what.to_owned());
        }
    }

    /// Whether no gateway with rules let it pass: none decided, and none forwarded it as part of a flow.
    fn undecided(&self, seen: &Seen) -> bool {
        let mut gateways = (0..self.network.site.routers.len())
            .map(RouterId)
            .filter(|&id| self.network.site.router(id).filter().is_some());
        let took_part = |space: &String| {
            seen.passed.contains(space) || seen.decided.iter().any(|(by, _)| by == space)
        };
        !gateways.any(|id| took_part(&router_space(id)))
    }
}
