//! Places to write to, and runs that are stopped while they write.

use std::fs::{self, File};
use std::io::Read;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, SystemTime};

use boundwalk::cli::write::{Reason, replace};
use boundwalk::diagnostic::FileId;
use boundwalk::load::EditedFile;

use crate::random::Random;
use crate::run::{DEMO, ended, program, site, starter};

fn report(to: &Path, file: &Path) -> (i32, String) {
    let to = to.to_str().expect("UTF-8");
    let file = file.to_str().expect("UTF-8");
    let ran = ended(program().args(["report", file, "--fail-on", "never", "-o", to]));
    (ran.code, ran.err)
}

fn is_page(path: &Path) -> bool {
    fs::read_to_string(path)
        .is_ok_and(|text| text.starts_with("<!") && text.trim_end().ends_with("</html>"))
}

#[test]
fn a_page_is_written_over_whatever_file_and_through_links() {
    let (folder, file) = site(starter());
    let path = |name: &str| folder.path().join(name);
    fs::write(path("binary"), b"\xff\xfe\x00").expect("a file");
    assert_eq!(report(&path("binary"), &file), (0, String::new()));
    assert!(is_page(&path("binary")));
    symlink("later.html", path("dangling")).expect("a link");
    assert_eq!(report(&path("dangling"), &file), (0, String::new()));
    assert!(is_page(&path("later.html")) && fs::read_link(path("dangling")).is_ok());
    assert_eq!(report(&path("dangling"), &file), (0, String::new()));
    assert!(fs::read_link(path("dangling")).is_ok(), "the link stays");
    symlink("round", path("round")).expect("a link");
    assert_eq!(report(&path("round"), &file).0, 2);
    assert_eq!(report(&path("no/such/folder.html"), &file).0, 2);
    assert_eq!(report(Path::new("/dev/full"), &file).0, 2);
    assert_eq!(report(Path::new("/dev/null"), &file).0, 0);
    assert_eq!(left(folder.path()), Vec::<PathBuf>::new());
}

#[test]
fn a_pipe_is_written_to_and_stays_a_pipe() {
    let (folder, file) = site(starter());
    for words in [vec!["report", "-o"], vec!["review", "--write-baseline"]] {
        let pipe = folder.path().join(words[0]);
        assert!(
            Command::new("mkfifo")
                .arg(&pipe)
                .status()
                .expect("mkfifo")
                .success()
        );
        let mut child = program()
            .args([
                words[0],
                file.to_str().expect("UTF-8"),
                "--fail-on",
                "never",
                words[1],
            ])
            .arg(&pipe)
            .stdout(Stdio::null())
            .spawn()
            .expect("it starts");
        let mut text = String::new();
        File::open(&pipe)
            .expect("a pipe")
            .read_to_string(&mut text)
            .expect("text");
        assert!(child.wait().expect("a child").success());
        assert!(text.len() > 50, "{words:?}: {text}");
        assert!(!fs::metadata(&pipe).expect("a pipe").is_file());
    }
}

#[test]
#[expect(
    clippy::print_stderr,
    reason = "whoever runs the tests must see what was not tested"
)]
fn extended_attributes_stay() {
    use rustix::fs::{XattrFlags, getxattr, setxattr};
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).expect("a folder");
    let file = folder.path().join("page.html");
    fs::write(&file, "old").expect("a file");
    let set = setxattr(&file, "user.kept", b"by whom", XattrFlags::empty());
    if let Err(error) = set {
        // A file system without them can't be installed like a program, so this is skipped even where nothing else is.
        eprintln!("SKIPPED what extended attributes would show: {error}");
        return;
    }
    let (_folder, site) = site(starter());
    assert_eq!(report(&file, &site), (0, String::new()));
    assert!(is_page(&file));
    let mut value = [0; 32];
    let length = getxattr(&file, "user.kept", &mut value[..]).expect("it is there");
    assert_eq!(&value[..length], b"by whom");
}

/// Unfinished files in a folder.
fn left(folder: &Path) -> Vec<PathBuf> {
    let mut left: Vec<PathBuf> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| {
            path.file_name()
                .is_some_and(|name| name.to_string_lossy().starts_with(".boundwalk-"))
        })
        .collect();
    left.sort();
    left
}

