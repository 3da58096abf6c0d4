//! A new job file around given outlines, every key explained, which is accepted as it stands.

use super::quantity::may_be_in_id;
use super::templates::point_within;
use crate::outline::Reading;
use crate::units::{degrees_0_360, show_number};
use std::path::{Path, PathBuf};

/// The text of a new job file of this name around outline files, which lie in the job's folder or
/// below it.
///
/// Each outline of a drawing that was read gets a template of its own, and only those without a
/// drawn arrow get one from the job; a drawing without a reading gets one template with its 0° to
/// the right. Without files the job lays a strip.
pub fn scaffold(name: &str, drawings: &[(PathBuf, Option<Reading>)]) -> String {
    let sketch = |(file, reading): &(PathBuf, Option<Reading>)| match reading {
        Some(reading) => Sketch::read(file, reading),
        None => vec![Sketch::unread(file)],
    };
    text(name, &drawings.iter().flat_map(sketch).collect::<Vec<_>>())
}

/// A line of a new job with this key, as it stands there with its comment, from the section of this
/// name.
pub(super) fn sample_line(section: &str, key: &str) -> Option<String> {
    let sketch = Sketch::unread(Path::new("seat.svg"));
    let all = [
        HEAD.replace("NAME", "\"new job\""),
        MOULDS.into(),
        template(&sketch, "seat"),
        WITHOUT_OUTLINES.into(),
        REST.into(),
        LAYER.replace("TEMPLATES", "[\"seat\"]"),
    ];
    let mut here = "";
    for line in all.iter().flat_map(|part| part.lines()) {
        let line = line.trim_start_matches("# ");
        if line.starts_with('[') {
            here = line.split(']').next().unwrap_or_default().trim_start_matches('[');
        } else if here == section
            && line.strip_prefix(key).is_some_and(|rest| rest.starts_with(" = "))
        {
            return Some(line.to_string());
        }
    }
    None
}

/// What a template section is made of.
struct Sketch {
    id: String,
    file: String,
    inside: Option<String>,
    arrow_drawn: bool,
    /// Direction and name of a line that may be the arrow.
    arrow_guessed: Option<(f64, String)>,
}

impl Sketch {
    fn unread(file: &Path) -> Sketch {
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        let parts: Vec<_> = file.components().map(|c| c.as_os_str().to_string_lossy()).collect();
        Sketch {
            id: id_from(&stem),
            file: parts.join("/"),
            inside: None,
            arrow_drawn: false,
            arrow_guessed: None,
        }
    }

    fn read(file: &Path, reading: &Reading) -> Vec<Sketch> {
        let several = reading.outlines.len() > 1;
        let sketch = |(i, outline): (usize, &crate::outline::Outline)| {
            let mut sketch = Sketch::unread(file);
            if several {
                if !outline.name().is_empty() {
                    sketch.id = id_from(outline.name());
                }
                let p = point_within(outline.net());
                sketch.inside = Some(format!("[{}, {}]", show_number(p.x, 3), show_number(p.y, 3)));
            }
            sketch.arrow_drawn = outline.arrow().is_some();
            let guess = reading.maybe_arrows.iter().find(|a| a.outline == i);
            sketch.arrow_guessed =
                guess.map(|a| (degrees_0_360((a.ends[1] - a.ends[0]).direction()), a.name.clone()));
            sketch
        };
        reading.outlines.iter().enumerate().map(sketch).collect()
    }
}

/// An id as near to a name as ids allow.
fn id_from(name: &str) -> String {
    const LONGEST: usize = 48;
    let plain: String =
        name.chars().take(LONGEST).map(|c| if may_be_in_id(c) { c } else { '-' }).collect();
    let plain = plain.trim_matches(|c: char| !c.is_alphanumeric());
    if plain.is_empty() { "template".into() } else { plain.into() }
}

/// The same ids, told apart by a number where they are equal.
fn unique(outlines: &[Sketch]) -> Vec<String> {
    let mut ids: Vec<String> = Vec::new();
    for outline in outlines {
        let mut id = outline.id.clone();
        let mut number = 2;
        while ids.contains(&id) {
            id = format!("{}-{number}", outline.id);
            number += 1;
        }
        ids.push(id);
    }
    ids
}

/// A TOML string.
fn quote(text: &str) -> String {
    toml::Value::from(text).to_string()
}

