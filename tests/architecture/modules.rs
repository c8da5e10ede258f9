//! The modules of a floor, read with a parser: what each file defines, what it takes from where.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use proc_macro2::{TokenStream, TokenTree};
use syn::visit::{self, Visit};
use syn::{Attribute, Item, ItemImpl, UseTree, Visibility};

/// Names from the root of a floor to a module; none for the root.
pub type Names = Vec<String>;

/// A module: of a file, or in braces within one.
#[derive(Default)]
pub struct Module {
    file: PathBuf,
    children: BTreeSet<String>,
    /// Children that whoever uses the floor sees.
    pub open: BTreeSet<String>,
    pub items: BTreeMap<String, Item>,
    pub impls: Vec<ItemImpl>,
    /// Names that `pub use` hands on.
    pub handed: BTreeSet<String>,
    /// Names that a `use` brings in, with the path that it names.
    pub uses: BTreeMap<String, Names>,
    globs: Vec<Names>,
    /// Every path that the code names, but for what `pub use` hands on.
    paths: Vec<Names>,
}

/// Files, and what of them is named.
pub type Imports<'a> = BTreeMap<&'a Path, BTreeSet<String>>;

/// All modules of a floor.
pub struct Floor {
    modules: BTreeMap<Names, Module>,
}

impl Floor {
    /// Reads a floor from its `lib.rs`; code for tests is left out.
    pub fn read(folder: &Path) -> Self {
        let mut floor = Self {
            modules: BTreeMap::new(),
        };
        floor.file(&folder.join("lib.rs"), folder, Vec::new());
        floor
    }

    fn file(&mut self, file: &Path, folder: &Path, names: Names) {
        let text = fs::read_to_string(file).expect("a source file");
        let parsed = syn::parse_file(&text).expect("Rust that compiles");
        self.module(file, folder, names, &parsed.items);
    }

    fn module(&mut self, file: &Path, folder: &Path, names: Names, items: &[Item]) {
        let mut module = Module {
            file: file.to_owned(),
            ..Module::default()
        };
        for item in items.iter().filter(|item| !for_tests(attributes(item))) {
            match item {
                Item::Mod(child) => {
                    let name = child.ident.to_string();
                    module.children.insert(name.clone());
                    if matches!(child.vis, Visibility::Public(_)) {
                        module.open.insert(name.clone());
                    }
                    let below = [&names[..], std::slice::from_ref(&name)].concat();
                    let inner = folder.join(&name);
                    match &child.content {
                        Some((_, items)) => self.module(file, &inner, below, items),
                        None => {
                            let flat = folder.join(format!("{name}.rs"));
                            let own = if flat.exists() {
                                flat
                            } else {
                                inner.join("mod.rs")
                            };
                            self.file(&own, &inner, below);
                        }
                    }
                }
                Item::Use(item) => {
                    let handed_on = !matches!(item.vis, Visibility::Inherited);
                    let known: BTreeSet<String> = module.uses.keys().cloned().collect();
                    module.take(&item.tree, &mut Vec::new(), handed_on);
                    if matches!(item.vis, Visibility::Public(_)) {
                        let new = module.uses.keys().filter(|name| !known.contains(*name));
                        module.handed.extend(new.cloned());
                    }
                }
                other => {
                    Paths(&mut module.paths).visit_item(other);
                    match other {
                        Item::Impl(block) => module.impls.push(block.clone()),
                        other => module
                            .items
                            .extend(name(other).map(|name| (name, other.clone()))),
                    }
                }
            }
        }
        self.modules.insert(names, module);
    }

    /// A module by its names.
    pub fn module_of(&self, names: &[String]) -> &Module {
        &self.modules[names]
    }

    /// All modules, with their names.
    pub fn modules(&self) -> impl Iterator<Item = (&Names, &Module)> {
        self.modules.iter()
    }

    /// Files, and for each the files whose items it names, with those items.
    pub fn imports(&self) -> BTreeMap<&Path, Imports<'_>> {
        let mut imports: BTreeMap<&Path, Imports<'_>> = BTreeMap::new();
        for (names, module) in &self.modules {
            let own = imports.entry(&module.file).or_default();
            for path in &module.paths {
                let file = self.place_of(names, path, 0);
                let file = file.map(|(place, _)| self.modules[&place].file.as_path());
                if let Some(file) = file.filter(|file| *file != module.file) {
                    own.entry(file).or_default().insert(path.join("::"));
                }
            }
        }
        imports
    }

    /// Every path that is named, with the file that names it.
    pub fn paths(&self) -> impl Iterator<Item = (&Path, &Names)> {
        self.modules.values().flat_map(|module| {
            module
                .paths
                .iter()
                .map(|path| (module.file.as_path(), path))
        })
    }

    /// The module that defines what a path names within this floor, and the name that the item has there.
    pub fn place_of(
        &self,
        names: &[String],
        path: &[String],
        depth: usize,
    ) -> Option<(Names, String)> {
        let (mut at, mut inside) = (names.to_vec(), false);
        if depth > 16 {
            return None;
        }
        for (number, part) in path.iter().enumerate() {
            let module = self.modules.get(&at)?;
            match part.as_str() {
                "crate" => at.clear(),
                "self" => {}
                "super" => drop(at.pop()),
                part if module.children.contains(part) => at.push(part.to_owned()),
                part if module.items.contains_key(part) => return Some((at, part.to_owned())),
                part => {
                    let rest = &path[number + 1..];
                    if let Some(target) = module.uses.get(part) {
                        return self.place_of(&at, &[target, rest].concat(), depth + 1);
                    }
                    let globs = if inside || number == 0 {
                        &module.globs[..]
                    } else {
                        &[]
                    };
                    let name = [&[part.to_owned()], rest].concat();
                    return globs.iter().find_map(|glob| {
                        self.place_of(&at, &[&glob[..], &name].concat(), depth + 1)
                    });
                }
            }
            inside = true;
        }
        // A path that ends at a module names nothing that is used.
        None
    }
}

