//! Data flows one way: a room imports only from rooms to its left in the list of DEVELOPERS.md.

#![allow(clippy::unwrap_used)]

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

/// The rooms that a text names after `crate::` (in the program: after `warpwise::`), comments and
/// tests left out.
fn named(text: &str, marker: &str) -> Vec<String> {
    let code = text.split("\n#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let code: Vec<&str> = code.lines().map(|l| l.split("//").next().unwrap_or_default()).collect();
    let code = code.join("\n");
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
