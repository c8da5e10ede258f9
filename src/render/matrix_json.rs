//! A matrix as JSON, for programs.

use std::collections::BTreeSet;
use std::io;

use rayon::prelude::*;
use serde::Serialize;
use serde::ser::SerializeSeq;

use boundwalk_analysis::{Cell, Extent, HostileReach, PermittedFlow, Reading, ServiceLabels};
use boundwalk_diagnostic::Sources;
use boundwalk_model::{Family, Site};

use super::flows::decisions;
use super::json::{JsonPacket, JsonRule, RuleOrDefault, json_packet, json_rule};
use super::json_text;
use super::shape::{Pair, PairFlows, Sheet, Side};

#[derive(Serialize)]
struct JsonSide<'a> {
    name: &'a str,
    kind: &'static str,
}

#[derive(Serialize)]
struct JsonCell<'a> {
    from: &'a str,
    to: &'a str,
    family: &'static str,
    state: &'static str,
    services: Vec<String>,
    services_from_every_address: Vec<String>,
    /// Services that only described hosts get through, by routes of their own.
    services_only_by_hosts: Vec<String>,
    hosts_with_own_ways: Vec<&'a str>,
    replies: &'static str,
    gateway_decides: &'static str,
    hostile_reaches_more: Option<bool>,
    crossed: Vec<&'a str>,
    /// Places in the document's list of rules, from 0.
    rules: Vec<usize>,
    witness: Option<JsonPacket>,
    hostile_witness: Option<JsonPacket>,
    complete: bool,
}

/// Rows of a sheet that are made before any of them is written.
const ROWS_AT_ONCE: usize = 8;

/// The cells of a sheet; each is made when it is written, for there may be millions.
struct JsonCells<'a> {
    site: &'a Site,
    sheet: &'a Sheet,
    namings: &'a [ServiceLabels<'a>],
    rules: &'a [RuleOrDefault],
}

impl Serialize for JsonCells<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut cells = serializer.serialize_seq(None)?;
        let rows: Vec<(&Side, &Vec<Pair>)> =
            self.sheet.rows.iter().zip(&self.sheet.pairs).collect();
        // A few rows at a time, on all processors.
        for rows in rows.chunks(ROWS_AT_ONCE) {
            let made: Vec<Vec<JsonCell<'_>>> = rows
                .par_iter()
                .map(|(row, line)| self.row(row, line))
                .collect();
            made.iter()
                .flatten()
                .try_for_each(|cell| cells.serialize_element(cell))?;
        }
        cells.end()
    }
}

#[derive(Serialize)]
pub(super) struct JsonMatrix<'a> {
    document: &'static str,
    version: u32,
    site: &'a str,
    by: &'static str,
    rows: Vec<JsonSide<'a>>,
    columns: Vec<JsonSide<'a>>,
    /// Those that permit something in some cell.
    rules: Vec<JsonRule>,
    cells: JsonCells<'a>,
    /// Of every pair with some; null: not asked for.
    flows: Option<Vec<JsonPairFlows<'a>>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct JsonPairFlows<'a> {
    from: &'a str,
    to: &'a str,
    family: &'static str,
    complete: bool,
    flows: Vec<JsonFlow>,
}

#[derive(Serialize)]
struct JsonFlow {
    services: Vec<String>,
    source: Vec<String>,
    destination: Vec<String>,
    arrives_from: Vec<String>,
    arrives_at: Vec<String>,
    arrives_as: Vec<String>,
    decided_by: Vec<String>,
    replies: &'static str,
    witness: Option<JsonPacket>,
}

/// Rules that permit something in some cell, ascending.
pub(super) fn permitting(sheet: &Sheet) -> Vec<RuleOrDefault> {
    let pairs = sheet.pairs.iter().flatten();
    let cells = pairs.flat_map(|pair| pair.families().map(|(_, cell)| cell));
    let all: BTreeSet<RuleOrDefault> = cells.flat_map(|cell| cell.rules.iter().copied()).collect();
    all.into_iter().collect()
}

impl<'a> JsonMatrix<'a> {
    /// `rules` are those of [`permitting`].
    pub(super) fn new(
        (site, sources): (&'a Site, &Sources),
        sheet: &'a Sheet,
        rules: &'a [RuleOrDefault],
        namings: &'a [ServiceLabels<'a>],
        flows: Option<&'a [PairFlows]>,
    ) -> Self {
        let pair_flows = flows.map(|flows| {
            let pairs = flows.iter().filter_map(|pair| {
                let naming = naming_of(namings, pair.family)?;
                Some(json_pair_flows(site, sources, naming, pair))
            });
            pairs.collect()
        });
        Self {
            document: "boundwalk-matrix",
            version: 2,
            site: &sheet.site,
            by: sheet.by,
            rows: sheet.rows.iter().map(json_side).collect(),
            columns: sheet.columns.iter().map(json_side).collect(),
            rules: rules
                .iter()
                .map(|&rule| json_rule(site, sources, rule))
                .collect(),
            cells: JsonCells {
                site,
                sheet,
                namings,
                rules,
            },
            flows: pair_flows,
            notes: &sheet.notes,
        }
    }
}

