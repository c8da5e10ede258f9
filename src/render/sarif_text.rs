//! Texts and addresses as SARIF 2.1.0 wants them.

use std::path::{Component, Path, PathBuf};

use super::text::escape_control;

/// A text in which nothing is taken for a placeholder or a link: braces are doubled (3.11.5), and the bracket
/// that could end the text of a link is escaped (3.11.6). Marks that turn the direction of text are spelled out.
pub(super) fn message_text(text: &str) -> String {
    let text = text
        .split('\n')
        .map(escape_control)
        .collect::<Vec<_>>()
        .join("\n");
    let braced = text.replace('{', "{{").replace('}', "}}");
    braced.replace("](", "\\](")
}

/// The address of a file, relative to a folder where that can be said, with forward slashes; all but plain
/// characters are percent-encoded (RFC 3986, section 2).
pub(super) fn artifact_uri(name: &str, here: &Path) -> String {
    let path = Path::new(name);
    let relative = if path.is_absolute() {
        relative_to(path, here)
    } else {
        path.to_owned()
    };
    let parts = relative.components().filter_map(|part| match part {
        Component::Normal(part) => Some(encoded(&part.to_string_lossy())),
        Component::ParentDir => Some("..".to_owned()),
        Component::CurDir | Component::RootDir | Component::Prefix(_) => None,
    });
    parts.collect::<Vec<_>>().join("/")
}

/// The way from a folder to a file, both absolute.
fn relative_to(path: &Path, here: &Path) -> PathBuf {
    let own: Vec<Component<'_>> = path.components().collect();
    let base: Vec<Component<'_>> = here.components().collect();
    let shared = own
        .iter()
        .zip(&base)
        .take_while(|(one, other)| one == other)
        .count();
    // From another drive, or from nowhere, only the name is left.
    let prefixes = base.len() - shared;
    if shared == 0 {
        return path.file_name().map(PathBuf::from).unwrap_or_default();
    }
    let up = std::iter::repeat_n(Component::ParentDir, prefixes);
    up.chain(own[shared..].iter().copied()).collect()
}

fn encoded(part: &str) -> String {
    let mut out = String::with_capacity(part.len());
    for byte in part.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                out.push(char::from(byte));
            }
            other => out.push_str(&format!("%{other:02X}")),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_taken_for_a_placeholder_or_a_link() {
        assert_eq!(message_text("use {0} [a](1)"), "use {{0}} [a\\](1)");
        assert_eq!(message_text("a\u{202e}b\nc"), "a\\u{{202e}}b\nc");
        assert_eq!(message_text("<script> \"x\" [y]"), "<script> \"x\" [y]");
    }

    #[cfg(unix)]
    #[test]
    fn addresses_are_relative_and_encoded() {
        let here = Path::new("/srv/plant");
        for (name, uri) in [
            ("site.toml", "site.toml"),
            ("./sites/a b.toml", "sites/a%20b.toml"),
            ("../other/site.toml", "../other/site.toml"),
            ("/srv/plant/sites/site.toml", "sites/site.toml"),
            ("/srv/office/site.toml", "../office/site.toml"),
            ("a:b/100%.toml", "a%3Ab/100%25.toml"),
            ("bräu/<x>?#.toml", "br%C3%A4u/%3Cx%3E%3F%23.toml"),
        ] {
            assert_eq!(artifact_uri(name, here), uri, "{name}");
        }
    }
}
