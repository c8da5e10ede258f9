//! Text to a tree of values with places; mistakes of syntax do not end the reading.

use toml::de::DeTable;

use crate::diagnostic::{FileId, Problem, Source, Span};

use super::kinds;
use super::reader::shown;
use super::report::{MOST_PROBLEMS, Report};

/// Parses a file. What could be read comes back even where there are mistakes.
pub(super) fn parse<'a>(report: &mut Report, file: FileId, source: &'a Source) -> DeTable<'a> {
    let (table, errors) = DeTable::parse_recoverable(source.text());
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
