//! `warpwise trace photo PHOTO…`: the templates in a photo as a drawing at true size, and a check
//! picture.

use super::questions::{Gaps, Inked, Net, Off, answers};
use crate::cli::exit::Failure;
use crate::cli::files::write_into;
use crate::cli::output::{print, warn};
use crate::cli::progress::Bar;
use crate::cli::search::interrupt;
use clap::Args;
use image::RgbImage;
use std::io::Read;
use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults};
use warpwise::file_name;
use warpwise::geometry::{Point, point, ring_area, ring_bounds};
use warpwise::run::Run;
use warpwise::trace::{
    self, Answer, EdgeRequest, Gap, KnownRectangle, MOST_BYTES, MeasuredLength, NetLine, Options,
    Tracing,
};
use warpwise::units::{parse_length, show_number};

/// `warpwise trace photo`.
#[derive(Args)]
pub struct Photo {
    /// The photo, JPEG or PNG; several that show the same cards are joined
    #[arg(value_name = "PHOTO", required = true)]
    photos: Vec<PathBuf>,
    /// Which line is the net line
    #[arg(long, value_enum)]
    net: Option<Net>,
    /// Which way the inked side of the skin lies in the photo
    #[arg(long, value_enum)]
    inked: Option<Inked>,
    /// What the skin was taken off
    #[arg(long, value_enum)]
    off: Option<Off>,
    /// The folder to write into [default: beside the photo]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Name of the template and its files [default: the photo's name]
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// What narrow gaps in the edge are, where the photo does not show it
    #[arg(long, value_enum)]
    gaps: Option<Gaps>,
    /// Measured width of the printed card's frame, which should be 180 mm
    #[arg(long, value_name = "MM", value_parser = length)]
    card_width: Option<f64>,
    /// How far the outline may be simplified, mm
    #[arg(long, value_name = "MM", default_value = "0.2", value_parser = length)]
    tolerance: f64,
    /// Kind of an edge from corner to corner, clockwise, corners named as in the check picture:
    /// lap=A-C (trim, lap, butt, dart)
    #[arg(long, value_name = "KIND=A-B", value_parser = |s: &str| EdgeRequest::parse(s).map_err(text_of))]
    edge: Vec<EdgeRequest>,
    /// A length measured on the template, straight from corner to corner: A-C=412.5
    #[arg(long, value_name = "A-B=LENGTH", value_parser = |s: &str| MeasuredLength::parse(s).map_err(text_of))]
    check: Vec<MeasuredLength>,
    /// Without cards: four pixels x,y (upper left, upper right, lower right, lower left)
    #[arg(long, value_name = "X,Y", num_args = 4, value_parser = pixel, requires = "rectangle")]
    points: Vec<Point>,
    /// The size of the rectangle that --points span, mm: 600x400
    #[arg(long, value_name = "WxH", value_parser = size, requires = "points")]
    rectangle: Option<(f64, f64)>,
    /// A pixel on the skin, as the photo is shown, where the tracer finds the wrong thing or
    /// nothing
    #[arg(long, value_name = "X,Y", value_parser = pixel)]
    at: Option<Point>,
    /// Pixels roughly around the skin: X,Y,X,Y,X,Y,…
    #[arg(long, value_name = "X,Y,…", value_parser = ring)]
    around: Option<Vec<Point>>,
    /// Whether what has this letter in the check picture is a hole: c=yes
    #[arg(long, value_name = "LETTER=yes|no", value_parser = |s: &str| Answer::hole(s).map_err(text_of))]
    hole: Vec<Answer>,
    /// What the narrow gap with this letter is: b=slit, b=dart
    #[arg(long, value_name = "LETTER=slit|dart", value_parser = |s: &str| Answer::gap(s).map_err(text_of))]
    gap: Vec<Answer>,
    /// Leave out what has this letter: a template, a gap, a hole, a relief cut, a mark
    #[arg(long, value_name = "LETTER", value_parser = |s: &str| Answer::not(s).map_err(text_of))]
    not: Vec<Answer>,
    /// Print the figures as JSON
    #[arg(long)]
    json: bool,
    /// Print no warnings
    #[arg(long)]
    quiet: bool,
}

fn text_of(fault: Fault) -> String {
    format!("{}; {}", fault.what, fault.remedy)
}

fn length(text: &str) -> Result<f64, String> {
    let mm = parse_length(text).map_err(text_of)?;
    if mm > 0.0 && mm < 10_000.0 {
        Ok(mm)
    } else {
        Err("give a length above 0 and below 10 m".into())
    }
}

fn pixel(text: &str) -> Result<Point, String> {
    let number = |s: &str| s.trim().parse::<f64>().ok().filter(|v| v.is_finite());
    match text.split_once(',').map(|(x, y)| (number(x), number(y))) {
        Some((Some(x), Some(y))) => Ok(point(x, y)),
        _ => Err("write a pixel as x,y".into()),
    }
}

