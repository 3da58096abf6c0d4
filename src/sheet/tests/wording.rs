//! One plan, all its outputs: they say the same of every piece. What is to be said is written out
//! here, word by word.

use super::kayak;
use crate::cloth::Face;
use crate::job::{Hands, Seen};
use crate::layup::{When, layup};
use crate::plan::{PlacedPiece, Plan, PlanLayer, PlanLayerItem, PlanPiece, PlanStock};
use crate::ply::Hand;
use crate::sheet::{csv, dxf, face::View, report, stickers};

/// The fixture with layers, names that only repeat the number among them, and a patch.
fn plan() -> Plan {
    let mut plan = kayak::plan();
    plan.pieces.iter_mut().find(|p| p.number == "2.5").unwrap().patch = Some(7);
    for layer in 1..=4 {
        let of_layer: Vec<&PlanPiece> = plan.pieces.iter().filter(|p| p.layer == layer).collect();
        let item = |p: &&PlanPiece| PlanLayerItem {
            template: p.template.clone(),
            hands: Hands::AsTraced,
            copies: p.copies,
        };
        plan.layers.push(PlanLayer {
            job: "kayak outfitting".into(),
            layer,
            name: if layer == 1 { "face".into() } else { format!("layer {layer}") },
            cloth: of_layer[0].cloth.clone(),
            angle: of_layer[0].angle,
            seen: if layer == 1 { Seen::MouldSide } else { Seen::Hidden },
            book_match: true,
            trim: 25.0,
            lap: 25.0,
            turns_overridden: false,
            items: of_layer.iter().map(item).collect(),
        });
    }
    plan
}

/// What every output must say of a placed copy.
struct Said {
    layer: String,
    angle: String,
    hand: &'static str,
    /// Part, patch, copy.
    which: Vec<String>,
    lies: &'static str,
    mould: &'static str,
}

fn said(piece: &PlanPiece, placed: &PlacedPiece, stock: &PlanStock) -> Said {
    let mut which = Vec::new();
    which.extend(piece.part.map(|p| format!("part {} of {}", p.number, p.of)));
    which.extend(piece.patch.map(|p| format!("patch {p}")));
    if piece.copies > 1 {
        which.push(format!("copy {} of {}", placed.copy, piece.copies));
    }
    Said {
        layer: format!("layer {}", piece.layer),
        angle: if piece.angle == 0.0 { "0°".into() } else { format!("+{}°", piece.angle) },
        hand: if piece.hand == Hand::Mirrored { "mirrored" } else { "as traced" },
        which,
        lies: if placed.face == Face::Down { "FACE DOWN" } else { "face up" },
        // The roll of the fixture lies paper side up, its offcut film side down.
        mould: match (stock.id.as_str(), placed.face) {
            ("R1", Face::Up) => "paper side towards you",
            ("R1", Face::Down) => "paper side on the mould",
            (_, Face::Up) => "film side on the mould",
            (_, Face::Down) => "film side towards you",
        },
    }
}

/// The cells of the table's row that begins with these.
fn row(html: &str, first: &[&str]) -> Vec<Vec<String>> {
    let cells = |row: &str| -> Vec<String> {
        let plain = |cell: &str| {
            cell.split('<').map(|t| t.split_once('>').map_or(t, |t| t.1)).collect::<String>()
        };
        row.split("<td>").skip(1).map(|cell| plain(cell).replace('\u{a0}', " ")).collect()
    };
    html.split("<tr>")
        .map(cells)
        .filter(|c| c.len() > first.len() && c.iter().zip(first).all(|(a, b)| a == b))
        .collect()
}

fn has(what: &str, where_: &str, words: &[&str]) {
    for word in words {
        assert!(where_.contains(word), "{what} does not say `{word}`: {where_}");
    }
    assert!(!where_.contains('…'), "{what} is cut short: {where_}");
}

