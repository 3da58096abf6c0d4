//! Every item that a user of the library can reach, a line each:
//! `cargo run --example public_api > docs/api.txt`.
//!
//! The sources are read from `src/lib.rs` on, along `pub mod` and `pub use`. Types in signatures
//! stand as the sources write them.

#[path = "public_api/item.rs"]
mod item;

use item::{attributes, constant, derived, field, is_hidden, is_pub, is_public};
use item::{name_and_visibility, of_impl, of_trait, tidy, trait_line, variant, with_generics};
use quote::ToTokens;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::Path;
use syn::{Item, ItemEnum, ItemImpl, UseTree};

#[allow(clippy::print_stdout, dead_code)]
fn main() -> Result<(), String> {
    print!("{}", page(Path::new(env!("CARGO_MANIFEST_DIR")))?);
    Ok(())
}

/// The items of each module by its path in the sources.
type Modules = BTreeMap<Vec<String>, Vec<Item>>;

/// The lines of a crate's folder, sorted.
pub fn page(root: &Path) -> Result<String, String> {
    let (src, mut modules) = (root.join("src"), Modules::new());
    load(&src.join("lib.rs"), &src, &[], &mut modules)?;
    let mut walk = Walk { modules: &modules, impls: HashMap::new(), lines: BTreeSet::new() };
    walk.gather_impls();
    walk.module(&[], "");
    walk.macros();
    Ok(walk.lines.into_iter().map(|line| line + "\n").collect())
}

fn load(file: &Path, dir: &Path, at: &[String], all: &mut Modules) -> Result<(), String> {
    let wrong = |e: &dyn std::fmt::Display| format!("{}: {e}", file.display());
    let text = std::fs::read_to_string(file).map_err(|e| wrong(&e))?;
    keep(syn::parse_file(&text).map_err(|e| wrong(&e))?.items, dir, at, all)
}

/// Keeps the items of a module, and loads the modules in it.
fn keep(mut items: Vec<Item>, dir: &Path, at: &[String], all: &mut Modules) -> Result<(), String> {
    items.retain(|item| !is_hidden(attributes(item)));
    for item in &mut items {
        let Item::Mod(module) = item else { continue };
        let name = module.ident.to_string();
        let (within, below) = (joined(at, &name), dir.join(&name));
        if let Some((_, items)) = module.content.take() {
            keep(items, &below, &within, all)?;
            continue;
        }
        let beside = dir.join(format!("{name}.rs"));
        let file = if beside.exists() { beside } else { below.join("mod.rs") };
        load(&file, &below, &within, all)?;
    }
    all.insert(at.to_vec(), items);
    Ok(())
}

/// Uses that are followed one after the other; those that lead round in a circle end there.
const MOST_USES: usize = 8;

struct Walk<'t> {
    modules: &'t Modules,
    /// What is implemented for a type.
    impls: HashMap<*const Item, Vec<&'t ItemImpl>>,
    lines: BTreeSet<String>,
}

impl<'t> Walk<'t> {
    /// The items that a path means in a module, and the module of each.
    fn named(&self, at: &[String], path: &[String], uses: usize) -> Vec<(Vec<String>, &'t Item)> {
        let (Some((first, rest)), Some(items)) = (path.split_first(), self.modules.get(at)) else {
            return Vec::new();
        };
        match first.as_str() {
            "crate" => return self.named(&[], rest, uses),
            "self" => return self.named(at, rest, uses),
            "super" => return self.named(&at[..at.len().saturating_sub(1)], rest, uses),
            _ => {}
        }
        let mut found = Vec::new();
        for item in items {
            let is_it = name_and_visibility(item).is_some_and(|(name, _)| name == *first);
            match item {
                Item::Use(used) if uses > 0 => {
                    for (from, name) in leaves(&used.tree) {
                        if name.as_ref().is_none_or(|name| name == first) {
                            let rest = if name.is_none() { path } else { rest };
                            found.extend(self.named(at, &[&from, rest].concat(), uses - 1));
                        }
                    }
                }
                _ if is_it && rest.is_empty() => found.push((at.to_vec(), item)),
                Item::Mod(_) if is_it => found.extend(self.named(&joined(at, first), rest, uses)),
                _ => {}
            }
        }
        found
    }

    /// Puts each `impl` to the first type of ours in it, unless something in it is not public.
    fn gather_impls(&mut self) {
        for (at, items) in self.modules {
            for item in items {
                let Item::Impl(block) = item else { continue };
                let of = block.trait_.as_ref().map(|(of, _)| of).to_token_stream();
                let text = format!("{} {}", tidy(&block.self_ty), tidy(&of));
                let paths = text.split(|c: char| !(c.is_alphanumeric() || "_:".contains(c)));
                let path = |p: &str| p.split("::").map(String::from).collect::<Vec<_>>();
                let ours: Vec<&Item> =
                    paths.flat_map(|p| self.named(at, &path(p), MOST_USES)).map(|f| f.1).collect();
                let ty = ours.iter().find(|i| matches!(i, Item::Struct(_) | Item::Enum(_)));
                if let Some(ty) = ty.filter(|_| ours.iter().all(|i| is_public(i))) {
                    self.impls.entry(std::ptr::from_ref(*ty)).or_default().push(block);
                }
            }
        }
    }

