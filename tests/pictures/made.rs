//! Pictures as the program writes them, and the sites that they show.

use std::fs;
use std::path::{Path, PathBuf};

use boundwalk::cli::{self, Verdict};
use tempfile::TempDir;

/// A site in a folder of its own.
pub struct Made {
    folder: TempDir,
    pub site: PathBuf,
}

pub fn made(text: &str) -> Made {
    let folder = tempfile::tempdir().expect("a folder");
    let site = folder.path().join("site.toml");
    fs::write(&site, text).expect("a site file");
    Made { folder, site }
}

/// The demo in one text.
pub fn demo() -> String {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("policies/kettle-lane/site.toml");
    fs::read_to_string(file).expect("the demo")
}

/// The demo with one mistake: the ports of two cameras carry the management VLAN as well.
pub fn leaking() -> String {
    let old = "\"17-18\"  = { access = \"cameras\"";
    let new = "\"17-18\" = { untagged = \"cameras\", tagged = [\"management\"]";
    let text = demo();
    assert_eq!(text.matches(old).count(), 1, "the demo's camera ports");
    text.replace(old, new)
}

impl Made {
    /// What a command writes to the file that `-o` names.
    pub fn written(&self, command: &str) -> String {
        let out = self.folder.path().join("made");
        let mut words = command.split_whitespace();
        let mut line = vec!["boundwalk".into()];
        line.extend(words.next().map(Into::into));
        line.push(self.site.clone().into_os_string());
        line.extend(words.map(Into::into));
        line.extend(["-o".into(), out.clone().into_os_string()]);
        let verdict = cli::run(line);
        assert_ne!(verdict, Verdict::Failed, "{command}");
        fs::read_to_string(&out).expect("UTF-8")
    }
}
