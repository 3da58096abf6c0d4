"""What people write on a skin: net lines, arrows, ticks, relief cuts, letters. Lines are polylines in mm with a width."""

import numpy as np
from shapely.geometry import LineString, Polygon

# Strokes of a hand: a grid of 4 × 6, y up.
GLYPHS = {
    "A": [[(0, 0), (2, 6), (4, 0)], [(0.8, 2.2), (3.2, 2.2)]],
    "B": [[(0, 0), (0, 6), (3, 5.6), (3, 3.5), (0, 3.1), (3.6, 2.6), (3.6, 0.4), (0, 0)]],
    "D": [[(0, 0), (0, 6), (3, 5), (4, 3), (3, 1), (0, 0)]],
    "E": [[(4, 6), (0, 6), (0, 0), (4, 0)], [(0, 3), (3, 3)]],
    "F": [[(4, 6), (0, 6), (0, 0)], [(0, 3.2), (3, 3.2)]],
    "I": [[(2, 0), (2, 6)]],
    "K": [[(0, 0), (0, 6)], [(4, 6), (0, 2.6), (4, 0)]],
    "L": [[(0, 6), (0, 0), (4, 0)]],
    "N": [[(0, 0), (0, 6), (4, 0), (4, 6)]],
    "O": [[(2, 6), (0, 4.5), (0, 1.5), (2, 0), (4, 1.5), (4, 4.5), (2, 6)]],
    "P": [[(0, 0), (0, 6), (3.4, 5.6), (3.6, 3.8), (0, 3)]],
    "R": [[(0, 0), (0, 6), (3.4, 5.6), (3.6, 3.8), (0, 3), (4, 0)]],
    "S": [[(4, 5.2), (2, 6), (0.2, 4.8), (3.8, 1.6), (2, 0), (0, 0.8)]],
    "T": [[(0, 6), (4, 6)], [(2, 6), (2, 0)]],
    "U": [[(0, 6), (0, 1), (2, 0), (4, 1), (4, 6)]],
    "W": [[(0, 6), (1, 0), (2, 4), (3, 0), (4, 6)]],
    "M": [[(0, 0), (0.6, 6), (2, 2), (3.4, 6), (4, 0)]],
    "H": [[(0, 0), (0, 6)], [(4, 0), (4, 6)], [(0, 3), (4, 3)]],
    "C": [[(4, 5.2), (2, 6), (0, 4), (0, 2), (2, 0), (4, 0.8)]],
    "1": [[(0.8, 4.8), (2.2, 6), (2.2, 0)]],
    "2": [[(0, 4.8), (2, 6), (4, 4.6), (0, 0), (4, 0)]],
    "3": [[(0, 5.5), (2, 6), (3.6, 4.6), (1.6, 3.2), (4, 1.6), (2, 0), (0, 0.6)]],
    "4": [[(3, 0), (3, 6), (0, 2), (4, 2)]],
    "6": [[(3.6, 5.8), (0.6, 3.4), (0.2, 1.2), (2, 0), (3.8, 1.4), (2.4, 3), (0.4, 2)]],
    "8": [[(2, 3.1), (0.4, 4.6), (2, 6), (3.6, 4.6), (0.2, 1.4), (2, 0), (3.8, 1.4), (2, 3.1)]],
    "0": [[(2, 6), (0.3, 4.5), (0.3, 1.5), (2, 0), (3.7, 1.5), (3.7, 4.5), (2, 6)]],
    "/": [[(0, 0), (4, 6)]],
    "-": [[(0.6, 3), (3.4, 3)]],
    ".": [[(1.8, 0), (2.2, 0.3)]],
    "%": [[(0, 0), (4, 6)], [(0.6, 5), (1.2, 5.6)], [(3, 0.4), (3.6, 1)]],
    "?": [[(0, 5), (2, 6), (4, 4.6), (2, 2.6), (2, 1.8)], [(2, 0), (2.1, 0.3)]],
    ",": [[(2, 0.6), (1.6, -1)]],
    ":": [[(2, 1), (2.1, 1.3)], [(2, 4), (2.1, 4.3)]],
    "Y": [[(0, 6), (2, 3), (4, 6)], [(2, 3), (2, 0)]],
    "G": [[(4, 5.2), (2, 6), (0, 4), (0, 2), (2, 0), (4, 1), (4, 2.8), (2.4, 2.8)]],
    "V": [[(0, 6), (2, 0), (4, 6)]],
    "5": [[(4, 6), (0.4, 6), (0.2, 3.4), (3, 3.6), (3.8, 1.6), (2, 0), (0, 0.6)]],
    "7": [[(0, 6), (4, 6), (1.4, 0)]],
    "9": [[(3.6, 4.4), (2, 3.2), (0.4, 4.4), (2, 6), (3.6, 4.8), (3, 0)]],
}
WORDS = [
    "FWD",
    "L2",
    "R1",
    "SEAT",
    "HIP L",
    "12/3",
    "TOP",
    "0-90",
    "B4",
    "OUT",
    "DECK",
    "3 OFF",
    "NO 8",
    "PORT",
    "STBD",
    "28.5",
    "CUT",
    "R 60",
    "A",
    "PLY 4",
]


