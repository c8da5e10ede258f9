//! What is shown, before it takes a form: the same for every format.

use std::sync::Arc;

use boundwalk_analysis::{
    By, Cell, Endpoint, Extent, Families, Matrix, PermittedFlow, chosen, notes, party_name,
};
use boundwalk_forwarding::Network;
use boundwalk_model::{Family, Site};

/// A row or column.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Side {
    /// Its name.
    pub name: String,
    /// `zone`, `segment`, `host`, `gateway` or `router`.
    pub kind: &'static str,
}

/// A cell in both families; `None`: the family was not asked for.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Pair {
    /// IPv4.
    pub v4: Option<Arc<Cell>>,
    /// IPv6.
    pub v6: Option<Arc<Cell>>,
}

impl Pair {
    /// The cells of the families that were asked for.
    pub fn families(&self) -> impl Iterator<Item = (Family, &Cell)> {
        let v4 = self.v4.iter().map(|cell| (Family::V4, &**cell));
        v4.chain(self.v6.iter().map(|cell| (Family::V6, &**cell)))
    }
}

/// The flows of one ordered pair in one family.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PairFlows {
    /// The sender.
    pub from: Side,
    /// The target.
    pub to: Side,
    /// The family.
    pub family: Family,
    /// What passes.
    pub flows: Vec<PermittedFlow>,
    /// False where a limit was met.
    pub complete: bool,
}

/// A matrix, filtered, with its caveats.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sheet {
    /// Name of the site.
    pub site: String,
    /// What the rows and columns are: `zone`, `segment` or `host`.
    pub by: &'static str,
    /// Senders.
    pub rows: Vec<Side>,
    /// Targets.
    pub columns: Vec<Side>,
    /// Row by row.
    pub pairs: Vec<Vec<Pair>>,
    /// What was modelled and assumed, and what to keep in mind.
    pub notes: Vec<String>,
}

/// Which rows, columns and cells to show.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Selection {
    /// Senders; empty: all.
    pub from: Vec<Endpoint>,
    /// Targets; empty: all.
    pub to: Vec<Endpoint>,
    /// Whether to drop what is not answered.
    pub two_way_only: bool,
}

impl Side {
    /// A party by name and kind.
    pub fn new(site: &Site, party: Endpoint) -> Self {
        let kind = match party {
            Endpoint::Zone(_) => "zone",
            Endpoint::Segment(_) => "segment",
            Endpoint::Host(_) => "host",
            Endpoint::Device(router) => match site.router(router).filter() {
                Some(_) => "gateway",
                None => "router",
            },
            Endpoint::Unclaimed(..) => "unclaimed ports",
        };
        Self {
            name: party_name(site, party).into_owned(),
            kind,
        }
    }

    /// What it is called where it receives: the address of a gateway is no segment behind it.
    pub fn as_target(&self) -> String {
        match self.kind {
            "gateway" | "router" => format!("{} itself", self.name),
            _ => self.name.clone(),
        }
    }
}

impl Sheet {
    /// The selected part of one matrix, or of one for each family over the same parties.
    pub fn new(network: &Network<'_>, matrices: &[Matrix], selection: &Selection) -> Self {
        let site = network.site;
        let by = matrices
            .first()
            .map_or(By::Segment, |matrix| matrix.question.by);
        let families = Families::new(matrices);
        let (rows, columns) = (&families.rows, &families.columns);
        let kept_rows = kept(site, rows, &selection.from);
        let kept_columns = kept(site, columns, &selection.to);
        let pair = |row: usize, column: usize| {
            let cell = |family: Family| {
                let mut cells = families.cells(row, column);
                let (_, cell) = cells.find(|(matrix, _)| matrix.question.family == family)?;
                Some(narrowed(cell, selection))
            };
            Pair {
                v4: cell(Family::V4),
                v6: cell(Family::V6),
            }
        };
        let line = |&row: &usize| {
            kept_columns
                .iter()
                .map(|&column| pair(row, column))
                .collect()
        };
        let side = |party: Endpoint| Side::new(site, party);
        Self {
            site: site.name.clone(),
            by: match by {
                By::Zone => "zone",
                By::Segment => "segment",
                By::Host => "host",
            },
            pairs: kept_rows.iter().map(line).collect(),
            rows: kept_rows.iter().map(|&at| side(rows[at])).collect(),
            columns: kept_columns.iter().map(|&at| side(columns[at])).collect(),
            notes: notes(network),
        }
    }
}

/// Numbers of the chosen parties.
fn kept(site: &Site, all: &[Endpoint], choice: &[Endpoint]) -> Vec<usize> {
    let taken = |&at: &usize| chosen(site, choice, all[at]);
    (0..all.len()).filter(taken).collect()
}

/// What is not answered goes as a whole: a cell tells how much of its flows is answered, not which.
fn narrowed(cell: &Arc<Cell>, selection: &Selection) -> Arc<Cell> {
    if selection.two_way_only && cell.two_way == Extent::None {
        Arc::new(cell.closed_off())
    } else {
        Arc::clone(cell)
    }
}
