//! Text to a tree of values with places; mistakes of syntax do not end the reading.

use toml::de::DeTable;
use toml_parser::parser::RecursionGuard;

use boundwalk_diagnostic::{FileId, Problem, Source, Span};

use super::kinds;
use super::quote::shown;
use super::report::{MOST_PROBLEMS, ProblemReport};

/// Parses a file. What could be read comes back even where there are mistakes.
pub(super) fn parse<'a>(
    report: &mut ProblemReport,
    file: FileId,
    source: &'a Source,
) -> DeTable<'a> {
    let text = source.text();
    let Some(end) = readable(text) else {
        let message = format!(
            "{} has more than {MOST_TOKENS} words and signs",
            source.name()
        );
        let problem = Problem::general(&kinds::TOO_LARGE, message);
        report.push(problem.help("split the site into several files of one folder"));
        return DeTable::new();
    };
    let (table, errors) = DeTable::parse_recoverable(&text[..end]);
    if end < text.len() {
        let message = format!(
            "more than {MOST_PROBLEMS} mistakes before this place; what follows was not read"
        );
        let place = clamp(file, text, end..end);
        let problem = Problem::at(&kinds::TOML_SYNTAX, place, message);
        report.push(problem.help("is this a site file? mend the first mistakes and load again"));
    }
    let mut broken_line = 0;
    // One more than is ever listed, so that the report knows that some are missing.
    for error in errors.iter().take(MOST_PROBLEMS + 1) {
        let problem = problem(file, source.text(), error);
        let line = problem
            .span
            .map_or(0, |span| source.position(span.start).line);
        if *problem.kind != kinds::DUPLICATE_KEY {
            // What follows on the line of a mistake is most often its consequence.
            if line == broken_line {
                continue;
            }
            broken_line = line;
        }
        report.push(problem);
    }
    table.into_inner()
}

/// Most words and signs of one text. A site of 64 MiB has about 13 million.
const MOST_TOKENS: usize = 16_000_000;
/// Shorter texts are parsed at once: their mistakes fit into memory, however many.
const SHORT: usize = 4 * 1024 * 1024;

/// Deepest nesting of values; the format needs five.
const DEEPEST: u32 = 80;

/// How much of a text is worth parsing: the parser keeps every mistake, and of a large file that is no TOML these would
/// take many times its size. `None`: it has too many parts.
fn readable(text: &str) -> Option<usize> {
    if text.len() <= SHORT {
        return Some(text.len());
    }
    let source = toml_parser::Source::new(text);
    if source.lex().take(MOST_TOKENS + 1).count() > MOST_TOKENS {
        return None;
    }
    let tokens: Vec<toml_parser::lexer::Token> = source.lex().collect();
    let mut mistakes = 0;
    let mut end = text.len();
    let mut note = |error: toml_parser::ParseError| {
        mistakes += 1;
        if mistakes == MOST_PROBLEMS + 1 {
            let span = error.unexpected().or(error.context());
            end = span.map_or(end, |span| span.start());
        }
    };
    // Without the guard deep brackets would take the stack; its depth is that of the parser which reads the text then.
    let mut nothing = ();
    let mut guarded = RecursionGuard::new(&mut nothing, DEEPEST);
    toml_parser::parser::parse_document(&tokens, &mut guarded, &mut note);
    // Up to the end of that line, so that no new mistake is made.
    let rest = text.get(end..).and_then(|rest| rest.find('\n'));
    Some(rest.map_or(text.len(), |at| end + at))
}

fn problem(file: FileId, text: &str, error: &toml::de::Error) -> Problem {
    let range = error.span().unwrap_or(0..0);
    let span = clamp(file, text, range);
    let said = error.message();
    let there = &text[span.start as usize..span.end as usize];
    if said == "duplicate key" {
        let message = format!("`{}` is given twice in this table", shown(there));
        let problem = Problem::at(&kinds::DUPLICATE_KEY, span, message).label("second time");
        return problem.help("join the two or rename one; a list of tables takes double brackets");
    }
    if said.contains("recurs") {
        let problem = Problem::at(&kinds::NESTING_TOO_DEEP, span, "values are nested too deep");
        return problem.help("the format needs no more than five levels");
    }
    let problem = Problem::at(
        &kinds::TOML_SYNTAX,
        span,
        format!("not TOML: {}", shown(said)),
    );
    problem.help(advice(there, said))
}

/// What most often is behind a message of the parser.
fn advice(there: &str, said: &str) -> &'static str {
    if ["string", "quote", "boolean"]
        .iter()
        .any(|word| said.contains(word))
    {
        "put text in double quotes, as in \"brewhouse\""
    } else if said.contains("newline") || there.contains('\n') {
        "one `key = value` a line; close the bracket or quote that was opened before"
    } else if said.contains("table") {
        "a table begins with `[name]`, an item of a list of tables with `[[name]]`"
    } else if said.contains("array") {
        "separate the items of a list with commas and close it with `]`"
    } else {
        "write `key = value`; text in double quotes, lists in brackets"
    }
}

/// The range cut to the text and widened to whole characters.
fn clamp(file: FileId, text: &str, range: std::ops::Range<usize>) -> Span {
    let mut start = range.start.min(text.len());
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    let mut end = range.end.clamp(start, text.len());
    while !text.is_char_boundary(end) {
        end += 1;
    }
    Span::new(file, start as u32, end as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_long_text_full_of_mistakes_only_the_beginning_is_parsed() {
        let mistakes = "?\n".repeat(SHORT / 2);
        assert_eq!(readable(&mistakes), Some(SHORT));
        let longer = format!("{mistakes}?\n");
        let parsed = readable(&longer).expect("few enough parts");
        assert!((MOST_PROBLEMS..SHORT / 2).contains(&parsed), "{parsed}");
        assert!(longer[..parsed].ends_with('?'), "whole lines");
        assert_eq!(readable(&"a=1\n".repeat(SHORT / 4 + 1)), Some(SHORT + 4));
    }
}
