//! What an answer rests on, as text.

use boundwalk_analysis::CAUTION;
use boundwalk_render::{TextStyle, escape_control, wrapped};

/// What an answer rests on, as a paragraph each.
pub(super) fn notes_text(notes: &[String], paint: TextStyle) -> String {
    let mut out = format!("\n{}\n", paint.strong("What this rests on"));
    for note in notes {
        let lines = wrapped(
            &escape_control(note),
            paint.columns.saturating_sub(4).max(30),
        );
        for (number, line) in lines.into_iter().enumerate() {
            let bullet = if number == 0 { "- " } else { "  " };
            let line = format!("  {bullet}{line}\n");
            out.push_str(&if note == CAUTION {
                line
            } else {
                paint.faint(&line)
            });
        }
    }
    out
}
