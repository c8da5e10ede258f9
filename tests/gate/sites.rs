//! Sites with findings, and findings accepted in them.

use std::fs;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

use crate::run::{Ran, about, site, starter};

/// The starter with a rule whose name is given, open too wide.
pub fn with_wide_rule(name: &str) -> String {
    format!("{}\n{}", starter(), wide_rule(name))
}

/// A rule that permits every service, as text. The name goes into a TOML string as it is.
pub fn wide_rule(name: &str) -> String {
    format!(
        "[[gateways.edge.rules]]\nname = \"{name}\"\nfrom = \"office\"\nto = \"guests\"\n\
         services = \"any\"\naction = \"permit\"\nlog = true\n"
    )
}

/// The same the other way round.
pub fn wide_rule_back(name: &str) -> String {
    let (from, to) = (
        "from = \"office\"\nto = \"guests\"",
        "from = \"guests\"\nto = \"office\"",
    );
    wide_rule(name).replace(from, to)
}

/// An entry that accepts a finding until a day.
pub fn accepted(check: &str, subject: &str, until: &str) -> String {
    format!(
        "\n[[accepted]]\ncheck = \"{check}\"\nsubject = '{subject}'\n\
         reason = \"the <old> scanner needs it\"\nowner = \"IT & network\"\nuntil = {until}\n"
    )
}

/// A folder with a site and the baseline of another text of it.
pub struct Folder {
    /// Goes away with it.
    pub folder: TempDir,
    /// The site.
    pub file: PathBuf,
}

impl Folder {
    pub fn new(text: &str) -> Self {
        let (folder, file) = site(text);
        Self { folder, file }
    }

    /// The site with another text.
    pub fn rewrite(&self, text: &str) {
        fs::write(&self.file, text).expect("a site file");
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn review(&self, rest: &str) -> Ran {
        about(&self.file, "review", rest)
    }

    /// Writes the findings of the site as it is into a baseline, and tells how to name it on a command line.
    pub fn baseline(&self) -> String {
        let path = self.path("known.json");
        let ran = self.review(&format!("--write-baseline {}", shown(&path)));
        assert_eq!(ran.code, 0, "{ran:?}");
        format!("--baseline {}", shown(&path))
    }
}

/// A path as a word of a command line.
pub fn shown(path: &Path) -> &str {
    path.to_str().expect("a path in UTF-8")
}
