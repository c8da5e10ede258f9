//! A page that needs nothing but itself: its head with a content policy, escaped texts, links to lines.

use std::collections::BTreeSet;
use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

use boundwalk_diagnostic::{Sources, Span};

use super::super::svg::{picture_style, xml};

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// Lines of the file that the page may show in full; beyond, only those that it speaks of.
const WHOLE_FILES: usize = 4_000;
/// Lines around each that the page speaks of.
const AROUND: u32 = 3;
/// Places with so many lines around each; around more, one.
const MOST_PLACES: usize = 2_000;

/// The body of a page, as far as it is written.
#[derive(Debug)]
pub(super) struct Html<'a> {
    pub(super) out: String,
    sources: &'a Sources,
    /// Lines that were linked to: file, then line.
    lines: BTreeSet<(u32, u32)>,
    sections: Vec<(&'static str, &'static str)>,
}

impl<'a> Html<'a> {
    pub(super) fn new(sources: &'a Sources) -> Self {
        Self {
            out: String::new(),
            sources,
            lines: BTreeSet::new(),
            sections: Vec::new(),
        }
    }

    /// Markup as it is: never with a text from a site in it.
    pub(super) fn raw(&mut self, markup: &str) {
        self.out.push_str(markup);
    }

    /// A text, escaped.
    pub(super) fn text(&mut self, text: &str) {
        self.out.push_str(&xml(text));
    }

    /// An element with a text in it.
    pub(super) fn tag(&mut self, name: &str, text: &str) {
        let _ = write!(self.out, "<{name}>{}</{name}>", xml(text));
    }

    /// An element of a class with a text in it.
    pub(super) fn classed(&mut self, name: &str, class: &str, text: &str) {
        let _ = write!(self.out, "<{name} class=\"{class}\">{}</{name}>", xml(text));
    }

    /// Begins a section; it is listed at the top of the page.
    pub(super) fn section(&mut self, id: &'static str, title: &'static str) {
        if !self.sections.is_empty() {
            self.raw("</section>\n");
        }
        self.sections.push((id, title));
        let _ = writeln!(
            self.out,
            "<section id=\"{id}\" aria-labelledby=\"{id}-h\"><h2 id=\"{id}-h\">{title}</h2>"
        );
    }

    /// Begins what is folded up, because there is so much of it that it would slow the page down.
    pub(super) fn bulk(&mut self, title: &str) {
        self.raw("<details class=\"bulk\"><summary>");
        self.text(title);
        self.raw("</summary><div>\n");
    }

    /// Ends it.
    pub(super) fn end_bulk(&mut self) {
        self.raw("</div></details>\n");
    }

    /// A place in the file, as a link to the line further below.
    pub(super) fn place(&mut self, span: Span) {
        let line = self.sources.line(span);
        if line == 0 {
            return;
        }
        self.lines.insert((span.file.0, line));
        let name = self.sources.get(span.file).map_or("", |file| file.name());
        let _ = write!(
            self.out,
            "<a href=\"#L{}-{line}\">{}:{line}</a>",
            span.file.0,
            xml(name)
        );
    }

    /// A picture that may be wider than the page.
    pub(super) fn picture(&mut self, label: &str, svg: &str) {
        let _ = writeln!(
            self.out,
            "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{}\">{svg}</div>",
            xml(label)
        );
    }

    /// A table with a heading; cells are texts.
    pub(super) fn table(&mut self, label: &str, heading: &[&str], rows: &[Vec<String>]) {
        let _ = writeln!(
            self.out,
            "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{}\"><table class=\"list\"><thead><tr>",
            xml(label)
        );
        for title in heading {
            let _ = write!(self.out, "<th scope=\"col\">{}</th>", xml(title));
        }
        self.raw("</tr></thead><tbody>");
        for row in rows {
            self.raw("<tr>");
            for cell in row {
                self.tag("td", cell);
            }
            self.raw("</tr>\n");
        }
        self.raw("</tbody></table></div>\n");
    }

