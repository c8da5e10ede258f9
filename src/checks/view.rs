//! What checks look at, computed once and only where a check asks for it.

use std::cell::OnceCell;

use crate::analysis::{By, Matrix, Question};
use crate::forwarding::Network;
use crate::model::{Family, Site};

use super::wiring::Wiring;

/// A site with what several checks need of it.
pub(super) struct View<'a> {
    pub(super) network: &'a Network<'a>,
    pub(super) site: &'a Site,
    pub(super) wiring: Wiring<'a>,
    matrices: [OnceCell<Matrix>; 2],
}

impl<'a> View<'a> {
    pub(super) fn new(network: &'a Network<'a>) -> Self {
        Self {
            network,
            site: network.site,
            wiring: Wiring::new(network.site),
            matrices: [const { OnceCell::new() }; 2],
        }
    }

    /// Who reaches what by segment, as configured.
    pub(super) fn matrix(&self, family: Family) -> &Matrix {
        let at = match family {
            Family::V4 => 0,
            Family::V6 => 1,
        };
        self.matrices[at].get_or_init(|| {
            let question = Question::all(By::Segment, family, false);
            Matrix::new(self.network, &question, &mut |_done, _total| {})
        })
    }
}