#[test]
fn what_a_killed_run_left_is_removed_and_nothing_else() {
    let (folder, file) = site(starter());
    let made = |name: &str, age: u64| {
        let path = folder.path().join(name);
        let made = File::create(&path).expect("a file");
        made.set_modified(SystemTime::now() - Duration::from_secs(age))
            .expect("a time");
        (path, made)
    };
    let (gone, _) = made(".boundwalk-a1b2c3.new", 60);
    let (at_work, held) = made(".boundwalk-d4e5f6.new", 60);
    held.lock().expect("a lock");
    let (young, _) = made(".boundwalk-0a0b0c.new", 0);
    let (other, _) = made(".boundwalk-notes", 60);
    assert_eq!(report(&folder.path().join("page.html"), &file).0, 0);
    assert!(!gone.exists());
    assert!(at_work.exists() && young.exists() && other.exists());
}

/// A copy of the demo with a rule that goes, and the text after it went.
fn cleaned() -> (tempfile::TempDir, PathBuf, String, String) {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(DEMO)
        .join("site.toml");
    let before = fs::read_to_string(demo).expect("the demo");
    let (folder, file) = site(&before);
    let ran = clean(&file).output().expect("it starts");
    assert!(ran.status.code().is_some(), "{ran:?}");
    let after = fs::read_to_string(&file).expect("a file");
    assert_ne!(before, after, "the demo has a rule that goes");
    (folder, file, before, after)
}

fn clean(file: &Path) -> Command {
    let mut command = program();
    command.args([
        "rules",
        file.to_str().expect("UTF-8"),
        "--clean",
        "--write",
        "--today",
        "2026-11-25",
    ]);
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command
}

#[test]
fn a_run_that_is_stopped_leaves_the_old_text_or_the_new_one() {
    let (folder, file, before, after) = cleaned();
    let mut random = Random::new(0x51a9);
    let mut changed = 0;
    for round in 0..40 {
        fs::write(&file, &before).expect("a file");
        let mut child = clean(&file).spawn().expect("it starts");
        std::thread::sleep(Duration::from_micros(random.below(400_000) as u64));
        let signal = if round % 2 == 0 { "-TERM" } else { "-KILL" };
        let _ = Command::new("sh")
            .args(["-c", &format!("kill {signal} {}", child.id())])
            .stderr(Stdio::null())
            .status();
        child.wait().expect("a child");
        let now = fs::read_to_string(&file).expect("a file");
        assert!(now == before || now == after, "round {round}: {now}");
        changed += usize::from(now == after);
        if signal == "-TERM" {
            assert_eq!(left(folder.path()), Vec::<PathBuf>::new(), "round {round}");
        }
        for path in left(folder.path()) {
            fs::remove_file(path).expect("what a kill left");
        }
    }
    assert!(changed < 40, "no run was stopped in time");
}

#[test]
fn of_two_writers_one_wins_whole_and_the_other_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let name = folder.path().join("site.toml").display().to_string();
    let before = "old\n".repeat(50_000);
    for round in 0..60 {
        fs::write(&name, &before).expect("a file");
        let texts = ["one\n".repeat(50_000), "two\n".repeat(60_000)];
        let results: Vec<_> = std::thread::scope(|scope| {
            let runs: Vec<_> = texts
                .iter()
                .map(|after| {
                    let edit = EditedFile {
                        file: FileId(0),
                        name: name.clone(),
                        before: before.clone(),
                        after: after.clone(),
                    };
                    scope.spawn(move || replace(&[edit]))
                })
                .collect();
            runs.into_iter()
                .map(|run| run.join().expect("no panic"))
                .collect()
        });
        let won: Vec<usize> = (0..2).filter(|&at| results[at].is_ok()).collect();
        let now = fs::read_to_string(&name).expect("a file");
        assert_eq!(won.len(), 1, "round {round}: {results:?}");
        assert!(now == texts[won[0]], "round {round}");
        let lost = results[1 - won[0]].as_ref().expect_err("it lost");
        assert!(
            matches!(lost.reason, Reason::Changed | Reason::Busy),
            "{lost}"
        );
    }
    assert_eq!(left(folder.path()), Vec::<PathBuf>::new());
}
