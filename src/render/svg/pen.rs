//! What all pictures are drawn with: escaped text of known width, a palette for light and dark, a legend.
//!
//! Letters are monospaced, so that a text is known to fit its box before anything draws it. Colours were chosen
//! on the axis from blue to orange, which the common forms of colour blindness keep, and never tell anything
//! that a letter, a number or a dash does not tell as well.

use std::fmt::Write;

use super::super::text::{escape_control, width};

/// Height of a line of text, in pixels.
pub(super) const LINE: i32 = 16;
/// Room around what stands in a box, and around a picture.
pub(super) const PAD: i32 = 10;

/// What a picture's classes look like: selector, property, on light, on dark.
const PALETTE: &[(&str, &str, &str, &str)] = &[
    (".paper", "fill", "#fbfaf7", "#15191f"),
    (".ink", "fill", "#1c232c", "#e9edf2"),
    (".dim", "fill", "#515c69", "#a8b3bf"),
    (".card", "fill", "#ffffff", "#1f262e"),
    (".card", "stroke", "#7d8995", "#75818d"),
    (".head", "fill", "#e6ebef", "#2c353f"),
    (".outside", "fill", "#f1ece1", "#2e2a22"),
    (".outside", "stroke", "#8d836c", "#8d836c"),
    (".rule", "stroke", "#c4ccd3", "#3d4751"),
    (".wire", "stroke", "#4b5763", "#9aa6b2"),
    (".core", "stroke", "#fbfaf7", "#15191f"),
    (".hot", "stroke", "#b3530a", "#ffab5e"),
    (".hotfill", "fill", "#b3530a", "#ffab5e"),
    (".hottext", "fill", "#96430a", "#ffb878"),
    (".hotcard", "fill", "#fdf0e2", "#3a2b1b"),
    (".hotcard", "stroke", "#b3530a", "#ffab5e"),
    (".onhot", "fill", "#ffffff", "#15191f"),
    (".none", "fill", "#f4f3ef", "#20262d"),
    (".within", "fill", "#e2e3e3", "#2b323a"),
    (".some", "fill", "#cfe1f1", "#23435f"),
    (".whole", "fill", "#97bde0", "#2f628f"),
    (".every", "fill", "#234f80", "#b7d4f0"),
    (".onevery", "fill", "#ffffff", "#15191f"),
    (".grid", "stroke", "#ffffff", "#15191f"),
    (".up", "stroke", "#b3530a", "#ffab5e"),
    (".down", "stroke", "#2f6ea8", "#7fb6e6"),
];

/// What does not depend on light or dark.
const SHAPES: &str = ".t{font:12px ui-monospace,'DejaVu Sans Mono','Liberation Mono',monospace;white-space:pre}\
    .b{font-weight:bold}.wire,.hot,.up,.down{fill:none;stroke-width:1.5}.lag{stroke-width:5}\
    .core{fill:none;stroke-width:2}.hot{stroke-width:2.5}.hot.lag{stroke-width:6}.dash{stroke-dasharray:6 4}\
    .card,.hotcard,.outside{stroke-width:1}.hotcard{stroke-width:2}";

/// The rules for one picture that stands alone, or for a page that holds several.
pub fn picture_style() -> String {
    let one = |dark: bool| {
        let mut out = String::new();
        for (selector, property, light, night) in PALETTE {
            let colour = if dark { night } else { light };
            let _ = write!(out, "svg {selector}{{{property}:{colour}}}");
        }
        out
    };
    format!(
        "{SHAPES}{}@media screen and (prefers-color-scheme:dark){{{}}}",
        one(false),
        one(true)
    )
}

/// Pixels that a text takes.
pub(super) fn span(text: &str) -> i32 {
    (width(text) as i32 * 29 + 3) / 4
}

/// How many letters fit into so many pixels.
pub(super) fn letters(room: i32) -> usize {
    (room.max(0) * 4 / 29) as usize
}

