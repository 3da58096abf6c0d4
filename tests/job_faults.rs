//! Every kind of fault of a job file: its place, its words, its remedy, and that all come together.
#![allow(clippy::unwrap_used)]

mod job_common;

use job_common::{SOUND, faults_with, folder, job_path, parse, read, said};
use std::fs;
use std::path::Path;
use warpwise::job::{load, parse_with};

/// Each change of the sound job gives exactly one fault.
fn each(changes: &[(&str, &str, &str)]) {
    let wrong: Vec<String> = changes
        .iter()
        .map(|(old, new, fault)| (new, fault, faults_with(old, new)))
        .filter(|(_, fault, faults)| *faults != [**fault])
        .map(|(new, fault, faults)| {
            format!("{new}\n  wants {fault}\n  got   {}", faults.join("\n        "))
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_is_not_toml() {
    each(&[(
        "name = \"bucket seat\"",
        "name = \"bucket seat",
        "2:20 this is not TOML: invalid basic string, expected `\"` / correct this line; the rest can only be checked after that",
    )]);
    let faults = said(
        &parse(&SOUND.replacen("gap = 2", "gap == 2", 1).replacen(
            "id = \"seat\"",
            "id = \"seat\"\nid = \"x\"",
            1,
        ))
        .unwrap_err()
        .0,
    );
    assert_eq!(
        faults,
        [
            "5:6 this is not TOML: extra `=`, expected nothing / correct this line; the rest can only be checked after that",
            "27:1 this is not TOML: duplicate key / correct this line; the rest can only be checked after that",
        ]
    );
}

#[test]
fn a_broken_line_does_not_hide_the_faults_of_others_nor_call_its_keys_missing() {
    let faults = said(
        &parse(&SOUND.replacen("gap = 2", "gap = -2", 1).replacen("id = \"seat\"", "id = seat", 1))
            .unwrap_err()
            .0,
    );
    assert_eq!(faults.len(), 2);
    assert!(faults[0].starts_with("5:7 `gap` is `-2`, which is out of range"), "{faults:?}");
    assert!(faults[1].starts_with("26:6 this is not TOML"), "{faults:?}");
}

#[test]
fn unknown_keys_name_the_nearest() {
    each(&[
        ("gap = 2", "gpa = 2", "5:1 `gpa` is not a key of [cutting] / did you mean `gap`?"),
        ("gap = 2", "ply_gap = 2", "5:1 `ply_gap` is not a key of [cutting] / did you mean `gap`?"),
        (
            "gap = 2",
            "xyz = 2",
            "5:1 `xyz` is not a key of [cutting] / the keys known here are `angle_tolerance`, `bench_length`, `gap`, `lap`, `least_offcut_width`, `trim`",
        ),
        (
            "[splice]",
            "[splices]",
            "8:2 `splices` is not a key of the job file / did you mean `splice`?",
        ),
        (
            "hands = \"both\"\n\n[[strip]]",
            "hands = \"both\"\ntaken_of = \"plug\"\n\n[[strip]]",
            "38:1 `taken_of` is not a key of [[template]] `hip-plate` / did you mean `taken_off`?",
        ),
        (
            "copies = 2 }",
            "copies = 2, copy = 2 }",
            "55:60 `copy` is not a key of an entry of `templates` / did you mean `copies`?",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\n[[cloth.flaw]]\nfrom = 0\nto = 5\nzz = 2",
            "20:1 `zz` is not a key of [[cloth.flaw]] / the keys known here are `from`, `high`, `low`, `outline`, `to`",
        ),
    ]);
}

#[test]
fn missing_keys_are_told_at_their_section() {
    each(&[
        (
            "name = \"bucket seat\"",
            "",
            "1:1 not given: name of the job; it also tells the kits of several jobs apart (`name` in [job]) / add `name`",
        ),
        (
            "[job]\nname = \"bucket seat\"",
            "",
            "1:1 not given: what the job is ([job] in the job file) / add [job]",
        ),
        (
            "inked_side = \"up\"",
            "",
            "25:1 not given: which way the inked side (the one that faced the worker) lay when the drawing was made. Down gives the other hand (`inked_side` in [[template]] `seat`) / add `inked_side`, one of `up`, `down`",
        ),
        (
            "up = \"paper\"\n",
            "",
            "10:1 not given: what is on the face that lies up on the bench; it tells the faces apart (`up` in [[cloth]] `twill`) / add `up`, one of `paper`, `film`, `bare`",
        ),
        (
            "selvedge = 0\n",
            "",
            "18:1 not given: width at each side of the roll that is not for use; 0 if there is none (`selvedge` in [[cloth]] `tape-cloth`) / add `selvedge`",
        ),
    ]);
    let faults = said(&parse("").unwrap_err().0);
    assert_eq!(
        faults,
        [
            "1:1 not given: the cloths: one section for each ([[cloth]] in the job file) / add [[cloth]]",
            "1:1 not given: the layers in laying order, the first on the mould ([[layer]] in the job file) / add [[layer]]",
            "1:1 not given: what the job is ([job] in the job file) / add [job]",
        ]
    );
}

#[test]
fn wrong_types() {
    each(&[
        (
            "gap = 2",
            "gap = true",
            "5:7 `gap` must be a number, or text with a unit, not true or false / `gap` means: least distance between pieces: 5 for scissors, 2 for a knife, 0 to share straight cuts",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\none_way = \"true\"",
            "17:11 `one_way` must be true or false, not text / write true without quotes",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\nfibre_density = \"1.8\"",
            "17:17 `fibre_density` must be a number, not text / write 1.8 without quotes",
        ),
        (
            "copies = 2",
            "copies = \"2\"",
            "55:57 `copies` must be a whole number, not text / write 2 without quotes",
        ),
        (
            "copies = 2",
            "copies = 2.0",
            "55:57 `copies` must be a whole number, not `2.0` / write it without a decimal point",
        ),
        (
            "name = \"bucket seat\"",
            "name = 2024-05-01",
            "2:8 `name` must be text in quotes, not a date or time / `name` means: name of the job; it also tells the kits of several jobs apart",
        ),
        (
            "up = \"film\"",
            "up = 1",
            "21:6 `up` must be text, not a number / `up` means: what is on the face that lies up on the bench; it tells the faces apart",
        ),
        (
            "[\"tape\", \"bolt\"]",
            "\"tape\"",
            "62:13 `templates` must be a list in [ ], not text / `templates` means: what it lays: ids of templates, strips and patches, or entries like { template = \"hip-plate\", hands = \"both\", copies = 2 }",
        ),
        (
            "[\"tape\", \"bolt\"]",
            "[\"tape\", [\"bolt\"]]",
            "62:22 an entry of `templates` must be text, or a table in { }, not a list / an entry of `templates` means: what a layer lays: an id, or an id with the hands and copies wanted",
        ),
        (
            "[[strip]]",
            "[strip]",
            "39:1 [strip] has single brackets / write [[strip]]: there may be several",
        ),
        (
            "[splice]",
            "[[splice]]",
            "8:1 `splice` must be a table, not a list / write [splice] once, with single brackets",
        ),
        (
            "centre = [50, 30]",
            "centre = [50, \"x\"]",
            "47:15 an entry of `centre`: `x` is no length / write mm as a plain number, or a number and a unit: \"30 cm\", \"1.25 m\", \"12 in\", \"1 ft\"",
        ),
    ]);
}

#[test]
fn numbers_out_of_range() {
    each(&[
        (
            "gap = 2",
            "gap = -0.5",
            "5:7 `gap` is `-0.5`, which is out of range / give at least 0 mm and at most 1000 mm",
        ),
        (
            "gap = 2",
            "gap = nan",
            "5:7 `gap` is `nan`, which is not a finite number / give at least 0 mm and at most 1000 mm",
        ),
        (
            "gap = 2",
            "gap = -inf",
            "5:7 `gap` is `-inf`, which is not a finite number / give at least 0 mm and at most 1000 mm",
        ),
        (
            "gap = 2",
            "gap = 1e999",
            "5:7 `gap` is `1e999`, which is not a finite number / give at least 0 mm and at most 1000 mm",
        ),
        (
            "gap = 2",
            "gap = 99999999999999999999",
            "5:7 `gap` is `99999999999999999999`, which is out of range / give at least 0 mm and at most 1000 mm",
        ),
        (
            "gap = 2",
            "trim = \"2 m\"",
            "5:8 `trim` is `\"2 m\"`, which is out of range / give at least 0 mm and at most 1000 mm",
        ),
        (
            "gap = 2",
            "gap = \"nan\"",
            "5:7 `gap`: `nan` is no length / write mm as a plain number, or a number and a unit: \"30 cm\", \"1.25 m\", \"12 in\", \"1 ft\"",
        ),
        (
            "\"2.4 m\"",
            "0",
            "6:16 `bench_length` is `0`, which is out of range / give more than 0 mm and at most 100000 mm",
        ),
        (
            "roll_width = 1250",
            "roll_width = \"1.25 km\"",
            "15:14 `roll_width`: `km` is not a known unit of length / write mm as a plain number, or a number and a unit: \"30 cm\", \"1.25 m\", \"12 in\", \"1 ft\"",
        ),
        (
            "angle = 45\n",
            "angle = 361\n",
            "54:9 `angle` is `361`, which is out of range / give at least -360° and at most 360°",
        ),
        (
            "copies = 2",
            "copies = 0",
            "55:57 `copies` is `0`, which is out of range / give at least 1 and at most 1000",
        ),
        (
            "copies = 2",
            "copies = 1001",
            "55:57 `copies` is `1001`, which is out of range / give at least 1 and at most 1000",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\nfibre_density = 1780",
            "17:17 `fibre_density` is `1780`, which is out of range / give at least 0.1 and at most 25",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\nareal_mass = 0",
            "17:14 `areal_mass` is `0`, which is out of range / give more than 0 g/m² and at most 10000 g/m²",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\nresin_content = 1",
            "17:17 a resin content of 1 leaves no fibre / give a share below 1, or per cent as text: 0.42, \"42 %\"",
        ),
        (
            "selvedge = 10",
            "selvedge = 625",
            "16:12 two selvedges of 625 mm leave nothing of a roll of 1250 mm / give the width at one side that is not for use",
        ),
        (
            "[splice]",
            "[splice]\nplies_apart = 0",
            "9:15 `plies_apart` is `0`, which is out of range / give at least 1 and at most 100",
        ),
        (
            "arrow = 20",
            "arrow = 20\nchord_tolerance = 0",
            "35:19 `chord_tolerance` is `0`, which is out of range / give at least 0.001 mm and at most 1 mm",
        ),
    ]);
}

#[test]
fn words_and_names() {
    each(&[
        (
            "weave = \"plain\"",
            "weave = \"plane\"",
            "20:9 `weave` cannot be `plane` / did you mean `plain`? It may be `unidirectional`, `plain`, `twill 2/2`, `twill 4/4`, `twill 2/1`, `twill 3/1`, `satin`, `biaxial 45`, `mat`, `none`",
        ),
        (
            "up = \"film\"",
            "up = \"glass\"",
            "21:6 `up` cannot be `glass` / it may be `paper`, `film`, `bare`",
        ),
        (
            "name = \"tapes\"",
            "name = \" \"",
            "59:8 `name` is empty / `name` means: name for people; its number if left out",
        ),
        (
            "name = \"tapes\"",
            "name = \"a\\u001b[31m\"",
            "59:8 `name` holds control characters: `a\\u{1b}[31m` / write it on one line, without tabs",
        ),
        (
            "gap = 2",
            "gap = 2\n\n\"a\\u001bb\" = 1",
            "7:1 `a\\u{1b}b` is not a key of [cutting] / the keys known here are `angle_tolerance`, `bench_length`, `gap`, `lap`, `least_offcut_width`, `trim`",
        ),
    ]);
    let form = "use letters, digits, '-', '_' and '.', no blanks, beginning with a letter or digit";
    for id in ["../seat", "-seat", "the seat", "seat/1"] {
        assert_eq!(
            faults_with("id = \"seat\"", &format!("id = \"{id}\""))[0],
            format!("26:6 `{id}` is no short name (`id`) / {form}")
        );
    }
    let long = "x".repeat(65);
    let faults = faults_with("id = \"tape\"", &format!("id = \"{long}\""));
    assert_eq!(faults[0], "40:6 `id` is longer than 64 characters / make it shorter");
}

#[test]
fn a_column_counts_characters_not_bytes() {
    each(&[(
        "name = \"tapes\"",
        "\"naïve käse\" = 1; ",
        "59:16 this is not TOML: string values must be quoted, expected literal string / correct this line; the rest can only be checked after that",
    )]);
    assert_eq!(
        faults_with("copies = 2 }", "hands = \"both\", copies = 2 }, \"größe\", \"ß\""),
        [
            "55:78 there is no template, strip or patch `größe` / the job has `bolt`, `hip-plate`, `seat`, `tape`",
            "55:87 there is no template, strip or patch `ß` / the job has `bolt`, `hip-plate`, `seat`, `tape`",
        ]
    );
}

#[test]
fn references_and_ids() {
    each(&[
        (
            "cloth = \"twill\"",
            "cloth = \"twil\"",
            "53:9 there is no cloth `twil` / did you mean \"twill\"?",
        ),
        (
            "cloth = \"twill\"",
            "cloth = \"zzz\"",
            "53:9 there is no cloth `zzz` / the job has `tape-cloth`, `twill`",
        ),
        (
            "template = \"hip-plate\"",
            "template = \"hip-plates\"",
            "55:35 there is no template, strip or patch `hip-plates` / did you mean \"hip-plate\"?",
        ),
        (
            "on = \"hip-plate\"",
            "on = \"tape\"",
            "46:6 a patch lies on a template, and `tape` is not a template / name one of the [[template]] sections",
        ),
    ]);
    assert_eq!(
        faults_with("id = \"bolt\"", "id = \"seat\"")[0],
        "45:6 the id `seat` is taken on line 26 / give each its own id"
    );
    assert_eq!(
        faults_with("id = \"tape-cloth\"", "id = \"twill\"")[0],
        "19:6 the id `twill` is taken on line 11 / give each its own id"
    );
    each(&[(
        "\"seat\", {",
        "\"seat\", \"seat\", {",
        "55:22 the layer lays `seat` twice / name it once, with `copies` or `hands = \"both\"`",
    )]);
}

#[test]
fn empty_and_overlong_lists() {
    each(&[
        (
            "[\"tape\", \"bolt\"]",
            "[]",
            "62:13 nothing is listed here (`templates`) / give at least 1",
        ),
        (
            "turns = [0, 180, 360]",
            "turns = []",
            "64:9 nothing is listed here (`turns`) / give at least 1",
        ),
        ("centre = [50, 30]", "centre = [50, 30, 0]", "47:10 `centre` has 3 entries / give 2"),
    ]);
    let faults = said(&parse("cloth = []\nlayer = []\n[job]\nname = \"x\"").unwrap_err().0);
    assert_eq!(
        faults,
        [
            "1:9 nothing is listed here (`cloth`) / give at least 1",
            "2:9 nothing is listed here (`layer`) / give at least 1"
        ]
    );
}

#[test]
fn rules_between_keys() {
    let line = "look along the roll with the up face towards you: 45 if the line rises to the left of the warp, -45 if to the right";
    assert_eq!(
        faults_with("twill_line = 45\n", ""),
        [format!("10:1 the twill needs the direction of its line / add `twill_line`: {line}")]
    );
    assert_eq!(
        faults_with("twill_line = 45", "twill_line = 30"),
        [format!("13:14 a twill line runs at 45 or -45, not 30 / {line}")]
    );
    each(&[
        (
            "selvedge = 10",
            "selvedge = 10\nprice_per_metre = 40\nprice_per_square_metre = 50",
            "18:26 the cloth has both a price per metre and a price per square metre / keep the one on the seller's list",
        ),
        (
            "turns = [0, 180, 360]\n",
            "",
            "64:9 `faces` stands without `turns` / say at which turns: turns = [0, 180]",
        ),
        (
            "width = 20\n",
            "width = 20\ncorner = 11\n",
            "50:10 corners of 11 mm do not fit a patch of 40 mm by 20 mm / give at most 10 mm",
        ),
        (
            "centre = [50, 30]\n",
            "",
            "44:1 the patch lacks `centre` / give `centre`, `length` and `width`, or an `outline`",
        ),
        (
            "length = 1800",
            "length = 0.0001",
            "39:1 a strip of 0 mm by 50 mm has no area / make it larger",
        ),
        (
            "centre = [50, 30]\nlength = 40\nwidth = 20",
            "outline = [[10, 10], [20, 10], [10, 20]]\nlength = 40",
            "48:10 `length` stands beside `outline` / give a patch by its size or by its outline, not by both",
        ),
        (
            "centre = [50, 30]",
            "centre = [50, 50]",
            "44:1 the patch leaves its template `hip-plate` at (65.37, 66.24) mm / move it, make it smaller, or correct the template",
        ),
    ]);
    let steps = "templates = [\"tape\", \"bolt\"]\n[[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [\"bolt\"]\n[[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [\"bolt\"]\n[[layer]]\ncloth = \"twill\"\nangle = 0";
    assert_eq!(
        faults_with("templates = [\"tape\", \"bolt\"]", &format!("{steps}\ntemplates = [\"bolt\"]"))[..1],
        ["50:13 laid 4 times and stepped back 5 mm each time, nothing is left of the patch / step back less, or lay it less often"
            .to_string()]
    );
}

#[test]
fn flaws_lie_on_the_roll() {
    let flaw = |text: &str| {
        faults_with(
            "selvedge = 10",
            &format!("selvedge = 10\nroll_length = 5000\n[[cloth.flaw]]\n{text}"),
        )
    };
    let place = "the flaw has no clear place / give either `outline`, or `from` and `to` (with `low` and `high` if it does not cross the whole roll)";
    assert_eq!(flaw("from = 3"), [format!("18:1 {place}")]);
    assert_eq!(flaw("outline = [[0, 0], [5, 0], [0, 5]]\nlow = 1"), [format!("18:1 {place}")]);
    assert_eq!(
        flaw("from = 5\nto = 5"),
        ["20:6 the flaw ends at 5 mm and begins at 5 mm / make `to` larger than `from`"]
    );
    assert_eq!(
        flaw("from = 5\nto = 9\nlow = 1300"),
        [
            "21:7 the flaw ends at 1250 mm across the roll and begins at 1300 mm / make `high` larger than `low`"
        ]
    );
    let axes = "x counts from the free end, y from the lower edge up to the roll's width, 1250 mm";
    assert_eq!(
        flaw("from = 5\nto = 9\nhigh = 1300"),
        [format!("18:1 the flaw reaches (9, 1300), off the roll / {axes}")]
    );
    assert_eq!(
        flaw("from = 5\nto = 5001"),
        [format!("18:1 the flaw reaches (5001, 0), off the roll / {axes}")]
    );
    assert_eq!(
        flaw("outline = [[-1, 0], [5, 0], [0, 5]]"),
        [format!("18:1 the flaw reaches (-1, 0), off the roll / {axes}")]
    );
    assert_eq!(
        flaw("from = \"x\"\nto = 5").len(),
        1,
        "a flaw without a sound `from` is not called incomplete as well"
    );
    let flat = flaw("outline = [[0, 0], [5, 0], [9, 0]]");
    assert!(flat.len() == 1 && flat[0].starts_with("18:1 the outline of the flaw: "), "{flat:?}");
}

#[test]
fn drawings_must_lie_in_the_folder_of_the_job() {
    let remedy = "copy the drawing into the folder of the job file, and name it from there";
    for (file, how) in [
        ("../seat.svg", "lies outside"),
        ("plates/../../seat.svg", "lies outside"),
        ("/etc/hostname", "is not named from"),
        ("/nowhere/x.svg", "is not named from"),
    ] {
        let faults = faults_with("\"seat.svg\"", &format!("\"{file}\""));
        assert_eq!(faults, [format!("27:8 `{file}` {how} the job's folder / {remedy}")]);
    }
    each(&[
        (
            "\"seat.svg\"",
            "\"seet.svg\"",
            "27:8 there is no file `seet.svg` / did you mean `seat.svg`?",
        ),
        ("\"seat.svg\"", "\"plates\"", "27:8 `plates` is not a file / name the drawing itself"),
    ]);
    assert!(
        faults_with("\"seat.svg\"", "\"seat.svg/x.svg\"")[0]
            .starts_with("27:8 there is no file `seat.svg/x.svg`")
    );
    let long = "a/".repeat(490);
    assert_eq!(faults_with("\"seat.svg\"", &format!("\"{long}\"")).len(), 1);
}

#[cfg(unix)]
#[test]
fn a_link_out_of_the_folder_is_refused_and_one_inside_is_not() {
    let (dir, elsewhere) = (folder(), tempfile::tempdir().unwrap());
    fs::write(elsewhere.path().join("seat.svg"), "").unwrap();
    fs::remove_file(dir.path().join("seat.svg")).unwrap();
    std::os::unix::fs::symlink(elsewhere.path().join("seat.svg"), dir.path().join("seat.svg"))
        .unwrap();
    let faults = parse_with(SOUND, &job_path(&dir), &read).unwrap_err();
    assert_eq!(
        said(&faults.0),
        [
            "27:8 `seat.svg` lies outside the job's folder / copy the drawing into the folder of the job file, and name it from there"
        ]
    );
    fs::remove_file(dir.path().join("seat.svg")).unwrap();
    std::os::unix::fs::symlink("pair.svg", dir.path().join("seat.svg")).unwrap();
    assert!(parse_with(SOUND, &job_path(&dir), &read).is_ok());
}

#[test]
fn one_outline_and_an_arrow() {
    let boxes = "`left` from (0, 0) to (100, 60); `right` from (200, 0) to (300, 60)";
    let choose = "choose one: for the first write inside = [50, 30] or layer = \"left\"";
    assert_eq!(
        faults_with("\"seat.svg\"", "\"pair.svg\""),
        [format!("27:8 `pair.svg` holds 2 outlines: {boxes} / {choose}")]
    );
    assert_eq!(
        faults_with("\"seat.svg\"", "\"pair.svg\"\ninside = [150, 30]"),
        [format!("28:10 `pair.svg` holds no outline around (150, 30), but {boxes} / {choose}")]
    );
    each(&[
        (
            "\"seat.svg\"",
            "\"empty.svg\"",
            "27:8 `empty.svg` holds no outline / draw the net line as a closed line",
        ),
        (
            "arrow = 20\n",
            "",
            "33:8 `plates/hip.dxf` shows no arrow, and the job gives none / draw a line on a layer named arrow, tail first, or add `arrow`: degrees anticlockwise from the right of the drawing",
        ),
        (
            "\"seat.svg\"",
            "\"broken.svg\"",
            "net line (1, 2) the outline crosses itself / draw it anew",
        ),
    ]);
}

#[test]
fn all_faults_come_together_sorted_by_file_and_place() {
    let dir = folder();
    let text = SOUND
        .replacen("gap = 2", "gap = -2\nfoo = 1", 1)
        .replacen("roll_width = 1250", "roll_width = 0", 1)
        .replacen("\"seat.svg\"", "\"broken.svg\"", 1)
        .replacen("\"plates/hip.dxf\"", "\"nowhere.dxf\"", 1)
        .replacen("cloth = \"tape-cloth\"", "cloth = \"tape-clth\"", 1)
        .replacen("\"tape\", \"bolt\"", "\"tap\", \"bolt\"", 1);
    let faults = parse_with(&text, &job_path(&dir), &read).unwrap_err();
    let shown = faults.to_string().replace(&format!("{}/", dir.path().display()), "");
    let expected = "\
broken.svg: net line at (1.00, 2.00) mm: the outline crosses itself
    draw it anew
job.toml:5:7: `gap` is `-2`, which is out of range
    give at least 0 mm and at most 1000 mm
job.toml:6:1: `foo` is not a key of [cutting]
    the keys known here are `angle_tolerance`, `bench_length`, `gap`, `lap`, `least_offcut_width`, `trim`
job.toml:16:14: `roll_width` is `0`, which is out of range
    give more than 0 mm and at most 100000 mm
job.toml:34:8: there is no file `nowhere.dxf`
    put the drawing there, or name it from the folder of the job file (FOLDER)
job.toml:61:9: there is no cloth `tape-clth`
    did you mean \"tape-cloth\"?
    to paste:
        cloth = \"tape-cloth\"
job.toml:63:14: there is no template, strip or patch `tap`
    did you mean \"tape\"?
    to paste:
        templates = [\"tape\", \"bolt\"]";
    assert_eq!(shown, expected.replace("FOLDER", &dir.path().display().to_string()));
}

#[test]
fn files_that_are_no_job_files() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str, bytes: &[u8]| {
        let path = dir.path().join(name);
        fs::write(&path, bytes).unwrap();
        said(&load(&path).unwrap_err().0)
    };
    assert_eq!(
        at("binary", b"a = 1\nb\xff\xfe\x00"),
        ["2:2 this is not text in UTF-8 / name a job file, and save it as UTF-8"]
    );
    assert_eq!(
        at("huge", &vec![b'#'; (4 << 20) + 1]),
        ["the file is larger than 4 MB / name a job file; drawings stay in files of their own"]
    );
    assert_eq!(at("empty", b"").len(), 3);
    assert!(!at("zeros", &[0; 1000]).is_empty());
    assert_eq!(
        said(&load(dir.path()).unwrap_err().0),
        ["this is a folder, not a job file / name the job file in it, such as job.toml"]
    );
    let missing = load(&dir.path().join("missing.toml")).unwrap_err();
    assert_eq!(
        said(&missing.0),
        ["there is no such file / name a job file, or begin one with `warpwise new`"]
    );
    if Path::new("/dev/zero").exists() {
        assert_eq!(
            said(&load(Path::new("/dev/zero")).unwrap_err().0),
            ["this is not an ordinary file / name a job file"]
        );
    }
}

#[test]
fn deep_and_wide_files_end_in_faults() {
    for text in [
        format!("a = {}{}", "[".repeat(100_000), "]".repeat(100_000)),
        format!("a = {}", "{a = ".repeat(100_000)),
        format!("[{}]", vec!["a"; 100_000].join(".")),
        format!("{} = 1", vec!["a"; 100_000].join(".")),
        "[[cloth]]\n".repeat(50_000),
        "[a\n".repeat(100_000),
        (0..50_000).map(|i| format!("k{i} = 1\n")).collect(),
        format!("cloth = [{}]", "{},".repeat(100_000)),
        format!("a = \"{}", "x".repeat(1_000_000)),
    ] {
        let faults = parse(&text).unwrap_err();
        assert!(!faults.is_empty() && faults.0.len() <= 1002, "{}", faults.0.len());
    }
}

#[test]
fn a_list_longer_than_allowed_does_not_upset_what_comes_after() {
    let strips: String = (0..2100)
        .map(|i| format!("[[strip]]\nid = \"s{i}\"\nlength = 100\nwidth = 10\n"))
        .collect();
    let text = SOUND.replacen("[[strip]]", &format!("{strips}\n[[strip]]"), 1).replacen(
        "\"tape\", \"bolt\"",
        "\"tape\", \"s2050\", \"bolt\"",
        1,
    );
    assert_eq!(
        said(&parse(&text).unwrap_err().0),
        ["39:1 `strip` has 2101 entries / give at most 2000"]
    );
}

#[test]
fn with_very_many_faults_the_list_ends() {
    let items: String = (0..1500).map(|i| format!("\"nothing-{i}\", ")).collect();
    let faults = parse(&SOUND.replacen("\"tape\", \"bolt\"", &items, 1)).unwrap_err().0;
    assert_eq!(faults.len(), 1001);
    assert_eq!(faults[1000].what, "there are more faults than the 1000 listed");
}

/// The schema cannot ask for it: a mosaic layer has none.
#[test]
fn a_layer_of_whole_plies_needs_an_angle() {
    let dir = folder();
    let faults = parse_with(&SOUND.replacen("angle = 45\n", "", 1), &job_path(&dir), &read)
        .unwrap_err()
        .to_string();
    assert!(faults.contains("[[layer]] lacks `angle`"), "{faults}");
}
