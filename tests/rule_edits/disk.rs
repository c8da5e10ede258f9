//! Edited files on a disk, and as patches that other programs apply.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use boundwalk::cli::write::{Reason, replace};
use boundwalk::diagnostic::FileId;
use boundwalk::load::EditedFile;
use boundwalk::render::{TextStyle, patch_text};

use crate::demo::demo;
use crate::skipped::skip;
use crate::support::{HEAD, edited};

const PLAIN: TextStyle = TextStyle {
    colour: false,
    columns: 80,
};

fn file(path: &Path, before: &str, after: &str) -> EditedFile {
    EditedFile {
        file: FileId(0),
        name: path.display().to_string(),
        before: before.to_owned(),
        after: after.to_owned(),
    }
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

/// The names in a folder: nothing temporary may be left.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder");
    let mut names: Vec<String> = entries
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

/// Applies a patch with another program; false where that program is missing.
fn apply(folder: &Path, patch: &str, program: &[&str]) -> bool {
    let mut command = Command::new(program[0]);
    command
        .args(&program[1..])
        .current_dir(folder)
        .stdin(Stdio::null());
    fs::write(folder.join("the.patch"), patch).expect("a patch");
    let output = match command.output() {
        Ok(output) => output,
        Err(error) => {
            skip(program[0], &error);
            return false;
        }
    };
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program:?}: {said}\n{patch}");
    true
}

/// Pairs of texts of all kinds: many changes, CR LF, a byte order mark, no last line break, nothing left.
fn pairs() -> Vec<(String, String)> {
    let edits = [
        "remove unique local sources stay inside",
        "remove addresses by DHCP",
        "guests on the web: services = dns, web",
        "gateway administration: source = 10.44.10.0/24, fd44:0:0:10::/64",
    ];
    let demo = edited(&demo(), &edits)
        .expect("sound edits")
        .expect("a change");
    let rule = "[[gateways.edge.rules]]\nname = \"a\"\naction = \"deny\"";
    let windows = format!("\u{feff}{HEAD}\n{rule}\n\n# The end.\n").replace('\n', "\r\n");
    let open = format!("{HEAD}\n{rule}");
    let mut pairs = vec![(demo.before, demo.after)];
    for before in [windows, open] {
        let after = edited(&before, &["remove a"])
            .expect("a sound edit")
            .expect("a change");
        pairs.push((before, after.after));
    }
    pairs.push(("1\n2".to_owned(), "1\n3".to_owned()));
    pairs.push(("1\n2".to_owned(), "1\n2\n".to_owned()));
    pairs
}

#[test]
fn other_programs_apply_the_patch() {
    let programs: [&[&str]; 2] = [
        &["patch", "-p0", "--batch", "--fuzz=0", "-i", "the.patch"],
        &["git", "apply", "-p0", "--whitespace=nowarn", "the.patch"],
    ];
    for program in programs {
        for (number, (before, after)) in pairs().into_iter().enumerate() {
            for name in ["site.toml", "our \"site\" \u{202e}1.toml", "our site.toml"] {
                let folder = folder();
                fs::write(folder.path().join(name), &before).expect("a file");
                let patch =
                    patch_text(&[file(&Path::new("./").join(name), &before, &after)], PLAIN);
                if !apply(folder.path(), &patch, program) {
                    break;
                }
                let found = fs::read_to_string(folder.path().join(name)).expect("a file");
                assert!(
                    found == after,
                    "{program:?}, text {number}, {name}:\n{patch}\n{found}"
                );
            }
        }
    }
}

#[test]
fn files_are_replaced_as_a_whole() {
    let folder = folder();
    let (one, two) = (folder.path().join("1.toml"), folder.path().join("2.toml"));
    fs::write(&one, "old 1\n").expect("a file");
    fs::write(&two, "old 2\n").expect("a file");
    let files = [file(&one, "old 1\n", "new 1\n"), file(&two, "old 2\n", "")];
    replace(&files).expect("nothing is in the way");
    assert_eq!(fs::read_to_string(&one).expect("a file"), "new 1\n");
    assert_eq!(fs::read_to_string(&two).expect("a file"), "");
    assert_eq!(names(folder.path()), ["1.toml", "2.toml"]);
}

