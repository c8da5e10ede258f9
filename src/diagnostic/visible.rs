//! Characters that show nothing, or make a reader see another text than is there.

use unicode_general_category::{GeneralCategory, get_general_category};

/// Whether a character can be seen for what it is: it is assigned, no control character, no separator of lines, and none
/// that is drawn as nothing or turns the direction of the text around it (UAX #9; Default_Ignorable_Code_Point of UAX
/// #44, and the Braille pattern without dots).
pub fn is_visible(c: char) -> bool {
    use GeneralCategory as G;
    let unseen = matches!(
        get_general_category(c),
        G::Control
            | G::Format
            | G::LineSeparator
            | G::ParagraphSeparator
            | G::PrivateUse
            | G::Surrogate
            | G::Unassigned
    );
    !unseen && !is_blank(c)
}

/// Letters, marks and signs that are drawn as nothing: fillers, selectors of variants, tags.
fn is_blank(c: char) -> bool {
    matches!(c,
        '\u{034f}' | '\u{115f}'..='\u{1160}' | '\u{17b4}'..='\u{17b5}' | '\u{180b}'..='\u{180f}' | '\u{2800}'
        | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{ffa0}' | '\u{fff0}'..='\u{fff8}' | '\u{e0000}'..='\u{e0fff}')
}

/// Whether a character may stand in prose: also what languages need that join letters or choose between forms, as
/// zero-width joiners, soft hyphens and selectors of variants.
pub fn is_prose(c: char) -> bool {
    let needed = matches!(
        c,
        '\u{00ad}' | '\u{200c}' | '\u{200d}' | '\u{fe0e}' | '\u{fe0f}'
    );
    needed || is_visible(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_shows_nothing_is_not_visible() {
        for c in [
            '\0',
            '\u{7f}',
            '\u{85}',
            '\u{ad}',
            '\u{61c}',
            '\u{34f}',
            '\u{115f}',
            '\u{1160}',
            '\u{200b}',
            '\u{200d}',
            '\u{202e}',
            '\u{2028}',
            '\u{2060}',
            '\u{2066}',
            '\u{2800}',
            '\u{3164}',
            '\u{e000}',
            '\u{feff}',
            '\u{ffa0}',
            '\u{fff9}',
            '\u{378}',
            '\u{e0041}',
            '\u{e0100}',
            '\u{10ffff}',
        ] {
            assert!(!is_visible(c), "U+{:04X}", c as u32);
        }
        for c in ['a', ' ', 'é', '\u{301}', '醸', 'ж', '→', '🍺', '\u{a0}'] {
            assert!(is_visible(c), "U+{:04X}", c as u32);
        }
        assert!(is_prose('\u{200d}') && is_prose('\u{fe0f}') && !is_prose('\u{200b}'));
    }
}
