//! What a projector over a bench throws just now: its set-up, and the pieces of a plan one after the
//! other.

use super::benches::{Bench, How, Style, TRUE_WITHIN, Yes, benches, keep_bench};
use crate::cloth::Face;
use crate::day::Day;
use crate::fault::{Fault, Faults};
use crate::file_name;
use crate::geometry::Point;
use crate::project::{
    Dot, Fit, Grid, Known, Lie, Marked, Picture, Thrown, Window, by_photo, check_marks, pattern,
    test_picture, window_thrown, windows,
};
use crate::sheet::{ClothThrown, thrown};
use crate::trace;
use crate::verify::Verified;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What is shown.
#[derive(Clone, Debug, PartialEq)]
pub enum Shown {
    /// Nothing.
    Dark,
    /// Crosses to be dragged.
    Marks(Marked),
    /// Dots for a photo.
    Pattern,
    /// The test picture.
    Test,
    /// The check marks.
    Check,
    /// Pieces to cut.
    Cut,
}

/// How it stands with the bench.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Standing {
    /// It is not set up.
    NotSetUp,
    /// Something was moved.
    Moved,
    /// Nobody has looked at the check marks since the start.
    Unchecked,
    /// Its error, mm, is more than it should be, and nobody said yes.
    Untrue(f64),
    /// Ready to cut by.
    Ready,
}

/// Where the work goes from here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The next piece.
    Next,
    /// The one before.
    Previous,
    /// The first piece of the next length of cloth.
    NextWindow,
    /// The first piece of the length before.
    PreviousWindow,
    /// The stop of this number.
    To(usize),
}

/// A stop of the work: a piece, or a length of cloth with nothing to cut or all that lies in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stop {
    /// The cloth, in the order of the sheets.
    pub cloth: usize,
    /// Its window.
    pub window: usize,
    /// The piece, by its place in the cloth's order; none where several or no pieces are shown.
    pub piece: Option<usize>,
}

/// A plan that is being cut.
#[derive(Clone, Debug)]
pub struct Cutting {
    /// The job's name in an address.
    pub job: String,
    /// The plan's id.
    pub plan: String,
    /// Which face of the cloth is up, if not as planned.
    pub face: Option<Face>,
    /// How the cloth lies.
    pub lie: Lie,
    /// All pieces under the picture at once.
    pub whole: bool,
    /// The cloths.
    pub cloths: Vec<ClothThrown>,
    /// Windows of each, and pieces that are too large for the picture.
    pub windows: Vec<(Vec<Window>, Vec<usize>)>,
    /// All stops.
    pub stops: Vec<Stop>,
    /// The present one.
    pub at: usize,
}

/// A picture for the projector.
#[derive(Clone, Debug, PartialEq)]
pub enum Light {
    /// Nothing.
    Dark,
    /// Crosses, pixels.
    Crosses(Vec<Point>),
    /// Dots.
    Dots(Vec<Dot>),
    /// Lines and words.
    Lines(Thrown),
}

/// The projector of a workshop.
#[derive(Debug)]
pub struct Projecting {
    root: PathBuf,
    name: Option<String>,
    shown: Shown,
    /// The size of the picture that is open.
    open: Option<Picture>,
    crosses: Vec<Point>,
    /// The bench whose check marks were looked at since the start.
    checked: Option<String>,
    cutting: Option<Cutting>,
    fitted: Option<(Known, Arc<Fit>)>,
    number: u64,
}

impl Projecting {
    /// A projector that throws nothing yet.
    pub fn new(root: &Path) -> Projecting {
        Projecting {
            root: root.to_path_buf(),
            name: None,
            shown: Shown::Dark,
            open: None,
            crosses: Vec::new(),
            checked: None,
            cutting: None,
            fitted: None,
            number: 0,
        }
    }

    /// Rises with every change of what is thrown.
    pub fn number(&self) -> u64 {
        self.number
    }

    /// What is shown.
    pub fn shown(&self) -> &Shown {
        &self.shown
    }

