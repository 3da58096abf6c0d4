//! What a user of the library can reach is written down, so that a change of it is seen.
#![allow(clippy::unwrap_used)]

#[path = "../examples/public_api.rs"]
mod public_api;

use std::collections::BTreeSet;
use std::path::Path;

#[test]
fn the_list_of_what_is_public_is_current() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let kept = std::fs::read_to_string(root.join("docs/api.txt")).unwrap();
    let now = public_api::page(root).unwrap();
    let (old, new): (BTreeSet<&str>, BTreeSet<&str>) =
        (kept.lines().collect(), now.lines().collect());
    let gone: Vec<_> = old.difference(&new).collect();
    let come: Vec<_> = new.difference(&old).collect();
    assert!(
        kept == now,
        "gone: {gone:#?}\ncome: {come:#?}\nif that is meant: \
         cargo run --example public_api > docs/api.txt"
    );
    assert!(new.len() > 1_000, "{}", new.len());
}

#[test]
fn what_is_reached_is_listed_by_the_path_that_reaches_it_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let src = folder.path().join("src");
    std::fs::create_dir_all(src.join("room")).unwrap();
    for (file, text) in [
        (
            "lib.rs",
            "mod inner; pub mod room; pub(crate) mod shut { pub fn not_reached() {} }
             pub use inner::{Kept as Renamed, deep::told}; pub use room::Word;
             pub use std::fmt::Debug; pub(crate) use inner::Unsaid; pub use inner::globbed::*;
             pub use inner::Turn::*;
             #[cfg(test)] mod tests { pub fn of_a_test() {} }
             #[cfg(test)] pub fn for_tests() {} #[doc(hidden)] pub fn hidden() {}",
        ),
        (
            "inner.rs",
            "pub struct Kept<'a, T: Copy> where T: Send { pub size: &'a [T], own: u8 }
             pub struct Unsaid; struct Own;
             impl<'a, T: Copy + Send> Kept<'a, T> {
                 pub const MOST: usize = 3; pub(crate) fn ours(&self) {} fn own(&self) {}
                 pub fn turn(&mut self, by: &dyn Fn(&mut [T]) -> Option<(f64, T)>,) -> u8 { 0 }
                 #[doc(hidden)] pub fn behind(&self) {}
             }
             impl Own { pub fn not_reached(&self) {} } impl Unsaid { pub fn neither(&self) {} }
             impl From<Own> for globbed::Tuple { fn from(_: Own) -> Self { todo!() } }
             /// Words.
             #[derive(Debug, Clone)] pub enum Turn { /// One.
                 Left, Right { /// How far.
                 by: f64 }, #[doc(hidden)] Back }
             pub mod deep { pub fn not_told() {}
                 pub fn told(what: impl Into<String>) -> String { what.into() } }
             pub mod globbed {
                 pub struct Tuple(pub f64, u8); pub(super) struct Near; pub type Pair = [Tuple; 2];
                 impl From<&Tuple> for String { fn from(_: &Tuple) -> Self { todo!() } }
                 #[macro_export] macro_rules! say { () => {} }
             }",
        ),
        (
            "room/mod.rs",
            "mod word; pub mod below; pub use self::word::{Word, word};
             pub const WIDTH: f64 = 1.0; const OWN: f64 = 2.0;",
        ),
        (
            "room/word.rs",
            "#[derive(Debug, Clone)] pub struct Word { pub text: String }
             pub fn word() -> Word { todo!() }",
        ),
        (
            "room/below.rs",
            "use super::word as called; impl super::Word { pub fn len(&self) -> usize { 0 } }
             impl std::fmt::Display for called::Word { }
             pub trait Heard: Send { type Of: Copy; fn heard(&self) -> Self::Of;
                 #[doc(hidden)] fn behind(&self); fn told(&self) {} }",
        ),
    ] {
        std::fs::write(src.join(file), text).unwrap();
    }
    let page = public_api::page(folder.path()).unwrap();
    let lines: Vec<&str> = page.lines().collect();
    assert_eq!(
        lines,
        [
            "Debug: use std::fmt::Debug",
            "Left: variant Left",
            "Pair: type Pair = [Tuple; 2]",
            "Renamed: struct Kept<'a, T: Copy> where T: Send { .. }",
            "Renamed::MOST: const MOST: usize",
            "Renamed::size: field &'a [T]",
            "Renamed::turn: fn turn(&mut self, by: &dyn Fn(&mut [T]) -> Option<(f64, T)>) -> u8",
            "Right: variant Right { by: f64 }",
            "Tuple: impl From<&Tuple> for String",
            "Tuple: struct Tuple { .. }",
            "Tuple::0: field f64",
            "Word: impl std::fmt::Display for called::Word",
            "Word: struct Word, derives Clone, Debug",
            "Word::len: fn len(&self) -> usize",
            "Word::text: field String",
            "room: mod room",
            "room::WIDTH: const WIDTH: f64",
            "room::Word: impl std::fmt::Display for called::Word",
            "room::Word: struct Word, derives Clone, Debug",
            "room::Word::len: fn len(&self) -> usize",
            "room::Word::text: field String",
            "room::below: mod below",
            "room::below::Heard: trait Heard: Send",
            "room::below::Heard::Of: type Of: Copy",
            "room::below::Heard::heard: fn heard(&self) -> Self::Of",
            "room::below::Heard::told: fn told(&self) { .. }",
            "room::word: fn word() -> Word",
            "say: macro say!",
            "told: fn told(what: impl Into<String>) -> String",
        ]
    );
}
