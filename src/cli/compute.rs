//! What matrix and review compute alike.

use crate::analysis::{By, Matrix, Naming, Question};
use crate::forwarding::Network;
use crate::model::Family;

use super::output::Progress;

/// A matrix for each family; the question's own family does not matter.
pub(super) fn matrices(
    network: &Network<'_>,
    families: &[Family],
    question: &Question,
) -> Vec<Matrix> {
    let progress = Progress::new("computing the matrix");
    let one = |&family: &Family| {
        let question = Question {
            family,
            ..question.clone()
        };
        let mut shown = |done, total| progress.update(done, total);
        Matrix::new(network, &question, &mut shown)
    };
    families.iter().map(one).collect()
}

/// The same for both families, without a word.
pub(super) fn quiet_matrices(network: &Network<'_>, by: By) -> Vec<Matrix> {
    let one = |family| {
        let question = Question::all(by, family, true);
        Matrix::new(network, &question, &mut |_, _| {})
    };
    Family::ALL.into_iter().map(one).collect()
}

/// The names of a site for each family.
pub(super) fn namings<'n>(network: &'n Network<'n>, families: &[Family]) -> Vec<Naming<'n>> {
    let one = |&family: &Family| Naming::new(network, family);
    families.iter().map(one).collect()
}