    /// The name of the bench that is worked at: the one chosen, else the first there is.
    ///
    /// # Errors
    /// The file of benches is none.
    pub fn name(&self) -> Result<Option<String>, Faults> {
        match &self.name {
            Some(name) => Ok(Some(name.clone())),
            None => Ok(benches(&self.root)?.into_iter().next().map(|b| b.name)),
        }
    }

    /// Works at a bench, which need not be set up yet.
    ///
    /// # Errors
    /// That is no name.
    pub fn choose(&mut self, name: &str) -> Result<(), Faults> {
        let name = file_name::checked(name.trim())?;
        if self.name()?.as_deref() != Some(name) {
            (self.shown, self.cutting) = (Shown::Dark, None);
        }
        self.name = Some(name.to_string());
        self.number += 1;
        Ok(())
    }

    /// The bench that is worked at, if it is set up.
    ///
    /// # Errors
    /// The file of benches is none, or what it says of this one makes no map.
    pub fn bench(&mut self) -> Result<Option<(Bench, Arc<Fit>)>, Faults> {
        let Some(name) = self.name()? else { return Ok(None) };
        let Some(bench) = benches(&self.root)?.into_iter().find(|b| b.name == name) else {
            return Ok(None);
        };
        let fit = self.fit(&bench.known)?;
        Ok(Some((bench, fit)))
    }

    fn fit(&mut self, known: &Known) -> Result<Arc<Fit>, Faults> {
        if let Some((of, fit)) = &self.fitted
            && of == known
        {
            return Ok(Arc::clone(fit));
        }
        let fit = Arc::new(known.fit()?);
        self.fitted = Some((known.clone(), Arc::clone(&fit)));
        Ok(fit)
    }

    fn set_up(&mut self) -> Result<(Bench, Arc<Fit>), Faults> {
        Ok(self.bench()?.ok_or_else(|| {
            Fault::new("this bench is not set up", "set it up by hand or by a photo")
        })?)
    }

    /// How it stands with the bench.
    ///
    /// # Errors
    /// As [`Projecting::bench`].
    pub fn standing(&mut self) -> Result<Standing, Faults> {
        let Some((bench, fit)) = self.bench()? else { return Ok(Standing::NotSetUp) };
        Ok(if bench.moved {
            Standing::Moved
        } else if self.checked.as_ref() != Some(&bench.name) {
            Standing::Unchecked
        } else if fit.worst > TRUE_WITHIN && bench.yes.is_none() {
            Standing::Untrue(fit.worst)
        } else {
            Standing::Ready
        })
    }

    /// Shows something else.
    ///
    /// # Errors
    /// The bench is not set up, or not ready.
    pub fn show(&mut self, what: Shown) -> Result<(), Faults> {
        match &what {
            Shown::Dark | Shown::Pattern => {}
            Shown::Marks(marked) => {
                let picture = self.open_picture()?;
                // What was kept is a good place to begin at, if it is of the same picture.
                let map = self.bench().ok().flatten().map(|(_, fit)| fit.map.clone());
                self.crosses = marked.crosses(picture, map.as_ref());
            }
            Shown::Test | Shown::Check => {
                self.set_up()?;
            }
            Shown::Cut => self.ready()?,
        }
        self.shown = what;
        self.number += 1;
        Ok(())
    }

    fn ready(&mut self) -> Result<(), Faults> {
        let (what, remedy) = match self.standing()? {
            Standing::Ready => return Ok(()),
            Standing::NotSetUp => {
                ("this bench is not set up".into(), "set it up by hand or by a photo")
            }
            Standing::Moved => (
                "something was moved since this bench was set up".into(),
                "set it up anew by hand or by a photo",
            ),
            Standing::Unchecked => (
                "nobody has looked yet whether the check marks lie on theirs".into(),
                "show the check marks, and say yes or no",
            ),
            Standing::Untrue(error) => (
                said!("the picture may be off by {error:.1} mm, more than {TRUE_WITHIN} mm"),
                "measure more lengths, put nine marks, or say yes to cutting by it",
            ),
        };
        Err(Fault::new(what, remedy).into())
    }