/// A text with the characters of XML escaped. Those that XML 1.0 (section 2.2) has no place for are gone
/// already: `clean` shows them as `\u{..}`, but for two that are no control characters.
pub fn xml(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in escape_control(text).chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.extend(character.escape_unicode()),
            other => out.push(other),
        }
    }
    out
}

/// A text cut to so many pixels, with `…` where it was longer.
pub(super) fn cut(text: &str, room: i32) -> String {
    let text = escape_control(text);
    if span(&text) <= room {
        text
    } else {
        super::super::text::fit(&text, letters(room).max(1))
            .trim_end()
            .to_owned()
    }
}

/// A picture that is being drawn. Coordinates are pixels from the top left.
#[derive(Debug, Default)]
pub(super) struct Drawing {
    body: String,
    right: i32,
    bottom: i32,
}

/// What a legend shows before its text.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Sample {
    /// A filled box of a class, with a text in it.
    Fill(&'static str, &'static str),
    /// A line of a class.
    Line(&'static str),
}

impl Drawing {
    /// Makes room up to here.
    pub(super) fn reach(&mut self, x: i32, y: i32) {
        self.right = self.right.max(x);
        self.bottom = self.bottom.max(y);
    }

    /// The lowest and rightmost point so far.
    pub(super) fn extent(&self) -> (i32, i32) {
        (self.right, self.bottom)
    }

    /// A box.
    pub(super) fn rect(&mut self, class: &str, (x, y): (i32, i32), (w, h): (i32, i32), round: i32) {
        let _ = write!(
            self.body,
            "<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"{round}\"/>"
        );
        self.reach(x + w, y + h);
    }

    /// A text with its base line at `y`. Its characters are escaped here.
    pub(super) fn text(&mut self, class: &str, (x, y): (i32, i32), text: &str) {
        if text.is_empty() {
            return;
        }
        let _ = write!(
            self.body,
            "<text class=\"t {class}\" x=\"{x}\" y=\"{y}\">{}</text>",
            xml(text)
        );
        self.reach(x + span(&escape_control(text)), y + 4);
    }

    /// A text in the middle of a box.
    pub(super) fn centred(&mut self, class: &str, (x, y): (i32, i32), room: i32, text: &str) {
        let x = x + (room - span(&escape_control(text))).max(0) / 2;
        self.text(class, (x, y), text);
    }

    /// A line through points.
    pub(super) fn line(&mut self, class: &str, points: &[(i32, i32)]) {
        let mut path = String::new();
        for (number, &(x, y)) in points.iter().enumerate() {
            let letter = if number == 0 { 'M' } else { 'L' };
            let _ = write!(path, "{letter}{x} {y}");
            self.reach(x, y);
        }
        let _ = write!(self.body, "<path class=\"{class}\" d=\"{path}\"/>");
    }

    /// A dot.
    pub(super) fn dot(&mut self, class: &str, (x, y): (i32, i32), radius: i32) {
        let _ = write!(
            self.body,
            "<circle class=\"{class}\" cx=\"{x}\" cy=\"{y}\" r=\"{radius}\"/>"
        );
        self.reach(x + radius, y + radius);
    }

    /// Opens a group with a name that readers hear and pointers show.
    pub(super) fn open(&mut self, name: &str) {
        let _ = write!(self.body, "<g><title>{}</title>", xml(name));
    }

    /// Closes the group opened last.
    pub(super) fn close(&mut self) {
        self.body.push_str("</g>");
    }