impl Module {
    fn take(&mut self, tree: &UseTree, path: &mut Names, handed_on: bool) {
        match tree {
            UseTree::Path(part) => {
                path.push(part.ident.to_string());
                self.take(&part.tree, path, handed_on);
                path.pop();
            }
            UseTree::Name(name) => self.bring(
                &name.ident.to_string(),
                &name.ident.to_string(),
                path,
                handed_on,
            ),
            UseTree::Rename(name) => self.bring(
                &name.rename.to_string(),
                &name.ident.to_string(),
                path,
                handed_on,
            ),
            UseTree::Glob(_) => self.globs.push(path.clone()),
            UseTree::Group(group) => group
                .items
                .iter()
                .for_each(|tree| self.take(tree, path, handed_on)),
        }
    }

    fn bring(&mut self, name: &str, item: &str, path: &Names, handed_on: bool) {
        let mut full = path.clone();
        // `use a::b::{self}` brings in `b`.
        let own = item == "self";
        if !own {
            full.push(item.to_owned());
        }
        let name = if own {
            path.last().map_or(name, String::as_str)
        } else {
            name
        };
        self.uses.insert(name.to_owned(), full.clone());
        if !handed_on {
            self.paths.push(full);
        }
    }
}

/// Collects paths of more than one part, those in macros too.
struct Paths<'a>(&'a mut Vec<Names>);

impl<'ast> Visit<'ast> for Paths<'_> {
    fn visit_path(&mut self, path: &'ast syn::Path) {
        self.0.push(
            path.segments
                .iter()
                .map(|part| part.ident.to_string())
                .collect(),
        );
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, mac: &'ast syn::Macro) {
        self.tokens(mac.tokens.clone());
        visit::visit_macro(self, mac);
    }

    fn visit_item(&mut self, item: &'ast Item) {
        if !for_tests(attributes(item)) {
            visit::visit_item(self, item);
        }
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        // Within a function: what it brings in is named there.
        let mut module = Module::default();
        module.take(&item.tree, &mut Vec::new(), false);
        self.0.extend(module.paths);
    }
}

impl Paths<'_> {
    fn tokens(&mut self, tokens: TokenStream) {
        let mut path: Names = Vec::new();
        let mut colons = 0;
        for token in tokens {
            match token {
                TokenTree::Punct(mark) if mark.as_char() == ':' => colons += 1,
                TokenTree::Ident(part) => {
                    if colons != 2 {
                        self.0.push(std::mem::take(&mut path));
                    }
                    path.push(part.to_string());
                    colons = 0;
                }
                other => {
                    self.0.push(std::mem::take(&mut path));
                    colons = 0;
                    if let TokenTree::Group(group) = other {
                        self.tokens(group.stream());
                    }
                }
            }
        }
        self.0.push(path);
    }
}

fn for_tests(attributes: &[Attribute]) -> bool {
    let test = |attribute: &Attribute| {
        let list = attribute.meta.require_list();
        attribute.path().is_ident("cfg") && list.is_ok_and(|list| list.tokens.to_string() == "test")
    };
    attributes.iter().any(test)
}

fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Mod(item) => &item.attrs,
        Item::Use(item) => &item.attrs,
        Item::Fn(item) => &item.attrs,
        Item::Impl(item) => &item.attrs,
        _ => &[],
    }
}

fn name(item: &Item) -> Option<String> {
    Some(match item {
        Item::Const(item) => item.ident.to_string(),
        Item::Enum(item) => item.ident.to_string(),
        Item::Fn(item) => item.sig.ident.to_string(),
        Item::Macro(item) => item.ident.as_ref()?.to_string(),
        Item::Static(item) => item.ident.to_string(),
        Item::Struct(item) => item.ident.to_string(),
        Item::Trait(item) => item.ident.to_string(),
        Item::Type(item) => item.ident.to_string(),
        _ => return None,
    })
}