    /// The picture's window has this size.
    ///
    /// # Errors
    /// It is none.
    pub fn opened(&mut self, width: u32, height: u32) -> Result<Picture, Faults> {
        let picture = Picture::new(width, height)?;
        if self.open != Some(picture) {
            self.open = Some(picture);
            if let Shown::Marks(marked) = self.shown {
                self.crosses = marked.crosses(picture, None);
            }
        }
        Ok(picture)
    }

    /// The picture that is open.
    ///
    /// # Errors
    /// None is.
    pub fn open_picture(&self) -> Result<Picture, Faults> {
        Ok(self.open.ok_or_else(|| {
            Fault::new("the picture is not open", "open it on the projector's display first")
        })?)
    }

    /// The crosses were dragged.
    ///
    /// # Errors
    /// None are shown, or these are others.
    pub fn dragged(&mut self, crosses: Vec<Point>) -> Result<(), Faults> {
        let sound = |p: &Point| p.x.is_finite() && p.y.is_finite();
        let are_shown = matches!(self.shown, Shown::Marks(_));
        if !are_shown || crosses.len() != self.crosses.len() || !crosses.iter().all(sound) {
            return Err(Fault::new("these crosses are not shown", "show the marks again").into());
        }
        self.crosses = crosses;
        Ok(())
    }

    /// Keeps the map that the crosses make, and shows the check marks.
    ///
    /// # Errors
    /// They make none, or the machine's.
    pub fn keep_marks(&mut self, day: Day) -> Result<(), Faults> {
        let Shown::Marks(marked) = self.shown else {
            return Err(Fault::new("no crosses are shown", "show the marks first").into());
        };
        let known = marked.dragged(self.open_picture()?, &self.crosses)?;
        self.keep(known, How::Hand, day)
    }

    /// Keeps the map that a photo of the dots made ([`bench_in_photo`]), and shows the check marks.
    ///
    /// # Errors
    /// It makes none, or the machine's.
    pub fn keep_photo(&mut self, known: Known, day: Day) -> Result<(), Faults> {
        self.keep(known, How::Photo, day)
    }

    fn keep(&mut self, known: Known, how: How, day: Day) -> Result<(), Faults> {
        self.fit(&known)?;
        let name = self
            .name()?
            .ok_or_else(|| Fault::new("the bench has no name", "give it one: door side"))?;
        let style = self.bench().ok().flatten().map_or_else(Style::default, |b| b.0.style);
        let bench =
            Bench { name: name.clone(), made: day, how, known, moved: false, yes: None, style };
        keep_bench(&self.root, bench)?;
        self.checked = Some(name);
        self.cutting = None;
        self.shown = Shown::Check;
        self.number += 1;
        Ok(())
    }

    /// Changes the bench that is set up.
    fn change(
        &mut self,
        change: impl FnOnce(&mut Bench, &Fit) -> Result<(), Faults>,
    ) -> Result<(), Faults> {
        let (mut bench, fit) = self.set_up()?;
        change(&mut bench, &fit)?;
        // What makes no map is not kept.
        self.fit(&bench.known)?;
        keep_bench(&self.root, bench)?;
        self.number += 1;
        Ok(())
    }

    /// Lengths that were measured on the test picture: names of both ends and mm. One that was
    /// measured before takes its place. The map is made better by them, and a yes to its error is
    /// asked for again.
    ///
    /// # Errors
    /// What is wrong with them, all together; then none is taken.
    pub fn measured(&mut self, lengths: &[([String; 2], f64)]) -> Result<(), Faults> {
        self.change(|bench, fit| {
            let grid = Grid::over(&fit.field).ok_or_else(|| {
                Fault::new("the field is too small to measure", "mark a larger one")
            })?;
            let mut faults = Faults::new();
            for ([a, b], mm) in lengths {
                if let Some(length) =
                    faults.keep(grid.measured(&fit.map, [a, b], *mm).map_err(Faults::from))
                {
                    bench.known.lengths.retain(|l| l.name != length.name);
                    bench.known.lengths.push(length);
                }
            }
            bench.yes = None;
            faults.into_result(())
        })
    }

