//! What a person at the keyboard sees.

use std::fs;

use crate::made::{demo, leaking, made};
use crate::screen::Screen;

#[test]
fn from_the_matrix_to_a_path_and_back_to_the_shell() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made(&demo());
    screen.line("echo what was there before");
    screen.browse("", &site.site);
    let page = screen.text();
    assert!(
        page.contains("Kettle Lane Brewery") && page.contains("from \\ to"),
        "{page}"
    );
    assert!(!page.contains("what was there before"), "{page}");
    screen.keys(&["Down", "Enter"]);
    screen.wait("office to internet");
    screen.wait("business on the web");
    screen.keys(&["/"]);
    screen.line("witness");
    screen.keys(&["Enter"]);
    screen.wait("Path of tcp");
    let page = screen.wait("2. core (switch)");
    assert!(
        page.contains("|  untagged"),
        "tags between the stops: {page}"
    );
    screen.keys(&["3", "/"]);
    screen.line("17");
    screen.keys(&["Enter"]);
    screen.wait("core:17");
    screen.wait("70 cameras");
    screen.keys(&["4", "Enter"]);
    screen.wait("Isolation of management");
    screen.keys(&["?"]);
    screen.wait("this page");
    screen.keys(&["q"]);
    let page = screen.wait("code 0");
    assert!(page.contains("what was there before"), "{page}");
    assert!(!page.contains("Isolation of management"), "{page}");
    assert_eq!(screen.asked("#{cursor_flag} #{alternate_on}"), "1 0");
}

#[test]
fn a_finding_leads_to_the_line_and_the_line_to_the_editor() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made(&leaking());
    let folder = site.site.parent().expect("a folder");
    let editor = folder.join("editor");
    fs::write(&editor, "#!/bin/sh\necho \"$1\" > \"$0.told\"\n").expect("an editor");
    let start = format!("chmod +x {0}; VISUAL={0}", editor.display());
    screen.browse(&start, &site.site);
    screen.keys(&["2", "/"]);
    screen.line("way round");
    screen.keys(&["Enter"]);
    screen.wait("error bypass-open");
    screen.keys(&["Enter"]);
    let page = screen.wait(">  887  \"17-18\"");
    assert!(page.contains("tagged = [\"management\"]"), "{page}");
    screen.keys(&["e"]);
    let told = folder.join("editor.told");
    let start = std::time::Instant::now();
    while fs::read_to_string(&told).unwrap_or_default().trim() != "+887" {
        assert!(start.elapsed().as_secs() < 20, "the editor was not started");
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    screen.wait(">  887  \"17-18\"");
    screen.keys(&["q"]);
    screen.wait("code 0");
}

#[test]
fn every_size_of_window_is_drawn_anew() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made(&demo());
    screen.browse("", &site.site);
    screen.resize(120, 40);
    // More of the summary fits.
    let page = screen.wait("29 open");
    assert_eq!(page.lines().count(), 40, "{page}");
    screen.resize(60, 20);
    screen.wait("arrows move");
    screen.resize(30, 8);
    screen.wait("The window is too small");
    screen.resize(80, 24);
    screen.wait("? help  q quit");
    screen.keys(&["C-c"]);
    screen.wait("code 0");
}

#[test]
fn a_save_is_noticed_and_a_broken_one_takes_nothing_away() {
    let Some(screen) = Screen::start(100, 24) else {
        return;
    };
    let site = made(&demo());
    screen.browse("", &site.site);
    screen.keys(&["5"]);
    screen.wait("No path goes round the gateway.");
    fs::write(&site.site, leaking()).expect("a site");
    screen.wait("cameras to management");
    screen.wait("findings: 5 new, 0 gone");
    fs::write(&site.site, "[site").expect("no site");
    let page = screen.wait("does not load (1 error");
    assert!(page.contains("cameras to management"), "{page}");
    screen.keys(&["p"]);
    screen.wait("toml-syntax");
    fs::write(&site.site, demo()).expect("a site");
    screen.wait("0 new, 5 gone");
    screen.keys(&["5"]);
    screen.wait("No path goes round the gateway.");
    screen.keys(&["q"]);
    screen.wait("code 0");
}

#[test]
fn a_site_that_does_not_load_gives_the_screen_back_with_the_reason() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made("[site");
    screen.line("echo what was there before");
    let program = env!("CARGO_BIN_EXE_boundwalk");
    screen.line(&format!(
        "{program} browse {}; echo code $?",
        site.site.display()
    ));
    let page = screen.wait("code 2");
    for part in [
        "what was there before",
        "toml-syntax",
        "the site does not load",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert_eq!(screen.asked("#{cursor_flag} #{alternate_on}"), "1 0");
}

#[test]
fn no_color_leaves_no_colour() {
    let Some(screen) = Screen::start(80, 24) else {
        return;
    };
    let site = made(&demo());
    // Colours are set by parameters from 30 to 49, and from 90 to 107 (ECMA-48, SGR; the latter common practice).
    let coloured = |text: &str| {
        let sequences = text.split("\u{1b}[").skip(1);
        let mut parameters = sequences.flat_map(|one| {
            let end = one
                .find(|c: char| !c.is_ascii_digit() && c != ';')
                .unwrap_or(0);
            one[..end].split(';').map(str::to_owned).collect::<Vec<_>>()
        });
        parameters.any(|one| {
            one.parse::<u32>()
                .is_ok_and(|n| (30..=38).contains(&n) || n >= 90)
        })
    };
    screen.browse("TERM=xterm-256color", &site.site);
    assert!(coloured(&screen.coloured()), "a terminal has colour");
    screen.keys(&["q"]);
    screen.wait("code 0");
    screen.line("clear");
    screen.browse("NO_COLOR=1 TERM=xterm-256color", &site.site);
    assert!(!coloured(&screen.coloured()), "{}", screen.coloured());
    screen.keys(&["q"]);
    screen.wait("code 0");
}

#[test]
fn without_a_terminal_it_says_what_to_do_instead() {
    let site = made(&demo());
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_boundwalk"))
        .arg("browse")
        .arg(&site.site)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("it starts");
    assert_eq!(output.status.code(), Some(2));
    let text = String::from_utf8_lossy(&output.stderr);
    assert!(text.contains("browse needs a terminal"), "{text}");
    assert!(output.stdout.is_empty());
}
