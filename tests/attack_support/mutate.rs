//! Inputs out of seeds: bytes and numbers changed, words put in, parts moved and mixed.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::Rng;

/// Words that hurt one reader or another.
const WORDS: [&str; 56] = [
    "NaN",
    "inf",
    "-inf",
    "1e999",
    "-1e308",
    "1e-320",
    "-0",
    "0",
    "0.0005",
    "18446744073709551616",
    "-1",
    "--",
    ".",
    ",",
    ";",
    "\"",
    "'",
    "<",
    ">",
    "</g>",
    "<g>",
    "/>",
    "<!--",
    "&ns;",
    "&#0;",
    "#",
    "\n",
    "\r\n",
    "\0",
    "é",
    "\u{202e}",
    "\u{1b}[2J",
    "M",
    "z",
    "A0 0 0 1 1 0 0",
    "C1 1 2 2 3 3",
    "<use href=\"#seat\"/>",
    "url(#a)",
    "matrix(0 0 0 0 0 0)",
    "scale(1e9)",
    "display:none",
    "viewBox=\"0 0 0 0\"",
    "0\nINSERT\n",
    "0\nSPLINE\n",
    "0\nENDSEC\n",
    "70\n1\n",
    "null",
    "[]",
    "{}",
    "[[layer]]",
    "copies = 4000000000",
    "= \"",
    "\\u001b",
    "2026-02-30",
    "9999-12-31",
    "roll-1",
];

fn below(dice: &mut Pcg64Mcg, n: usize) -> usize {
    (dice.next_u64() % n.max(1) as u64) as usize
}

fn part(dice: &mut Pcg64Mcg, len: usize, longest: usize) -> std::ops::Range<usize> {
    let from = below(dice, len + 1);
    from..(from + below(dice, longest)).min(len)
}

/// A few changes of one of the seeds.
pub fn mutated(seeds: &[Vec<u8>], dice: &mut Pcg64Mcg) -> Vec<u8> {
    let mut bytes = seeds[below(dice, seeds.len())].clone();
    for _ in 0..=below(dice, 5) {
        let len = bytes.len();
        match below(dice, 10) {
            0 if len > 0 => bytes[below(dice, len)] ^= 1 << below(dice, 8),
            1 if len > 0 => bytes[below(dice, len)] = dice.next_u64() as u8,
            2 => drop(bytes.drain(part(dice, len, 60))),
            3 => {
                let copy = bytes[part(dice, len, 300)].to_vec();
                let at = below(dice, len + 1);
                bytes.splice(at..at, copy);
            }
            4 | 5 => {
                // In place of a number: most files can still be read then.
                let starts: Vec<usize> = (1..len)
                    .filter(|&i| bytes[i].is_ascii_digit() && !bytes[i - 1].is_ascii_digit())
                    .collect();
                if !starts.is_empty() {
                    let from = starts[below(dice, starts.len())];
                    let to = (from..len).find(|&i| !bytes[i].is_ascii_digit()).unwrap_or(len);
                    let number = match below(dice, 4) {
                        0 => WORDS[below(dice, 11)].to_string(),
                        1 => below(dice, 100).to_string(),
                        _ => format!("{}", below(dice, 100_000) as f64 / 100.0 - 200.0),
                    };
                    bytes.splice(from..to, number.into_bytes());
                }
            }
            6 => {
                let at = below(dice, len + 1);
                bytes.splice(at..at, WORDS[below(dice, WORDS.len())].bytes());
            }
            7 => {
                // Two words change places.
                let ends = |b: &u8| matches!(b, b' ' | b'\n' | b'"' | b',' | b'>' | b';');
                let mut words: Vec<&[u8]> = bytes.split_inclusive(ends).collect();
                let (a, b) = (below(dice, words.len()), below(dice, words.len()));
                if !words.is_empty() {
                    words.swap(a, b);
                }
                bytes = words.concat();
            }
            8 => {
                let other = &seeds[below(dice, seeds.len())];
                let (r, s) = (part(dice, len, 400), part(dice, other.len(), 400));
                bytes.splice(r, other[s].iter().copied());
            }
            _ => bytes.truncate(len - below(dice, len / 3 + 1)),
        }
    }
    bytes
}
