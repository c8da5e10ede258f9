//! Paths that are no files, or lead elsewhere.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::run::{Ran, ended, program, site, starter};

/// Runs a command that must be refused at once.
fn refused(words: &[&str]) -> Ran {
    let started = Instant::now();
    let mut command = program();
    command.args(words);
    let mut child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    while child.try_wait().expect("a child").is_none() {
        if started.elapsed() > Duration::from_secs(20) {
            child.kill().expect("a child");
            panic!("{words:?} hangs");
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let output = child.wait_with_output().expect("a child");
    let ran = Ran {
        code: output.status.code().expect("no signal"),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    };
    assert_eq!(ran.code, 2, "{words:?}: {ran:?}");
    ran
}

fn fifo(path: &Path) {
    assert!(
        Command::new("mkfifo")
            .arg(path)
            .status()
            .expect("mkfifo is there")
            .success()
    );
}

#[test]
fn pipes_devices_and_sockets_are_refused_by_name() {
    let (folder, file) = site(starter());
    let file = file.to_str().expect("UTF-8");
    let pipe = folder.path().join("pipe.toml");
    fifo(&pipe);
    let socket = folder.path().join("socket.toml");
    let _listener = std::os::unix::net::UnixListener::bind(&socket).expect("a socket");
    let (pipe, socket) = (
        pipe.to_str().expect("UTF-8"),
        socket.to_str().expect("UTF-8"),
    );
    for (odd, what) in [
        (pipe, "a pipe"),
        (socket, "a socket"),
        ("/dev/zero", "a device"),
    ] {
        for words in [
            vec!["review", odd],
            vec!["review", file, "--baseline", odd],
            vec!["privilege", file, "--flows", odd],
            vec!["verify", file, odd],
            vec!["change", file, odd],
        ] {
            let ran = refused(&words);
            assert!(ran.err.contains(what), "{words:?}: {ran:?}");
        }
    }
    // In a folder they are found as well: what is no file can't be part of a site in silence.
    let ran = refused(&["review", folder.path().to_str().expect("UTF-8")]);
    assert!(ran.err.contains("a pipe"), "{ran:?}");
}

#[test]
fn a_file_past_the_limit_is_refused_while_it_is_read() {
    let (folder, file) = site(starter());
    let file = file.to_str().expect("UTF-8");
    let large = folder.path().join("large");
    let sparse = fs::File::create(&large).expect("a file");
    sparse.set_len(1 << 40).expect("a length");
    let large = large.to_str().expect("UTF-8");
    for words in [
        vec!["review", file, "--baseline", large],
        vec!["verify", file, large],
        vec!["review", large],
    ] {
        let ran = refused(&words);
        assert!(ran.err.contains("larger than 64 MiB"), "{ran:?}");
    }
}

#[test]
fn hidden_files_are_no_part_of_a_folder() {
    let (folder, _file) = site(starter());
    fs::write(folder.path().join(".hidden.toml"), "no site").expect("a file");
    std::os::unix::fs::symlink("user@host.1234", folder.path().join(".#site.toml"))
        .expect("a link");
    let ran = ended(program().args(["matrix", folder.path().to_str().expect("UTF-8")]));
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
}

#[test]
fn a_link_that_leaves_the_folder_is_refused_unless_asked_for() {
    const SECRET: &str = "s3cret-of-the-machine";
    let elsewhere = tempfile::tempdir().expect("a folder");
    let secret = elsewhere.path().join("secret");
    fs::write(&secret, format!("{SECRET}\n")).expect("a file");
    let (folder, file) = site(starter());
    let link = folder.path().join("z.toml");
    std::os::unix::fs::symlink(&secret, &link).expect("a link");
    let (folder, file, link) = (
        folder.path().to_str().expect("UTF-8"),
        file.to_str().expect("UTF-8"),
        link.to_str().expect("UTF-8"),
    );
    for words in [
        vec!["review", folder],
        vec!["review", link],
        vec!["change", file, link],
    ] {
        let ran = refused(&words);
        assert!(
            ran.err.contains("link-leaves-folder") && !ran.err.contains(SECRET),
            "{ran:?}"
        );
        assert!(!ran.out.contains(SECRET));
        let trusting = refused(&[&words[..], &["--follow-links"]].concat());
        assert!(trusting.err.contains(SECRET), "{trusting:?}");
    }
    // One that stays is followed.
    fs::remove_file(link).expect("a link");
    std::os::unix::fs::symlink("site.toml", link).expect("a link");
    assert_eq!(ended(program().args(["matrix", link])).code, 0);
}

#[test]
fn a_packed_log_is_named_as_one() {
    let (folder, file) = site(starter());
    let file = file.to_str().expect("UTF-8");
    for (start, program) in [
        (&[0x1f, 0x8b, 8, 0][..], "gzip"),
        (&[0x28, 0xb5, 0x2f, 0xfd], "zstd"),
        (b"BZh91AY", "bzip2"),
        (&[0xfd, b'7', b'z', b'X', b'Z', 0], "xz"),
    ] {
        let log = folder.path().join("flows");
        fs::write(&log, start).expect("a file");
        let ran = refused(&["privilege", file, "--flows", log.to_str().expect("UTF-8")]);
        assert!(ran.err.contains(&format!("packed by {program}")), "{ran:?}");
        assert_eq!(ran.out, "");
    }
}

/// The parser keeps every mistake: of a large file that is no TOML that must not take all memory.
#[test]
fn a_large_text_of_mistakes_takes_bounded_memory() {
    for (text, said) in [
        ("]\n".repeat(5_000_000), "what follows was not read"),
        ("= x ]] [[\n".repeat(1_500_000), "what follows was not read"),
        ("]\n".repeat(20_000_000), "words and signs"),
    ] {
        let (_folder, file) = site(&text);
        // 900 MiB of addresses: the text itself is held once.
        let line = format!(
            "ulimit -v 900000 && exec '{}' matrix '{}'",
            env!("CARGO_BIN_EXE_boundwalk"),
            file.display()
        );
        let ran = ended(Command::new("sh").args(["-c", &line]));
        assert_eq!(ran.code, 2, "{}", ran.err.len());
        assert!(ran.err.contains(said), "{said}");
    }
}

#[test]
fn results_with_nothing_filled_in_are_no_result() {
    let (folder, file) = site(starter());
    let file = file.to_str().expect("UTF-8");
    let plan = ended(program().args(["probes", file, "--format", "csv"])).out;
    let results = folder.path().join("results.csv");
    fs::write(&results, plan).expect("a file");
    let ran = refused(&["verify", file, results.to_str().expect("UTF-8")]);
    assert!(ran.err.contains("fill in the column `result`"), "{ran:?}");
}

#[test]
fn a_new_site_with_a_hyphen_is_named_so_that_the_next_command_works() {
    let folder = tempfile::tempdir().expect("a folder");
    let ran = ended(
        program()
            .current_dir(folder.path())
            .args(["new", "--", "-x.toml"]),
    );
    assert_eq!(ran.code, 0, "{ran:?}");
    assert!(ran.err.contains("boundwalk review ./-x.toml"), "{ran:?}");
    let next = ended(program().current_dir(folder.path()).args([
        "review",
        "./-x.toml",
        "--fail-on",
        "never",
    ]));
    assert_eq!(next.code, 0, "{next:?}");
}
