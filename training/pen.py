"""What people draw on a skin: lines, ticks, arrows, letters. All of it is lists of strokes in mm."""

import math

import numpy as np

from canvas import turned

# Letters as a few strokes in a box of 1 by 1.6; a curve is given by its points.
O = [(0.5, 1.6), (0.12, 1.3), (0, 0.8), (0.12, 0.3), (0.5, 0), (0.88, 0.3), (1, 0.8), (0.88, 1.3), (0.5, 1.6)]
LETTERS = {
    "A": [[(0, 0), (0.5, 1.6), (1, 0)], [(0.2, 0.6), (0.8, 0.6)]],
    "B": [[(0, 0), (0, 1.6), (0.7, 1.5), (0.8, 1.1), (0, 0.85), (0.9, 0.6), (0.9, 0.2), (0, 0)]],
    "C": [[(1, 1.3), (0.5, 1.6), (0.05, 1.1), (0.05, 0.5), (0.5, 0), (1, 0.3)]],
    "D": [[(0, 0), (0, 1.6), (0.7, 1.4), (1, 0.8), (0.7, 0.15), (0, 0)]],
    "E": [[(1, 1.6), (0, 1.6), (0, 0), (1, 0)], [(0, 0.8), (0.8, 0.8)]],
    "F": [[(1, 1.6), (0, 1.6), (0, 0)], [(0, 0.8), (0.7, 0.8)]],
    "G": [[(1, 1.3), (0.5, 1.6), (0.05, 1.1), (0.05, 0.5), (0.5, 0), (1, 0.3), (1, 0.7), (0.6, 0.7)]],
    "H": [[(0, 0), (0, 1.6)], [(1, 0), (1, 1.6)], [(0, 0.8), (1, 0.8)]],
    "I": [[(0.5, 0), (0.5, 1.6)]],
    "K": [[(0, 0), (0, 1.6)], [(1, 1.6), (0, 0.7), (1, 0)]],
    "L": [[(0, 1.6), (0, 0), (0.9, 0)]],
    "M": [[(0, 0), (0.1, 1.6), (0.5, 0.6), (0.9, 1.6), (1, 0)]],
    "N": [[(0, 0), (0, 1.6), (1, 0), (1, 1.6)]],
    "O": [O],
    "0": [O],
    "P": [[(0, 0), (0, 1.6), (0.8, 1.5), (0.9, 1.1), (0.7, 0.8), (0, 0.75)]],
    "Q": [O, [(0.6, 0.4), (1.1, -0.1)]],
    "R": [[(0, 0), (0, 1.6), (0.8, 1.5), (0.9, 1.1), (0.7, 0.8), (0, 0.75), (1, 0)]],
    "S": [[(0.9, 1.35), (0.5, 1.6), (0.1, 1.25), (0.9, 0.5), (0.5, 0), (0.05, 0.25)]],
    "T": [[(0, 1.6), (1, 1.6)], [(0.5, 1.6), (0.5, 0)]],
    "U": [[(0, 1.6), (0.05, 0.4), (0.5, 0), (0.95, 0.4), (1, 1.6)]],
    "V": [[(0, 1.6), (0.5, 0), (1, 1.6)]],
    "W": [[(0, 1.6), (0.25, 0), (0.5, 1), (0.75, 0), (1, 1.6)]],
    "X": [[(0, 0), (1, 1.6)], [(0, 1.6), (1, 0)]],
    "1": [[(0.2, 1.2), (0.5, 1.6), (0.5, 0)]],
    "2": [[(0.05, 1.3), (0.5, 1.6), (0.95, 1.2), (0, 0), (1, 0)]],
    "3": [[(0, 1.5), (0.6, 1.6), (0.9, 1.2), (0.4, 0.85), (0.95, 0.5), (0.5, 0), (0, 0.2)]],
    "4": [[(0.7, 0), (0.7, 1.6), (0, 0.5), (1, 0.5)]],
    "5": [[(0.9, 1.6), (0.1, 1.6), (0.05, 0.9), (0.6, 1), (0.95, 0.5), (0.5, 0), (0, 0.15)]],
    "6": [[(0.8, 1.5), (0.2, 1), (0.05, 0.4), (0.5, 0), (0.95, 0.4), (0.5, 0.8), (0.1, 0.5)]],
    "7": [[(0, 1.6), (1, 1.6), (0.3, 0)]],
    "8": [[(0.5, 0.85), (0.1, 1.2), (0.5, 1.6), (0.9, 1.2), (0.5, 0.85), (0, 0.4), (0.5, 0), (1, 0.4), (0.5, 0.85)]],
    "9": [[(0.9, 1.1), (0.5, 0.8), (0.1, 1.2), (0.5, 1.6), (0.9, 1.1), (0.7, 0)]],
    "#": [[(0.2, 0), (0.4, 1.6)], [(0.6, 0), (0.8, 1.6)], [(0, 0.5), (1, 0.5)], [(0, 1.1), (1, 1.1)]],
    "/": [[(0, 0), (1, 1.6)]],
    "-": [[(0.1, 0.8), (0.9, 0.8)]],
    ".": [[(0.4, 0), (0.5, 0.1)]],
    " ": [],
}
WORDS = [
    "L2",
    "R",
    "FWD",
    "UP",
    "SEAT",
    "A",
    "B4",
    "27 R",
    "8",
    "0",
    "OUT",
    "IN",
    "CUT",
    "L3",
    "DECK",
    "#4",
    "R2 B",
    "12/11",
    "NO 6",
    "TOP",
    "BOW",
    "Q8",
    "PORT",
    "D",
    "BAG 9",
    "45",
    "90",
    "OK",
    "AFT",
    "KEEL",
]


