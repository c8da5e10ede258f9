//! `review --watch`: what each save changes.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use crate::made::{Made, demo, leaking, made};

/// The program, and the lines that it prints.
struct Watch {
    child: Child,
    lines: Receiver<String>,
}

impl Watch {
    fn start(site: &Made) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_boundwalk"))
            .args(["review", "--watch", "--today", "2026-11-25"])
            .arg(&site.site)
            .env("COLUMNS", "120")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        let out = child.stdout.take().expect("a pipe");
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        Self { child, lines }
    }

    /// Lines up to the first that holds a text.
    fn until(&self, wanted: &str) -> Vec<String> {
        let start = Instant::now();
        let mut seen = Vec::new();
        loop {
            let left = Duration::from_secs(20).saturating_sub(start.elapsed());
            match self.lines.recv_timeout(left) {
                Ok(line) => {
                    let found = line.contains(wanted);
                    seen.push(line);
                    if found {
                        return seen;
                    }
                }
                Err(error) => panic!("{error}: no {wanted} in {seen:#?}"),
            }
        }
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn each_save_is_followed_by_what_came_and_went() {
    let site = made(&demo());
    let watch = Watch::start(&site);
    let start = watch.until("watching");
    assert!(start[0].contains("no problems in the file"), "{start:?}");
    fs::write(&site.site, leaking()).expect("a site");
    let told = watch.until("findings: 5 new, 0 gone");
    let time = &told[told.len() - 1][..8];
    let digits = time.split(':').map(|part| part.parse::<u8>().is_ok());
    assert_eq!(digits.filter(|&good| good).count(), 3, "{time}");
    let told = watch.until("+ error bypass-open");
    assert!(told.iter().all(|line| line.starts_with("  ")), "{told:?}");
    // A summary that differs is told as well; one save, one answer.
    watch.until("of 14 expectations");
    fs::write(&site.site, "[site").expect("no site");
    watch.until("the site does not load: 1 error");
    watch.until("toml-syntax");
    fs::write(&site.site, demo()).expect("a site");
    watch.until("findings: 0 new, 5 gone");
    watch.until("- bypass-open");
    // As an editor saves: the file is gone for a moment, and another stands in its place.
    let other = site.site.with_extension("new");
    fs::write(&other, format!("{}\n# a remark\n", demo())).expect("a file");
    fs::remove_file(&site.site).expect("it was there");
    std::thread::sleep(Duration::from_millis(120));
    fs::rename(&other, &site.site).expect("it takes the place");
    watch.until("no finding came or went");
}
