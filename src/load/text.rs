//! Which names and texts a file may hold.

use boundwalk_diagnostic::{Problem, Spanned, is_prose, is_visible};

use super::kinds;
use super::quote::shown;
use super::report::ProblemReport;

/// Longest name of a thing, in characters.
const LONGEST_NAME: usize = 64;
/// Longest name of a line (rule, need ...), in characters.
const LONGEST_TITLE: usize = 200;

/// Checks the name of a zone, segment, group, device ...: letters of any script, digits, `-`, `_`, `.`;
/// 1 to 64 characters. `what` is "a zone" and the like. Tells whether it is fine.
pub(super) fn check_name(report: &mut ProblemReport, what: &str, name: Spanned<&str>) -> bool {
    let letter = |c: char| c.is_alphanumeric() && is_visible(c);
    let allowed = |c: char| letter(c) || matches!(c, '-' | '_' | '.');
    let length = name.value.chars().count();
    if length == 0 {
        let problem = Problem::at(
            &kinds::BAD_NAME,
            name.span,
            format!("{what} with an empty name"),
        );
        report.push(problem.help("give it a name of letters, digits, `-`, `_` or `.`"));
        return false;
    }
    if length > LONGEST_NAME {
        let message = format!("a name of {length} characters; at most {LONGEST_NAME} are allowed");
        let problem = Problem::at(&kinds::BAD_NAME, name.span, message);
        report.push(problem.help("shorten it and put the rest in `description`"));
        return false;
    }
    let Some(wrong) = name.value.chars().find(|&c| !allowed(c)) else {
        return true;
    };
    let better: String = name
        .value
        .chars()
        .map(|c| if allowed(c) { c } else { '-' })
        .collect();
    let message = format!("the name `{}` holds {}", shown(name.value), describe(wrong));
    let problem = Problem::at(&kinds::BAD_NAME, name.span, message);
    report.push(problem.help(format!(
        "names hold letters, digits, `-`, `_` and `.`; `{better}` would do"
    )));
    false
}

/// Checks the name of a port as printed on a device: as [`check_name`], with `/` and `:` besides.
pub(super) fn check_port_name(report: &mut ProblemReport, name: Spanned<&str>) -> bool {
    let plain: String = name
        .value
        .chars()
        .map(|c| if matches!(c, '/' | ':') { '.' } else { c })
        .collect();
    check_name(report, "a port", Spanned::new(&plain, name.span))
}

/// Checks the name of a rule, translation, need or expectation: 1 to 200 visible characters.
pub(super) fn check_title(report: &mut ProblemReport, what: &str, title: Spanned<&str>) {
    let length = title.value.chars().count();
    let fault = if title.value.trim().is_empty() {
        format!("{what} with an empty name")
    } else if length > LONGEST_TITLE {
        format!("a name of {length} characters; at most {LONGEST_TITLE} are allowed")
    } else if let Some(wrong) = title.value.chars().find(|&c| !is_visible(c)) {
        format!("the name of {what} holds {}", describe(wrong))
    } else {
        return;
    };
    let problem = Problem::at(&kinds::BAD_TEXT, title.span, fault);
    report.push(
        problem.help("give it a short name in plain characters, as in `office reads brewhouse`"),
    );
}

/// Checks text for people: line breaks and tabs may stand in it, other control characters may not.
pub(super) fn check_prose(report: &mut ProblemReport, key: &str, text: Spanned<&str>) {
    let wrong = text
        .value
        .chars()
        .find(|&c| !is_prose(c) && !matches!(c, '\n' | '\r' | '\t'));
    if let Some(wrong) = wrong {
        let message = format!("`{key}` holds {}", describe(wrong));
        let problem = Problem::at(&kinds::BAD_TEXT, text.span, message);
        report.push(problem.help("remove it: it can make a reader see another text than is there"));
    }
}

fn describe(c: char) -> String {
    if c == ' ' {
        "a space".to_owned()
    } else if !is_visible(c) || c.is_whitespace() {
        format!("the invisible character U+{:04X}", c as u32)
    } else {
        format!("`{c}`")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use boundwalk_diagnostic::Span;

    fn fine(name: &str) -> bool {
        check_name(
            &mut ProblemReport::default(),
            "a zone",
            Spanned::new(name, Span::default()),
        )
    }

    #[test]
    fn names_hold_letters_digits_and_three_signs() {
        for name in ["office", "Büro-2", "a.b_c", "60", "醸造", &"x".repeat(64)] {
            assert!(fine(name), "{name}");
        }
        for name in [
            "",
            "a b",
            "a/b",
            "a:b",
            "a,b",
            "a\u{202e}b",
            "a\u{3164}b",
            "a\u{200b}b",
            "a\u{e0041}b",
            "a\nb",
            &"x".repeat(65),
        ] {
            assert!(!fine(name), "{name:?}");
        }
    }
}
