//! Problems in the style of a good compiler.

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

use unicode_width::UnicodeWidthChar;

use boundwalk_diagnostic::{Finding, Note, Problem, Severity, Source, Sources, Span, is_visible};

use super::text::{cut_middle, escape_control, escape_invisible, wrapped};

/// Columns before the text of a help, with line numbers of five digits.
const HELP: usize = 16;

/// What problems and findings have in common.
struct Stated<'a> {
    name: &'static str,
    severity: Severity,
    message: &'a str,
    span: Option<Span>,
    label: &'a str,
    notes: &'a [Note],
    help: Option<&'a str>,
}

/// One problem with its excerpt, ready to print; ends with a line break.
pub fn problem_text(sources: &Sources, problem: &Problem, colour: bool, columns: usize) -> String {
    let message = escape_invisible(&problem.message);
    let stated = Stated {
        name: problem.kind.name,
        severity: problem.severity(),
        message: &message,
        span: problem.span,
        label: &problem.label,
        notes: &problem.notes,
        help: problem.help.as_deref(),
    };
    stated_text(sources, &stated, colour, columns)
}

/// One finding with its excerpt, ready to print; ends with a line break.
pub fn finding_text(sources: &Sources, finding: &Finding, colour: bool, columns: usize) -> String {
    // The renderer puts further lines of a title under its first word.
    let head = finding.severity().word().len() + finding.check.name.len() + "[]: ".len();
    let room = columns.saturating_sub(head).max(30);
    let message = wrapped(&escape_control(&finding.message), room).join("\n");
    // The same for what to do, which stands behind "= help: " and the line numbers.
    let room = columns.saturating_sub(HELP).max(30);
    let help = finding.help.as_deref();
    let help = help.map(|help| wrapped(&escape_control(help), room).join("\n"));
    let stated = Stated {
        name: finding.check.name,
        severity: finding.severity(),
        message: &message,
        span: finding.span,
        label: "",
        notes: &finding.notes,
        help: help.as_deref(),
    };
    stated_text(sources, &stated, colour, columns)
}

