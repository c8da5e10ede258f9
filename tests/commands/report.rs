//! The report as a file and as a stream. What the page says and does is judged in a browser.

use std::fs;

use crate::run::{about, demo, site, starter};

/// One segment, no gateway, nothing claimed, nothing needed.
const ALONE: &str =
    "[zones.a]\ntrust = 1\n[segments.x]\nzone = \"a\"\nprefixes = [\"10.44.99.0/24\"]\n";

#[test]
fn a_file_holds_what_a_pipe_gets() {
    let (folder, file) = site(starter());
    let out = folder.path().join("report.html");
    let ran = about(&file, "report", &format!("-o {}", out.display()));
    assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (0, "", ""));
    let piped = about(&file, "report", "");
    assert_eq!(fs::read_to_string(&out).expect("a page"), piped.out);
    assert!(piped.out.starts_with("<!DOCTYPE html>"), "{}", piped.out);
}

#[test]
fn no_path_of_this_machine_is_handed_over() {
    let (folder, file) = site(starter());
    let page = about(&file, "report", "").out;
    let folder = folder.path().to_str().expect("UTF-8");
    assert!(
        !page.contains(folder) && page.contains("site.toml:"),
        "{folder}"
    );
}

#[test]
fn the_exit_code_follows_the_severity_asked_for() {
    assert_eq!(demo("report", "").code, 0, "a report is no verdict");
    assert_eq!(demo("report", "--fail-on error").code, 1);
    let (_folder, file) = site(starter());
    assert_eq!(about(&file, "report", "--fail-on note").code, 0);
}

#[test]
fn what_can_not_be_written_is_said_and_leaves_nothing_behind() {
    let (folder, file) = site(starter());
    let missing = folder.path().join("nowhere").join("report.html");
    let ran = about(&file, "report", &format!("-o {}", missing.display()));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("there is no folder"), "{}", ran.err);
    let (_other, broken) = site("[site");
    let out = folder.path().join("report.html");
    let ran = about(&broken, "report", &format!("-o {}", out.display()));
    assert_eq!((ran.code, out.exists()), (2, false));
    assert!(ran.err.contains("toml-syntax"), "{}", ran.err);
    let left = fs::read_dir(folder.path()).expect("a folder").count();
    assert_eq!(left, 1, "the site alone");
}

#[cfg(unix)]
#[test]
fn a_pipe_is_written_to_and_stays_a_pipe() {
    use std::os::unix::fs::FileTypeExt;
    let (folder, file) = site(starter());
    let piped = about(&file, "report", "").out;
    let pipe = folder.path().join("pipe");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.expect("mkfifo runs").success());
    let from = pipe.clone();
    let reader = std::thread::spawn(move || fs::read_to_string(from).expect("a page"));
    let ran = about(&file, "report", &format!("-o {}", pipe.display()));
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let kind = fs::metadata(&pipe).expect("it is there").file_type();
    assert!(kind.is_fifo(), "no file takes its place");
    assert_eq!(reader.join().expect("it reads"), piped);
    let ran = about(&file, "report", "-o /dev/stdout");
    assert_eq!((ran.code, ran.out), (0, piped));
    let ran = about(&file, "report", &format!("-o {}", folder.path().display()));
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("it is a folder or a device"),
        "{}",
        ran.err
    );
}

#[test]
fn a_slip_of_the_hand_does_not_cost_the_site() {
    let (folder, file) = site(starter());
    for command in ["report", "draw --format svg"] {
        let (name, rest) = command.split_once(' ').unwrap_or((command, ""));
        let odd = folder.path().join(".").join("site.toml");
        let ran = about(&file, name, &format!("{rest} -o {}", odd.display()));
        assert_eq!(ran.code, 2, "{command}");
        assert!(ran.err.contains("is part of the site"), "{}", ran.err);
        assert_eq!(fs::read_to_string(&file).expect("a site"), starter());
    }
}

/// Two zones on one switch that knows no VLANs.
const JOINED: &str = r#"
[zones.a]
trust = 10
[zones.b]
trust = 50
[segments.x]
zone = "a"
prefixes = ["10.44.10.0/24"]
[segments.y]
zone = "b"
prefixes = ["10.44.20.0/24"]
[switches.hub]
vlan_aware = false
ports = { "1-4" = {} }
[hosts.one]
[[hosts.one.interfaces]]
segment = "x"
port = "hub:1"
[hosts.two]
[[hosts.two.interfaces]]
segment = "y"
port = "hub:2"
"#;

#[test]
fn what_no_setting_closes_is_not_said_to_be_closed() {
    let (_folder, file) = site(JOINED);
    let page = about(&file, "report", "").out;
    for text in [
        "<h3>What closes them, as far as a setting can</h3>",
        "<li>x -&gt; y stays open: no setting closes it</li>",
        "<li>y -&gt; x stays open: no setting closes it</li>",
    ] {
        assert!(page.contains(text), "{text}");
    }
    assert!(!page.contains("What closes them all") && !page.contains("Close every way"));
}

#[test]
fn where_nothing_was_judged_nothing_is_called_good() {
    let (_folder, file) = site(ALONE);
    let page = about(&file, "report", "").out;
    let summary = page.split("id=\"summary\"").nth(1).expect("a summary");
    let summary = summary.split("</section>").next().expect("its end");
    for word in [
        "no segment claims to be isolated",
        "no two segments of different zones",
        "no gateway filters",
        "none is written down",
    ] {
        assert!(summary.contains(word), "{word}: {summary}");
    }
    assert!(
        !summary.contains("box good") && !summary.contains("box bad"),
        "{summary}"
    );
    let page = demo("report", "").out;
    let summary = page.split("id=\"summary\"").nth(1).expect("a summary");
    assert!(summary.contains("box good") && summary.contains("box bad"));
}
