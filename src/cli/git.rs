//! What git keeps, read without letting anything of the repository run.
//!
//! A repository is somebody else's text: its settings name programs, its objects may be missing on purpose so that git
//! fetches them by a transport of its choice, and a folder that was cloned may hold a git directory as ordinary files.
//! Only plumbing that names objects is asked, no transport is allowed, nothing is fetched, no replacement is followed, and
//! the environment of a hook is left behind.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use super::signals::before_ending;

/// Longest wait for an answer. A file of the repository that is a pipe would never give one.
const LONGEST: Duration = Duration::from_secs(10);

/// What to do where an object is missing.
const FETCH: &str =
    "a partial clone holds only some objects: fetch it first, as with `git fetch --refetch`";

/// The git that runs, 0 for none.
static RUNNING: AtomicU32 = AtomicU32::new(0);

/// Something that a tree names.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Entry {
    /// What it is.
    pub kind: EntryKind,
    /// Its object.
    pub object: String,
    /// Bytes, of a file or of the target of a link.
    pub size: u64,
    /// Its name in its folder.
    pub name: String,
}

/// What an entry of a tree is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum EntryKind {
    File,
    Link,
    /// A folder or a submodule.
    Folder,
}

/// Variables that say where the user keeps settings; every other one of git's is left behind.
const KEPT: [&str; 5] = [
    "GIT_CONFIG_GLOBAL",
    "GIT_CONFIG_SYSTEM",
    "GIT_CONFIG_NOSYSTEM",
    "GIT_CEILING_DIRECTORIES",
    "GIT_DISCOVERY_ACROSS_FILESYSTEM",
];

/// The repository around a folder.
pub(super) struct Git<'p> {
    folder: &'p Path,
}

impl<'p> Git<'p> {
    /// The one that holds this folder of the work tree.
    pub fn around(folder: &'p Path) -> Self {
        Self { folder }
    }

    /// The commit that a revision means.
    ///
    /// # Errors
    /// What git says; empty where it knows no such revision.
    pub fn commit(&self, revision: &str) -> Result<String, String> {
        let object = format!("{revision}^{{commit}}");
        let asked = ["rev-parse", "--verify", "--quiet", "--end-of-options"];
        let said = self.text(&[&asked[..], &[&object]].concat())?;
        Ok(said.trim().to_owned())
    }

    /// What a commit has directly in the folder.
    ///
    /// # Errors
    /// What git says, or that its answer can't be read.
    pub fn entries(&self, commit: &str) -> Result<Vec<Entry>, String> {
        let list = self.text(&["ls-tree", "-l", "-z", "--end-of-options", commit, "./"])?;
        list.split('\0')
            .filter(|line| !line.is_empty())
            .map(|line| entry(line).ok_or_else(|| format!("git lists `{line}`")))
            .collect()
    }

    /// The bytes of entries, as they were stored: no filter, no conversion. All are asked of one process.
    ///
    /// # Errors
    /// What git says, that an object is not here, or that there are more than `most` bytes together.
    pub fn objects(&self, entries: &[&Entry], most: u64) -> Result<Vec<Vec<u8>>, String> {
        let sizes = entries.iter().map(|entry| entry.size);
        if sizes.fold(0, u64::saturating_add) > most {
            let names: Vec<&str> = entries.iter().map(|entry| entry.name.as_str()).collect();
            return Err(match names[..] {
                [name] => format!("{name} has more than {most} bytes"),
                _ => format!("the files have more than {most} bytes together"),
            });
        }
        let asked: String = entries
            .iter()
            .map(|entry| format!("{}\n", entry.object))
            .collect();
        let answer = self.ask(&["cat-file", "--batch"], asked.into_bytes())?;
        let mut rest = &answer[..];
        let mut texts = Vec::new();
        for entry in entries {
            let (text, after) = batched(rest, entry.size)
                .ok_or_else(|| format!("{} is not in this repository; {FETCH}", entry.name))?;
            texts.push(text.to_vec());
            rest = after;
        }
        Ok(texts)
    }

    fn text(&self, arguments: &[&str]) -> Result<String, String> {
        let bytes = self.bytes(arguments)?;
        String::from_utf8(bytes).map_err(|_| "git prints something that is not UTF-8".to_owned())
    }

    fn bytes(&self, arguments: &[&str]) -> Result<Vec<u8>, String> {
        self.ask(arguments, Vec::new())
    }

    /// Runs git and waits for it, as long as [`LONGEST`] at most; it ends with this program.
    fn ask(&self, arguments: &[&str], input: Vec<u8>) -> Result<Vec<u8>, String> {
        let git = program().ok_or(
            "git is in no folder that PATH names by a whole path; install it, or name two versions",
        )?;
        let mut child = self
            .command(&git, arguments)
            .spawn()
            .map_err(|error| format!("can't run {}: {error}", git.display()))?;
        RUNNING.store(child.id(), Ordering::SeqCst);
        before_ending(stop_running).map_err(|error| error.to_string())?;
        let (sends, ended) = mpsc::channel();
        if let Some(mut to) = child.stdin.take() {
            // A git that fails reads no more; what it says is the reason then.
            thread::spawn(move || drop(to.write_all(&input)));
        }
        let out = child.stdout.take().map(|from| read(from, sends.clone()));
        let err = child.stderr.take().map(|from| read(from, sends));
        // Both streams end when git does.
        let both = (0..2).all(|_| ended.recv_timeout(LONGEST).is_ok());
        if !both {
            let _ = child.kill();
        }
        let status = child.wait();
        RUNNING.store(0, Ordering::SeqCst);
        if !both {
            return Err(format!(
                "git gave no answer within {} seconds",
                LONGEST.as_secs()
            ));
        }
        let text = |reader: Option<thread::JoinHandle<Vec<u8>>>| {
            reader
                .and_then(|reader| reader.join().ok())
                .unwrap_or_default()
        };
        let (out, err) = (text(out), text(err));
        if status.is_ok_and(|status| status.success()) {
            Ok(out)
        } else {
            Err(said(&String::from_utf8_lossy(&err)))
        }
    }

