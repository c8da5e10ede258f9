//! Keys and signals while the view reads, computes or is idle: the terminal is given back as it was.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use crate::made::{demo, made};
use crate::screen::Screen;

/// A site that takes seconds to compute.
fn slow() -> String {
    let mut text =
        String::from("[zones.inside]\ntrust = 50\n[gateways.edge]\ndefault = \"deny\"\n");
    for number in 0..150 {
        writeln!(
            text,
            "[segments.s{number}]\nzone = \"inside\"\nprefixes = [\"10.44.{number}.0/24\"]\n\
             [gateways.edge.interfaces.i{number}]\nsegment = \"s{number}\"\naddresses = [\"10.44.{number}.1/24\"]"
        )
        .expect("a string takes all");
    }
    for number in 0..1500 {
        let (from, to) = (number * 7 % 150, number * 11 % 150);
        writeln!(
            text,
            "[[gateways.edge.rules]]\nname = \"r{number}\"\nsource = [\"10.44.{from}.{0}-10.44.{from}.{1}\"]\n\
             destination = [\"10.44.{to}.0/25\"]\nservices = [\"tcp/{number}-6{0:03}\"]\naction = \"{2}\"",
            number % 90 + 2,
            number % 90 + 60,
            ["permit", "deny"][number % 2]
        )
        .expect("a string takes all");
    }
    text
}

/// Starts the view without waiting for its first page.
fn begin(screen: &Screen, site: &Path) {
    let program = env!("CARGO_BIN_EXE_boundwalk");
    screen.line("echo what was there before");
    screen.line(&format!(
        "{program} browse {} --today 2026-11-25; echo code $?",
        site.display()
    ));
}

/// The shell is back, with what was on the screen, a cursor, and keys that are shown.
fn given_back(screen: &Screen, code: &str) {
    let page = screen.wait(&format!("code {code}"));
    assert!(page.contains("what was there before"), "{page}");
    assert_eq!(screen.asked("#{cursor_flag} #{alternate_on}"), "1 0");
    screen.line("echo typed");
    screen.wait("echo typed");
}

/// Processes that show a site.
fn views(site: &Path) -> Vec<String> {
    let site = site.to_str().expect("UTF-8");
    let processes = fs::read_dir("/proc")
        .expect("the processes")
        .filter_map(Result::ok);
    let shows = |process: &fs::DirEntry| {
        let words = fs::read(process.path().join("cmdline")).unwrap_or_default();
        let words: Vec<&[u8]> = words.split(|&byte| byte == 0).collect();
        words.get(1) == Some(&b"browse".as_slice()) && words.contains(&site.as_bytes())
    };
    processes
        .filter(shows)
        .map(|process| process.file_name())
        .map(|name| name.to_string_lossy().into_owned())
        .collect()
}

/// Sends a signal to the view.
fn signal(name: &str, site: &Path) {
    let views = views(site);
    assert_eq!(views.len(), 1, "{views:?}");
    let line = format!("kill -{name} {}", views[0]);
    let ended = std::process::Command::new("sh")
        .args(["-c", &line])
        .status();
    assert!(ended.expect("sh is there").success(), "{line}");
}

#[test]
fn keys_and_signals_end_it_while_it_computes() {
    let folder = tempfile::tempdir().expect("a folder");
    let site = folder.path().join("site.toml");
    fs::write(&site, slow()).expect("a site");
    for (key, sent, code) in [
        (Some("q"), None, "0"),
        (Some("C-c"), None, "0"),
        (Some("C-\\"), None, "0"),
        (None, Some("TERM"), "143"),
    ] {
        let Some(screen) = Screen::start(80, 24) else {
            return;
        };
        begin(&screen, &site);
        screen.wait("reading the site");
        match (key, sent) {
            (Some(key), _) => screen.keys(&[key]),
            (_, sent) => signal(sent.expect("one of both"), &site),
        }
        given_back(&screen, code);
    }
}