/// Writes a matrix as a JSON document, with the flows of the pairs given; `None`: not asked for.
///
/// # Errors
/// What the stream says.
pub fn write_matrix_json(
    out: &mut dyn io::Write,
    (site, sources): (&Site, &Sources),
    sheet: &Sheet,
    namings: &[ServiceLabels<'_>],
    flows: Option<&[PairFlows]>,
) -> io::Result<()> {
    let rules = permitting(sheet);
    let document = JsonMatrix::new((site, sources), sheet, &rules, namings, flows);
    json_text::write(out, &document)
}

fn json_pair_flows<'a>(
    site: &Site,
    sources: &Sources,
    naming: &ServiceLabels<'_>,
    pair: &'a PairFlows,
) -> JsonPairFlows<'a> {
    let flows = pair.flows.iter();
    JsonPairFlows {
        from: &pair.from.name,
        to: &pair.to.name,
        family: pair.family.word(),
        complete: pair.complete,
        flows: flows
            .map(|flow| json_flow(site, sources, naming, flow))
            .collect(),
    }
}

fn naming_of<'n, 'a>(
    namings: &'n [ServiceLabels<'a>],
    family: Family,
) -> Option<&'n ServiceLabels<'a>> {
    namings.iter().find(|naming| naming.plan().family == family)
}

fn json_side(side: &Side) -> JsonSide<'_> {
    JsonSide {
        name: &side.name,
        kind: side.kind,
    }
}

impl<'a> JsonCells<'a> {
    fn row(&self, row: &'a Side, line: &[Pair]) -> Vec<JsonCell<'a>> {
        let columns = self.sheet.columns.iter().zip(line);
        let cells = columns.flat_map(|(column, pair)| {
            pair.families().filter_map(move |(family, cell)| {
                let naming = naming_of(self.namings, family)?;
                Some(self.cell(naming, (row, column), cell))
            })
        });
        cells.collect()
    }

    fn cell(
        &self,
        naming: &ServiceLabels<'_>,
        (from, to): (&'a Side, &'a Side),
        cell: &Cell,
    ) -> JsonCell<'a> {
        let site = self.site;
        let (hostile, hostile_witness) = match cell.hostile {
            HostileReach::Larger(packet) => (Some(true), Some(json_packet(&packet))),
            HostileReach::Same => (Some(false), None),
            HostileReach::NotAsked | HostileReach::Unknown => (None, None),
        };
        let crossed = cell.crossed.iter();
        let rules = cell.rules.iter();
        JsonCell {
            from: &from.name,
            to: &to.name,
            family: naming.plan().family.word(),
            state: state(cell),
            services: naming.list(&cell.some),
            services_from_every_address: naming.list(&cell.every),
            services_only_by_hosts: naming.list(&cell.only_by_hosts()),
            hosts_with_own_ways: cell
                .hosts
                .iter()
                .map(|&host| site.host(host).name.value.as_str())
                .collect(),
            replies: extent(cell.two_way),
            gateway_decides: extent(cell.filtered),
            hostile_reaches_more: hostile,
            crossed: crossed
                .map(|&router| site.router(router).name.value.as_str())
                .collect(),
            rules: rules
                .filter_map(|rule| self.rules.binary_search(rule).ok())
                .collect(),
            witness: cell.witness.as_ref().map(json_packet),
            hostile_witness,
            complete: cell.complete(),
        }
    }
}

fn state(cell: &Cell) -> &'static str {
    match cell.reading {
        Reading::Within => "within",
        Reading::NoAddresses => "no-addresses",
        Reading::Pair if cell.some.is_empty() => "nothing",
        Reading::Pair if cell.everything() => "everything",
        Reading::Pair => "services",
    }
}

fn extent(extent: Extent) -> &'static str {
    match extent {
        Extent::Nothing => "nothing",
        Extent::None => "none",
        Extent::Some => "some",
        Extent::All => "all",
        Extent::Unknown => "unknown",
    }
}

fn json_flow(
    site: &Site,
    sources: &Sources,
    naming: &ServiceLabels<'_>,
    flow: &PermittedFlow,
) -> JsonFlow {
    let family = naming.plan().family;
    let ranges = |set: &boundwalk_packet::IntervalSet| {
        set.intervals()
            .iter()
            .map(|&part| boundwalk_model::show_interval(family, part))
            .collect()
    };
    JsonFlow {
        services: naming.list(&flow.sent.services),
        source: ranges(&flow.sent.source),
        destination: ranges(&flow.sent.destination),
        arrives_from: ranges(&flow.arrives.source),
        arrives_at: ranges(&flow.arrives.destination),
        arrives_as: naming.list(&flow.arrives.services),
        decided_by: decisions(site, sources, flow),
        replies: extent(flow.two_way),
        witness: flow.witness.as_ref().map(json_packet),
    }
}
