//! Matrices of both families side by side.

use std::sync::Arc;

use rustc_hash::{FxHashMap, FxHashSet};

use super::cell::Cell;
use super::matrix::Matrix;
use super::party::Endpoint;

/// Matrices that answer the same question for different families.
///
/// Unclaimed ports stand in a matrix only where something passes, which may be in one family: rows and columns of the
/// same number can be different parties. Here each party has one number, and a matrix without it has no cell there.
pub struct Families<'m> {
    /// Senders of any of them, in the order of the first that has them.
    pub rows: Vec<Endpoint>,
    /// Targets likewise.
    pub columns: Vec<Endpoint>,
    matrices: Vec<Numbered<'m>>,
}

/// A matrix, and where in it each row and each column stands.
struct Numbered<'m> {
    matrix: &'m Matrix,
    rows: Vec<Option<usize>>,
    columns: Vec<Option<usize>>,
}

impl<'m> Families<'m> {
    /// Puts them side by side. Cost: one look at each row and column.
    pub fn new(matrices: &'m [Matrix]) -> Self {
        let rows = all(matrices, |matrix| &matrix.rows);
        let columns = all(matrices, |matrix| &matrix.columns);
        let numbered = matrices.iter().map(|matrix| Numbered {
            matrix,
            rows: places(&rows, &matrix.rows),
            columns: places(&columns, &matrix.columns),
        });
        Self {
            matrices: numbered.collect(),
            rows,
            columns,
        }
    }

    /// The cells of a pair by number, each with its matrix.
    pub fn cells(
        &self,
        row: usize,
        column: usize,
    ) -> impl Iterator<Item = (&'m Matrix, &'m Arc<Cell>)> {
        self.matrices.iter().filter_map(move |one| {
            let row = one.rows[row]?;
            let column = one.columns[column]?;
            Some((one.matrix, &one.matrix.cells[row][column]))
        })
    }
}

fn all(matrices: &[Matrix], of: fn(&Matrix) -> &Vec<Endpoint>) -> Vec<Endpoint> {
    let mut seen: FxHashSet<Endpoint> = FxHashSet::default();
    matrices
        .iter()
        .flat_map(of)
        .copied()
        .filter(|&party| seen.insert(party))
        .collect()
}

/// The number of each of some parties in a list.
fn places(parties: &[Endpoint], list: &[Endpoint]) -> Vec<Option<usize>> {
    let numbers: FxHashMap<Endpoint, usize> = list
        .iter()
        .enumerate()
        .map(|(at, &party)| (party, at))
        .collect();
    parties
        .iter()
        .map(|party| numbers.get(party).copied())
        .collect()
}