#[test]
fn signals_end_it_while_it_is_idle() {
    for (name, code) in [
        ("TERM", "143"),
        ("HUP", "129"),
        ("USR1", "138"),
        ("ALRM", "142"),
    ] {
        let Some(screen) = Screen::start(80, 24) else {
            return;
        };
        let site = made(&demo());
        begin(&screen, &site.site);
        screen.wait("q quit");
        signal(name, &site.site);
        given_back(&screen, code);
    }
}

#[test]
fn a_terminal_that_goes_takes_it_along() {
    let folder = tempfile::tempdir().expect("a folder");
    let computing = folder.path().join("site.toml");
    fs::write(&computing, slow()).expect("a site");
    let idle = made(&demo());
    for (site, shown) in [
        (computing.as_path(), "reading the site"),
        (idle.site.as_path(), "q quit"),
    ] {
        let Some(screen) = Screen::start(80, 24) else {
            return;
        };
        begin(&screen, site);
        screen.wait(shown);
        assert_eq!(views(site).len(), 1);
        drop(screen);
        let start = std::time::Instant::now();
        while !views(site).is_empty() {
            assert!(
                start.elapsed().as_secs() < 20,
                "it goes on without a terminal"
            );
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
    }
}

#[test]
fn an_editor_is_started_by_its_words() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made(&demo());
    let folder = site.site.parent().expect("a folder").join("my editor");
    fs::create_dir(&folder).expect("a folder");
    let editor = folder.join("run me");
    fs::write(
        &editor,
        "#!/bin/sh\nprintf '<%s>' \"$@\" > \"$(dirname \"$0\")/told\"\n",
    )
    .expect("an editor");
    let before = format!(
        "chmod +x '{0}'; VISUAL=\"'{0}' --title 'a \\$(touch x) b'\"",
        editor.display()
    );
    screen.browse(&before, &site.site);
    screen.keys(&["2", "Enter"]);
    screen.wait("site.toml");
    screen.keys(&["e"]);
    let told = folder.join("told");
    let start = std::time::Instant::now();
    while fs::read_to_string(&told).unwrap_or_default().is_empty() {
        assert!(
            start.elapsed().as_secs() < 20,
            "the editor was not started:\n{}",
            screen.text()
        );
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    let told = fs::read_to_string(&told).expect("a file");
    assert!(told.starts_with("<--title><a $(touch x) b><+"), "{told}");
    screen.keys(&["q"]);
    screen.wait("code 0");
}

/// An editor that leaves the terminal without echo: the shell has it as it was.
#[test]
fn an_editor_that_leaves_the_terminal_otherwise_changes_nothing() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made(&demo());
    let editor = site.site.parent().expect("a folder").join("careless");
    fs::write(&editor, "#!/bin/sh\nstty -echo -isig; touch \"$0.done\"\n").expect("an editor");
    screen.line("echo what was there before");
    screen.browse(
        &format!("chmod +x '{0}'; VISUAL='{0}'", editor.display()),
        &site.site,
    );
    screen.keys(&["2", "Enter"]);
    screen.wait("site.toml");
    screen.keys(&["e"]);
    let done = editor.with_extension("done");
    let start = std::time::Instant::now();
    while !done.exists() {
        assert!(start.elapsed().as_secs() < 20, "{}", screen.text());
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    screen.keys(&["q"]);
    given_back(&screen, "0");
    screen.line("stty -a | tr ' ;' '\\n\\n' | grep -x -e '-*echo' -e '-*isig' | sort | xargs");
    screen.wait("echo isig");
}

/// More than a thousand letters at once, and a key that ends it behind them.
#[test]
fn what_is_pasted_is_taken_to_its_end() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made(&demo());
    screen.line("echo what was there before");
    screen.browse("", &site.site);
    screen.paste(&format!("{}q", "x".repeat(8_000)));
    given_back(&screen, "0");
}
