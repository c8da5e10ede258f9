//! What the machine starts with: a kernel's modules, Python.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::UNIX_EPOCH;

use super::cpio::Archive;

/// Kernel modules, without those that they need.
const MODULES: [&str; 14] = [
    "veth",
    "bridge",
    "8021q",
    "bonding",
    "nf_tables",
    "nft_ct",
    "nft_nat",
    "nft_masq",
    "nft_chain_nat",
    "nft_reject_inet",
    "nft_fib_inet",
    "nft_meta_bridge",
    "nf_conntrack",
    "nf_nat",
];

/// The system's Python: another one may need libraries from anywhere.
pub const PYTHON: &str = "/usr/bin/python3";

/// Lists the files of all Python modules that the guest's program imports.
const LIST_MODULES: &str = "
import sys, ctypes, json, os, select, socket, struct, time, errno, encodings.ascii, encodings.idna
for module in list(sys.modules.values()):
    for name in ('__file__', '__cached__'):
        path = getattr(module, name, None)
        if path and os.path.exists(path):
            print(path)
";

/// Everything but the job, as one archive.
pub fn build(kernel: &Path) -> Result<Vec<u8>, String> {
    let mut files = Files::default();
    let busybox = found("busybox")?;
    files.add(&busybox, "bin/busybox")?;
    files.python()?;
    files.library("libnftables.so.1")?;
    let order = modules(kernel)?;
    let mut script = String::from(
        "#!/bin/busybox sh\n\
         /bin/busybox mount -t proc proc /proc\n\
         /bin/busybox mount -t sysfs sysfs /sys\n\
         /bin/busybox mount -t devtmpfs dev /dev\n",
    );
    for (at, module) in order.iter().enumerate() {
        let name = format!("modules/{at}.ko");
        files.add(module, &name)?;
        script.push_str(&format!("/bin/busybox insmod /{name}\n"));
    }
    script.push_str(&format!(
        "{PYTHON} -S -B /guest.py > /dev/ttyS0 2>&1\n/bin/busybox reboot -f\n"
    ));
    let mut archive = files.archive();
    archive.file("init", 0o755, 0, script.as_bytes());
    Ok(archive.close())
}

/// Files by their place in the machine.
#[derive(Default)]
struct Files {
    files: BTreeMap<String, PathBuf>,
    links: BTreeMap<String, String>,
}

impl Files {
    fn add(&mut self, path: &Path, name: &str) -> Result<(), String> {
        let real =
            fs::canonicalize(path).map_err(|error| format!("{}: {error}", path.display()))?;
        self.files.insert(name.to_owned(), real);
        Ok(())
    }

    /// At the same place as here.
    fn same(&mut self, path: &Path) -> Result<(), String> {
        let name = path.to_string_lossy();
        self.add(path, name.trim_start_matches('/'))
    }

    /// A program or library with the libraries that it needs.
    fn program(&mut self, path: &Path) -> Result<(), String> {
        self.same(path)?;
        for library in needs(path)? {
            self.same(&library)?;
        }
        Ok(())
    }

    fn library(&mut self, name: &str) -> Result<(), String> {
        let output = output(Command::new("ldconfig").arg("-p"))
            .or_else(|_| output(Command::new("/sbin/ldconfig").arg("-p")))?;
        let line = output.lines().find(|line| line.trim().starts_with(name));
        let path = line.and_then(|line| line.rsplit(' ').next());
        let path = path.ok_or_else(|| format!("{name} is not installed"))?;
        self.program(Path::new(path))
    }

    fn python(&mut self) -> Result<(), String> {
        self.program(Path::new(PYTHON))?;
        let listed = output(Command::new(PYTHON).args(["-I", "-S", "-c", LIST_MODULES]))?;
        for line in listed.lines() {
            let path = Path::new(line);
            if line.ends_with(".so") {
                self.program(path)?;
            } else {
                self.same(path)?;
            }
        }
        Ok(())
    }

