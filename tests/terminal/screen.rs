//! A terminal of its own in tmux, on a socket that nothing else uses, without anybody's settings.

use std::path::Path;
use std::process::{Command, Output};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

/// How long something may take to appear.
const PATIENCE: Duration = Duration::from_secs(20);

static COUNT: AtomicU32 = AtomicU32::new(0);

pub struct Screen {
    socket: String,
}

impl Screen {
    /// A shell that has said `before`, in a window of a size; `None` where tmux is missing.
    pub fn start(columns: u32, rows: u32) -> Option<Self> {
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let screen = Self {
            socket: format!("boundwalk-test-{}-{number}", std::process::id()),
        };
        let size = (columns.to_string(), rows.to_string());
        let mut command = Command::new("tmux");
        command.args(["-u", "-L", &screen.socket, "-f", "/dev/null"]);
        command.args(["new-session", "-d"]);
        command.args(["-x", &size.0, "-y", &size.1]);
        // A shell without anybody's prompt, in a place without history.
        command.args(["env", "-u", "NO_COLOR", "-u", "VISUAL", "-u", "EDITOR"]);
        command.args(["PS1=ready> ", "sh"]);
        match command.output() {
            Ok(output) => assert!(output.status.success(), "{output:?}"),
            Err(error) => {
                crate::skipped::skip("tmux", &error);
                return None;
            }
        }
        screen.wait("ready>");
        Some(screen)
    }

    fn tmux(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new("tmux");
        command.args(["-u", "-L", &self.socket, "-f", "/dev/null"]);
        command.args(arguments).output().expect("tmux runs")
    }

    /// Types a line and Enter.
    pub fn line(&self, text: &str) {
        self.tmux(&["send-keys", "-l", text]);
        self.tmux(&["send-keys", "Enter"]);
    }

    /// Pastes a text at once.
    pub fn paste(&self, text: &str) {
        self.tmux(&["set-buffer", text]);
        self.tmux(&["paste-buffer"]);
    }

    /// Presses keys, by tmux's names for them.
    pub fn keys(&self, keys: &[&str]) {
        for key in keys {
            self.tmux(&["send-keys", key]);
        }
    }

    pub fn resize(&self, columns: u32, rows: u32) {
        let size = (columns.to_string(), rows.to_string());
        self.tmux(&["resize-window", "-x", &size.0, "-y", &size.1]);
    }

    /// What is to be seen.
    pub fn text(&self) -> String {
        let output = self.tmux(&["capture-pane", "-p"]);
        String::from_utf8(output.stdout).expect("UTF-8")
    }

    /// The same with the escape sequences that colour it.
    pub fn coloured(&self) -> String {
        let output = self.tmux(&["capture-pane", "-p", "-e"]);
        String::from_utf8(output.stdout).expect("UTF-8")
    }

    /// What tmux knows of the window.
    pub fn asked(&self, what: &str) -> String {
        let output = self.tmux(&["display-message", "-p", what]);
        String::from_utf8(output.stdout)
            .expect("UTF-8")
            .trim()
            .to_owned()
    }

    /// Waits until a text is to be seen; gives what is to be seen then.
    pub fn wait(&self, wanted: &str) -> String {
        let start = Instant::now();
        loop {
            let text = self.text();
            if text.contains(wanted) {
                return text;
            }
            assert!(start.elapsed() < PATIENCE, "no {wanted} in:\n{text}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Starts the program on a site.
    pub fn browse(&self, before: &str, site: &Path) {
        let program = env!("CARGO_BIN_EXE_boundwalk");
        self.line(&format!(
            "{before} {program} browse {} --today 2026-11-25; echo code $?",
            site.display()
        ));
        self.wait("q quit");
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.tmux(&["kill-server"]);
    }
}