    /// All that is public in a module, as it is reached by a path.
    fn module(&mut self, at: &[String], path: &str) {
        for item in self.modules.get(at).into_iter().flatten() {
            match (item, name_and_visibility(item)) {
                (_, Some((name, vis))) if is_pub(vis) => self.item(at, item, &below(path, &name)),
                (Item::Use(used), _) if is_pub(&used.vis) => {
                    for (from, name) in leaves(&used.tree) {
                        self.used(at, &from, name, path);
                    }
                }
                _ => {}
            }
        }
    }

    /// What one leaf of a `pub use` brings in; of a glob it has no name.
    fn used(&mut self, at: &[String], from: &[String], name: Option<String>, path: &str) {
        let mut found = self.named(at, from, MOST_USES);
        found.retain(|(_, item)| name.is_none() || is_public(item));
        if found.is_empty() {
            // From another crate.
            let shown = name.as_deref().unwrap_or("*");
            self.lines.insert(format!("{}: use {}", below(path, shown), from.join("::")));
        }
        for (at, item) in found {
            match (&name, item) {
                (Some(name), _) => self.item(&at, item, &below(path, name)),
                (None, Item::Mod(of)) => self.module(&joined(&at, &of.ident.to_string()), path),
                (None, Item::Enum(of)) => self.variants(of, path),
                _ => {}
            }
        }
    }

    /// An item and what is public in it.
    fn item(&mut self, at: &[String], item: &Item, path: &str) {
        let line = match item {
            Item::Const(i) => constant(&i.ident, &i.ty),
            Item::Type(i) => {
                format!("type {} = {}", with_generics(&i.ident, &i.generics), tidy(&i.ty))
            }
            Item::Fn(i) => tidy(&i.sig),
            Item::Mod(i) => {
                self.module(&joined(at, &i.ident.to_string()), path);
                format!("mod {}", i.ident)
            }
            Item::Struct(i) => {
                self.members(i.fields.iter().enumerate().filter_map(field), path);
                let all = i.fields.iter().enumerate().all(|f| field(f).is_some());
                let rest = if all { "" } else { " { .. }" };
                let name = with_generics(&i.ident, &i.generics);
                format!("struct {name}{rest}{}", derived(&i.attrs))
            }
            Item::Enum(i) => {
                self.variants(i, path);
                format!("enum {}{}", with_generics(&i.ident, &i.generics), derived(&i.attrs))
            }
            Item::Trait(i) => {
                self.members(i.items.iter().filter_map(of_trait), path);
                let above = tidy(&i.supertraits);
                let above = if above.is_empty() { above } else { format!(": {above}") };
                format!("trait {}{above}", with_generics(&i.ident, &i.generics))
            }
            _ => return,
        };
        self.lines.insert(format!("{path}: {line}"));
        for block in self.impls.get(&std::ptr::from_ref(item)).cloned().unwrap_or_default() {
            match trait_line(block) {
                Some(line) => _ = self.lines.insert(format!("{path}: {line}")),
                None => self.members(block.items.iter().filter_map(of_impl), path),
            }
        }
    }

    fn members(&mut self, all: impl Iterator<Item = (String, String)>, path: &str) {
        self.lines.extend(all.map(|(name, line)| format!("{}: {line}", below(path, &name))));
    }

    fn variants(&mut self, of: &ItemEnum, path: &str) {
        self.members(of.variants.iter().filter_map(variant), path);
    }

    /// Exported macros: they are reached from the root, however private their modules are.
    fn macros(&mut self) {
        for item in self.modules.values().flatten() {
            if let Item::Macro(syn::ItemMacro { attrs, ident: Some(name), .. }) = item
                && attrs.iter().any(|a| a.path().is_ident("macro_export"))
            {
                self.lines.insert(format!("{name}: macro {name}!"));
            }
        }
    }
}

/// Each name that a use brings in, `None` for all names, and the whole path that it stands for.
fn leaves(tree: &UseTree) -> Vec<(Vec<String>, Option<String>)> {
    let one = |from: String, name: String| vec![(vec![from], Some(name))];
    match tree {
        UseTree::Path(at) => {
            let first = at.ident.to_string();
            let mut all = leaves(&at.tree);
            for (path, name) in &mut all {
                // `a::{self}` is `a`.
                if path.first().is_some_and(|p| p == "self") {
                    path.remove(0);
                    *name = name.take().map(|n| if n == "self" { first.clone() } else { n });
                }
                path.insert(0, first.clone());
            }
            all
        }
        UseTree::Name(at) => one(at.ident.to_string(), at.ident.to_string()),
        UseTree::Rename(at) => one(at.ident.to_string(), at.rename.to_string()),
        UseTree::Glob(_) => vec![(Vec::new(), None)],
        UseTree::Group(group) => group.items.iter().flat_map(leaves).collect(),
    }
}

fn joined(at: &[String], name: &str) -> Vec<String> {
    at.iter().cloned().chain([name.to_string()]).collect()
}

fn below(path: &str, name: &str) -> String {
    if path.is_empty() { name.to_string() } else { format!("{path}::{name}") }
}
