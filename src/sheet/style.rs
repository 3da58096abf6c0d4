//! How each ink is drawn: the same in every format.

use super::scene::Ink;

/// How an ink is drawn; lengths in mm.
pub(crate) struct Style {
    /// The name of its layer or group.
    pub name: &'static str,
    /// Red, green, blue.
    pub colour: [u8; 3],
    /// Line width.
    pub width: f64,
    /// Lengths of dashes and of the gaps between them; a whole line if there are none.
    pub dash: &'static [f64],
    /// The ends of dashes are round.
    pub round: bool,
    /// What closed rings are filled with.
    pub fill: Option<[u8; 3]>,
}

/// Black for what is cut; accents from the palette of Okabe and Ito (from memory), each with a line
/// style of its own as well.
pub(crate) fn style(ink: Ink) -> Style {
    const BLACK: [u8; 3] = [0, 0, 0];
    const BLUE: [u8; 3] = [0x00, 0x72, 0xb2];
    const VERMILION: [u8; 3] = [0xd5, 0x5e, 0x00];
    const PAPER: [u8; 3] = [0xf5, 0xf2, 0xea];
    let s =
        |name, colour, width, dash| Style { name, colour, width, dash, round: false, fill: None };
    let grey = |level| [level; 3];
    match ink {
        Ink::Grid => s("grid", grey(0xd0), 0.25, &[]),
        Ink::OffcutHatch => s("offcut-hatch", grey(0xb5), 0.3, &[]),
        Ink::Offcut => s("offcut", grey(0x8a), 0.5, &[]),
        Ink::Rectangle => {
            Style { round: true, ..s("offcut-rectangle", grey(0x55), 1.1, &[0.01, 4.0]) }
        }
        Ink::Flaw => s("flaw", VERMILION, 0.5, &[]),
        Ink::Stock => s("stock", BLACK, 0.6, &[]),
        Ink::Selvedge => s("selvedge", grey(0x55), 0.4, &[12.0, 4.0]),
        Ink::Yarn => s("yarn", grey(0x20), 0.2, &[]),
        Ink::Cut => Style { fill: Some(PAPER), ..s("cut", BLACK, 1.0, &[]) },
        Ink::Relief => s("relief-cut", VERMILION, 0.7, &[5.0, 1.5]),
        Ink::Net => s("net-line", BLUE, 0.4, &[4.0, 2.5]),
        Ink::Mark => s("mark", BLACK, 0.3, &[1.2, 1.2]),
        Ink::Arrow => s("arrow", BLACK, 0.7, &[]),
        Ink::Across => s("cut-across", BLACK, 1.0, &[16.0, 4.0, 2.0, 4.0]),
        Ink::SegmentEnd => s("segment-end", BLACK, 0.8, &[16.0, 4.0, 2.0, 4.0, 2.0, 4.0]),
        Ink::Leader => s("leader", BLACK, 0.35, &[]),
        Ink::Frame => s("frame", BLACK, 0.35, &[]),
    }
}
