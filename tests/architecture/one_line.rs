//! A piece of Rust on one line, written the same however its source is broken into lines.

use proc_macro2::{Delimiter, Spacing, TokenStream, TokenTree};
use quote::ToTokens;
use syn::{Fields, Generics, Visibility};

/// After these stands no space.
const OPENS: &[&str] = &["(", "[", "<", "&", "::", "#", "!", "?"];

/// Before these stands no space.
const CLOSES: &[&str] = &[")", "]", ">", ",", ";", ":", "::", "?", "."];

/// Tokens as people write them.
pub fn one_line(tokens: &impl ToTokens) -> String {
    let mut words = Vec::new();
    split(tokens.to_token_stream(), &mut words);
    let mut line = String::new();
    let mut last = "";
    for word in &words {
        if spaced(last, word) {
            line.push(' ');
        }
        line.push_str(word);
        last = word;
    }
    line
}

/// Parameters and conditions of an item: what stands after its name, and what stands at its end.
pub fn generics(generics: &Generics) -> (String, String) {
    let conditions = generics
        .where_clause
        .as_ref()
        .map(one_line)
        .map(|text| format!(" {text}"));
    (one_line(generics), conditions.unwrap_or_default())
}

/// Fields that whoever uses the item sees; `..` stands for the others.
pub fn fields(fields: &Fields, all: bool) -> String {
    let mut shown: Vec<String> = Vec::new();
    let mut hidden = false;
    for field in fields {
        if !all && !matches!(field.vis, Visibility::Public(_)) {
            hidden = true;
            continue;
        }
        let sight = if all { "" } else { "pub " };
        let name = field.ident.as_ref().map(|name| format!("{name}: "));
        let name = name.unwrap_or_default();
        shown.push(format!("{sight}{name}{}", one_line(&field.ty)));
    }
    shown.extend(hidden.then(|| "..".to_owned()));
    match fields {
        Fields::Named(_) => format!(" {{ {} }}", shown.join(", ")),
        Fields::Unnamed(_) => format!("({})", shown.join(", ")),
        Fields::Unit => String::new(),
    }
}

/// Words of a text; signs that belong together, as in `->`, are one.
fn split(tokens: TokenStream, words: &mut Vec<String>) {
    let mut joined = false;
    for token in tokens {
        let join = std::mem::take(&mut joined);
        let word = match token {
            TokenTree::Group(group) => {
                let (open, close) = match group.delimiter() {
                    Delimiter::Parenthesis => ("(", ")"),
                    Delimiter::Bracket => ("[", "]"),
                    Delimiter::Brace => ("{", "}"),
                    Delimiter::None => ("", ""),
                };
                words.push(open.to_owned());
                split(group.stream(), words);
                close.to_owned()
            }
            TokenTree::Punct(sign) => {
                // `>` and `&` stay apart from what follows them, as in `Vec<Option<T>>` and `&'a T`.
                joined = sign.spacing() == Spacing::Joint && !"><&".contains(sign.as_char());
                sign.as_char().to_string()
            }
            TokenTree::Ident(name) => name.to_string(),
            TokenTree::Literal(value) => value.to_string(),
        };
        match words.last_mut().filter(|_| join) {
            Some(last) => last.push_str(&word),
            None => words.push(word),
        }
    }
    words.retain(|word| !word.is_empty());
}

fn spaced(last: &str, word: &str) -> bool {
    let named = |text: &str| text.ends_with(|sign: char| sign.is_alphanumeric() || sign == '_');
    if last.is_empty() || OPENS.contains(&last) || CLOSES.contains(&word) {
        return false;
    }
    match word {
        "(" => !named(last) && last != ">",
        "<" => !named(last),
        _ => true,
    }
}

#[test]
fn pieces_read_as_people_write_them() {
    for text in [
        "pub fn load_path(path: &Path) -> Loaded",
        "fn run_some<'n>(network: &'n Network<'n>, wanted: impl Fn(Area) -> bool) -> Vec<Option<Finding>>",
        "fn all(&self) -> impl Iterator<Item = (&'static str, [u8; 3])> + '_",
        "fn rows(done: &mut dyn FnMut(usize, usize), end: boundwalk_model::SegmentId)",
        "fn never(self) -> !",
    ] {
        let parsed: TokenStream = text.parse().expect("tokens");
        assert_eq!(one_line(&parsed), text);
    }
}
