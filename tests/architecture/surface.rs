//! What the library offers: each item that the root package hands on, a line each, held against a kept list.
//!
//! A line that goes or changes breaks somebody's code; one that comes is a promise. Both show in a review, by the change
//! of the list. With `BOUNDWALK_GOLDEN=write` the list is written anew.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use syn::{Attribute, ImplItem, Item, ItemImpl, Signature, Type, UseTree, Visibility};

use super::modules::{Floor, Names};
use super::one_line::{fields, generics, one_line};

/// A floor while its lines are gathered.
struct Listing<'f> {
    floor: &'f Floor,
    /// What the root package calls the floor.
    root: String,
    lines: BTreeSet<String>,
}

impl Listing<'_> {
    fn module(&mut self, names: &Names) {
        let module = self.floor.module_of(names);
        let path = self.path(names);
        for (name, item) in &module.items {
            if matches!(visibility(item), Some(Visibility::Public(_))) {
                self.item(&format!("{path}::{name}"), (names, name));
            }
        }
        for name in &module.handed {
            let from = &module.uses[name];
            let place = self.floor.place_of(names, from, 0);
            let (home, own) =
                place.unwrap_or_else(|| panic!("{path} hands on {name}, which nothing defines"));
            if self.open(&home) {
                let line = format!("{path}::{name}: pub use {}::{own}", self.path(&home));
                self.lines.insert(line);
            } else {
                self.item(&format!("{path}::{name}"), (&home, &own));
            }
        }
        for child in &module.open {
            let below = [&names[..], std::slice::from_ref(child)].concat();
            self.lines
                .insert(format!("{}: pub mod {child}", self.path(&below)));
            self.module(&below);
        }
    }

    fn path(&self, names: &[String]) -> String {
        std::iter::once(&self.root)
            .chain(names)
            .map(String::as_str)
            .collect::<Vec<_>>()
            .join("::")
    }

    /// Whether a module can be named from outside.
    fn open(&self, names: &[String]) -> bool {
        (0..names.len()).all(|depth| {
            let above = self.floor.module_of(&names[..depth]);
            above.open.contains(&names[depth])
        })
    }

    fn item(&mut self, path: &str, (home, name): (&Names, &str)) {
        let item = &self.floor.module_of(home).items[name];
        self.lines.insert(format!("{path}: {}", described(item)));
        if let Item::Trait(item) = item {
            for part in &item.items {
                self.lines.insert(format!("{path}: {}", one_line(part)));
            }
        }
        for (names, module) in self.floor.modules() {
            for block in &module.impls {
                if self.about(names, block, (home, name)) {
                    self.lines.extend(offered(path, block));
                }
            }
        }
    }

    /// Whether an `impl` is of the type that a module defines under a name.
    fn about(&self, names: &Names, block: &ItemImpl, (home, name): (&Names, &str)) -> bool {
        let Type::Path(own) = &*block.self_ty else {
            return false;
        };
        let parts: Names = own
            .path
            .segments
            .iter()
            .map(|part| part.ident.to_string())
            .collect();
        self.floor.place_of(names, &parts, 0) == Some((home.clone(), name.to_owned()))
    }
}

/// A function without what it does. Whether its last parameter ends in a comma is a matter of line breaks.
fn signature(written: &Signature) -> String {
    let mut written = written.clone();
    written.inputs.pop_punct();
    written.generics.params.pop_punct();
    one_line(&written)
}

/// An item without what it does.
fn described(item: &Item) -> String {
    match item {
        Item::Fn(item) => format!("{}pub {}", marks(&item.attrs), signature(&item.sig)),
        Item::Const(item) => format!("pub const {}: {}", item.ident, one_line(&item.ty)),
        Item::Static(item) => format!("pub static {}: {}", item.ident, one_line(&item.ty)),
        Item::Type(item) => {
            let (after, _) = generics(&item.generics);
            format!("pub type {}{after} = {}", item.ident, one_line(&item.ty))
        }
        Item::Trait(item) => {
            let (after, end) = generics(&item.generics);
            format!("{}pub trait {}{after}{end}", marks(&item.attrs), item.ident)
        }
        Item::Struct(item) => {
            let (after, end) = generics(&item.generics);
            let fields = fields(&item.fields, false);
            let marks = marks(&item.attrs);
            format!("{marks}pub struct {}{after}{end}{fields}", item.ident)
        }
        Item::Enum(item) => {
            let (after, end) = generics(&item.generics);
            let variants = item
                .variants
                .iter()
                .map(|variant| format!("{}{}", variant.ident, fields(&variant.fields, true)));
            let variants: Vec<String> = variants.collect();
            format!(
                "{}pub enum {}{after}{end} {{ {} }}",
                marks(&item.attrs),
                item.ident,
                variants.join(", ")
            )
        }
        _ => panic!(
            "an item of a kind that this list does not know: {}",
            one_line(item)
        ),
    }
}

/// Lines of an `impl`: that of a trait is one line, others have a line for each part that can be called.
fn offered(path: &str, block: &ItemImpl) -> Vec<String> {
    if let Some((_, of, _)) = &block.trait_ {
        let (after, end) = generics(&block.generics);
        let own = one_line(&block.self_ty);
        return vec![format!(
            "{path}: impl{after} {} for {own}{end}",
            one_line(of)
        )];
    }
    let mut lines = Vec::new();
    for part in &block.items {
        match part {
            ImplItem::Fn(part) if matches!(part.vis, Visibility::Public(_)) => lines.push(format!(
                "{path}::{}: {}pub {}",
                part.sig.ident,
                marks(&part.attrs),
                signature(&part.sig)
            )),
            ImplItem::Const(part) if matches!(part.vis, Visibility::Public(_)) => {
                lines.push(format!(
                    "{path}::{}: pub const {}",
                    part.ident,
                    one_line(&part.ty)
                ));
            }
            _ => {}
        }
    }
    lines
}