fn ring(text: &str) -> Result<Vec<Point>, String> {
    let numbers: Option<Vec<f64>> =
        text.split(',').map(|s| s.trim().parse::<f64>().ok().filter(|v| v.is_finite())).collect();
    let numbers = numbers
        .filter(|n| n.len() >= 6 && n.len() % 2 == 0)
        .ok_or("write at least three pixels as x,y,x,y,x,y")?;
    Ok(numbers.chunks(2).map(|p| point(p[0], p[1])).collect())
}

fn size(text: &str) -> Result<(f64, f64), String> {
    let (w, h) = text.split_once(['x', '×']).ok_or("write width and height as 600x400")?;
    Ok((length(w)?, length(h)?))
}

impl Photo {
    /// Traces and writes.
    pub fn run(self) -> Result<(), Failure> {
        let (net, inked, off) = answers(self.net, self.inked, self.off)?;
        let photos = read(&self.photos)?;
        let first = photos.first().map(|p| p.0.clone()).unwrap_or_default();
        let stem = first
            .file_stem()
            .map_or_else(|| "template".to_string(), |s| s.to_string_lossy().into_owned());
        let name = self.name.clone().unwrap_or(stem);
        file_name::checked(&name).map_err(|f| Failure::Usage(f.into()))?;
        let rectangle = match (self.rectangle, self.points.as_slice()) {
            (Some((width, height)), &[a, b, c, d]) => {
                Some(KnownRectangle { pixels: [a, b, c, d], width, height })
            }
            _ => None,
        };
        let card_width = self.card_width.unwrap_or(trace::card::WIDTH);
        if !(0.8..1.25).contains(&(card_width / trace::card::WIDTH)) {
            let what = said!(
                "a card printed at 100 % is {} mm wide, not {} mm",
                trace::card::WIDTH,
                show_number(card_width, 1)
            );
            return Err(Failure::Usage(
                Fault::new(
                    what,
                    "measure the frame from side to side; print the card again if it is far off",
                )
                .into(),
            ));
        }
        let options = Options {
            name: name.clone(),
            net: if net == Net::Edge { NetLine::Edge } else { NetLine::Ink },
            card_width,
            tolerance: self.tolerance,
            edges: self.edge.clone(),
            lengths: self.check.clone(),
            gaps: self.gaps.map(|g| match g {
                Gaps::Slit => Gap::Slit,
                Gaps::Dart => Gap::Dart,
            }),
            rectangle,
            at: self.at,
            around: self.around.clone(),
            answers: [self.hole.clone(), self.gap.clone(), self.not.clone()].concat(),
        };
        let bar = Bar::new(self.quiet);
        let run = Run::default().with_cancel(interrupt()?).with_observer(&bar);
        let tracing = trace::trace_in(&photos, &options, &run)
            .map_err(|faults| Failure::input(faults.in_file(&first), &run))?;
        drop(bar);
        warn(&tracing.warnings, self.quiet);
        let out = self
            .out
            .clone()
            .unwrap_or_else(|| first.parent().map(Path::to_path_buf).unwrap_or_default());
        let out = if out.as_os_str().is_empty() { PathBuf::from(".") } else { out };
        let notes = notes(&tracing, inked, off);
        let drawing = (
            PathBuf::from(format!("{name}.svg")),
            trace::drawing(&tracing.templates, &notes).into_bytes(),
        );
        let picture = (
            PathBuf::from(format!("{name}-check.svg")),
            trace::check_picture(&tracing).into_bytes(),
        );
        let names = [out.join(&drawing.0), out.join(&picture.0)];
        write_into(&out, &[drawing, picture])?;
        print(&if self.json {
            json(&tracing, &names)
        } else {
            summary(&tracing, &names, inked, off)
        })
    }
}

fn read(paths: &[PathBuf]) -> Result<Vec<(PathBuf, RgbImage)>, Failure> {
    let mut faults = Faults::new();
    let mut photos = Vec::new();
    for path in paths {
        match read_one(path) {
            Ok(photo) => photos.push((path.clone(), photo)),
            Err(fault) => faults.push(fault.in_file(path)),
        }
    }
    faults.into_result(photos).map_err(Failure::Input)
}

fn read_one(path: &Path) -> Result<RgbImage, Fault> {
    let about = std::fs::metadata(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => {
            Fault::new("there is no such file", "name the photo of the template")
        }
        _ => Fault::new(said!("the file cannot be read: {e}"), "check the disk and the name"),
    })?;
    if !about.is_file() {
        return Err(Fault::new("this is not an ordinary file", "name the photo of the template"));
    }
    let mut bytes = Vec::new();
    // One byte over the limit tells a file that is too large.
    let read =
        std::fs::File::open(path).and_then(|f| f.take(MOST_BYTES + 1).read_to_end(&mut bytes));
    read.map_err(|e| {
        Fault::new(said!("the file cannot be read: {e}"), "check the disk and the name")
    })?;
    trace::read_photo(&bytes)
}