#[test]
#[cfg(unix)]
fn permissions_stay_and_links_stay() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
    let folder = folder();
    fs::create_dir(folder.path().join("there")).expect("a folder");
    let (real, link) = (
        folder.path().join("there/real.toml"),
        folder.path().join("link.toml"),
    );
    fs::write(&real, "old\n").expect("a file");
    fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).expect("permissions");
    symlink("there/real.toml", &link).expect("a link");
    let before = fs::metadata(&real).expect("a file");
    replace(&[file(&link, "old\n", "new\n")]).expect("nothing is in the way");
    let after = fs::metadata(&real).expect("a file");
    assert_eq!(fs::read_to_string(&real).expect("a file"), "new\n");
    assert_eq!(after.mode(), before.mode());
    assert_eq!((after.uid(), after.gid()), (before.uid(), before.gid()));
    assert_eq!(
        fs::read_link(&link).expect("still a link"),
        Path::new("there/real.toml")
    );
    assert_eq!(names(&folder.path().join("there")), ["real.toml"]);
}

#[test]
fn a_file_that_was_changed_meanwhile_stays() {
    let folder = folder();
    let (one, two) = (folder.path().join("1.toml"), folder.path().join("2.toml"));
    fs::write(&one, "old 1\n").expect("a file");
    fs::write(&two, "by somebody else\n").expect("a file");
    let files = [
        file(&one, "old 1\n", "new 1\n"),
        file(&two, "old 2\n", "new 2\n"),
    ];
    let error = replace(&files).expect_err("the second file is another");
    assert!(matches!(error.reason, Reason::Changed));
    assert_eq!(error.done, Vec::<String>::new());
    let message = format!(
        "can't write {}: it was changed after it was read; run the command again; nothing was changed",
        two.display()
    );
    assert_eq!(error.to_string(), message);
    assert_eq!(fs::read_to_string(&one).expect("a file"), "old 1\n");
    assert_eq!(
        fs::read_to_string(&two).expect("a file"),
        "by somebody else\n"
    );
    assert_eq!(names(folder.path()), ["1.toml", "2.toml"]);
}

/// The first of two names of one file is written, and by that the second is no longer what was read.
#[test]
fn what_was_done_before_a_failure_is_told() {
    let folder = folder();
    let paths = ["1.toml", "2.toml"].map(|name| folder.path().join(name));
    for path in &paths {
        fs::write(path, "old\n").expect("a file");
    }
    let [one, two] = paths.map(|path| file(&path, "old\n", "new\n"));
    let error = replace(&[one.clone(), one.clone(), two.clone()]).expect_err("twice the same");
    let message = format!(
        "can't write {0}: it was changed after it was read; run the command again; written before: {0}; not written: {1}",
        one.name, two.name
    );
    assert_eq!(error.to_string(), message);
    assert_eq!(fs::read_to_string(&one.name).expect("a file"), "new\n");
    assert_eq!(fs::read_to_string(&two.name).expect("a file"), "old\n");
    assert_eq!(names(folder.path()), ["1.toml", "2.toml"]);
}

#[test]
fn a_file_that_is_read_only_or_gone_stays_so() {
    let folder = folder();
    let path = folder.path().join("1.toml");
    let missing = replace(&[file(&path, "old\n", "new\n")]).expect_err("no such file");
    assert!(matches!(missing.reason, Reason::Io(_)));
    fs::write(&path, "old\n").expect("a file");
    let mut permissions = fs::metadata(&path).expect("a file").permissions();
    permissions.set_readonly(true);
    fs::set_permissions(&path, permissions).expect("permissions");
    let error = replace(&[file(&path, "old\n", "new\n")]).expect_err("read-only");
    assert!(matches!(error.reason, Reason::ReadOnly));
    assert_eq!(fs::read_to_string(&path).expect("a file"), "old\n");
    assert_eq!(names(folder.path()), ["1.toml"]);
}

/// Root may write into any folder, but not into that of the kernel's settings.
#[test]
#[cfg(target_os = "linux")]
fn a_folder_that_takes_no_files_is_told() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder();
    let path = folder.path().join("1.toml");
    fs::write(&path, "old\n").expect("a file");
    let mode = |mode| fs::set_permissions(folder.path(), fs::Permissions::from_mode(mode));
    mode(0o555).expect("permissions");
    let root = fs::write(folder.path().join("probe"), "").is_ok();
    let path = if root {
        Path::new("/proc/sys/kernel/hostname").to_owned()
    } else {
        path
    };
    let before = fs::read_to_string(&path).expect("a file");
    // A text that would do no harm to the settings.
    let after = format!("{before}\n");
    let error = replace(&[file(&path, &before, &after)]).expect_err("no room for a new file");
    mode(0o755).expect("permissions");
    assert!(matches!(error.reason, Reason::Io(_)), "{error}");
    assert!(
        error.to_string().ends_with("nothing was changed"),
        "{error}"
    );
    assert_eq!(fs::read_to_string(&path).expect("a file"), before);
}