#[test]
fn every_output_says_the_same_of_a_piece() {
    let plan = plan();
    let html = report::of_plan(&View::new(&plan, None), &[]);
    let table = csv::pieces(&plan);
    let records: Vec<std::collections::BTreeMap<String, String>> =
        ::csv::Reader::from_reader(table.as_bytes()).deserialize().map(Result::unwrap).collect();
    let sheets = layup(&plan, &When::default());
    let view = View::new(&plan, None);
    for stock in &plan.stocks {
        for placed in &stock.placed {
            let piece = plan.pieces.iter().find(|p| p.piece == placed.piece).unwrap();
            let s = said(piece, placed, stock);
            let line = format!("{} · {} · {}", s.layer, s.angle, s.hand);
            let which: Vec<&str> = s.which.iter().map(String::as_str).collect();

            let label = stickers::label(&plan, piece, placed, stock, [70.0, 37.0]);
            let words: String = label.texts.iter().map(|t| format!("{}\n", t.words)).collect();
            has(
                "the label",
                &words,
                &[
                    &which[..],
                    &[&piece.number, &piece.template, &line, s.lies, s.mould, &piece.cloth],
                ]
                .concat(),
            );
            let bag = stickers::in_a_line(piece, placed);
            has(
                "the bag's card",
                &bag,
                &[&which[..], &[&piece.template, &line, &piece.cloth]].concat(),
            );

            // Cut sheets as SVG, PDF and DXF and the placement sheet take their words from these.
            let sheet =
                &view.sheets().into_iter().map(|s| s.1).find(|sh| sh.stock.id == stock.id).unwrap();
            let facts = &sheets_facts(&view, stock, placed);
            assert_eq!(sheet.plan.id, plan.id);
            has("the cut sheet", facts, &[&which[..], &[&piece.template, &line]].concat());
            assert_eq!(facts.contains("FACE DOWN"), s.lies == "FACE DOWN", "{facts}");

            let copy = if piece.copies > 1 { which[which.len() - 1] } else { "1" };
            let found = row(&html, &[&piece.number]);
            let mine: Vec<&Vec<String>> =
                found.iter().filter(|r| r.len() == 10 && r[7] == copy).collect();
            assert_eq!(mine.len(), 1, "{} in the report", piece.number);
            has(
                "the report",
                &mine[0].join("\n"),
                &[&which[..], &[&piece.template, &s.angle, s.hand, &piece.cloth, s.lies]].concat(),
            );
            assert_eq!(format!("layer {}", mine[0][2]), s.layer);

            let r = records
                .iter()
                .find(|r| r["piece"] == placed.piece && r["copy"] == placed.copy.to_string())
                .unwrap();
            assert_eq!((r["number"].as_str(), r["hand"].as_str()), (piece.number.as_str(), s.hand));
            assert_eq!(format!("layer {}", r["layer"]), s.layer);
            assert_eq!(r["face"] == "down", s.lies == "FACE DOWN");
            assert_eq!(r["part"].is_empty(), piece.part.is_none());

            let step =
                sheets[0].steps.iter().find(|step| step.layer == Some(piece.layer - 1)).unwrap();
            let name = if piece.layer == 1 {
                "Layer 1, face: ".into()
            } else {
                format!("Layer {}: ", piece.layer)
            };
            assert!(step.what.starts_with(&name), "{}", step.what);
            let tick = step
                .ticks
                .iter()
                .find(|t| t.label.starts_with(&format!("{} {} · ", piece.number, piece.template)))
                .unwrap();
            assert_eq!(tick.copies, piece.copies);
            let of_ply: Vec<&str> =
                which.iter().copied().filter(|w| !w.starts_with("copy")).collect();
            has("the lay-up sheet", &tick.label, &[&of_ply[..], &[&s.angle, s.hand]].concat());
            assert_eq!(tick.label.contains("FACE DOWN"), s.lies == "FACE DOWN", "{}", tick.label);
            let note = &step.notes[0];
            assert!(
                tick.label.contains(s.mould)
                    || note.starts_with(&format!("Lay every piece with its {}", s.mould)),
                "{note}; {}",
                tick.label
            );
        }
    }
}

/// What the drawings say of a placed copy.
fn sheets_facts(view: &View, stock: &PlanStock, placed: &PlacedPiece) -> String {
    let of_stock = view.sheets().into_iter().map(|s| s.1).filter(|s| s.stock.id == stock.id);
    let mut all = of_stock.flat_map(|s| s.pieces.into_iter());
    let laid =
        all.find(|l| l.placed.piece == placed.piece && l.placed.copy == placed.copy).unwrap();
    laid.facts.line()
}

#[test]
fn drawings_of_all_formats_number_and_mark_the_same_pieces() {
    let plan = plan();
    let view = View::new(&plan, None);
    for (name, sheet) in view.sheets() {
        let scene = sheet.layout().scene.clone();
        let drawn: Vec<&str> = scene.texts.iter().map(|t| t.words.as_str()).collect();
        let text = String::from_utf8(dxf::write(&sheet)).unwrap();
        let back = ::dxf::Drawing::load(&mut text.as_bytes()).unwrap();
        let in_dxf: Vec<String> = back
            .entities()
            .filter_map(|e| {
                if let ::dxf::entities::EntityType::Text(t) = &e.specific {
                    Some(t.value.clone())
                } else {
                    None
                }
            })
            .collect();
        for laid in &sheet.pieces {
            let number = &laid.facts.number;
            assert!(
                drawn.contains(&number.as_str()) && in_dxf.contains(number),
                "{name}: {number}"
            );
        }
        let down = sheet.pieces.iter().filter(|p| p.facts.face_down).count();
        let marks = |words: &mut dyn Iterator<Item = &str>| {
            words.filter(|w| *w == "FACE DOWN" || *w == "DOWN").count()
        };
        assert_eq!(marks(&mut drawn.iter().copied()), down, "{name}");
        assert_eq!(marks(&mut in_dxf.iter().map(String::as_str)), down, "{name} as DXF");
    }
}