    /// Forgets all that was measured.
    ///
    /// # Errors
    /// The machine's.
    pub fn forget_lengths(&mut self) -> Result<(), Faults> {
        self.change(|bench, _| {
            bench.known.lengths.clear();
            bench.yes = None;
            Ok(())
        })
    }

    /// Whether the check marks lie on theirs.
    ///
    /// # Errors
    /// The bench is not set up, or the machine's.
    pub fn on_its_mark(&mut self, yes: bool) -> Result<(), Faults> {
        let name = self.set_up()?.0.name;
        if yes {
            self.checked = Some(name);
            self.number += 1;
            return Ok(());
        }
        (self.checked, self.cutting) = (None, None);
        self.shown = Shown::Dark;
        self.change(|bench, _| {
            bench.moved = true;
            Ok(())
        })
    }

    /// A yes to cutting by a picture with more error than it should have.
    ///
    /// # Errors
    /// The bench is not set up, or the machine's.
    pub fn say_yes(&mut self, on: Day) -> Result<(), Faults> {
        self.change(|bench, fit| {
            bench.yes = Some(Yes { error: fit.worst, on });
            Ok(())
        })
    }

    /// How lines are thrown.
    ///
    /// # Errors
    /// The bench is not set up, or the machine's.
    pub fn styled(&mut self, style: Style) -> Result<(), Faults> {
        self.change(|bench, _| {
            bench.style = style.held();
            Ok(())
        })
    }

    /// Begins to cut a plan, or goes on with it in another way.
    ///
    /// # Errors
    /// The bench is not ready, or nothing of the plan fits in the picture.
    pub fn cut(
        &mut self,
        job: &str,
        plan: &Verified,
        face: Option<Face>,
        lie: Lie,
        whole: bool,
    ) -> Result<(), Faults> {
        self.ready()?;
        let (_, fit) = self.set_up()?;
        let cloths = thrown(plan, face);
        let windows: Vec<(Vec<Window>, Vec<usize>)> =
            cloths.iter().map(|c| windows(c, &fit.field)).collect();
        let mut stops = Vec::new();
        for (cloth, (list, _)) in windows.iter().enumerate() {
            for (window, w) in list.iter().enumerate() {
                let stop = |piece| Stop { cloth, window, piece };
                if whole || w.pieces.is_empty() {
                    stops.push(stop(None));
                } else {
                    stops.extend(w.pieces.iter().map(|p| stop(Some(*p))));
                }
            }
            // Last of all the roll is cut across.
            if let (false, Some(last), Some(_)) = (whole, list.last(), cloths[cloth].across)
                && !last.pieces.is_empty()
            {
                stops.push(Stop { cloth, window: list.len() - 1, piece: None });
            }
        }
        if stops.is_empty() {
            return Err(Fault::new(
                "no piece of this plan fits in the picture",
                "hang the projector higher, and set the bench up anew",
            )
            .into());
        }
        let id = plan.plan().id.clone();
        let at = match &self.cutting {
            // The same plan in another way: on with the piece that was shown.
            Some(c) if c.plan == id && c.job == job && c.face == face => {
                let was = c.stops[c.at];
                let same = |s: &Stop| s.cloth == was.cloth && s.window == was.window;
                let exact = stops.iter().position(|s| *s == was);
                exact.or_else(|| stops.iter().position(same)).unwrap_or(0)
            }
            _ => 0,
        };
        self.cutting = Some(Cutting {
            job: job.to_string(),
            plan: id,
            face,
            lie,
            whole,
            cloths,
            windows,
            stops,
            at,
        });
        self.shown = Shown::Cut;
        self.number += 1;
        Ok(())
    }

    /// The plan that is being cut.
    pub fn cutting(&self) -> Option<&Cutting> {
        self.cutting.as_ref()
    }

    /// Numbers of pieces that are thrown now with no room beside them for a label.
    pub fn without_label(&mut self) -> Vec<String> {
        let fit = self.bench().ok().flatten().map(|b| b.1);
        let thrown = self.cutting.as_ref().zip(fit).map(|(c, fit)| c.thrown(&fit));
        thrown.map_or_else(Vec::new, |t| t.unlabelled)
    }

