//! The text of a site as a list of its tables.

/// One table with its header and lines, or what stands before the first header.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Block {
    /// As `[hosts.till]` or `[[links]]`; empty before the first header.
    pub header: String,
    /// Key lines.
    pub lines: Vec<String>,
}

impl Block {
    /// Names of the header's path: `gateways`, `edge`, `rules`.
    pub fn path(&self) -> Vec<&str> {
        let name = self.header.trim_matches(['[', ']']);
        name.split('.').collect()
    }

    /// The thing that it is a part of: `gateways.edge`, or `links`.
    pub fn thing(&self) -> String {
        let path = self.path();
        path[..path.len().min(2)].join(".")
    }

    /// Whether it is a line of an ordered list of a gateway.
    pub fn is_rule(&self) -> bool {
        let path = self.path();
        path.len() == 3 && path[0] == "gateways" && path[2] == "rules"
    }

    /// The value of a key, as it is written.
    pub fn value(&self, key: &str) -> Option<&str> {
        let mut lines = self.lines.iter();
        lines.find_map(|line| line.strip_prefix(key)?.trim_start().strip_prefix("= "))
    }
}

/// The tables of a text. No value in drawn sites goes over several lines.
pub fn blocks(text: &str) -> Vec<Block> {
    let mut blocks: Vec<Block> = Vec::new();
    for line in text.lines() {
        let line = line.to_owned();
        match blocks.last_mut() {
            _ if line.starts_with('[') => blocks.push(Block {
                header: line,
                lines: Vec::new(),
            }),
            Some(last) => last.lines.push(line),
            None => blocks.push(Block {
                header: String::new(),
                lines: vec![line],
            }),
        }
    }
    blocks
}

/// The text of some tables.
pub fn joined(blocks: &[Block]) -> String {
    let mut text = String::new();
    for block in blocks {
        let header = std::iter::once(&block.header).filter(|header| !header.is_empty());
        for line in header.chain(&block.lines) {
            text.push_str(line);
            text.push('\n');
        }
    }
    text
}