    /// A line of a list of facts.
    pub(super) fn fact(&mut self, label: &str, text: &str) {
        let _ = write!(self.out, "<dt>{}</dt><dd>{}</dd>", xml(label), xml(text));
    }

    /// A list of texts.
    pub(super) fn list(&mut self, items: &[String]) {
        self.raw("<ul>");
        for item in items {
            self.tag("li", item);
        }
        self.raw("</ul>\n");
    }

    /// Lines of the file that the page speaks of, numbered; the whole file where it is short.
    pub(super) fn excerpts(&mut self) {
        let total: usize = self
            .sources
            .files()
            .iter()
            .map(|file| file.text().lines().count())
            .sum();
        let lines = std::mem::take(&mut self.lines);
        let few = lines.len() <= MOST_PLACES;
        let around = if few { AROUND } else { 1 };
        for (number, file) in self.sources.files().iter().enumerate() {
            let near = |line: u32| {
                let from = (number as u32, line.saturating_sub(around));
                let to = (number as u32, line + around);
                total <= WHOLE_FILES || lines.range(from..=to).next().is_some()
            };
            if few {
                self.classed("h3", "mono", file.name());
            } else {
                self.bulk(file.name());
            }
            self.numbered((number, few), file.text(), near);
            if !few {
                self.end_bulk();
            }
        }
    }

    /// Lines of a file with their numbers; `...` where some are left out. Where there are many, numbers are text like
    /// the rest: half as many elements for a browser to make.
    fn numbered(&mut self, (file, few): (usize, bool), text: &str, wanted: impl Fn(u32) -> bool) {
        self.raw("<pre class=\"source\" tabindex=\"0\">");
        let mut shown_before = true;
        for (at, text) in text.lines().enumerate() {
            let line = at as u32 + 1;
            let shown = wanted(line);
            if shown {
                let text = source_line(text);
                let _ = if few {
                    write!(
                        self.out,
                        "<span id=\"L{file}-{line}\"><b>{line}</b>{text}</span>"
                    )
                } else {
                    write!(
                        self.out,
                        "<span id=\"L{file}-{line}\">{line:>7}  {text}</span>"
                    )
                };
            } else if shown_before {
                self.raw(if few {
                    "<span><b>...</b></span>"
                } else {
                    "    ...\n"
                });
            }
            shown_before = shown;
        }
        self.raw("</pre>\n");
    }

    /// The whole page.
    pub(super) fn finish(mut self, title: &str, head: &str, footer: &str) -> String {
        if !self.sections.is_empty() {
            self.raw("</section>\n");
        }
        let mut nav = String::new();
        for (id, title) in &self.sections {
            let _ = write!(nav, "<li><a href=\"#{id}\">{title}</a></li>");
        }
        let style = format!("{STYLE}{}", picture_style());
        let hash = |text: &str| STANDARD.encode(Sha256::digest(text.as_bytes()));
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'sha256-{}'; \
             script-src 'sha256-{}'; base-uri 'none'; form-action 'none'\">\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
             <meta name=\"referrer\" content=\"no-referrer\"><meta name=\"color-scheme\" content=\"light dark\">\
             <link rel=\"icon\" href=\"data:,\">\
             <title>{}</title><style>{style}</style></head>\n<body><a class=\"skip\" href=\"#summary\">Skip to the \
             summary</a><header>{head}</header>\n<nav aria-label=\"Sections\"><ul>{nav}</ul></nav>\n<main>\n{}</main>\n\
             <footer>{footer}</footer>\n<dialog id=\"cell\" aria-label=\"One cell of the matrix\"><form \
             method=\"dialog\"><button>Close</button></form><div></div></dialog>\n<script>{SCRIPT}</script></body></html>\n",
            hash(&style),
            hash(SCRIPT),
            xml(title),
            self.out
        )
    }
}

/// A line as it stands in the file; only tabs are no control characters there.
fn source_line(text: &str) -> String {
    let parts: Vec<String> = text.split('\t').map(xml).collect();
    parts.join("\t")
}