fn notes(tracing: &Tracing, inked: Inked, off: Off) -> Vec<String> {
    let f = &tracing.figures;
    vec![
        format!(
            "Traced from a photo. In the job: taken_off = \"{}\", inked_side = \"{}\".",
            off.word(),
            inked.word()
        ),
        format!("{:.2} mm a pixel; lengths accurate to {:.1} mm.", f.resolution, f.uncertainty),
    ]
}

fn summary(tracing: &Tracing, names: &[PathBuf; 2], inked: Inked, off: Off) -> String {
    let f = &tracing.figures;
    let mut out = String::new();
    for t in &tracing.templates {
        let (w, h) = ring_bounds(&t.net).map_or((0.0, 0.0), |b| (b.width(), b.height()));
        let area = ring_area(&t.net) + t.holes.iter().map(|h| ring_area(h)).sum::<f64>();
        out.push_str(&format!("{}: {w:.1} × {h:.1} mm, {:.1} dm²", t.name, area / 10_000.0));
        match t.arrow {
            Some([a, b]) => out.push_str(&format!(", arrow at {:.1}°", (b - a).direction())),
            None => out.push_str(", no arrow"),
        }
        for (count, noun) in
            [(t.holes.len(), "hole"), (t.cuts.len(), "relief cut"), (t.marks.len(), "mark")]
        {
            if count > 0 {
                out.push_str(&format!(", {}", warpwise::units::counted(count, noun)));
            }
        }
        let names: Vec<&str> = t.corners.iter().map(|c| c.name.as_str()).collect();
        out.push_str(&format!("\n  corners clockwise: {}\n", names.join(" ")));
    }
    if !f.cards.is_empty() {
        let tilt: Vec<String> = f.tilt.iter().map(|t| format!("{t:.0}°")).collect();
        out.push_str(&format!(
            "Photo: {} ({}), marks {:.2} mm off, tilt {}, sharp edges {:.1} mm wide\n",
            warpwise::units::counted(f.cards.len(), "card"),
            f.cards.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
            f.error,
            tilt.join(", "),
            f.blur,
        ));
        out.push_str(&format!(
            "Lengths: accurate to {:.1} mm; {:.2} mm a pixel\n",
            f.uncertainty, f.resolution
        ));
    }
    for (asked, found) in &tracing.lengths {
        let off = found - asked.length;
        out.push_str(&format!(
            "{}-{}: {found:.1} mm, measured {} mm ({off:+.1} mm, {:+.2} %)\n",
            asked.between.from,
            asked.between.to,
            show_number(asked.length, 1),
            100.0 * off / asked.length
        ));
    }
    out.push_str(&format!("Look at:  {}\nOutline:  {}\n", names[1].display(), names[0].display()));
    out.push_str(&format!(
        "In the job: taken_off = \"{}\", inked_side = \"{}\"\n",
        off.word(),
        inked.word()
    ));
    out
}

fn json(tracing: &Tracing, names: &[PathBuf; 2]) -> String {
    let f = &tracing.figures;
    let pair = |p: &Point| [p.x, p.y];
    let templates: Vec<serde_json::Value> = tracing
        .templates
        .iter()
        .map(|t| {
            serde_json::json!({
                "name": t.name,
                "net": t.net.iter().map(pair).collect::<Vec<_>>(),
                "holes": t.holes.iter().map(|h| h.iter().map(pair).collect::<Vec<_>>()).collect::<Vec<_>>(),
                "arrow": t.arrow.map(|a| a.iter().map(pair).collect::<Vec<_>>()),
                "cuts": t.cuts.iter().map(|c| c.iter().map(pair).collect::<Vec<_>>()).collect::<Vec<_>>(),
                "marks": t.marks.len(),
                "letters": t.letters.iter().map(|l| serde_json::json!({"letter": l.letter, "kind": l.kind.word(), "place": pair(&l.at)})).collect::<Vec<_>>(),
                "doubts": t.doubts.iter().map(|d| serde_json::json!({
                    "at": pair(&d.at()), "length": d.length, "cause": format!("{:?}", d.cause).to_lowercase(),
                    "path": d.path.iter().map(pair).collect::<Vec<_>>(),
                })).collect::<Vec<_>>(),
                "corners": t.corners.iter().map(|c| (c.name.clone(), pair(&c.at))).collect::<Vec<_>>(),
            })
        })
        .collect();
    let value = serde_json::json!({
        "outline": names[0].display().to_string(),
        "check_picture": names[1].display().to_string(),
        "templates": templates,
        "cards": f.cards,
        "error_mm": f.error,
        "mm_a_pixel": f.resolution,
        "tilt": f.tilt,
        "distortion": f.distortion,
        "blur_mm": f.blur,
        "uncertainty_mm": f.uncertainty,
        "template_is_lighter": f.lighter,
        "warnings": tracing.warnings.iter().map(|w| w.what.to_string()).collect::<Vec<_>>(),
        "lengths": tracing.lengths.iter().map(|(m, l)| serde_json::json!({"from": m.between.from, "to": m.between.to, "measured": m.length, "traced": l})).collect::<Vec<_>>(),
    });
    format!("{value:#}\n")
}