fn text(name: &str, outlines: &[Sketch]) -> String {
    let name: String = name.trim().chars().filter(|c| !c.is_control()).take(120).collect();
    let name = if name.is_empty() { "new job".into() } else { name };
    let ids = unique(outlines);
    let mut out = HEAD.replace("NAME", &quote(&name));
    out.push_str(MOULDS);
    out.push_str(TEMPLATES);
    for (outline, id) in outlines.iter().zip(&ids) {
        out.push_str(&template(outline, id));
    }
    if outlines.is_empty() {
        out.push_str(WITHOUT_OUTLINES);
    }
    out.push_str(REST);
    let laid: Vec<String> = if ids.is_empty() {
        vec![quote("joint-tape")]
    } else {
        ids.iter().map(|id| quote(id)).collect()
    };
    out + &LAYER.replace("TEMPLATES", &format!("[{}]", laid.join(", ")))
}

fn template(outline: &Sketch, id: &str) -> String {
    let mut lines = vec![
        "[[template]]".to_string(),
        format!("id = {}", quote(id)),
        format!("file = {}", quote(&outline.file)),
    ];
    match &outline.inside {
        Some(point) => lines.push(format!("inside = {point}                 # of the outlines in this drawing, the one around this point")),
        None => lines.push("# inside = [120, 80]             # of several outlines in the drawing, the one around this point".into()),
    }
    if outline.arrow_drawn {
        lines.push("# arrow = 0                      # 0° of the part; the drawing shows it, so it need not stand here".into());
    } else if let Some((degrees, name)) = &outline.arrow_guessed {
        let key = format!("arrow = {}", show_number(*degrees, 2));
        let name = if name.is_empty() { String::new() } else { format!(" in {}", quote(name)) };
        lines.push(format!("{key:<33}# CHECK: 0° of the part, as the line{name} runs, which is not named as an arrow"));
    } else {
        lines.push("arrow = 0                        # CHECK: 0° of the part, degrees anticlockwise from the right of the drawing".into());
    }
    lines.join("\n") + TEMPLATE
}

const HEAD: &str = r#"# A warpwise job. Lengths are mm and angles degrees; text such as "1.25 m", "30 cm" or "12 in" does as well.
# Everything after a # is a comment. A line that begins with # shows a key that may be added.

# stock = "../stock.sqlite"      # plan from this ledger of `warpwise stock`, offcuts first

[job]
name = NAME
# other_hand_of = "left seat"    # the job of the other hand, planned with it: visible twills are book-matched
# begun_from = "seat"            # folder of the job that this one was begun from: what its parts weighed is shown with this one's
currency = "EUR"                 # printed with the costs

[cutting]
gap = 5                          # between pieces: 5 for scissors, 2 for a knife, 0 to share straight cuts
trim = 25                        # cloth beyond edges that are trimmed after the cure
lap = 25                         # cloth beyond edges that lap onto a neighbour
least_offcut_width = 40          # what is left over is an offcut where it is at least this wide, else waste
angle_tolerance = 0              # degrees a piece may lie off its angle to save cloth
# bench_length = "2.4 m"         # no part of a layout is longer than the bench

# How a ply too wide for the roll is split. Without this section no ply is ever split.
# [splice]
# lap = 25                       # overlap of the parts of a woven ply
# stagger = 50                   # between the splices of neighbouring layers, edge to edge
# plies_apart = 4                # splices nearer to each other than this many plies must not coincide

