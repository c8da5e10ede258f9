//! Words and texts of the input as they stand in messages.

/// A text of the input as it may stand in a message: short, on one line, nothing invisible.
pub(super) fn shown(text: &str) -> String {
    const LONGEST: usize = 80;
    let mut shown: String = text
        .chars()
        .take(LONGEST)
        .flat_map(char::escape_debug)
        .collect();
    shown = shown.replace("\\\"", "\"").replace("\\'", "'");
    if text.chars().nth(LONGEST).is_some() {
        shown.push('…');
    }
    shown
}

/// "a, b or c".
pub(super) fn or_list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => format!("`{one}`"),
        [first @ .., last] => {
            let first: Vec<String> = first.iter().map(|word| format!("`{word}`")).collect();
            format!("{} or `{last}`", first.join(", "))
        }
    }
}