    fn archive(&self) -> Archive {
        let mut archive = Archive::default();
        let mut folders = BTreeSet::new();
        for fixed in [
            "proc",
            "sys",
            "dev",
            "run",
            "run/netns",
            "tmp",
            "bin",
            "var",
        ] {
            folders.insert(fixed.to_owned());
        }
        for name in self.files.keys() {
            let parents = Path::new(name).ancestors().skip(1);
            folders.extend(parents.map(|path| path.to_string_lossy().into_owned()));
        }
        folders.remove("");
        folders.iter().for_each(|folder| archive.folder(folder));
        archive.link("var/run", "/run");
        for (name, target) in &self.links {
            archive.link(name, target);
        }
        for (name, path) in &self.files {
            let data = fs::read(path).expect("found before");
            archive.file(name, 0o755, written(path), &data);
        }
        archive
    }
}

/// When a file was last written, in seconds since 1970.
fn written(path: &Path) -> u32 {
    let changed = fs::metadata(path).and_then(|data| data.modified()).ok();
    let since = changed.and_then(|time| time.duration_since(UNIX_EPOCH).ok());
    since.map_or(0, |since| since.as_secs() as u32)
}

/// Where a program is.
pub fn found(program: &str) -> Result<PathBuf, String> {
    let folders =
        ["/usr/sbin", "/usr/bin", "/sbin", "/bin"].map(|folder| Path::new(folder).join(program));
    let place = folders.into_iter().find(|path| path.exists());
    place.ok_or_else(|| format!("{program} is not installed"))
}

/// Shared libraries, and the loader, that a program needs.
fn needs(path: &Path) -> Result<Vec<PathBuf>, String> {
    let listed = output(Command::new("ldd").arg(path))?;
    let words = listed.lines().filter_map(|line| {
        let mut words = line.split_whitespace();
        words.find(|word| word.starts_with('/'))
    });
    Ok(words.map(PathBuf::from).collect())
}

fn output(command: &mut Command) -> Result<String, String> {
    let output = command
        .output()
        .map_err(|error| format!("{command:?}: {error}"))?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        Err(format!(
            "{command:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        ))
    }
}

/// Module files in an order in which they can be loaded.
fn modules(kernel: &Path) -> Result<Vec<PathBuf>, String> {
    let mut known = BTreeMap::new();
    collect(&kernel.join("lib/modules"), &mut known);
    let mut order: Vec<String> = Vec::new();
    for name in MODULES {
        require(name, &known, &mut order)?;
    }
    Ok(order.iter().map(|name| known[name].clone()).collect())
}

fn require(
    name: &str,
    known: &BTreeMap<String, PathBuf>,
    order: &mut Vec<String>,
) -> Result<(), String> {
    if order.iter().any(|loaded| loaded == name) {
        return Ok(());
    }
    let path = known
        .get(name)
        .ok_or_else(|| format!("the kernel has no module {name}"))?;
    let data = fs::read(path).map_err(|error| format!("{}: {error}", path.display()))?;
    for needed in depends(&data) {
        require(&needed, known, order)?;
    }
    order.push(name.to_owned());
    Ok(())
}

/// The modules that a module names as needed (its `.modinfo`: `depends=one,other`).
fn depends(data: &[u8]) -> Vec<String> {
    let key = b"\0depends=";
    let at = data.windows(key.len()).position(|window| window == key);
    let Some(at) = at else { return Vec::new() };
    let rest = &data[at + key.len()..];
    let end = rest.iter().position(|&byte| byte == 0).unwrap_or(0);
    let names = String::from_utf8_lossy(&rest[..end]).into_owned();
    names
        .split(',')
        .filter(|name| !name.is_empty())
        .map(|name| name.replace('-', "_"))
        .collect()
}

fn collect(folder: &Path, known: &mut BTreeMap<String, PathBuf>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        let name = entry.file_name().to_string_lossy().into_owned();
        match name.strip_suffix(".ko") {
            Some(name) => {
                known.insert(name.replace('-', "_"), path);
            }
            None if path.is_dir() && !path.is_symlink() => collect(&path, known),
            None => {}
        }
    }
}
