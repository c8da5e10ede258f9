//! A line of a list of translations, and what becomes of what it takes.

use boundwalk_diagnostic::Span;
use boundwalk_model::{RouterId, SegmentId, Site, Translation};

/// A list of translations of one gateway.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum List {
    /// On arrival: destinations.
    Arriving,
    /// On departure: sources.
    Leaving,
}

/// A line of a list that is switched on.
#[derive(Clone, Copy)]
pub(super) struct TranslationLine<'v> {
    pub(super) router: RouterId,
    pub(super) list: List,
    pub(super) number: usize,
    pub(super) translation: &'v Translation,
}

impl TranslationLine<'_> {
    /// As findings name it: `edge "shop"`.
    pub(super) fn subject(&self, site: &Site) -> String {
        let gateway = &site.router(self.router).name.value;
        format!("{gateway} \"{}\"", self.translation.name.value)
    }

    pub(super) fn place(&self) -> Span {
        self.translation.name.span
    }
}

/// What becomes of what a destination translation takes.
pub(super) struct TranslationFate {
    /// Whether some of it arrives, from anybody; `None`: a limit was met first.
    pub(super) arrives: Option<bool>,
    /// Why a packet of it stops.
    pub(super) why: Option<String>,
    /// Segments whose plain devices get something through and never an answer.
    pub(super) unanswered: Vec<SegmentId>,
}

/// A destination translation that applies.
pub(super) struct Published<'v> {
    pub(super) line: TranslationLine<'v>,
    pub(super) fate: TranslationFate,
}