fn stated_text(sources: &Sources, stated: &Stated<'_>, colour: bool, columns: usize) -> String {
    let level = match stated.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    };
    let title = level.primary_title(titled(stated.message)).id(stated.name);
    let mut group = Group::with_title(title);
    for (source, marks) in excerpts(sources, stated) {
        group = group.element(snippet(source, &marks));
    }
    if let Some(help) = stated.help {
        group = group.element(Level::HELP.message(titled(help)));
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

/// A title, made safe line by line.
fn titled(message: &str) -> String {
    message
        .split('\n')
        .map(|line| shortened(&escape_invisible(line)))
        .collect::<Vec<_>>()
        .join("\n")
}

/// An excerpt in which nothing can disturb a terminal. Each character is replaced by one of as many bytes, so
/// that marks stay where they are; line breaks of either kind look the same.
fn shown(text: &str) -> String {
    // Marks above one letter: more of them than any language has take no column and no end.
    const MOST_MARKS: usize = 4;
    let mut marks = 0;
    let harmless = |character: char| {
        marks = match character.width() {
            Some(0) => marks + 1,
            _ => 0,
        };
        harmless(character, marks > MOST_MARKS)
    };
    text.chars().map(harmless).collect()
}

fn harmless(character: char, too_many: bool) -> char {
    match character {
        '\r' => ' ',
        // The renderer has signs of its own for these.
        ascii if ascii.is_ascii() => ascii,
        other if !too_many && is_visible(other) => other,
        other if other.len_utf8() == 2 => '¿',
        other if other.len_utf8() == 4 => '\u{1fbc4}',
        _ => '\u{fffd}',
    }
}

/// A text whose longest words are cut in the middle.
fn shortened(text: &str) -> String {
    text.split(' ')
        .map(|word| cut_middle(word, 240, (60, "…", 20)))
        .collect::<Vec<_>>()
        .join(" ")
}

/// A line that counts problems: `2 errors, 1 warning`; empty where there is none.
pub fn problem_summary(problems: &[Problem]) -> String {
    severity_summary(problems.iter().map(Problem::severity))
}

/// The same for findings.
pub fn finding_summary(findings: &[Finding]) -> String {
    severity_summary(findings.iter().map(Finding::severity))
}

fn severity_summary(severities: impl Iterator<Item = Severity> + Clone) -> String {
    let parts = [Severity::Error, Severity::Warning, Severity::Note].map(|severity| {
        let same = severities.clone().filter(|&one| one == severity);
        match same.count() {
            0 => None,
            1 => Some(format!("1 {}", severity.word())),
            count => Some(format!("{count} {}s", severity.word())),
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
fn excerpts<'s>(sources: &'s Sources, stated: &Stated<'_>) -> Vec<(&'s Source, Vec<Mark>)> {
    let own = stated.span.map(|span| (span, stated.label, true));
    let notes = stated
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
            label: shortened(&escape_invisible(label)),
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
    let within = |at: usize| at.clamp(range.start, range.end) - range.start;
    let places: Vec<[usize; 2]> = marks
        .iter()
        .map(|mark| [within(mark.start), within(first_line_end(source, mark))])
        .collect();
    let (text, places) = cut_lines(&shown(&source.text()[range.clone()]), places);
    let annotations = marks.iter().zip(places).map(|(mark, [from, to])| {
        let kind = if mark.primary {
            AnnotationKind::Primary
        } else {
            AnnotationKind::Context
        };
        let annotation = kind.span(from..to.max(from));
        if mark.label.is_empty() {
            annotation
        } else {
            annotation.label(mark.label.clone())
        }
    });
    Snippet::source(text)
        .path(escape_control(source.name()))
        .line_start(line as usize)
        .annotations(annotations)
}

/// An excerpt without the rest of lines that nobody reads to their end, and the places in it. The renderer cuts lines by
/// the columns that they take, which a line may have few of.
fn cut_lines(text: &str, places: Vec<[usize; 2]>) -> (String, Vec<[usize; 2]>) {
    const LONG: usize = 1_000;
    const AFTER: usize = 400;
    let mut out = String::new();
    let mut start = 0;
    let mut moved = places.clone();
    for line in text.split_inclusive('\n') {
        let end = start + line.trim_end_matches('\n').len();
        let keep = places
            .iter()
            .map(|[from, _]| *from)
            .filter(|from| (start..end).contains(from))
            .max()
            .unwrap_or(start)
            + AFTER;
        let keep = (keep..end)
            .find(|&at| text.is_char_boundary(at))
            .unwrap_or(end);
        let long = end - start > LONG && keep < end;
        let from = if long { keep } else { end };
        let base = out.len();
        out.push_str(&text[start..from]);
        for (place, new) in places.iter().flatten().zip(moved.iter_mut().flatten()) {
            if (start..=end).contains(place) {
                *new = base + (*place).min(from) - start;
            }
        }
        if long {
            out.push('…');
        }
        out.push_str(&line[end - start..]);
        start += line.len();
    }
    (out, moved)
}

fn first_line_end(source: &Source, mark: &Mark) -> usize {
    let text = source.text();
    let end = mark.end.min(text.len());
    let marked = text.get(mark.start..end).unwrap_or_default();
    marked.find('\n').map_or(end, |at| mark.start + at)
}

#[cfg(test)]
mod tests {
    use boundwalk_diagnostic::Kind;

    use super::*;

    #[test]
    fn excerpts_keep_their_bytes_in_place() {
        let text = "a\u{9b}31m\u{202e}b\u{1b}[2J\r\nä\t北\u{61c}";
        let safe = shown(text);
        assert_eq!(safe, "a¿31m\u{fffd}b\u{1b}[2J \nä\t北¿");
        assert_eq!(safe.len(), text.len());
    }

    #[test]
    fn no_control_character_of_an_excerpt_reaches_the_terminal() {
        let controls = (0..=0x9f).filter_map(char::from_u32);
        let marks = "\u{200e}\u{200f}\u{61c}\u{202a}\u{202e}\u{2066}\u{2069}\u{feff}\u{2028}";
        let wild = |c: &char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
        let text: String = controls.filter(wild).chain(marks.chars()).collect();
        let mut sources = Sources::default();
        let file = sources.add(Source::new("wild.toml", text));
        static WILD: Kind = Kind {
            name: "wild",
            severity: Severity::Error,
            summary: "for this test",
        };
        let problem = Problem::at(&WILD, Span::new(file, 0, 1), "a wild text");
        let shown = problem_text(&sources, &problem, false, 400);
        assert!(shown.contains("wild.toml"), "{shown}");
        let left: Vec<char> = shown
            .chars()
            .filter(|c| wild(c) || marks.contains(*c))
            .collect();
        assert_eq!(left, Vec::<char>::new(), "{shown:?}");
    }

    #[test]
    fn long_words_are_cut_and_others_kept() {
        let rule = "x".repeat(240);
        assert_eq!(
            shortened(&format!("no `{rule}")),
            format!("no `{}…{}", "x".repeat(59), "x".repeat(20))
        );
        assert_eq!(shortened(&rule), rule);
    }
}
