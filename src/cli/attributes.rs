//! Extended attributes of a file, access lists among them, carried over to the one that takes its place.

use std::fs::File;
use std::path::Path;

/// Gives a new file all attributes of an old one. `Err`: the name of one that can't be given.
#[cfg(any(target_os = "linux", target_os = "android", target_os = "macos"))]
pub(super) fn keep(old: &Path, new: &File) -> Result<(), String> {
    use rustix::fs::{XattrFlags, fgetxattr, fsetxattr};
    let Ok(old) = File::open(old) else {
        return Ok(());
    };
    for name in names(&old) {
        let value = |file: &File| {
            let mut value = vec![0; LONGEST];
            let length = fgetxattr(file, name.as_str(), &mut value[..]).ok()?;
            value.truncate(length);
            Some(value)
        };
        // What is gone by now, or is the same by itself, as a label of the folder.
        let Some(own) = value(&old).filter(|own| value(new).as_ref() != Some(own)) else {
            continue;
        };
        if fsetxattr(new, name.as_str(), &own, XattrFlags::empty()).is_err() {
            return Err(name);
        }
    }
    Ok(())
}

/// The most that Linux keeps of an attribute or of a list of names.
#[cfg(any(target_os = "linux", target_os = "android", target_os = "macos"))]
const LONGEST: usize = 64 * 1024;

#[cfg(any(target_os = "linux", target_os = "android", target_os = "macos"))]
fn names(file: &File) -> Vec<String> {
    let mut list = vec![0_u8; LONGEST];
    let Ok(length) = rustix::fs::flistxattr(file, &mut list[..]) else {
        return Vec::new();
    };
    list[..length]
        .split(|&byte| byte == 0)
        .filter(|name| !name.is_empty())
        .map(|name| String::from_utf8_lossy(name).into_owned())
        .collect()
}

/// Elsewhere files have none that this program knows of.
#[cfg(not(any(target_os = "linux", target_os = "android", target_os = "macos")))]
pub(super) fn keep(_old: &Path, _new: &File) -> Result<(), String> {
    Ok(())
}
