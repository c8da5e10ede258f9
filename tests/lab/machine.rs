//! A virtual machine with a stock kernel and no network device: one start for all topologies of a test.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::cpio::Archive;
use super::image;

/// Runs inside.
const GUEST: [(&str, &str); 2] = [
    ("guest.py", include_str!("guest.py")),
    ("netlink.py", include_str!("netlink.py")),
];

/// Last line of a run that went well.
const DONE: &str = "done";

/// A run takes about a minute; far past that it hangs.
const PATIENCE: Duration = Duration::from_secs(600);

/// The kernel, unpacked by `tests/lab/kernel.sh`: `boot/vmlinuz-*` and `lib/modules`.
fn kernel_folder() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("lab-kernel")
}

fn kernel_image() -> Option<PathBuf> {
    let entries = fs::read_dir(kernel_folder().join("boot")).ok()?;
    let mut paths = entries.flatten().map(|entry| entry.path());
    paths.find(|path| {
        let name = path.file_name().unwrap_or_default();
        name.to_string_lossy().starts_with("vmlinuz")
    })
}

/// Why no machine can be started here; `None`: it can.
pub fn missing() -> Option<String> {
    let needs = [
        ("qemu-system-x86_64", "qemu-system-x86"),
        ("busybox", "busybox-static"),
        ("python3", "python3"),
        ("nft", "nftables"),
        ("ldd", "libc-bin"),
    ];
    for (program, package) in needs {
        if image::found(program).is_err() {
            return Some(format!("package {package} is not installed"));
        }
    }
    if kernel_image().is_none() {
        let folder = kernel_folder();
        return Some(format!(
            "no kernel: run `tests/lab/kernel.sh {}`",
            folder.display()
        ));
    }
    None
}

/// Starts a machine with a job for its program and gives what that wrote, line by line.
///
/// # Panics
/// Where the machine fails: it was said to work here.
pub fn run(job: &[u8]) -> Vec<String> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kernel-lab");
    fs::create_dir_all(&folder).expect("a writable target folder");
    let base = image::build(&kernel_folder()).unwrap_or_else(|error| panic!("{error}"));
    let mut own = Archive::default();
    for (name, text) in GUEST {
        own.file(name, 0o644, 0, text.as_bytes());
    }
    own.file("job.json", 0o644, 0, job);
    let archive = folder.join("start.cpio");
    fs::write(&archive, [base, own.close()].concat()).expect("a writable target folder");
    let written = folder.join("serial.txt");
    let errors = folder.join("errors.txt");
    let mut machine = command(&archive)
        .arg("-serial")
        .arg(format!("file:{}", written.display()))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(fs::File::create(&errors).expect("a writable target folder"))
        .spawn()
        .expect("found before");
    let started = Instant::now();
    while machine.try_wait().expect("a child").is_none() {
        if started.elapsed() > PATIENCE {
            machine.kill().expect("a child");
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    let text = fs::read(&written).unwrap_or_default();
    let errors = fs::read_to_string(&errors).unwrap_or_default();
    lines(&String::from_utf8_lossy(&text), &errors)
}

/// Lines up to the last one of a run that went well.
fn lines(text: &str, errors: &str) -> Vec<String> {
    let mut lines: Vec<String> = text
        .lines()
        .map(|line| line.trim_end().to_owned())
        .collect();
    let Some(end) = lines.iter().rposition(|line| line == DONE) else {
        let tail = lines.len().saturating_sub(40);
        panic!("the machine failed: {errors}\n{}", lines[tail..].join("\n"));
    };
    lines.truncate(end);
    lines
}

/// Emulated, because nested machines do not work everywhere; counted instructions make its time its own:
/// it jumps where nothing runs, and results repeat exactly.
fn command(archive: &Path) -> Command {
    let mut command = Command::new("qemu-system-x86_64");
    command.args(["-accel", "tcg,thread=single,tb-size=256"]);
    command.args(["-M", "microvm", "-cpu", "max", "-m", "768"]);
    command.args([
        "-nodefaults",
        "-no-user-config",
        "-display",
        "none",
        "-no-reboot",
    ]);
    command.args(["-rtc", "base=2024-01-01,clock=vm"]);
    command.args(["-icount", "shift=3,sleep=off"]);
    command.arg("-kernel");
    command.arg(kernel_image().expect("found before"));
    command.arg("-initrd").arg(archive).arg("-append").arg(
        "console=ttyS0 quiet loglevel=0 panic=-1 reboot=t mitigations=off tsc=reliable nokaslr random.trust_cpu=on",
    );
    command
}
