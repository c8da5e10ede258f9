//! Edits sorted by file and rule, contradictions refused.

use std::collections::BTreeMap;

use boundwalk_diagnostic::FileId;
use boundwalk_model::{RouterId, Rule, Site};

use super::{Edit, EditError, RuleCopy, RuleField};

/// What is asked of one rule.
#[derive(Clone, Default)]
pub(super) struct Wish<'e> {
    /// It goes.
    pub removed: bool,
    /// Fields with their items; no items: the field goes.
    pub fields: BTreeMap<RuleField, &'e [String]>,
    /// Copies that come behind it.
    pub copies: &'e [RuleCopy],
}

/// What is asked of the rules of one gateway, by number.
pub(super) type Wishes<'e> = BTreeMap<usize, Wish<'e>>;

/// All edits.
pub(super) struct EditPlan<'e> {
    gateways: BTreeMap<RouterId, Wishes<'e>>,
}

impl<'e> EditPlan<'e> {
    /// The edits of a site.
    pub fn new(site: &Site, edits: &'e [Edit]) -> Result<Self, EditError> {
        let mut gateways: BTreeMap<RouterId, Wishes<'e>> = BTreeMap::new();
        for edit in edits {
            let (router, rule) = match edit {
                Edit::RemoveRule { router, rule } => (*router, *rule),
                Edit::SetRuleField { router, rule, .. } => (*router, *rule),
                Edit::CopyRule { router, rule, .. } => (*router, *rule),
            };
            let Some(found) = rules(site, router).get(rule) else {
                return Err(EditError::NoSuchRule { router, rule });
            };
            let wish = gateways.entry(router).or_default().entry(rule).or_default();
            let clash = match edit {
                Edit::RemoveRule { .. } => std::mem::replace(&mut wish.removed, true),
                Edit::SetRuleField { field, items, .. } => {
                    wish.fields.insert(*field, items).is_some()
                }
                Edit::CopyRule { copies, .. } => {
                    !std::mem::replace(&mut wish.copies, copies).is_empty()
                }
            };
            let kept = !wish.fields.is_empty() || !wish.copies.is_empty();
            if clash || (wish.removed && kept) {
                let rule = found.name.value.clone();
                return Err(EditError::Contradiction { rule });
            }
        }
        Ok(Self { gateways })
    }

    /// The wishes by file and gateway, files in the order of the sources. All rules of a gateway stand in one
    /// file, since the loader takes no gateway that is described twice.
    pub fn by_file(&self, site: &Site) -> BTreeMap<FileId, Vec<(RouterId, &Wishes<'e>)>> {
        let mut files: BTreeMap<FileId, Vec<_>> = BTreeMap::new();
        for (&router, wishes) in &self.gateways {
            let file = site.router(router).name.span.file;
            files.entry(file).or_default().push((router, wishes));
        }
        files
    }

    /// What is asked of a rule.
    pub fn wish(&self, router: RouterId, rule: usize) -> Option<&Wish<'e>> {
        self.gateways.get(&router)?.get(&rule)
    }
}

/// The rules of a gateway; none for a router or a number that no gateway has.
pub(super) fn rules(site: &Site, router: RouterId) -> &[Rule] {
    let filter = site.routers.get(router.0).and_then(|found| found.filter());
    filter.map_or(&[], |filter| &filter.rules)
}
