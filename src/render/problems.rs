//! Problems in the style of a good compiler.

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

use crate::diagnostic::{Problem, Severity, Source, Sources, Span};

use super::text::clean;

/// One problem with its excerpt, ready to print; ends with a line break.
pub fn problem_text(sources: &Sources, problem: &Problem, colour: bool, columns: usize) -> String {
    let level = match problem.severity() {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let title = level
        .primary_title(clean(&problem.message))
        .id(problem.kind.name);
    let mut group = Group::with_title(title);
    for (source, marks) in excerpts(sources, problem) {
        group = group.element(snippet(source, &marks));
    }
    if let Some(help) = &problem.help {
        group = group.element(Level::HELP.message(clean(help)));
    }
    let renderer = if colour {
        Renderer::styled()
    } else {
        Renderer::plain()
    };
    let renderer = renderer
        .decor_style(DecorStyle::Ascii)
        .term_width(columns.max(60));
    let mut text = renderer.render(&[group]);
    text.push('\n');
    text
}

/// A line that counts problems: `2 errors, 1 warning`; empty where there is none.
pub fn problem_summary(problems: &[Problem]) -> String {
    let parts = [Severity::Error, Severity::Warning, Severity::Note].map(|severity| {
        let count = problems
            .iter()
            .filter(|problem| problem.severity() == severity)
            .count();
        match count {
            0 => None,
            1 => Some(format!("1 {}", severity.word())),
            _ => Some(format!("{count} {}s", severity.word())),
        }
    });
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

struct Mark {
    start: usize,
    end: usize,
    label: String,
    primary: bool,
}

/// Marks grouped by text, the text of the problem's own place first. Places far apart in one text get
/// excerpts of their own.
fn excerpts<'s>(sources: &'s Sources, problem: &Problem) -> Vec<(&'s Source, Vec<Mark>)> {
    let own = problem
        .span
        .map(|span| (span, problem.label.as_str(), true));
    let notes = problem
        .notes
        .iter()
        .map(|note| (note.span, note.text.as_str(), false));
    let mut out: Vec<(&Source, Vec<Mark>)> = Vec::new();
    for (span, label, primary) in own.into_iter().chain(notes) {
        let Some(source) = sources.get(span.file) else {
            continue;
        };
        let mark = Mark {
            start: span.start as usize,
            end: span.end as usize,
            label: clean(label),
            primary,
        };
        let near = |(known, marks): &&mut (&Source, Vec<Mark>)| {
            std::ptr::eq(*known, source)
                && marks
                    .iter()
                    .any(|other| lines_apart(source, other, span) < 12)
        };
        match out.iter_mut().find(near) {
            Some((_, marks)) => marks.push(mark),
            None => out.push((source, vec![mark])),
        }
    }
    out
}

fn lines_apart(source: &Source, mark: &Mark, span: Span) -> u32 {
    let line = |at: u32| source.position(at).line;
    line(mark.start as u32).abs_diff(line(span.start))
}

fn snippet<'s>(
    source: &'s Source,
    marks: &[Mark],
) -> Snippet<'s, annotate_snippets::Annotation<'s>> {
    let start = marks.iter().map(|mark| mark.start).min().unwrap_or(0);
    // A mark over many lines is shown by its first: the excerpt is to be read, not scrolled.
    let end = marks
        .iter()
        .map(|mark| first_line_end(source, mark))
        .max()
        .unwrap_or(start);
    let (range, line) = source.lines_around(start as u32, end as u32);
    let text = &source.text()[range.clone()];
    let annotations = marks.iter().map(|mark| {
        let from = mark.start.clamp(range.start, range.end) - range.start;
        let to = first_line_end(source, mark).clamp(range.start, range.end) - range.start;
        let kind = if mark.primary {
            AnnotationKind::Primary
        } else {
            AnnotationKind::Context
        };
        let annotation = kind.span(from..to.max(from));
        match mark.label.is_empty() {
            true => annotation,
            false => annotation.label(mark.label.clone()),
        }
    });
    Snippet::source(text)
        .path(clean(source.name()))
        .line_start(line as usize)
        .annotations(annotations)
}

fn first_line_end(source: &Source, mark: &Mark) -> usize {
    let text = source.text();
    let end = mark.end.min(text.len());
    let marked = text.get(mark.start..end).unwrap_or_default();
    marked.find('\n').map_or(end, |at| mark.start + at)
}
