//! How a text may look on a terminal.

use anstyle::Style;

/// Whether and how to colour.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct TextStyle {
    /// Whether to colour at all.
    pub colour: bool,
    /// Columns of the terminal.
    pub columns: usize,
}

impl TextStyle {
    /// As a program or a page takes it: without colour.
    pub(crate) const PLAIN: Self = Self {
        colour: false,
        columns: 80,
    };

    /// A text in a style, if colour is wanted.
    pub fn styled(self, style: Style, text: &str) -> String {
        if self.colour {
            format!("{}{text}{}", style.render(), style.render_reset())
        } else {
            text.to_owned()
        }
    }

    /// A text that stands out.
    pub fn strong(self, text: &str) -> String {
        self.styled(Style::new().bold(), text)
    }

    /// A text that stands back.
    pub fn faint(self, text: &str) -> String {
        self.styled(Style::new().dimmed(), text)
    }
}