def wavy(rng, points, off, step=5.0):
    """A stroke by hand: its points closer together and a little off."""
    points = np.asarray(points, float)
    s = np.r_[0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    n = max(2, int(s[-1] / step) + 1)
    t = np.unique(np.r_[np.linspace(0, s[-1], n), s])
    out = np.c_[np.interp(t, s, points[:, 0]), np.interp(t, s, points[:, 1])]
    walk = np.cumsum(rng.normal(0, off, out.shape), 0) * 0.4
    return out + walk - np.linspace(0, 1, len(out))[:, None] * walk[-1]


def text(rng, word, height):
    """A word, its middle at 0, 0."""
    strokes, x, k = [], 0.0, height / 1.6
    for letter in word:
        for s in LETTERS.get(letter, []):
            p = (np.asarray(s) + [x, 0] + rng.normal(0, 0.04, (len(s), 2))) * k
            p[:, 0] += p[:, 1] * rng.normal(0.1, 0.1)
            strokes.append(p)
        x += 1.35
    if not strokes:
        return []
    middle = np.concatenate(strokes).mean(0)
    return [wavy(rng, s - middle, 0.05, 3) for s in strokes]


def arrow(rng, length):
    """An arrow along x: strokes, and areas that are filled in."""
    h = rng.uniform(0.08, 0.25) * length
    w = h * rng.uniform(0.25, 0.9)
    shaft = np.array([[-length / 2, 0], [length / 2, 0]])
    kind = rng.integers(0, 7)
    bend = rng.normal(0, 0.04) * length if rng.random() < 0.4 else 0
    if bend:
        t = np.linspace(-1, 1, 12)
        shaft = np.c_[t * length / 2, bend * (1 - t * t)]
    tip = shaft[-1]
    left, right = tip + [-h, w], tip + [-h * rng.uniform(0.8, 1.2), -w * rng.uniform(0.8, 1.2)]
    strokes, filled = [shaft], []
    if kind in (0, 1):
        strokes += [np.array([left, tip]), np.array([tip, right])]
    elif kind == 2:
        strokes += [np.array([left, tip, right, left])]
    elif kind == 3:
        filled += [np.array([left, tip, right])]
    elif kind == 4:
        strokes += [np.array([left, tip])]
    elif kind == 5:  # a double shaft with a head
        strokes = [
            shaft + [0, w * 0.3],
            shaft - [0, w * 0.3],
            np.array([left + [0, w * 0.4], tip + [h * 0.6, 0], right - [0, w * 0.4]]),
        ]
    else:  # drawn twice
        strokes += [
            wavy(rng, shaft, 0.5),
            np.array([left, tip]),
            np.array([tip, right]),
            np.array([tip - [h * 0.2, 0], left]),
        ]
    if rng.random() < 0.25:
        strokes.append(np.array([[-length / 2, -w * 0.6], [-length / 2, w * 0.6]]))
    return [wavy(rng, s, 0.12) for s in strokes], filled


def broken(rng, points, gaps):
    """The stroke with gaps where the pen was lifted."""
    points = np.asarray(points, float)
    cuts = np.sort(rng.integers(0, len(points), gaps))
    pieces, begin = [], 0
    for c in cuts:
        if c - begin > 2:
            pieces.append(points[begin:c])
        begin = c + int(rng.integers(1, 5))
    if len(points) - begin > 2:
        pieces.append(points[begin:])
    return pieces


def placed(strokes, angle, at):
    return [turned(s, angle, at) for s in strokes]
