//! What the name of a layer or group says about the lines in it.
//!
//! A name is cut into words at anything that is no letter or digit and where a small letter meets a
//! capital; case does not matter, nor do numbers at the end. The last word (or the last two) tells
//! the role, whatever comes before it, so `arrow`, `seat-arrow` and `Arrow 2` mean the same. Of
//! several names the innermost that says anything wins.

use super::{DrawnLine, EdgeKind, Role};

/// What a line means, with holes told apart from other rings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Meaning {
    /// No name says anything: a net line or a hole, by nesting.
    Plain,
    /// Named as a net line.
    Net,
    /// Named as a hole.
    Hole,
    /// Any other role.
    Role(Role),
}

/// The roles in words, for remedies.
pub(super) const ROLE_WORDS: &str =
    "arrow, cut, notch, mark, trim, lap, butt, dart, no-splice, hole";

/// Words that people write beside the part's 0° direction, and beside other directions too: such a
/// line is asked about, not taken.
const DIRECTIONS: [&str; 14] = [
    "fibre",
    "fibres",
    "fiber",
    "fibers",
    "grain",
    "warp",
    "warps",
    "direction",
    "directions",
    "dir",
    "axis",
    "orientation",
    "thread",
    "roving",
];

/// What a line means: by its format's own rules if they say, else by its names.
pub(super) fn meaning_of(line: &DrawnLine) -> Meaning {
    match line.role {
        Some(Role::Outline) => Meaning::Plain,
        Some(role) => Meaning::Role(role),
        None => meaning_of_names(&line.names),
    }
}

/// What a list of names, outermost first, means.
pub(super) fn meaning_of_names(names: &[String]) -> Meaning {
    names
        .iter()
        .rev()
        .find_map(|name| split_role(name))
        .map_or(Meaning::Plain, |(meaning, _)| meaning)
}

/// The most telling of the names, outermost first: the innermost that is more than a role or a
/// number a program made up.
pub(super) fn telling_name(names: &[String]) -> String {
    let stems = || {
        names.iter().rev().filter_map(|name| {
            let stem =
                split_role(name).map_or(name.as_str(), |(_, end)| name.get(..end).unwrap_or(""));
            let stem = stem.trim_matches(|c: char| !c.is_alphanumeric());
            (!stem.is_empty()).then_some(stem)
        })
    };
    stems().find(|stem| !is_made_up(stem)).or_else(|| stems().next()).unwrap_or("").to_string()
}

/// The name by which a person knows a line: the innermost that says what it is, else the innermost
/// that a program did not make up.
pub(super) fn shown_name(names: &[String]) -> String {
    let shown = names.iter().rev().find(|n| split_role(n).is_some() || sounds_like_direction(n));
    let shown =
        shown.or_else(|| names.iter().rev().find(|n| !is_made_up(n))).or_else(|| names.last());
    shown.map_or_else(String::new, |n| n.trim().to_string())
}

/// True if a name ends in a word that people write beside directions.
pub(super) fn sounds_like_direction(name: &str) -> bool {
    let words = words(name);
    let last = words
        .iter()
        .rev()
        .map(|(_, w)| w.trim_end_matches(|c: char| c.is_ascii_digit()))
        .find(|w| !w.is_empty());
    last.is_some_and(|w| DIRECTIONS.contains(&w))
}

/// The role that a name ends in, and where in the name it starts.
fn split_role(name: &str) -> Option<(Meaning, usize)> {
    let trimmed = name.trim();
    if ["0°", "0deg", "0 deg"].iter().any(|zero| trimmed.eq_ignore_ascii_case(zero)) {
        return Some((Meaning::Role(Role::Arrow), 0));
    }
    let mut words = words(name);
    while words.len() > 1
        && words.last().is_some_and(|(_, w)| w.bytes().all(|b| b.is_ascii_digit()))
    {
        words.pop();
    }
    let last_at = words.last()?.0;
    let last = words.last()?.1.trim_end_matches(|c: char| c.is_ascii_digit());
    if let [.., (at, before), _] = words.as_slice()
        && let Some(meaning) = pair_meaning(before, last)
    {
        return Some((meaning, *at));
    }
    word_meaning(last).map(|meaning| (meaning, last_at))
}

fn pair_meaning(before: &str, last: &str) -> Option<Meaning> {
    Some(match (before, last) {
        ("no", "splice" | "splices") => Meaning::Role(Role::NoSplice),
        ("cut", "out" | "outs") => Meaning::Hole,
        ("net", "line" | "lines") => Meaning::Net,
        ("relief" | "dart", "cut" | "cuts") => Meaning::Role(Role::Cut),
        (kind, "edge" | "edges" | "leg" | "legs") => Meaning::Role(Role::Edge(edge_kind(kind)?)),
        _ => return None,
    })
}

fn word_meaning(word: &str) -> Option<Meaning> {
    Some(match word {
        "arrow" | "arrows" | "zero" => Meaning::Role(Role::Arrow),
        "cut" | "cuts" | "relief" | "reliefs" | "notch" | "notches" => Meaning::Role(Role::Cut),
        "mark" | "marks" | "text" | "texts" | "note" | "notes" => Meaning::Role(Role::Mark),
        "nosplice" => Meaning::Role(Role::NoSplice),
        "hole" | "holes" | "cutout" | "cutouts" => Meaning::Hole,
        "net" | "netline" | "outline" | "outlines" => Meaning::Net,
        kind => Meaning::Role(Role::Edge(edge_kind(kind)?)),
    })
}