    /// A legend below all else, in as many columns as the picture is wide.
    pub(super) fn legend(&mut self, lines: &[(Sample, &str)]) {
        let room = self.right.max(640) - 2 * PAD;
        let (mut x, mut y) = (PAD, self.bottom + 2 * LINE);
        self.text("dim b", (x, y), "Legend");
        y += LINE + 4;
        for (sample, text) in lines {
            let taken = 44 + span(text) + 24;
            if x > PAD && x + taken > room {
                x = PAD;
                y += LINE + 6;
            }
            match sample {
                Sample::Fill(class, letters) => {
                    self.rect(class, (x, y - 12), (34, 16), 2);
                    let on = match *class {
                        "every" => "onevery",
                        "hotfill" => "onhot",
                        _ => "ink",
                    };
                    self.centred(on, (x, y), 34, letters);
                }
                Sample::Line(class) => {
                    self.line(class, &[(x, y - 4), (x + 34, y - 4)]);
                    if class.contains("lag") {
                        self.line("core", &[(x, y - 4), (x + 34, y - 4)]);
                    }
                }
            }
            self.text("dim", (x + 44, y), text);
            x += taken;
        }
        self.reach(0, y + PAD);
    }

    /// The finished picture. Alone, it carries its own style.
    pub(super) fn finish(self, alone: bool, title: &str, description: &str) -> String {
        let (w, h) = (self.right + PAD, self.bottom + PAD);
        let style = if alone {
            format!("<style>{}</style>", picture_style())
        } else {
            String::new()
        };
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" \
             role=\"img\"><title>{}</title><desc>{}</desc>{style}\
             <rect class=\"paper\" width=\"{w}\" height=\"{h}\"/>{}</svg>\n",
            xml(title),
            xml(description),
            self.body
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_in_a_name_is_text() {
        assert_eq!(
            xml("<b a=\"1\">&'\u{1b}\u{202e}\u{ffff}"),
            "&lt;b a=&quot;1&quot;&gt;&amp;&#39;\\u{1b}\\u{202e}\\u{ffff}"
        );
    }

    #[test]
    fn a_cut_text_fits() {
        for text in [
            "",
            "abc",
            "a rather long name of a switch",
            "北京北京北京北京",
        ] {
            assert!(span(&cut(text, 60)) <= 60, "{text}");
        }
        assert_eq!(cut("abc", 60), "abc");
    }

    /// WCAG 2.2, success criterion 1.4.3: text and what is behind it differ by a ratio of at least 4.5.
    #[test]
    fn texts_stand_out_from_what_is_behind_them() {
        let colour = |class: &str, dark: bool| {
            let mut all = PALETTE.iter();
            let found = all.find(|(known, property, ..)| *known == class && *property == "fill");
            found.map(|(_, _, light, night)| luminance(if dark { night } else { light }))
        };
        let pairs = [
            (".ink", ".paper"),
            (".ink", ".card"),
            (".ink", ".head"),
            (".ink", ".outside"),
            (".ink", ".some"),
            (".ink", ".whole"),
            (".ink", ".none"),
            (".ink", ".within"),
            (".ink", ".hotcard"),
            (".dim", ".paper"),
            (".dim", ".card"),
            (".dim", ".head"),
            (".dim", ".none"),
            (".dim", ".outside"),
            (".dim", ".hotcard"),
            (".hottext", ".paper"),
            (".hottext", ".card"),
            (".hottext", ".hotcard"),
            (".onevery", ".every"),
            (".onhot", ".hotfill"),
        ];
        for dark in [false, true] {
            for (text, behind) in pairs {
                let (Some(one), Some(other)) = (colour(text, dark), colour(behind, dark)) else {
                    panic!("{text} and {behind} are in the palette");
                };
                let ratio = (one.max(other) + 0.05) / (one.min(other) + 0.05);
                assert!(ratio >= 4.5, "{text} on {behind}, dark {dark}: {ratio:.2}");
            }
        }
    }

    /// Relative luminance of `#rrggbb` (WCAG 2.2, definitions).
    fn luminance(hex: &str) -> f64 {
        let part = |at: usize| {
            let value = u8::from_str_radix(&hex[at..at + 2], 16).expect("a hexadecimal colour");
            let value = f64::from(value) / 255.0;
            if value <= 0.04045 {
                value / 12.92
            } else {
                ((value + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }
}
