//! An archive that a kernel unpacks as its first file system: the "newc" form (Linux,
//! Documentation/driver-api/early-userspace/buffer-format.rst).

/// The archive so far.
#[derive(Default)]
pub struct Archive {
    bytes: Vec<u8>,
    entries: u32,
}

/// What an entry is, in the bits of `mode`.
const FOLDER: u32 = 0o040_000;
const FILE: u32 = 0o100_000;
const LINK: u32 = 0o120_000;

impl Archive {
    pub fn folder(&mut self, name: &str) {
        self.entry(name, FOLDER | 0o755, 0, &[]);
    }

    /// `seconds`: when it was last written; compiled Python is valid for that time only.
    pub fn file(&mut self, name: &str, mode: u32, seconds: u32, data: &[u8]) {
        self.entry(name, FILE | mode, seconds, data);
    }

    pub fn link(&mut self, name: &str, target: &str) {
        self.entry(name, LINK | 0o777, 0, target.as_bytes());
    }

    /// The bytes, closed. Archives may follow each other.
    pub fn close(mut self) -> Vec<u8> {
        self.entry("TRAILER!!!", 0, 0, &[]);
        self.bytes
    }

    fn entry(&mut self, name: &str, mode: u32, seconds: u32, data: &[u8]) {
        self.entries += 1;
        let size = u32::try_from(data.len()).expect("a file below 4 GiB");
        let name_size = name.len() as u32 + 1;
        let fields = [
            self.entries,
            mode,
            0,
            0,
            1,
            seconds,
            size,
            0,
            0,
            0,
            0,
            name_size,
            0,
        ];
        self.bytes.extend(b"070701");
        for field in fields {
            self.bytes.extend(format!("{field:08x}").bytes());
        }
        self.bytes.extend(name.bytes());
        self.bytes.push(0);
        self.pad();
        self.bytes.extend(data);
        self.pad();
    }

    fn pad(&mut self) {
        self.bytes.resize(self.bytes.len().next_multiple_of(4), 0);
    }
}