    fn command(&self, git: &Path, arguments: &[&str]) -> Command {
        let mut command = Command::new(git);
        for (name, _) in std::env::vars_os() {
            let name = name.to_string_lossy().into_owned();
            if name.starts_with("GIT_") && !KEPT.contains(&name.as_str()) {
                command.env_remove(&name);
            }
        }
        command
            // No transport is allowed, and nothing that is missing is fetched (git 2.45 and later ask for less).
            .env("GIT_ALLOW_PROTOCOL", "")
            .env("GIT_NO_LAZY_FETCH", "1")
            .env("GIT_NO_REPLACE_OBJECTS", "1")
            // Nothing is written, not even an index that could be refreshed, and nobody is asked.
            .env("GIT_OPTIONAL_LOCKS", "0")
            .env("GIT_TERMINAL_PROMPT", "0")
            .env("LC_ALL", "C");
        for setting in [
            "safe.bareRepository=explicit",
            "protocol.allow=never",
            "core.fsmonitor=false",
            "core.hooksPath=/dev/null",
            "core.attributesFile=/dev/null",
        ] {
            command.args(["-c", setting]);
        }
        command
            .arg("--no-pager")
            .arg("-C")
            .arg(self.folder)
            .args(arguments);
        command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }
}

/// Git, in a folder that PATH names by a whole path: `.` would be a folder of the repository that is read.
fn program() -> Option<PathBuf> {
    let name = format!("git{}", std::env::consts::EXE_SUFFIX);
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path)
        .filter(|folder| folder.is_absolute())
        .map(|folder| folder.join(&name))
        .find(|git| git.is_file())
}

/// Stops a git that still runs; called when a signal ends this program.
fn stop_running() {
    let running = RUNNING.load(Ordering::SeqCst);
    #[cfg(unix)]
    if let Some(process) = i32::try_from(running)
        .ok()
        .and_then(rustix::process::Pid::from_raw)
    {
        let _ = rustix::process::kill_process(process, rustix::process::Signal::KILL);
    }
    #[cfg(not(unix))]
    let _ = running;
}

fn read(
    mut from: impl Read + Send + 'static,
    ended: mpsc::Sender<()>,
) -> thread::JoinHandle<Vec<u8>> {
    thread::spawn(move || {
        let mut bytes = Vec::new();
        let _ = from.read_to_end(&mut bytes);
        let _ = ended.send(());
        bytes
    })
}

/// What git says, as one sentence with what to do.
fn said(stderr: &str) -> String {
    let grave = |line: &&str| {
        ["fatal:", "error:"]
            .iter()
            .any(|word| line.starts_with(word))
    };
    let lines = || stderr.trim().lines();
    let Some(line) = lines().find(grave).or_else(|| lines().next()) else {
        return String::new();
    };
    let fetch = format!("; {FETCH}");
    let advice = if line.contains("dubious ownership") {
        "; if you trust whoever owns it: git config --global --add safe.directory FOLDER"
    } else if line.contains("safe.bareRepository") {
        "; it lies among ordinary files: name a site in the work tree that you cloned"
    } else if line.contains("bad file") || line.contains("missing") {
        &fetch
    } else {
        ""
    };
    format!("git: {line}{advice}")
}

/// The first object of an answer of `cat-file --batch`, and what follows it: `OBJECT blob SIZE`, the bytes, a line break.
fn batched(answer: &[u8], size: u64) -> Option<(&[u8], &[u8])> {
    let end = answer.iter().position(|&byte| byte == b'\n')?;
    let heading = str::from_utf8(&answer[..end]).ok()?;
    let size = usize::try_from(size).ok()?;
    let fits = heading.ends_with(&format!(" blob {size}"));
    let bytes = answer.get(end + 1..end + 1 + size).filter(|_| fits)?;
    Some((bytes, answer.get(end + 2 + size..)?))
}

/// `MODE TYPE OBJECT SIZE<tab>PATH`.
fn entry(line: &str) -> Option<Entry> {
    let (facts, path) = line.split_once('\t')?;
    let mut facts = facts.split_whitespace();
    let (mode, _) = (facts.next()?, facts.next()?);
    let object = facts.next()?.to_owned();
    let size = facts.next()?.parse().unwrap_or(0);
    let kind = match mode {
        "120000" => EntryKind::Link,
        "100644" | "100755" | "100664" => EntryKind::File,
        _ => EntryKind::Folder,
    };
    Some(Entry {
        kind,
        object,
        size,
        name: path.rsplit('/').next().unwrap_or(path).to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_of_a_tree_are_read() {
        let file = entry("100644 blob 0123 \u{20}  42\tsites/a b.toml").expect("an entry");
        assert_eq!((file.kind, file.size), (EntryKind::File, 42));
        assert_eq!(file.name, "a b.toml");
        let folder = entry("040000 tree 0123       -\tsites").expect("an entry");
        assert_eq!(folder.kind, EntryKind::Folder);
        assert_eq!(entry("100644 blob"), None);
    }
}
