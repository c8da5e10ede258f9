//! A real kernel's packet filter, in a network namespace of its own.

pub mod rules;
pub mod wire;

use std::io::Write;
use std::process::{Command, Output, Stdio};

/// What the agent is and where it stands.
const AGENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/lab/agent.py");

/// Networks whose every address the namespace takes as its own.
const NETWORKS: [&str; 2] = ["10.64.0.0/15", "fd00::/32"];

/// Why the lab cannot be used here; `None`: it can.
pub fn missing() -> Option<String> {
    let library = "import ctypes; ctypes.CDLL('libnftables.so.1')";
    let needs: [(&str, &[&str], &str); 4] = [
        (
            "python3",
            &["-c", "pass"],
            "package python3 is not installed",
        ),
        (
            "python3",
            &["-c", library],
            "package libnftables1 (comes with nftables) is not installed",
        ),
        ("ip", &["-V"], "package iproute2 is not installed"),
        (
            "unshare",
            &["-n", "true"],
            "no permission to make a network namespace (unshare -n, package util-linux)",
        ),
    ];
    let absent = needs.iter().find(|(program, arguments, _)| {
        let run = Command::new(program).args(*arguments).output();
        !run.is_ok_and(|output| output.status.success())
    });
    absent.map(|(_, _, reason)| (*reason).to_owned())
}

/// Runs a job in the namespace and returns the agent's lines, one a packet.
///
/// # Panics
/// Where the agent fails: the lab was said to work here.
pub fn run(job: &str) -> Vec<String> {
    let mut command = Command::new("unshare");
    command.args(["-n", "python3", AGENT]).args(NETWORKS);
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let mut child = command.spawn().expect("unshare was found before");
    let mut input = child.stdin.take().expect("a pipe");
    let job = job.to_owned();
    // Both pipes hold little: write while the agent writes.
    let writer = std::thread::spawn(move || input.write_all(job.as_bytes()));
    let Output {
        status,
        stdout,
        stderr,
    } = child.wait_with_output().expect("the agent ends by itself");
    assert!(
        status.success(),
        "the agent failed: {}",
        String::from_utf8_lossy(&stderr)
    );
    writer
        .join()
        .expect("no panic in the writer")
        .expect("the agent reads to the end");
    String::from_utf8_lossy(&stdout)
        .lines()
        .map(str::to_owned)
        .collect()
}
