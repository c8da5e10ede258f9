//! Edits of rules in the text of a site: what is not edited stays byte for byte.
//!
//! The text is cut and joined, never written anew. `text` knows tokens and lines, `rule` finds what belongs to
//! a rule and to its fields, `list` works on items between brackets, `value` writes lists, `cuts` joins the
//! pieces, and `verify` loads the result and compares it with the site before.

mod cuts;
mod list;
mod plan;
mod rule;
mod text;
mod types;
mod value;
mod verify;

pub use types::{Edit, EditError, EditedFile, RuleCopy, RuleField};

use boundwalk_diagnostic::Sources;
use boundwalk_model::Site;

pub use verify::load_edited;

/// Makes all edits at once and returns the files that change, in the order of the sources.
///
/// Comments and layout stay. With a rule go the comments inside it, and those directly above it that no blank
/// line parts from it. The result is loaded and compared with the site before: what comes back describes the
/// same site but for the edits. Nothing is written to a disk. Cost: a load of all texts, and one more pass over
/// each file that changes.
///
/// # Errors
/// See [`EditError`].
pub fn apply_edits(
    site: &Site,
    sources: &Sources,
    edits: &[Edit],
) -> Result<Vec<EditedFile>, EditError> {
    let plan = plan::EditPlan::new(site, edits)?;
    let mut edited = Vec::new();
    for (file, wishes) in plan.by_file(site) {
        let source = sources.get(file).ok_or(EditError::OtherTexts)?;
        let after = rule::edit(site, source.text(), &wishes)?;
        if after != source.text() {
            edited.push(EditedFile {
                file,
                name: source.name().to_owned(),
                before: source.text().to_owned(),
                after,
            });
        }
    }
    verify::check(site, sources, &plan, &edited)?;
    Ok(edited)
}
