//! Data flows one way: a room imports only from rooms to its left in the list of DEVELOPERS.md, and
//! the files of a room do not import one another in a circle.

#![allow(clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The rooms in their order, as DEVELOPERS.md has them in its first line of code.
fn order() -> Vec<String> {
    let text = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let line = text.lines().find(|l| l.starts_with('`')).unwrap();
    let names = line.trim_matches('`').split(['→', ',']).map(|n| n.trim().to_string());
    names.collect()
}

fn files(dir: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// A file's code: comments and tests are left out.
fn code(text: &str) -> String {
    let lines = text.lines().take_while(|l| !l.ends_with("mod tests {"));
    lines.map(|l| l.split("//").next().unwrap_or_default().to_string() + "\n").collect()
}

/// The rooms that a text names after `crate::` (in the program: after `warpwise::`), comments and
/// tests left out.
fn named(text: &str, marker: &str) -> Vec<String> {
    let code = code(text);
    let first = |text: &str| -> String {
        text.trim().split(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap().into()
    };
    let rooms = |rest: &str| match rest.strip_prefix('{') {
        Some(list) => list.split('}').next().unwrap().split(',').map(first).collect(),
        None => vec![first(rest)],
    };
    code.split(marker).skip(1).flat_map(rooms).collect()
}

#[test]
fn a_list_of_rooms_is_seen() {
    let text = "use crate::{layup, plan::Plan, sheet};\nuse crate::ply::Ply;\n";
    assert_eq!(named(text, "crate::"), ["layup", "plan", "sheet", "ply"]);
}

#[test]
fn no_room_imports_from_one_to_its_right() {
    let order = order();
    assert!(order.len() > 20 && order[0] == "printable", "{order:?}");
    let place = |room: &str| order.iter().position(|r| r == room);
    let mut all = Vec::new();
    files(&root().join("src"), &mut all);
    let (mut wrong, mut seen) = (Vec::new(), 0);
    for path in all {
        let within = path.strip_prefix(root().join("src")).unwrap();
        let first = within.iter().next().unwrap().to_str().unwrap().trim_end_matches(".rs");
        let Some(own) = place(first) else { continue };
        let text = std::fs::read_to_string(&path).unwrap();
        for room in named(&text, "crate::") {
            seen += 1;
            if place(&room).is_some_and(|other| other > own) {
                wrong.push(format!("{} imports {room}", within.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(seen > 500, "{seen}");
}

#[test]
fn every_room_is_on_the_map() {
    let order = order();
    let mut missing = Vec::new();
    for entry in std::fs::read_dir(root().join("src")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let room = name.trim_end_matches(".rs").to_string();
        if !["lib", "main"].contains(&room.as_str()) && !order.contains(&room) {
            missing.push(room);
        }
    }
    assert!(missing.is_empty(), "not in the list of DEVELOPERS.md: {missing:?}");
}

/// Names from the crate's root on: `nest`, `land`.
type Names = Vec<String>;

/// What a file imports.
struct Module {
    file: String,
    /// Paths, the names they bring, and whether they are only passed on.
    uses: Vec<(Names, String, bool)>,
    /// Other paths in its code.
    paths: Vec<Names>,
}

fn names(path: &str) -> Names {
    path.split("::").map(str::trim).filter(|n| !n.is_empty()).map(String::from).collect()
}

/// The paths of a `use`, each with the name that it brings.
fn expand(tree: &str, before: &[String], into: &mut Vec<(Names, String)>) {
    if let Some((head, list)) = tree.split_once('{') {
        let head = [before, &names(head)].concat();
        let list = &list[..list.rfind('}').unwrap()];
        let (mut depth, mut from) = (0, 0);
        for (i, c) in list.char_indices().chain([(list.len(), ',')]) {
            match c {
                '{' => depth += 1,
                '}' => depth -= 1,
                ',' if depth == 0 => {
                    expand(&list[from..i], &head, into);
                    from = i + 1;
                }
                _ => {}
            }
        }
    } else if !tree.trim().is_empty() {
        let (path, other) = tree.split_once(" as ").unwrap_or((tree, ""));
        let mut path = [before, &names(path)].concat();
        if path.last().is_some_and(|n| n == "self") {
            path.pop();
        }
        let name =
            if other.is_empty() { path.last().unwrap().clone() } else { other.trim().into() };
        into.push((path, name));
    }
}

impl Module {
    fn of(file: &str, text: &str) -> Module {
        let (mut uses, mut rest) = (Vec::new(), String::new());
        let code = code(text);
        let mut lines = code.lines();
        while let Some(line) = lines.next() {
            let line = line.trim_start();
            let public = ["pub(crate) ", "pub(super) ", "pub "].iter();
            let passed = public.filter_map(|p| line.strip_prefix(p)).next();
            let Some(tree) = passed.unwrap_or(line).strip_prefix("use ") else {
                rest += line;
                rest.push('\n');
                continue;
            };
            let mut tree = tree.to_string();
            while !tree.contains(';') {
                tree += lines.next().unwrap();
            }
            let mut brought = Vec::new();
            expand(tree.split(';').next().unwrap(), &[], &mut brought);
            uses.extend(brought.into_iter().map(|(path, name)| (path, name, passed.is_some())));
        }
        let of_path = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
        let words: BTreeSet<&str> = rest
            .split(|c| !of_path(c) && c != '.')
            .flat_map(|w| w.split(['.', ':']).next())
            .collect();
        for (_, name, only_passed) in &mut uses {
            *only_passed &= !words.contains(name.as_str());
        }
        let paths = rest.split(|c| !of_path(c)).filter(|p| p.contains("::")).map(names);
        let paths = paths.filter(|p| !p.is_empty());
        Module { file: file.into(), uses, paths: paths.collect() }
    }
}

/// The file that defines what a path names in another file; what is passed on is followed, at most
/// so many times.
fn home(
    all: &BTreeMap<Names, Module>,
    from: &[String],
    path: &[String],
    most: usize,
) -> Option<Names> {
    let (mut here, mut path) = (from.to_vec(), path);
    let is_child = all.contains_key(&[from, &path[..1]].concat());
    if !is_child && !["crate", "super", "self"].contains(&path[0].as_str()) {
        return None;
    }
    while let Some(step @ ("crate" | "super" | "self")) = path.first().map(String::as_str) {
        match step {
            "crate" => here.clear(),
            "super" => drop(here.pop()),
            _ => {}
        }
        path = &path[1..];
    }
    while let [next, rest @ ..] = path {
        let inner = [here.as_slice(), std::slice::from_ref(next)].concat();
        if !all.contains_key(&inner) {
            break;
        }
        (here, path) = (inner, rest);
    }
    let brought = |name: &String| all.get(&here)?.uses.iter().find(|u| u.1 == *name);
    match path.first().and_then(brought) {
        Some((passed_on, ..)) if most > 0 => home(all, &here, passed_on, most - 1),
        _ => Some(here),
    }
}

/// The circles inside rooms: room and files.
fn circles(all: &BTreeMap<Names, Module>) -> BTreeSet<(String, BTreeSet<String>)> {
    let imported = |from: &Names, module: &Module| -> BTreeSet<Names> {
        let used = module.uses.iter().filter(|u| !u.2).map(|u| &u.0);
        let homes = used.chain(&module.paths).filter_map(|p| home(all, from, p, 9));
        homes.filter(|to| to != from && to.first() == from.first()).collect()
    };
    let arrows: BTreeMap<&Names, BTreeSet<Names>> =
        all.iter().map(|(from, module)| (from, imported(from, module))).collect();
    let reached = |from: &Names| {
        let (mut seen, mut open) = (BTreeSet::new(), vec![from.clone()]);
        while let Some(next) = open.pop() {
            for to in &arrows[&next] {
                if seen.insert(to.clone()) {
                    open.push(to.clone());
                }
            }
        }
        seen
    };
    let reach: BTreeMap<&Names, BTreeSet<Names>> = all.keys().map(|m| (m, reached(m))).collect();
    let mut found = BTreeSet::new();
    for (&from, there) in &reach {
        let back = there.iter().filter(|to| reach[to].contains(from));
        let files: BTreeSet<String> = back.map(|m| all[m].file.clone()).collect();
        if !files.is_empty() {
            found.insert((from[0].clone(), files));
        }
    }
    found
}

#[test]
fn a_circle_is_seen_through_what_is_passed_on() {
    let files = [
        ("room", "mod a;\nmod b;\npub use b::{self, B};\n"),
        ("room::a", "use super::{\n    B,\n    c::C,\n};\n"),
        ("room::b", "pub struct B(i32);\nfn b() -> super::a::A { super::a::a() }\n"),
        ("room::c", "pub struct C; // super::a::A\n#[cfg(test)]\nmod tests {\n    use super::a;\n"),
        ("other", "use crate::room::B;\n"),
    ];
    let module = |(path, text): (&str, &str)| (names(path), Module::of(path, text));
    let found = circles(&files.map(module).into());
    let both = ["room::a", "room::b"].map(String::from).into();
    assert_eq!(found, [("room".to_string(), both)].into());
}

#[test]
fn files_of_a_room_import_in_no_circle() {
    let src = root().join("src");
    let (mut paths, mut all) = (Vec::new(), BTreeMap::new());
    files(&src, &mut paths);
    for path in paths {
        let within = path.strip_prefix(&src).unwrap();
        let stem = within.with_extension("");
        let mut module: Names = stem.iter().map(|n| n.to_str().unwrap().into()).collect();
        if module.iter().any(|name| name == "tests") {
            continue;
        }
        let whole = within.to_str().unwrap().replace('\\', "/");
        let file = whole.strip_prefix(&format!("{}/", module[0])).unwrap_or(&whole);
        if module.last().unwrap() == "mod" {
            module.pop();
        }
        all.insert(module, Module::of(file, &std::fs::read_to_string(&path).unwrap()));
    }
    let found = circles(&all);
    assert!(found.is_empty(), "files that import one another: {found:#?}");
    assert!(all.len() > 300, "{}", all.len());
}
