//! The problems found so far, within limits.

use rustc_hash::FxHashSet;

use boundwalk_diagnostic::{FileId, Kind, Problem, Severity, Sources, Span};

use super::kinds;
use super::spelling::meant;

/// Most problems that are listed; what comes after is only counted.
pub(super) const MOST_PROBLEMS: usize = 4096;
/// Comparisons of spelling that one input may cost; with thousands of unknown names among thousands of
/// known ones the suggestions would otherwise take longer than all else.
const MOST_COMPARISONS: usize = 1_000_000;
/// Longer words get no suggestion.
const LONGEST_WORD: usize = 64;

/// Collects problems. Errors have precedence over warnings and notes where the list is full.
#[derive(Default)]
pub(super) struct ProblemReport {
    errors: Vec<Problem>,
    others: Vec<Problem>,
    omitted: usize,
    comparisons: usize,
}

impl ProblemReport {
    /// Takes a problem in.
    pub fn push(&mut self, problem: Problem) {
        let list = match problem.severity() {
            Severity::Error => &mut self.errors,
            Severity::Warning | Severity::Note => &mut self.others,
        };
        if list.len() < MOST_PROBLEMS {
            list.push(problem);
        } else {
            self.omitted += 1;
        }
    }

    /// Whether an error was found.
    pub fn failed(&self) -> bool {
        !self.errors.is_empty()
    }

    /// All problems by file and position; the note that some are left out comes last.
    pub fn finish(mut self, sources: &Sources) -> Vec<Problem> {
        let broken = !sources.files().is_empty() && self.errors.iter().any(is_gap);
        let mut listed = std::mem::take(&mut self.errors);
        listed.append(&mut self.others);
        if broken {
            drop_consequences(&mut listed, sources);
        }
        if listed.len() > MOST_PROBLEMS {
            self.omitted += listed.len() - MOST_PROBLEMS;
            listed.truncate(MOST_PROBLEMS);
        }
        listed.sort_by_key(|problem| (problem.span.is_some(), problem.span));
        if broken {
            let message = "names, missing keys and contradictions are checked once all of the input can be read";
            listed.push(Problem::general(&kinds::CHECK_INCOMPLETE, message));
        }
        if self.omitted > 0 {
            let message = format!("{} more problems are not listed", self.omitted);
            let note = Problem::general(&kinds::TOO_MANY_PROBLEMS, message);
            listed.push(note.help("mend those listed and load again"));
        }
        listed
    }

    /// The candidate spelled most like `word`, if one is like it at all.
    pub fn nearest<'n>(
        &mut self,
        word: &str,
        candidates: impl IntoIterator<Item = &'n str>,
    ) -> Option<&'n str> {
        let length = word.chars().count();
        if length > LONGEST_WORD {
            return None;
        }
        let lower = word.to_lowercase();
        let allowed = (length / 4).max(1);
        let mut best: Option<(usize, &'n str)> = None;
        let mut longer: Option<&'n str> = None;
        for candidate in candidates {
            if self.comparisons >= MOST_COMPARISONS {
                break;
            }
            self.comparisons += 1;
            // Lengths that differ by more than is allowed rule a candidate out without comparing.
            if candidate.len().abs_diff(word.len()) > 4 * allowed {
                continue;
            }
            // `prefix` for `prefixes`: the singular, or a name broken off.
            if length > 3 && longer.is_none() && candidate.to_lowercase().starts_with(&lower) {
                longer = Some(candidate);
            }
            let distance = strsim::osa_distance(&lower, &candidate.to_lowercase());
            if distance <= allowed && best.is_none_or(|(least, _)| distance < least) {
                best = Some((distance, candidate));
            }
        }
        best.map(|(_, candidate)| candidate).or(longer)
    }

    /// A help line with the nearest spelling, or `otherwise`.
    pub fn did_you_mean<'n>(
        &mut self,
        word: &str,
        candidates: impl IntoIterator<Item = &'n str>,
        otherwise: impl FnOnce() -> String,
    ) -> String {
        match self.nearest(word, candidates) {
            Some(candidate) => meant(word, candidate),
            None => otherwise(),
        }
    }
}

/// Whether part of the input may not have been read.
fn is_gap(problem: &Problem) -> bool {
    let gaps: [&Kind; 5] = [
        &kinds::TOML_SYNTAX,
        &kinds::NESTING_TOO_DEEP,
        &kinds::NOT_UTF8,
        &kinds::UNREADABLE_FILE,
        &kinds::TOO_LARGE,
    ];
    gaps.contains(&problem.kind)
}

/// After a gap: what may be its consequence goes, and so does all else on the same line.
fn drop_consequences(listed: &mut Vec<Problem>, sources: &Sources) {
    let line = |span: Span| (span.file, sources.line(span));
    let gaps = listed.iter().filter(|problem| is_gap(problem));
    let lines: FxHashSet<(FileId, u32)> =
        gaps.filter_map(|problem| problem.span).map(line).collect();
    listed.retain(|problem| {
        let placed = problem.span.is_none_or(|span| {
            // The parser puts a made-up value at 0..0 where none could be read.
            span.end > 0 && !lines.contains(&line(span))
        });
        is_gap(problem) || (placed && kinds::LOCAL.contains(&problem.kind))
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_spelling_is_near() {
        let mut report = ProblemReport::default();
        let names = ["office", "servers", "guest"];
        assert_eq!(report.nearest("ofice", names), Some("office"));
        assert_eq!(report.nearest("Guest", names), Some("guest"));
        assert_eq!(report.nearest("brewhouse", names), None);
        assert_eq!(report.nearest(&"x".repeat(1000), names), None);
    }

    #[test]
    fn suggestions_end_where_comparing_would_take_long() {
        let mut report = ProblemReport::default();
        let others = std::iter::repeat_n("brewhouse", MOST_COMPARISONS - 1);
        assert_eq!(
            report.nearest("ofice", others.chain(["office"])),
            Some("office")
        );
        assert_eq!(report.nearest("ofice", ["office"]), None);
    }

    #[test]
    fn errors_are_kept_before_warnings() {
        let mut report = ProblemReport::default();
        let at = |start| Span::new(FileId(0), start, start);
        for start in 0..MOST_PROBLEMS as u32 {
            report.push(Problem::at(&kinds::ZONE_EMPTY, at(start), "twice"));
        }
        report.push(Problem::at(&kinds::BAD_VLAN, at(9_999_999), "bad"));
        assert!(report.failed());
        let listed = report.finish(&Sources::default());
        assert_eq!(listed.len(), MOST_PROBLEMS + 1);
        assert_eq!(listed[MOST_PROBLEMS - 1].kind.name, "bad-vlan");
        assert_eq!(
            listed[MOST_PROBLEMS].message,
            "1 more problems are not listed"
        );
    }
}