# One section for each cloth.
[[cloth]]
id = "twill-200"                 # EXAMPLE: short name that layers use
# where the workshop has a cloths.toml: library = "twill-200" takes all that does not stand here from there
name = "carbon twill, 200 g/m²"  # name for people
weave = "twill 2/2"              # unidirectional, plain, twill 2/2, twill 4/4, twill 2/1, twill 3/1, satin, biaxial 45, mat, none
twill_line = 45                  # CHECK: with the up face towards you, 45 if the line rises to the left of the warp, -45 to the right
balanced = true                  # equal yarns and counts along and across
one_way = false                  # true: a finish that must run one way, pieces are never turned
up = "paper"                     # CHECK: what is on the face that lies up on the bench: paper, film or bare
roll_width = 1250                # CHECK: selvedges included
selvedge = 10                    # CHECK: at each side, not for use
# roll_length = "25 m"           # if it is known
areal_mass = 200                 # of the fibre, g/m²
resin_content = "42 %"           # by mass; 0 for dry cloth
fibre_density = 1.8              # g/cm³
# price_per_metre = 48.50        # or price_per_square_metre
# batch = "T204-31"              # for the lay-up sheet, as the roll's label says; so too expiry and out_life_hours
# expiry = "2027-08-31"          # last day of use
# out_life_hours = 480           # hours it may still spend out of the freezer
# resin_density = 1.2            # of the cured resin, g/cm³
# material = "fibre"             # fibre, core or adhesive film: the areal_mass of the last two is their whole mass
# thickness = 0.24               # in the finished part, if it is known; a core or film needs it
# [[cloth.offer]]                # what sellers offer, for `warpwise estimate`; several of one width with `from` are price breaks
# width = 1000
# price_per_metre = 44.00
# from = 0                       # the price holds from this length
# minimum = "1 m"                # least length sold
# step = "0.5 m"                 # lengths are sold in steps of this
# [[cloth.flaw]]                 # a place on the roll that no piece may cover, from the free end and the lower edge
# from = 2400
# to = 2460
# low = 300                      # leave out low and high if it crosses the whole roll
# high = 420

"#;

const TEMPLATES: &str = "# One section for each template: an outline from a drawing.\n";

const MOULDS: &str = r#"# What all templates taken off one mould have in common: a template with `mould = "hip"` needs no taken_off,
# inked_side and hands of its own. Left and right parts are then called so.
# [[mould]]
# id = "hip"
# kind = "female"                # female, or plug: a skin taken off a plug is the other hand
# hands = "pair"                 # single, left, right, or pair: a left and a right mould of which one was taped
# taped = "left"                 # of a pair, the one that was taped
# inked_side = "up"              # which way the side that faced you in the mould lay when its skins were drawn
# note = "on the upper shelf"    # and a photo of it, in this folder: photo = "hip-mould.jpg"

"#;

const TEMPLATE: &str = r#"
# layer = "net line"             # only what the drawing holds in the layer or group of this name
# unit = "mm"                    # of the drawing, if it does not say: mm, cm, m, in or ft
taken_off = "mould"              # CHECK: mould, or plug. A skin taken off a plug is the other hand
inked_side = "up"                # CHECK: which way the side that faced you in the mould lay when it was drawn: up or down
edge = "trim"                    # of edges to which the drawing gives no kind: trim, lap, butt or dart
hands = "as traced"              # as traced, mirrored or both, where a layer does not say
# of both hands, each drawn by itself, one names the other: other_hand_of = "seat-left"
may_cross_bench = false          # true: a piece longer than the bench may be cut by sliding the cloth along
# join_ends = 0.1                # ends of lines in the drawing up to this far apart are joined, with a warning
# chord_tolerance = 0.02         # curves are flattened to within this distance

"#;

const WITHOUT_OUTLINES: &str = r#"# [[template]]
# id = "hip-plate"
# file = "hip-plate.svg"         # .svg, .dxf or .csv, in this folder or below it
# arrow = 0                      # 0° of the part, degrees anticlockwise from the right of the drawing, if the drawing shows no arrow
# taken_off = "mould"            # mould, or plug. A skin taken off a plug is the other hand
# inked_side = "up"              # which way the side that faced you in the mould lay when it was drawn: up or down
# hands = "both"                 # as traced, mirrored or both

[[strip]]                        # EXAMPLE: a strip by size, such as a joint tape
id = "joint-tape"
length = 1800
width = 50
may_cross_bench = true           # a strip longer than the bench may be cut by sliding the cloth along

"#;

const REST: &str = r#"# A local reinforcement on a template; positions are in the drawing of that template.
# [[patch]]
# id = "bolt-patch"
# on = "hip-plate"               # id of the template
# centre = [120, 80]
# length = 90
# width = 60
# along = 0                      # degrees from the template's arrow to the length of the patch
# shape = "rectangle"            # rectangle or ellipse
# corner = 10                    # radius of the corners
# step_back = 5                  # each further layer that uses it is smaller all round by this

# The layers in laying order: the first lies on the mould.
"#;