/// Attributes that make a difference to callers.
fn marks(attributes: &[Attribute]) -> String {
    let mut marks: Vec<String> = Vec::new();
    for attribute in attributes {
        let path = attribute.path();
        if path.is_ident("derive") {
            let tokens = &attribute
                .meta
                .require_list()
                .expect("a list of traits")
                .tokens;
            let line = one_line(tokens);
            let mut traits: Vec<&str> = line.split(", ").collect();
            traits.sort_unstable();
            marks.push(format!("#[derive({})] ", traits.join(", ")));
        } else if path.is_ident("non_exhaustive") || path.is_ident("must_use") {
            marks.push(format!("#[{}] ", one_line(path)));
        }
    }
    marks.concat()
}

fn visibility(item: &Item) -> Option<&Visibility> {
    Some(match item {
        Item::Const(item) => &item.vis,
        Item::Enum(item) => &item.vis,
        Item::Fn(item) => &item.vis,
        Item::Static(item) => &item.vis,
        Item::Struct(item) => &item.vis,
        Item::Trait(item) => &item.vis,
        Item::Type(item) => &item.vis,
        _ => return None,
    })
}

/// Lines of one floor, sorted.
fn surface(folder: &Path, root: &str) -> BTreeSet<String> {
    let floor = Floor::read(folder);
    let mut listing = Listing {
        floor: &floor,
        root: root.to_owned(),
        lines: BTreeSet::new(),
    };
    listing.module(&Vec::new());
    listing.lines
}

/// What the root package calls each floor, and the folder of that floor.
fn handed_on() -> Vec<(String, PathBuf)> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let text = fs::read_to_string(source.join("lib.rs")).expect("the root package");
    let parsed = syn::parse_file(&text).expect("Rust that compiles");
    let mut floors = Vec::new();
    for item in &parsed.items {
        let Item::Use(item) = item else {
            panic!("the root package defines nothing of its own");
        };
        let UseTree::Rename(floor) = &item.tree else {
            panic!("the root package hands on whole floors");
        };
        let folder = floor.ident.to_string();
        let folder = folder
            .strip_prefix("boundwalk_")
            .expect("a floor")
            .to_owned();
        floors.push((floor.rename.to_string(), source.join(folder)));
    }
    floors
}

#[test]
fn what_the_library_offers_is_kept() {
    let mut now: BTreeSet<String> = BTreeSet::new();
    for (name, folder) in handed_on() {
        let root = format!("boundwalk::{name}");
        now.insert(format!("{root}: pub mod {name}"));
        now.extend(surface(&folder, &root));
    }
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/architecture/surface.txt");
    if std::env::var("BOUNDWALK_GOLDEN").is_ok_and(|word| word == "write") {
        let lines: Vec<&str> = now.iter().map(String::as_str).collect();
        fs::write(&file, format!("{}\n", lines.join("\n"))).expect("the list can be written");
    }
    let kept = fs::read_to_string(&file).unwrap_or_default();
    let kept: BTreeSet<String> = kept.lines().map(str::to_owned).collect();
    let gone = kept.difference(&now).map(|line| format!("- {line}"));
    let come = now.difference(&kept).map(|line| format!("+ {line}"));
    let mut changes: Vec<String> = gone.chain(come).collect();
    changes.sort_by(|one, other| one[2..].cmp(&other[2..]).then(other.cmp(one)));
    assert!(
        changes.is_empty(),
        "what the library offers changed; BOUNDWALK_GOLDEN=write takes it over:\n{}",
        changes.join("\n")
    );
}

/// What the list shows of a floor: what is handed on, by the name that it has outside, and nothing else.
#[test]
fn the_list_shows_what_can_be_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        fs::write(folder.path().join(name), text).expect("a file");
    };
    write(
        "lib.rs",
        "mod a; pub mod b; pub use a::{A, f as g}; pub use b::C; pub(crate) fn hidden() {}",
    );
    write(
        "a.rs",
        "#[derive(Debug, Clone)] pub struct A { pub one: u8, two: u8 }\n\
        impl A { pub fn new(one: u8) -> Self { todo!() } fn own(&self) {} }\n\
        #[must_use] pub fn f(\n    a: &A,\n) -> u8 { a.one } pub struct Hidden;",
    );
    write(
        "b.rs",
        "pub enum C { X(u8), Y { z: super::A } } impl std::fmt::Display for C {} impl super::a::A { pub const Z: u8 = 1; }",
    );
    let expected = [
        "c::A: #[derive(Clone, Debug)] pub struct A { pub one: u8, .. }",
        "c::A::Z: pub const u8",
        "c::A::new: pub fn new(one: u8) -> Self",
        "c::C: pub use c::b::C",
        "c::b: pub mod b",
        "c::b::C: impl std::fmt::Display for C",
        "c::b::C: pub enum C { X(u8), Y { z: super::A } }",
        "c::g: #[must_use] pub fn f(a: &A) -> u8",
    ];
    let lines: Vec<String> = surface(folder.path(), "c").into_iter().collect();
    assert_eq!(lines, expected);
}
