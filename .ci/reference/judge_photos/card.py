"""The printed scale card, as `warpwise trace card` prints it: 180 × 120 mm over the frame, y up, from its middle."""

import numpy as np
from shapely.geometry import LineString, Polygon, box

from ink import write

MARKS = [(-72, -42), (72, -42), (72, 42), (-72, 42), (0, -42), (0, 42)]
CIRCLE = np.stack([np.cos(np.linspace(0, 2 * np.pi, 128, endpoint=False)), np.sin(np.linspace(0, 2 * np.pi, 128, endpoint=False))], 1)


def disc(x, y, r):
    return Polygon(CIRCLE * r + (x, y))


def drawing(number):
    """(Polygon, black or white) in the order of drawing."""
    code = (number - 1) % 25
    dots = [1, 2, 3, 4, code // 5 + 1, code % 5 + 1]
    out = [(LineString(box(-90, -60, 90, 60).exterior.coords).buffer(0.175, join_style="mitre"), True)]
    for (x, y), n in zip(MARKS, dots):
        out += [(disc(x, y, 12), True), (disc(x, y, 8.5), False)]
        for i in range(n):
            a = 2 * np.pi * i / n + np.pi / 2
            r = 0 if n == 1 else 5.0
            out.append((disc(x + r * np.cos(a), y + r * np.sin(a), 1.8), True))
    thin = []
    for y, size, weight, text in (
        (19, 4.3, 0.9, f"warpwise scale card {number}"),
        (11.2, 2.5, 0.35, "Print at 100 %. Lay it flat beside the template, marks up, none hidden."),
        (5.2, 2.5, 0.35, "Measure the frame from side to side: 180 mm. If it is not, give the measure"),
        (-22.3, 2.5, 0.35, "check ruler, 100 mm"),
    ):
        narrow = np.array([0.72, 1.0])
        thin += [LineString(s * narrow + (0, 0)).buffer(weight / 2, quad_segs=1) for s in write(text, (0, y), size, 0.0)]
    thin.append(LineString([(-50, -16), (50, -16)]).buffer(0.175, quad_segs=1))
    for i in range(21):
        x = -50 + 5 * i
        thin.append(LineString([(x, -16), (x, -16 + (8 if i % 10 == 0 else 5 if i % 2 == 0 else 3))]).buffer(0.175, quad_segs=1))
    return out, thin


PAPER = box(-98, -63.5, 98, 63.5)