def curved(points, step=1.2):
    """A polyline with soft corners, as a hand draws it."""
    p = np.asarray(points, float)
    for _ in range(2):
        if len(p) > 2:
            q = np.empty((2 * len(p) - 2, 2))
            q[0::2], q[1::2] = p[:-1] * 0.82 + p[1:] * 0.18, p[:-1] * 0.18 + p[1:] * 0.82
            p = np.concatenate([p[:1], q, p[-1:]])
    return p


def write(text, at, height, angle, rng=None, shake=0.0, centred=True):
    """Strokes of a text."""
    unit = height / 6
    advance = 5.6 * unit
    start = -advance * len(text) / 2 if centred else 0.0
    out = []
    c, s = np.cos(angle), np.sin(angle)
    for i, letter in enumerate(text.upper()):
        for stroke in GLYPHS.get(letter, []):
            p = np.array(stroke) * unit + (start + i * advance, -height / 2)
            if rng is not None:
                p = p + rng.normal(0, shake * unit, p.shape)
                p = curved(p)
            out.append(p @ np.array([[c, s], [-s, c]]) + at)
    return out


def wander(p, rng, amplitude, step=4.0):
    """A line with the tremor of a hand, its ends kept."""
    line = LineString(p)
    n = max(3, int(line.length / step))
    q = np.array([line.interpolate(i / n, normalized=True).coords[0] for i in range(n + 1)])
    w = np.convolve(rng.normal(size=n + 7), np.ones(5) / 5, "same")[3 : 3 + n + 1] * np.sin(np.linspace(0, np.pi, n + 1)) ** 0.5 * amplitude
    d = np.gradient(q, axis=0)
    return q + np.stack([-d[:, 1], d[:, 0]], 1) / np.maximum(np.hypot(*d.T), 1e-9)[:, None] * w[:, None]


def arrow(rng, tail, head, width, careful):
    """Strokes and filled shapes of an arrow whose direction is from tail to the tip of its head, and the name of its kind."""
    tail, head = np.asarray(tail, float), np.asarray(head, float)
    along = (head - tail) / np.hypot(*(head - tail))
    side = np.array([-along[1], along[0]])
    length = np.hypot(*(head - tail))
    kinds = ["open", "filled", "closed", "half", "wide-open", "bent", "strokes"]
    kind = kinds[rng.integers(3 if careful else len(kinds))]
    reach, spread = rng.uniform(8, 16) + 2 * width, rng.uniform(0.35, 0.6)
    left, right = head - along * reach + side * reach * spread, head - along * reach - side * reach * spread * rng.uniform(0.85, 1.15)
    shaft = np.array([tail, head])
    strokes, fills = [], []
    if kind == "bent":
        t = np.linspace(0, 1, 30)[:, None]
        shaft = tail + (head - tail) * t + side * rng.choice([-1, 1]) * length * rng.uniform(0.008, 0.03) * 4 * t * (1 - t)
    if kind == "strokes":
        m = rng.uniform(0.4, 0.6)
        strokes += [
            np.array([tail, tail + (head - tail) * (m + 0.04)]) + side * 0.3,
            np.array([tail + (head - tail) * (m - 0.03), head]) - side * 0.3,
        ]
    else:
        strokes.append(shaft)
    if kind in ("open", "bent", "strokes"):
        strokes += (
            [np.array([left, head]), np.array([head, right])]
            if kind != "strokes"
            else [np.array([left, head + along * 1.0]), np.array([head + side * 0.8, right])]
        )
    elif kind == "wide-open":
        strokes.append(np.array([head - along * reach * 0.6 + side * reach * 0.8, head, head - along * reach * 0.6 - side * reach * 0.8]))
    elif kind == "half":
        strokes.append(np.array([head, left if rng.random() < 0.5 else right]))
    else:
        ring = np.array([left, head, right, left])
        strokes.append(ring)
        if kind == "filled":
            fills.append(Polygon(ring).buffer(width / 3))
            strokes[0] = np.array([tail, head - along * reach * 0.5])
    return strokes, fills, kind


def ribbon(p, width):
    return LineString(p).buffer(width / 2, quad_segs=4)