    /// Goes on.
    ///
    /// # Errors
    /// No plan is being cut.
    pub fn step(&mut self, step: Step) -> Result<(), Faults> {
        let none = || Fault::new("no plan is being cut", "begin on the job's own page");
        let c = self.cutting.as_mut().ok_or_else(none)?;
        let here = c.stops[c.at];
        let length = |s: &Stop| (s.cloth, s.window);
        let last = c.stops.len() - 1;
        c.at = match step {
            Step::Next => (c.at + 1).min(last),
            Step::Previous => c.at.saturating_sub(1),
            Step::NextWindow => {
                c.stops.iter().position(|s| length(s) > length(&here)).unwrap_or(last)
            }
            Step::PreviousWindow => {
                let before = c.stops.iter().rev().find(|s| length(s) < length(&here));
                let before = before.map_or(length(&c.stops[0]), length);
                c.stops.iter().position(|s| length(s) == before).unwrap_or(0)
            }
            Step::To(stop) => stop.min(last),
        };
        self.shown = Shown::Cut;
        self.number += 1;
        Ok(())
    }

    /// What a window of this size throws, with the style of its lines.
    ///
    /// # Errors
    /// The bench is not ready, or was set up in a picture of another size.
    pub fn light(&mut self, width: u32, height: u32) -> Result<(Light, Style), Faults> {
        let picture = self.opened(width, height)?;
        let plain = |light| Ok((light, Style::default()));
        match &self.shown {
            Shown::Dark => return plain(Light::Dark),
            Shown::Marks(_) => return plain(Light::Crosses(self.crosses.clone())),
            Shown::Pattern => return plain(Light::Dots(pattern(picture))),
            Shown::Test | Shown::Check => {}
            Shown::Cut => self.ready()?,
        }
        let (bench, fit) = self.set_up()?;
        let was = fit.map.picture();
        if was != picture {
            let what = said!(
                "the picture has {width} × {height} pixels, and {} × {} when the bench was set up",
                was.width,
                was.height
            );
            let remedy = "make it full screen on the projector's display, or set the bench up anew";
            return Err(Fault::new(what, remedy).into());
        }
        let thrown = match (&self.shown, &self.cutting) {
            (Shown::Test, _) => test_picture(&fit),
            (Shown::Cut, Some(cutting)) => cutting.thrown(&fit),
            _ => check_marks(&fit),
        };
        Ok((Light::Lines(thrown), bench.style))
    }
}

/// What a photo of the dots in a picture says of the bench, by cards whose frames are so wide, mm;
/// and what is doubtful about it.
///
/// # Errors
/// What is wrong with the photo.
pub fn bench_in_photo(
    picture: Picture,
    bytes: &[u8],
    card: f64,
) -> Result<(Known, Vec<Fault>), Faults> {
    by_photo(picture, &trace::read_photo(bytes)?, card)
}

impl Cutting {
    /// The present stop with its window.
    pub fn here(&self) -> (Stop, &Window) {
        let stop = self.stops[self.at];
        (stop, &self.windows[stop.cloth].0[stop.window])
    }

    /// Numbers of pieces that are too large for the picture, of all cloths.
    pub fn too_large(&self) -> Vec<&str> {
        let of = |(i, (_, large)): (usize, &(Vec<Window>, Vec<usize>))| {
            large.iter().map(move |p| self.cloths[i].pieces[*p].number.as_str()).collect::<Vec<_>>()
        };
        self.windows.iter().enumerate().flat_map(of).collect()
    }

    fn thrown(&self, fit: &Fit) -> Thrown {
        let (stop, window) = self.here();
        let next = self.windows[stop.cloth].0.get(stop.window + 1);
        let shown = match stop.piece {
            Some(piece) => vec![piece],
            None if self.whole => window.pieces.clone(),
            None => Vec::new(),
        };
        window_thrown(fit, &self.cloths[stop.cloth], (window, next), &shown, self.lie)
    }
}
