//! Names that look alike, told apart by their letters.

use unicode_security::skeleton;

/// A question for the name that was meant; of one that looks the same, with the letter that differs.
pub fn meant(word: &str, candidate: &str) -> String {
    let same = skeleton(word).eq(skeleton(candidate));
    if same {
        format!(
            "did you mean `{candidate}`? It looks the same{}",
            difference(word, candidate)
        )
    } else {
        format!("did you mean `{candidate}`?")
    }
}

/// The first letters that differ, by their numbers: on a screen they are the same.
pub(super) fn difference(name: &str, other: &str) -> String {
    let mut letters = name.chars().zip(other.chars());
    let differ = letters.find(|(own, other)| own != other);
    differ.map_or_else(String::new, |(own, other)| {
        format!(": U+{:04X} here, U+{:04X} there", own as u32, other as u32)
    })
}
