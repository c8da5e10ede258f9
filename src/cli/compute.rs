//! What matrix and review compute alike.

use boundwalk_analysis::{By, Matrix, Question, ServiceLabels};
use boundwalk_forwarding::Network;
use boundwalk_model::Family;

use super::progress::Progress;

/// A matrix for each family; the question's own family does not matter.
pub(super) fn matrices(
    network: &Network<'_>,
    families: &[Family],
    question: &Question,
) -> Vec<Matrix> {
    let progress = Progress::new("computing the matrix");
    let mut shown = |done, total| progress.update(done, total);
    each_family(network, families, question, &mut shown)
}

/// The same of everything for both families, without a word.
pub(super) fn quiet_matrices(network: &Network<'_>, by: By) -> Vec<Matrix> {
    let question = Question::all(by, Family::V4, true);
    each_family(network, &Family::ALL, &question, &mut |_, _| {})
}

fn each_family(
    network: &Network<'_>,
    families: &[Family],
    question: &Question,
    shown: &mut dyn FnMut(usize, usize),
) -> Vec<Matrix> {
    let mut matrices = Vec::new();
    for &family in families {
        let question = Question {
            family,
            ..question.clone()
        };
        matrices.push(Matrix::new(network, &question, shown));
    }
    matrices
}

/// The names of a site for each family.
pub(super) fn namings<'n>(network: &'n Network<'n>, families: &[Family]) -> Vec<ServiceLabels<'n>> {
    let one = |&family: &Family| ServiceLabels::new(network, family);
    families.iter().map(one).collect()
}
