//! All that is looked at, computed once after each save.

use std::time::{Duration, Instant};

use boundwalk_analysis::{
    By, Bypass, IsolationVerdict, Matrix, ServiceLabels, bypasses, isolations,
};
use boundwalk_checks::{Baseline, JudgedFindings};
use boundwalk_diagnostic::{Finding, Span};
use boundwalk_forwarding::Network;
use boundwalk_model::{Family, SegmentId};
use boundwalk_render::{Legend, Selection, Sheet, escape_control};

use super::super::compute::quiet_matrices;
use super::super::matrix::sheet_legend;
use super::super::site::{Broken, Opened, SiteArguments};
use super::super::summary::summary;
use super::super::watch::{clock, counts};
use super::view::FilePlace;

/// A matrix with its codes.
pub(super) struct Grid {
    pub(super) sheet: Sheet,
    pub(super) key: Legend,
    pub(super) codes: Vec<Vec<String>>,
}

/// The answers about one version of the site.
pub(super) struct Data {
    pub(super) opened: Opened,
    /// By segment, and by zone.
    pub(super) grids: [Grid; 2],
    pub(super) findings: Vec<Finding>,
    pub(super) ways: Vec<Bypass>,
    pub(super) claims: Vec<(SegmentId, IsolationVerdict)>,
    pub(super) summary: String,
    /// When it was read.
    pub(super) time: String,
    /// How long that took.
    pub(super) took: Duration,
}

impl Data {
    /// Reads the site and computes all that is shown at once.
    pub(super) fn load(arguments: &SiteArguments) -> Result<Self, Broken> {
        let start = Instant::now();
        let mut data = Self::new(arguments.read()?);
        data.took = start.elapsed();
        Ok(data)
    }

    fn new(opened: Opened) -> Self {
        let network = opened.network();
        let namings = Family::ALL.map(|family| ServiceLabels::new(&network, family));
        let segments = quiet_matrices(&network, By::Segment);
        let zones: Vec<Matrix> = segments
            .iter()
            .map(|matrix| matrix.by_zones(&network))
            .collect();
        let grids = [&segments, &zones].map(|all| grid(&network, all, &namings));
        let findings = boundwalk_checks::run(&network);
        let judged = boundwalk_checks::accept(&opened.site, opened.today, findings);
        let accepted = judged.accepted.iter().map(|(finding, _)| finding);
        let all: Vec<&Finding> = judged.open.iter().chain(accepted).collect();
        let claims: Vec<SegmentId> = opened.site.segments_claiming_isolation().collect();
        let verdicts = isolations(&network, &claims);
        let ways = bypasses(&network, &|_, _| true);
        let summary = summary(&opened, &judged.open, &all, &zones);
        let findings = judged.open;
        Self {
            grids,
            findings,
            ways,
            claims: claims.into_iter().zip(verdicts).collect(),
            summary,
            time: clock(),
            took: Duration::ZERO,
            opened,
        }
    }

    /// What a save brought, in a line.
    pub(super) fn since(&self, before: &Self) -> String {
        let judged = boundwalk_checks::Judged {
            open: self.findings.clone(),
            accepted: Vec::new(),
        };
        let reviewed = JudgedFindings::new(judged, Some(&Baseline::of(&before.findings)));
        let took = self.took.as_millis();
        format!("saved {} ({took} ms): {}", self.time, counts(&reviewed))
    }

    /// A place of a span.
    pub(super) fn place(&self, span: Span) -> Option<FilePlace> {
        let sources = &self.opened.sources;
        let line = sources.line(span);
        let file = sources.get(span.file)?.name().to_owned();
        (line > 0).then_some(FilePlace { file, line })
    }

    /// The lines of a file, safe to show.
    pub(super) fn text(&self, file: &str) -> Option<Vec<String>> {
        let mut files = self.opened.sources.files().iter();
        let source = files.find(|source| source.name() == file)?;
        let lines = source.text().lines();
        Some(
            lines
                .map(|line| escape_control(&line.replace('\t', "    ")))
                .collect(),
        )
    }
}

fn grid(network: &Network<'_>, matrices: &[Matrix], namings: &[ServiceLabels<'_>]) -> Grid {
    let sheet = Sheet::new(network, matrices, &Selection::default());
    let (key, codes) = sheet_legend(&sheet, namings);
    Grid { sheet, key, codes }
}
