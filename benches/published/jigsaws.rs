//! Perfect tilings: instances whose least length is a matter of arithmetic, so that "closed" can be
//! told exactly.

use super::{Instance, Piece};

/// A tiling and the poses it needs. The density of a closed one is 100 %.
pub fn jigsaws() -> Vec<Instance> {
    let squares = |name: &str, width: f64, sides: &[u32]| Instance {
        name: name.to_string(),
        width,
        pieces: sides
            .iter()
            .map(|&s| piece(&format!("square {s}"), square(f64::from(s)), &[0.0], false))
            .collect(),
    };
    vec![
        // From memory, checked by tests/verify_tilings.rs.
        squares("rectangle33", 32.0, &[18, 15, 14, 10, 9, 8, 7, 4, 1]),
        tangram(),
        pentominoes(),
        // OEIS A014530, citing Duijvestijn 1978.
        squares(
            "square112",
            112.0,
            &[50, 42, 37, 35, 33, 29, 27, 25, 24, 19, 18, 17, 16, 15, 11, 9, 8, 7, 6, 4, 2],
        ),
    ]
}

fn square(side: f64) -> Vec<[f64; 2]> {
    vec![[0.0, 0.0], [side, 0.0], [side, side], [0.0, side]]
}

fn piece(id: &str, outline: Vec<[f64; 2]>, turns: &[f64], flips: bool) -> Piece {
    Piece { id: id.to_string(), quantity: 1, turns: turns.to_vec(), flips, outline }
}

const QUARTERS: [f64; 4] = [0.0, 90.0, 180.0, 270.0];

/// The tangram as it lies in its square of side 4, quarter turns permitted; vertices computed.
fn tangram() -> Instance {
    let pieces: [&[[f64; 2]]; 7] = [
        &[[0.0, 0.0], [4.0, 0.0], [2.0, 2.0]],
        &[[0.0, 0.0], [2.0, 2.0], [0.0, 4.0]],
        &[[4.0, 4.0], [2.0, 4.0], [4.0, 2.0]],
        &[[4.0, 0.0], [4.0, 2.0], [3.0, 1.0]],
        &[[2.0, 2.0], [3.0, 1.0], [4.0, 2.0], [3.0, 3.0]],
        &[[2.0, 2.0], [3.0, 3.0], [1.0, 3.0]],
        &[[0.0, 4.0], [1.0, 3.0], [3.0, 3.0], [2.0, 4.0]],
    ];
    let pieces = pieces
        .iter()
        .enumerate()
        .map(|(i, p)| piece(&format!("tan {i}"), p.to_vec(), &QUARTERS, false))
        .collect();
    Instance { name: "tangram".to_string(), width: 4.0, pieces }
}

/// The twelve pentominoes, which fill 6 by 10 (2,339 ways: Haselgrove and Haselgrove 1960, from
/// memory).
fn pentominoes() -> Instance {
    let outlines: [(&str, &[[i32; 2]]); 12] = [
        ("F", &[[0, 1], [1, 1], [1, 0], [2, 0], [2, 2], [3, 2], [3, 3], [1, 3], [1, 2], [0, 2]]),
        ("I", &[[0, 0], [1, 0], [1, 5], [0, 5]]),
        ("L", &[[0, 0], [2, 0], [2, 1], [1, 1], [1, 4], [0, 4]]),
        ("N", &[[0, 0], [1, 0], [1, 1], [2, 1], [2, 4], [1, 4], [1, 2], [0, 2]]),
        ("P", &[[0, 0], [1, 0], [1, 1], [2, 1], [2, 3], [0, 3]]),
        ("T", &[[1, 0], [2, 0], [2, 2], [3, 2], [3, 3], [0, 3], [0, 2], [1, 2]]),
        ("U", &[[0, 0], [3, 0], [3, 2], [2, 2], [2, 1], [1, 1], [1, 2], [0, 2]]),
        ("V", &[[0, 0], [3, 0], [3, 1], [1, 1], [1, 3], [0, 3]]),
        ("W", &[[0, 0], [2, 0], [2, 1], [3, 1], [3, 3], [2, 3], [2, 2], [1, 2], [1, 1], [0, 1]]),
        (
            "X",
            &[
                [1, 0],
                [2, 0],
                [2, 1],
                [3, 1],
                [3, 2],
                [2, 2],
                [2, 3],
                [1, 3],
                [1, 2],
                [0, 2],
                [0, 1],
                [1, 1],
            ],
        ),
        ("Y", &[[0, 0], [1, 0], [1, 1], [2, 1], [2, 2], [1, 2], [1, 4], [0, 4]]),
        ("Z", &[[0, 0], [2, 0], [2, 2], [3, 2], [3, 3], [1, 3], [1, 1], [0, 1]]),
    ];
    let outline = |points: &[[i32; 2]]| points.iter().map(|p| p.map(f64::from)).collect();
    let pieces =
        outlines.iter().map(|(id, points)| piece(id, outline(points), &QUARTERS, true)).collect();
    Instance { name: "pentominoes".to_string(), width: 6.0, pieces }
}
