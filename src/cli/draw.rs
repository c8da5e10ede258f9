//! `boundwalk draw`.

use std::io;

use clap::{Args, ValueEnum};

use crate::analysis::{Cabling, Outline};
use crate::render::{Pen, outline_text, panels_text};

use super::site::{SiteArguments, open};
use super::{Output, Verdict};

/// Draw the site: the outside, gateways, switches with their segments and hosts, and the front panel of each
/// switch.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Arguments {
    #[command(flatten)]
    site: SiteArguments,
    /// What to draw.
    #[arg(long, value_name = "WHAT", default_value = "all")]
    what: What,
    /// Draw with ASCII characters only; done by itself where the locale is not UTF-8.
    #[arg(long)]
    ascii: bool,
    /// Form of the output.
    #[arg(long, value_name = "FORMAT", default_value = "text")]
    format: Format,
}

const EXAMPLES: &str = "Examples:\n  boundwalk draw site.toml\n  \
    boundwalk draw site.toml --what panels\n  \
    COLUMNS=120 boundwalk draw site.toml --ascii > site.txt\n\
    Exit code 0, or 2: could not run.";

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum What {
    /// What hangs on what.
    Site,
    /// The front panel of each switch.
    Panels,
    /// Both.
    All,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum Format {
    /// For a terminal, or paper.
    Text,
}

pub(super) fn run(arguments: &Arguments, output: &mut Output) -> io::Result<Verdict> {
    let Some(opened) = open(&arguments.site, false, true, output)? else {
        return Ok(Verdict::Failed);
    };
    let site = &opened.site;
    if arguments.what == What::Panels && site.switches.is_empty() {
        return output.failed("this site describes no switch, so there is no panel to draw");
    }
    let pen = Pen {
        ascii: arguments.ascii || !utf8_locale(|name| std::env::var(name).ok()),
        paint: output.paint(),
    };
    let cabling = Cabling::new(site);
    let mut parts = Vec::new();
    if arguments.what != What::Panels {
        parts.push(outline_text(site, &Outline::new(site, &cabling), pen));
    }
    if arguments.what != What::Site && !site.switches.is_empty() {
        parts.push(panels_text(site, &cabling, pen));
    }
    match arguments.format {
        Format::Text => output.print(&parts.join("\n"))?,
    }
    Ok(Verdict::Clean)
}

/// Whether the locale says UTF-8: the first of the variables that is set decides (POSIX, chapter 8.2). Windows
/// has none of them, and a console that shows Unicode.
fn utf8_locale(variable: impl Fn(&str) -> Option<String>) -> bool {
    let set = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter();
    let mut set = set.filter_map(variable).filter(|value| !value.is_empty());
    match set.next() {
        Some(locale) => {
            let locale = locale.to_lowercase();
            locale.contains("utf-8") || locale.contains("utf8")
        }
        None => cfg!(windows),
    }
}

#[cfg(test)]
mod tests {
    use super::utf8_locale;

    fn decides(set: &[(&str, &str)]) -> bool {
        utf8_locale(|name| {
            let mut known = set.iter();
            let found = known.find(|(known, _)| *known == name);
            found.map(|(_, value)| (*value).to_owned())
        })
    }

    /// POSIX, chapter 8.2: LC_ALL before LC_CTYPE before LANG, empty values as if not set.
    #[test]
    fn the_locale_decides_about_line_characters() {
        assert!(decides(&[("LANG", "de_DE.UTF-8")]));
        assert!(decides(&[("LC_ALL", ""), ("LANG", "C.utf8")]));
        assert!(!decides(&[("LC_ALL", "C"), ("LANG", "de_DE.UTF-8")]));
        assert!(!decides(&[("LANG", "de_DE.ISO-8859-1")]));
    }
}
