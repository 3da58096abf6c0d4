//! Scale cards for photos, two on a page.

use super::pdf::{Page, pdf};
use super::scene::{Backing, Hold, Ink, Scene, Text};
use crate::geometry::{Bounds, Point, point};
use crate::trace::card;

/// The paper to print cards on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardPaper {
    /// ISO 216 A4, 210 × 297 mm.
    A4,
    /// US Letter, 8.5 × 11 in.
    Letter,
}

impl CardPaper {
    /// Width and height, mm.
    pub fn size(self) -> (f64, f64) {
        match self {
            CardPaper::A4 => (210.0, 297.0),
            CardPaper::Letter => (215.9, 279.4),
        }
    }
}

/// Cards on one page.
const CARDS_A_PAGE: usize = 2;

/// The pages with cards 1 to `count`, two a page.
fn pages(paper: CardPaper, count: usize) -> Vec<Scene> {
    let numbers: Vec<usize> = (1..=count.clamp(1, card::NUMBERS)).collect();
    numbers.chunks(CARDS_A_PAGE).map(|numbers| page(paper, numbers)).collect()
}

/// All pages as one PDF, which asks the print dialogue not to scale.
pub fn card_pdf(paper: CardPaper, count: usize) -> Vec<u8> {
    let scenes = pages(paper, count);
    pdf("Scale cards", &scenes.iter().map(Page::of).collect::<Vec<_>>())
}

/// One SVG a page, cards 1 to `count`, two a page; at most as many cards as there are numbers.
pub fn card_svgs(paper: CardPaper, count: usize) -> Vec<String> {
    pages(paper, count).iter().map(super::svg::write).collect()
}

fn page(paper: CardPaper, numbers: &[usize]) -> Scene {
    let (width, height) = paper.size();
    let page = Bounds { min: point(0.0, 0.0), max: point(width, height) };
    let list: Vec<String> = numbers.iter().map(ToString::to_string).collect();
    let mut scene = Scene::new(page, format!("Scale cards {}", list.join(" and ")));
    for (i, &number) in numbers.iter().enumerate() {
        draw(&mut scene, point(width / 2.0, height - 75.0 - 128.0 * i as f64), number);
    }
    scene
}

/// A disc, as a polygon that stays within 2 µm of the circle.
fn disc(centre: Point, radius: f64, black: bool) -> Backing {
    const SIDES: usize = 180;
    let corner = |i: usize| std::f64::consts::TAU * i as f64 / SIDES as f64;
    let ring = (0..SIDES)
        .map(|i| centre + point(libm::cos(corner(i)), libm::sin(corner(i))) * radius)
        .collect();
    Backing { ring, black }
}

fn draw(scene: &mut Scene, at: Point, number: usize) {
    let (x, y) = (card::WIDTH / 2.0, card::HEIGHT / 2.0);
    let frame = [point(-x, -y), point(x, -y), point(x, y), point(-x, y), point(-x, -y)];
    scene.line(Ink::Frame, &frame.map(|p| at + p));
    for mark in card::marks(number) {
        let centre = at + mark.centre;
        scene.backings.push(disc(centre, card::MARK_RADIUS, true));
        scene.backings.push(disc(centre, card::WHITE_RADIUS, false));
        scene.backings.extend(
            card::dot_centres(mark.dots)
                .into_iter()
                .map(|d| disc(centre + d, card::DOT_RADIUS, true)),
        );
    }
    let words = |scene: &mut Scene, y: f64, size: f64, bold: bool, words: &str| {
        let at = at + point(0.0, y);
        scene.texts.push(Text {
            at,
            hold: Hold::Middle,
            angle: 0.0,
            size,
            bold,
            white: false,
            words: words.into(),
        });
    };
    words(scene, 17.0, 6.0, true, &format!("warpwise scale card {number}"));
    words(
        scene,
        10.0,
        3.5,
        false,
        "Print at 100 %. Lay it flat beside the template, marks up, none hidden.",
    );
    words(
        scene,
        4.0,
        3.5,
        false,
        "Measure the frame from side to side: 180 mm. If it is not, give the measure with --card-width.",
    );
    ruler(scene, at + point(-50.0, -16.0));
    words(scene, -23.5, 3.5, false, "check ruler, 100 mm");
}

/// A ruler of 100 mm with a tick every 5 mm.
fn ruler(scene: &mut Scene, at: Point) {
    scene.line(Ink::Frame, &[at, at + point(100.0, 0.0)]);
    for i in 0..=20 {
        let x = 5.0 * f64::from(i);
        let length = if i % 10 == 0 {
            8.0
        } else if i % 2 == 0 {
            5.0
        } else {
            3.0
        };
        scene.line(Ink::Frame, &[at + point(x, 0.0), at + point(x, length)]);
    }
}
