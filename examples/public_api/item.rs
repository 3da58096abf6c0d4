//! What an item is called, whether it is public, and what its line says.

use quote::{ToTokens, quote};
use std::collections::BTreeSet;
use syn::{Attribute, Field, Generics, ImplItem, Item, ItemImpl, TraitItem, Variant, Visibility};

/// The attributes of an item.
pub fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Const(i) => &i.attrs,
        Item::Enum(i) => &i.attrs,
        Item::Fn(i) => &i.attrs,
        Item::Impl(i) => &i.attrs,
        Item::Macro(i) => &i.attrs,
        Item::Mod(i) => &i.attrs,
        Item::Struct(i) => &i.attrs,
        Item::Trait(i) => &i.attrs,
        Item::Type(i) => &i.attrs,
        Item::Use(i) => &i.attrs,
        _ => &[],
    }
}

/// The name of an item and who sees it; uses and `impl`s have none.
pub fn name_and_visibility(item: &Item) -> Option<(String, &Visibility)> {
    let (name, vis) = match item {
        Item::Const(i) => (&i.ident, &i.vis),
        Item::Enum(i) => (&i.ident, &i.vis),
        Item::Fn(i) => (&i.sig.ident, &i.vis),
        Item::Mod(i) => (&i.ident, &i.vis),
        Item::Struct(i) => (&i.ident, &i.vis),
        Item::Trait(i) => (&i.ident, &i.vis),
        Item::Type(i) => (&i.ident, &i.vis),
        _ => return None,
    };
    Some((name.to_string(), vis))
}

/// True if all see an item.
pub fn is_public(item: &Item) -> bool {
    name_and_visibility(item).is_some_and(|(_, vis)| is_pub(vis))
}

/// True of plain `pub`.
pub fn is_pub(vis: &Visibility) -> bool {
    matches!(vis, Visibility::Public(_))
}

/// Of tests, or hidden from the documentation.
pub fn is_hidden(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|a| ["cfg(test)", "doc(hidden)"].contains(&tidy(&a.meta).as_str()))
}

/// Name and line of a public field; one of a tuple is named by its number.
pub fn field((i, field): (usize, &Field)) -> Option<(String, String)> {
    let name = field.ident.as_ref().map_or(i.to_string(), ToString::to_string);
    let is_shown = is_pub(&field.vis) && !is_hidden(&field.attrs);
    is_shown.then(|| (name, format!("field {}", tidy(&field.ty))))
}

/// Name and line of a variant.
pub fn variant(of: &Variant) -> Option<(String, String)> {
    let mut bare = of.clone();
    bare.attrs.clear();
    bare.fields.iter_mut().for_each(|field| field.attrs.clear());
    (!is_hidden(&of.attrs)).then(|| (bare.ident.to_string(), format!("variant {}", tidy(&bare))))
}

/// Name and line of what a trait asks for or gives.
pub fn of_trait(of: &TraitItem) -> Option<(String, String)> {
    let (attributes, name, line) = match of {
        TraitItem::Fn(i) => {
            let given = if i.default.is_some() { " { .. }" } else { "" };
            (&i.attrs, &i.sig.ident, tidy(&i.sig) + given)
        }
        TraitItem::Const(i) => (&i.attrs, &i.ident, constant(&i.ident, &i.ty)),
        TraitItem::Type(i) => {
            (&i.attrs, &i.ident, format!("type {}: {}", i.ident, tidy(&i.bounds)))
        }
        _ => return None,
    };
    (!is_hidden(attributes)).then(|| (name.to_string(), line))
}

/// Name and line of what is public in an `impl` of no trait.
pub fn of_impl(of: &ImplItem) -> Option<(String, String)> {
    let (attributes, vis, name, line) = match of {
        ImplItem::Fn(i) => (&i.attrs, &i.vis, &i.sig.ident, tidy(&i.sig)),
        ImplItem::Const(i) => (&i.attrs, &i.vis, &i.ident, constant(&i.ident, &i.ty)),
        _ => return None,
    };
    (is_pub(vis) && !is_hidden(attributes)).then(|| (name.to_string(), line))
}

/// The line of an `impl` of a trait.
pub fn trait_line(block: &ItemImpl) -> Option<String> {
    let (of, _) = block.trait_.as_ref()?;
    let ((params, _, bounds), ty) = (block.generics.split_for_impl(), &block.self_ty);
    Some(tidy(&quote!(impl #params #of for #ty #bounds)))
}

/// The line of a constant; its value is not said.
pub fn constant(name: &syn::Ident, ty: &syn::Type) -> String {
    format!("const {name}: {}", tidy(ty))
}

/// The traits that are derived, sorted.
pub fn derived(attributes: &[Attribute]) -> String {
    let derives = attributes.iter().filter(|a| a.path().is_ident("derive"));
    let lists = derives.filter_map(|a| a.meta.require_list().ok().map(|l| tidy(&l.tokens)));
    let all = lists.collect::<Vec<_>>().join(", ");
    let names: BTreeSet<&str> = all.split(", ").filter(|n| !n.is_empty()).collect();
    let names: Vec<&str> = names.into_iter().collect();
    if names.is_empty() { String::new() } else { format!(", derives {}", names.join(", ")) }
}

/// A name with its parameters and their bounds.
pub fn with_generics(name: &syn::Ident, generics: &Generics) -> String {
    format!("{name}{} {}", tidy(generics), tidy(&generics.where_clause)).trim_end().to_string()
}

/// Tokens as one writes them, on one line.
pub fn tidy(tokens: &impl ToTokens) -> String {
    let text = tokens.to_token_stream().to_string();
    let mut out = String::new();
    for token in text.split_whitespace() {
        let word = out.rsplit(|c: char| !is_of_word(c)).next().unwrap_or_default();
        let is_lifetime = out[..out.len() - word.len()].ends_with('\'');
        let is_bracket = token.starts_with(['(', '[', '<']);
        let is_called = out.ends_with([')', ']', '>']) || !word.is_empty() && !is_lifetime;
        let stands_apart = ["as", "dyn", "in", "mut", "where"].contains(&word);
        let is_joined = out.is_empty()
            || out.ends_with(['(', '[', '<', '&', '*', '!', '?'])
            || out.ends_with("::")
            || token.starts_with([',', ';', ':', '.', ')', ']', '>'])
            || is_bracket && is_called && !stands_apart && !out.ends_with("->");
        if !is_joined {
            out.push(' ');
        }
        out.push_str(token);
    }
    // The comma after the last one of several lines.
    let out = out.replace(",)", ")").replace(",>", ">").replace(", }", " }");
    out.trim_end_matches(',').to_string()
}

fn is_of_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}
