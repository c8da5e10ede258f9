//! Places where writing fails or must not change whose a file is: a full disk, files of somebody else.

use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::path::Path;
use std::process::Command;

use crate::run::{DEMO, ended, program, site, starter};
use crate::skipped::skip;

/// The demo, whose rules are cleaned.
fn demo() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    fs::read_to_string(root.join(DEMO).join("site.toml")).expect("the demo")
}

/// Runs the program in a file system of its own with room for the site and for little more; what the shell prints.
fn on_a_full_disk(room: usize, arguments: &str) -> std::io::Result<String> {
    let (_folder, file) = site(demo());
    let script = format!(
        "mkdir -p \"$TMPDIR/disk\" && mount -t tmpfs -o size={room}k none \"$TMPDIR/disk\" && cd \"$TMPDIR/disk\" && \
         cp \"$SITE\" site.toml && \"$PROGRAM\" {arguments} 2>&1 >/dev/null; \
         echo \"code $?\"; cmp site.toml \"$SITE\" && echo same; ls -A"
    );
    let scratch = tempfile::tempdir()?;
    let ran = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "sh", "-c", &script])
        .env("TMPDIR", scratch.path())
        .env("SITE", &file)
        .env("PROGRAM", env!("CARGO_BIN_EXE_boundwalk"))
        .output()?;
    let text = String::from_utf8_lossy(&ran.stdout).into_owned();
    if text.contains("code ") {
        Ok(text)
    } else {
        Err(std::io::Error::other(
            String::from_utf8_lossy(&ran.stderr).into_owned(),
        ))
    }
}

#[test]
fn a_full_disk_leaves_the_old_text_and_nothing_beside_it() {
    // The site takes about 30 kB, so does its copy; a report takes some 500 kB.
    let size = demo().len() / 1024 + 8;
    for (arguments, room) in [
        ("rules site.toml --clean --write --today 2026-11-25", size),
        (
            "privilege site.toml --tighten --write --today 2026-11-25",
            size,
        ),
        ("report site.toml -o page.html", 2 * size),
        ("draw site.toml -o site.svg", size),
        ("review site.toml --write-baseline known.json", size - 4),
    ] {
        match on_a_full_disk(room, arguments) {
            Ok(text) => {
                assert!(
                    text.contains("\ncode 2\nsame\nsite.toml\n"),
                    "{arguments}\n{text}"
                );
                assert!(
                    text.ends_with("site.toml\n"),
                    "{arguments} leaves something\n{text}"
                );
                assert!(
                    text.starts_with("error: ") && text.contains("o space left"),
                    "{arguments}\n{text}"
                );
            }
            Err(error) => return skip("unshare", &error),
        }
    }
}

#[test]
fn a_file_of_somebody_else_stays_theirs_or_is_left_alone() {
    const OTHER: u32 = 12_345;
    let (folder, file) = site(demo());
    if let Err(error) = chown(&file, Some(OTHER), Some(OTHER)) {
        return skip("a user who may give files away", &error);
    }
    let line = [
        "rules",
        "SITE",
        "--clean",
        "--write",
        "--today",
        "2026-11-25",
    ];
    let line = line.map(|word| {
        if word == "SITE" {
            file.to_str().expect("UTF-8")
        } else {
            word
        }
    });
    // Whoever may give the new file to them does.
    assert_ne!(ended(program().args(line)).code, 2);
    let kept = fs::metadata(&file).expect("a file");
    assert_eq!((kept.uid(), kept.gid()), (OTHER, OTHER));
    assert_ne!(fs::read_to_string(&file).expect("a file"), demo());
    // Whoever may not is told, although the folder would take a new file.
    fs::write(&file, demo()).expect("a file");
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o777)).expect("a folder");
    let mut stranger = Command::new("setpriv");
    stranger.args(["--reuid", "54321", "--regid", "54321", "--clear-groups"]);
    stranger.arg(env!("CARGO_BIN_EXE_boundwalk")).args(line);
    let ran = match stranger.output() {
        Ok(ran) => ran,
        Err(error) => return skip("setpriv", &error),
    };
    // What is not written is not shown as if it were.
    assert!(ran.stdout.is_empty(), "{ran:?}");
    let said = String::from_utf8_lossy(&ran.stderr).into_owned();
    if said.contains("ermission denied") && said.contains("setpriv") {
        return skip("setpriv", &std::io::Error::other(said));
    }
    assert_eq!(ran.status.code(), Some(2), "{said}");
    assert!(said.contains("owner"), "{said}");
    assert_eq!(fs::read_to_string(&file).expect("a file"), demo());
    let names = fs::read_dir(folder.path()).expect("a folder").count();
    assert_eq!(names, 1, "something is left beside the file");
}

#[test]
fn a_folder_that_takes_nothing_is_named() {
    let (folder, file) = site(starter());
    let to = folder.path().join("missing/page.html");
    let line = [
        "report",
        file.to_str().expect("UTF-8"),
        "-o",
        to.to_str().expect("UTF-8"),
    ];
    let ran = ended(program().args(line));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("missing"), "{}", ran.err);
}