const LAYER: &str = r#"[[layer]]
name = "outer"
cloth = "twill-200"
angle = 0                        # of the warp from the part's 0°, anticlockwise looking at the mould surface
templates = TEMPLATES
# templates = [{ template = "hip-plate", hands = "both", copies = 2 }]   # with the hands and copies wanted
copies = 1                       # of each hand
seen = "mould side"              # hidden, mould side or other side: from where the finished part shows it
book_match = true                # mirror the line of a visible twill on the two hands
# turns = [0, 180]               # in place of the turns that the weave allows
# faces = ["up", "down"]         # and the faces that may lie up at those turns
# trim = 25                      # in this layer only; so too lap and angle_tolerance
# A layer of many small patches for the look, instead of whole plies and without an angle: kind = "mosaic", and what may go with it:
# sizes: patch_from = 50, patch_to = 105; seams: seam_lap = 10; directions: least_difference = 18; another picture: mosaic_seed = 1

# The work at the mould, for the lay-up sheet. Every line may be left out.
[layup]
# start = "2026-12-01 08:00"     # of the cure; clock times are then printed
# release_agent = "mould wax"    # as its tin names it
# release_expires = "2026-12-31" # its last day of use
release_coats = 4
release_minutes = 15             # between coats
# thaw_hours = 8                 # in its closed bag, as the cloth's data sheet says
minutes_per_piece = 4            # of work, for the expected time out of the freezer
room_temperature = 20            # °C
# mould_material = "aluminium"   # aluminium, steel or carbon: how far it grows in the cure
# mould_limit = 130              # the mould withstands at most this, °C
# core_limit = 120               # so too the core
# second_half = []               # templates laid in the second half of a mould in two halves
# joint = []                     # templates that join the halves, laid when both are closed onto each other

[debulk]                         # layers pressed down under vacuum part-way
first = true                     # after the first layer
every = 3                        # after every so many
last = true                      # after the last
# minutes = 20                   # of each, as the cloth's data sheet says

[consumables]                    # what the bag takes
overhang = 50                    # film and fleece beyond the part
seal_margin = 50                 # bag film beyond film and fleece, for the seal
bag_oversize = 30                # per cent of bag film beyond the area, for pleats
tape_pleats = 15                 # per cent of sealing tape beyond the perimeter
peel_ply = true
perforated_film = false          # true: resin bleeds, and masses and thickness come out lower than worked out
# perimeter = "3.6 m"            # of the seal in all, if it is known
# [[consumables.bag]]            # CHECK: one for each mould; without girths the bag is guessed from the template
# templates = []                 # ids of what is laid under it; all that no other bag names if left out
# girths = ["96 cm", "88 cm"]    # by a tape over the mould, one each way, down into it and up again, edge to edge of the part
# openings = ["50 cm"]           # round each opening the bag is sealed to; else the holes of the templates
# moulds = 1                     # bagged so; one for each hand if left out

# The cure as the cloth's data sheet gives it, a section for each step: to a temperature, by a rate or by the clock, then hold.
# [[cure]]
# to = 80                        # °C
# rate = 2                       # °C a minute, up or down; or `at`, minutes from the start
# hold = 60                      # minutes, from when the slowest thermocouple has reached it

# [[finish]]                     # what is put on the finished part, so that the scales can be checked
# name = "clear coat"
# areal_mass = 120               # g/m²
# faces = "one"                  # one (the face that is seen), mould side, other side or both
# price_per_square_metre = 6.50  # for `warpwise estimate`
"#;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sample_has_a_line_for_each_key_that_a_section_must_have() {
        let schema = super::super::schema::schema();
        let sections = schema["properties"].as_object().cloned().unwrap_or_default();
        for (section, of) in sections {
            let object = of.get("items").unwrap_or(&of);
            for key in
                object["required"].as_array().into_iter().flatten().filter_map(|k| k.as_str())
            {
                let line = sample_line(&section, key).unwrap_or_default();
                assert!(line.starts_with(&format!("{key} = ")), "[{section}] {key}: {line}");
            }
        }
    }

    #[test]
    fn ids_come_from_names_and_differ() {
        assert_eq!(id_from("hip plate (left)"), "hip-plate--left");
        assert_eq!(id_from("übrig_2.net"), "übrig_2.net");
        assert_eq!(id_from("..."), "template");
        let sketches: Vec<Sketch> = ["a/seat.svg", "b/seat.dxf", "seat-2.csv"]
            .iter()
            .map(|f| Sketch::unread(Path::new(f)))
            .collect();
        assert_eq!(unique(&sketches), ["seat", "seat-2", "seat-2-2"]);
        assert_eq!(sketches[0].file, "a/seat.svg");
    }
}
