//! What every command's analysis says of one site.

use std::collections::BTreeMap;

use boundwalk::analysis::intent::{IntentStatus, judge_expectations, judge_needs};
use boundwalk::analysis::privilege::{Privilege, privilege};
use boundwalk::analysis::probes::{Asked, ProbePlan, plan_probes};
use boundwalk::analysis::{
    By, Bypass, Cell, Endpoint, HostileReach, IsolationVerdict, Matrix, Question, bypasses,
    isolations,
};
use boundwalk::forwarding::{Network, Origin};
use boundwalk::model::{Family, SegmentId};

/// Everything that is said of one site under one limit.
pub struct Facts<'a> {
    pub seed: u64,
    pub text: &'a str,
    pub network: &'a Network<'a>,
    /// One for each family.
    matrices: [Matrix; 2],
    /// Matrices by host.
    pub by_host: [Matrix; 2],
    /// How expectations stand, by their names.
    lines: BTreeMap<String, IntentStatus>,
    pub bypasses: Vec<Bypass>,
    pub verdicts: Vec<IsolationVerdict>,
    pub privilege: Privilege,
    pub probes: ProbePlan,
    /// The same site at the limit that holds where nothing is said; `None`: these are those facts.
    pub full: Option<&'a Facts<'a>>,
}

impl<'a> Facts<'a> {
    /// Asks every analysis.
    pub fn new(
        seed: u64,
        text: &'a str,
        network: &'a Network<'a>,
        full: Option<&'a Facts<'a>>,
    ) -> Self {
        let matrices = |by| {
            Family::ALL.map(|family| {
                Matrix::new(network, &Question::all(by, family, true), &mut |_, _| {})
            })
        };
        let judged = judge_expectations(network)
            .into_iter()
            .map(|line| (line.expectation.name.value.clone(), line.status));
        let needs = judge_needs(network)
            .into_iter()
            .map(|line| (line.need.name.value.clone(), line.status));
        let segments: Vec<SegmentId> = network.site.segment_ids().collect();
        let asked = Asked {
            families: Family::ALL.to_vec(),
            from: Vec::new(),
            to: Vec::new(),
            spare_devices: true,
        };
        Self {
            seed,
            text,
            network,
            matrices: matrices(By::Segment),
            by_host: matrices(By::Host),
            lines: judged.chain(needs).collect(),
            bypasses: bypasses(network, &|_, _| true),
            verdicts: isolations(network, &segments),
            privilege: privilege(network, &[]),
            probes: plan_probes(network, &asked),
            full,
        }
    }

    /// Whether an answer may be unknown: only where a limit was turned low.
    pub fn may_be_unknown(&self) -> bool {
        self.full.is_some()
    }

    /// Ordered pairs of different segments.
    pub fn pairs(&self) -> Vec<(SegmentId, SegmentId)> {
        let segments = || self.network.site.segment_ids();
        segments()
            .flat_map(|from| segments().map(move |to| (from, to)))
            .filter(|(from, to)| from != to)
            .collect()
    }

    pub fn matrix(&self, family: Family) -> &Matrix {
        &self.matrices[usize::from(family == Family::V6)]
    }

    /// Every cell with its family, row and column.
    pub fn cells(&self) -> impl Iterator<Item = (Family, Endpoint, Endpoint, &Cell)> {
        self.matrices.iter().flat_map(|matrix| {
            matrix
                .rows
                .iter()
                .zip(&matrix.cells)
                .flat_map(move |(&row, cells)| {
                    matrix
                        .columns
                        .iter()
                        .zip(cells)
                        .map(move |(&column, cell)| (matrix.question.family, row, column, &**cell))
                })
        })
    }

    pub fn cell(&self, family: Family, from: Endpoint, to: Endpoint) -> Option<&Cell> {
        let matrix = self.matrix(family);
        let row = matrix.rows.iter().position(|&party| party == from)?;
        let column = matrix.columns.iter().position(|&party| party == to)?;
        Some(&matrix.cells[row][column])
    }

    /// The cells between two segments, one for each family.
    pub fn between(&self, from: SegmentId, to: SegmentId) -> Vec<&Cell> {
        let [from, to] = [from, to].map(Endpoint::Segment);
        Family::ALL
            .iter()
            .filter_map(|&family| self.cell(family, from, to))
            .collect()
    }

    pub fn name(&self, segment: SegmentId) -> &str {
        &self.network.site.segment(segment).name.value
    }

    /// How a line about a pair stands, if there is one.
    pub fn line(&self, claim: &str, (from, to): (SegmentId, SegmentId)) -> Option<&IntentStatus> {
        let name = format!("{claim} {} {}", self.name(from), self.name(to));
        self.lines.get(&name)
    }

    /// Every line with its name.
    pub fn lines(&self) -> impl Iterator<Item = (&String, &IntentStatus)> {
        self.lines.iter()
    }

    /// The way round of a pair of segments that is listed.
    pub fn bypass(&self, from: SegmentId, to: SegmentId) -> Option<&Bypass> {
        let [from, to] = [from, to].map(Origin::Segment);
        let mut listed = self.bypasses.iter();
        listed.find(|bypass| bypass.from == from && bypass.to == to)
    }

    /// Whether two segments lie in one zone: no way between them is a bypass.
    pub fn same_zone(&self, from: SegmentId, to: SegmentId) -> bool {
        let zone = |segment| self.network.site.segment(segment).zone;
        zone(from) == zone(to)
    }

    /// Whether somebody can have an address on a segment.
    pub fn has_addresses(&self, segment: SegmentId) -> bool {
        let mut families = Family::ALL.iter();
        families.any(|&family| {
            let plan = self.network.plan(family);
            !plan.segment(segment).addresses.is_empty()
        })
    }
}

/// Whether something passes a cell as configured; `None`: a limit was met before it was known.
pub fn passes(cell: &Cell) -> Option<bool> {
    match (cell.some.is_empty(), cell.closed()) {
        (false, _) => Some(true),
        (_, true) => Some(false),
        _ => None,
    }
}

/// Whether something passes for a hostile device.
pub fn passes_hostile(cell: &Cell) -> Option<bool> {
    match cell.hostile {
        HostileReach::Larger(_) => Some(true),
        HostileReach::Same | HostileReach::NotAsked => passes(cell),
        HostileReach::Unknown => passes(cell).filter(|&passes| passes),
    }
}

/// Whether any of several things is so.
pub fn any(all: impl IntoIterator<Item = Option<bool>>) -> Option<bool> {
    let all: Vec<Option<bool>> = all.into_iter().collect();
    if all.contains(&Some(true)) {
        Some(true)
    } else {
        (!all.contains(&None)).then_some(false)
    }
}

/// Whether a line is broken; one that speaks of nothing is not.
pub fn broken(status: &IntentStatus) -> Option<bool> {
    match status {
        IntentStatus::Broken(_) => Some(true),
        IntentStatus::Held | IntentStatus::Vacuous => Some(false),
        IntentStatus::Unknown(_) => None,
    }
}