fn edge_kind(word: &str) -> Option<EdgeKind> {
    Some(match word {
        "trim" | "trims" => EdgeKind::Trim,
        "lap" | "laps" => EdgeKind::Lap,
        "butt" | "butts" => EdgeKind::Butt,
        "dart" | "darts" => EdgeKind::Dart,
        _ => return None,
    })
}

/// The edge kind that a word alone names, as in a table of measured points.
pub(super) fn edge_kind_named(text: &str) -> Option<EdgeKind> {
    edge_kind(&text.trim().to_lowercase())
}

/// The words of a name in small letters, each with the byte it starts at.
fn words(name: &str) -> Vec<(usize, String)> {
    let mut out: Vec<(usize, String)> = Vec::new();
    let mut before: Option<char> = None;
    for (at, c) in name.char_indices() {
        if c.is_alphanumeric() {
            let starts = before
                .is_none_or(|b| !b.is_alphanumeric() || (b.is_lowercase() && c.is_uppercase()));
            if starts {
                out.push((at, String::new()));
            }
            if let Some((_, word)) = out.last_mut() {
                word.extend(c.to_lowercase());
            }
        }
        before = Some(c);
    }
    out
}

/// A name like `path1234` or `Layer 3` that drawing programs make up.
fn is_made_up(name: &str) -> bool {
    const MADE_UP: [&str; 18] = [
        "path", "g", "rect", "polygon", "polyline", "line", "circle", "ellipse", "use", "layer",
        "svg", "group", "object", "shape", "curve", "entity", "symbol", "text",
    ];
    let words = words(name);
    let Some((_, first)) = words.first() else {
        return true;
    };
    let stem = first.trim_end_matches(|c: char| c.is_ascii_digit());
    (stem.is_empty() || MADE_UP.contains(&stem))
        && words[1..].iter().all(|(_, w)| w.bytes().all(|b| b.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meaning(names: &[&str]) -> Meaning {
        meaning_of_names(&names.iter().map(ToString::to_string).collect::<Vec<_>>())
    }

    #[test]
    fn names_tell_roles_whatever_their_dress() {
        let arrow = Meaning::Role(Role::Arrow);
        for name in [
            "arrow",
            "seat-arrow",
            "Arrow 2",
            "ARROW",
            "bucket seat_arrow",
            "hipPlateArrow",
            "arrow3",
            "zero",
            "0°",
            "0 deg",
        ] {
            assert_eq!(meaning(&[name]), arrow, "{name}");
        }
        for name in ["cut", "relief", "seat relief cuts", "dart-cut", "Notches", "notch_12"] {
            assert_eq!(meaning(&[name]), Meaning::Role(Role::Cut), "{name}");
        }
        for name in ["no-splice", "nosplice", "No Splice", "seat-no-splice-2"] {
            assert_eq!(meaning(&[name]), Meaning::Role(Role::NoSplice), "{name}");
        }
        for (name, kind) in [
            ("trim", EdgeKind::Trim),
            ("seat lap", EdgeKind::Lap),
            ("butt-edge", EdgeKind::Butt),
            ("dart legs", EdgeKind::Dart),
        ] {
            assert_eq!(meaning(&[name]), Meaning::Role(Role::Edge(kind)), "{name}");
        }
        for name in ["hole", "holes", "cut-out", "cutout 3"] {
            assert_eq!(meaning(&[name]), Meaning::Hole, "{name}");
        }
    }

    #[test]
    fn other_names_say_nothing() {
        // "0" is the layer every DXF drawing starts on: it must never turn outlines into arrows.
        for name in [
            "0",
            "seat",
            "layer1",
            "lap-joint-cover",
            "cut line",
            "",
            "  ",
            "12",
            "ärmel",
            "arrowroot",
            "shortcut",
        ] {
            assert_eq!(meaning(&[name]), Meaning::Plain, "{name}");
        }
    }

    #[test]
    fn a_line_is_shown_by_the_name_a_person_gave_it() {
        let shown =
            |names: &[&str]| shown_name(&names.iter().map(ToString::to_string).collect::<Vec<_>>());
        assert_eq!(shown(&["layer3", "seat cuts", "path12"]), "seat cuts");
        assert_eq!(shown(&["layer3", "fibre", "path12"]), "fibre");
        assert_eq!(shown(&["layer3", "fibre 2", "seat"]), "fibre 2");
        assert_eq!((shown(&["path12"]), shown(&[])), ("path12".into(), String::new()));
        assert!(sounds_like_direction("Fibre direction") && !sounds_like_direction("fibreglass"));
    }

    #[test]
    fn the_innermost_role_wins() {
        assert_eq!(meaning(&["cuts", "seat", "arrow"]), Meaning::Role(Role::Arrow));
        assert_eq!(meaning(&["cuts", "seat", "path12"]), Meaning::Role(Role::Cut));
        assert_eq!(meaning(&["marks", "net line"]), Meaning::Net);
    }

    #[test]
    fn the_telling_name_is_neither_role_nor_made_up() {
        let name = |names: &[&str]| {
            telling_name(&names.iter().map(ToString::to_string).collect::<Vec<_>>())
        };
        assert_eq!(name(&["kayak", "bucket seat", "path1234"]), "bucket seat");
        assert_eq!(name(&["layer1", "hip-left-net"]), "hip-left");
        assert_eq!(name(&["hatch", "trim"]), "hatch");
        assert_eq!(name(&["layer1", "path7"]), "path7");
        assert_eq!(name(&["outline"]), "");
        assert_eq!(name(&[]), "");
    }
}
