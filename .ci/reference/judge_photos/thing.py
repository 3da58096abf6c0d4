"""Things that lie about on a bench. Each gives parts: (polygon, colour or kind of fill, height in mm)."""

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box

from noise import linear
from ink import write


def roll(rng):
    r = rng.uniform(38, 58)
    c = [[224, 204, 158], [70, 120, 190], [95, 160, 90], [235, 205, 70], [235, 235, 235]][rng.integers(5)]
    tube = Point(0, 0).buffer(r, 48)
    wind = [
        (Point(0, 0).buffer(q + 0.4, 48).difference(Point(0, 0).buffer(q, 48)), np.array(linear(c)) * 0.75, 0) for q in np.linspace(r * 0.8, r - 2, 5)
    ]
    return [
        (tube.difference(Point(0, 0).buffer(r * 0.66, 48)), linear(c), rng.uniform(19, 38)),
        *wind,
        (Point(0, 0).buffer(r * 0.72, 48).difference(Point(0, 0).buffer(r * 0.65, 48)), linear([170, 135, 95]), 0),
    ]


def scissors(rng):
    a = rng.uniform(0.05, 0.4)
    out = []
    colour = linear([[200, 50, 40], [30, 30, 32], [240, 130, 30], [60, 110, 180]][rng.integers(4)])
    for s in (1, -1):
        leg = Polygon([(-4, 5 * s), (90, 1 * s), (92, -1 * s), (-4, -4 * s)])
        loop = affinity.scale(Point(-58, 16 * s).buffer(17, 24), 1.4, 1.0)
        loop = loop.difference(affinity.scale(Point(-58, 16 * s).buffer(10, 24), 1.5, 1.0)).union(LineString([(-38, 10 * s), (0, 0)]).buffer(4.5))
        out += [
            (affinity.rotate(leg, np.degrees(-a * s), origin=(0, 0)), linear([165, 168, 172]), 4),
            (affinity.rotate(loop, np.degrees(-a * s), origin=(0, 0)), colour, 9),
        ]
    out.append((Point(0, 0).buffer(3.5), linear([90, 92, 95]), 0))
    return out


def knife(rng):
    body = LineString([(-65, 0), (55, 2)]).buffer(9, cap_style="square")
    return [
        (body, linear([[240, 200, 30], [190, 30, 30], [50, 50, 55]][rng.integers(3)]), 12),
        (Polygon([(62, -4), (95, -2), (88, 7), (62, 7)]), linear([190, 192, 195]), 3),
        (box(-50, -2, 30, 5), linear([60, 60, 62]), 0),
    ]


def pencil(rng):
    c = linear([[230, 180, 40], [180, 30, 30], [40, 80, 150], [20, 20, 22]][rng.integers(4)])
    return [
        (box(-88, -3.6, 70, 3.6), c, 7),
        (box(-88, -1.1, 70, 1.1), np.minimum(c * 1.4, 0.9), 0),
        (Polygon([(70, -3.6), (86, -0.8), (86, 0.8), (70, 3.6)]), linear([220, 185, 140]), 5),
        (Polygon([(83, -1.2), (89, 0), (83, 1.2)]), linear([30, 30, 30]), 0),
    ]


def marker(rng):
    c = linear([[20, 20, 20], [30, 50, 140], [180, 20, 30]][rng.integers(3)])
    return [
        (box(-70, -8, 20, 8), linear([235, 235, 232]) if rng.random() < 0.5 else c, 15),
        (box(20, -8.5, 68, 8.5), c, 16),
        (box(-40, -6, 10, -1), c * 0.5 + 0.2, 0),
    ]


def ruler(rng):
    l = rng.choice([300, 500])
    steel = rng.random() < 0.6
    out = [(box(-l / 2, -15, l / 2, 15), linear([180, 184, 188]) if steel else linear([225, 190, 110]), 1.2)]
    dark = linear([35, 35, 38])
    for mm in range(0, l - 8, 5):
        h = 9 if mm % 50 == 0 else 6 if mm % 10 == 0 else 4
        out.append((box(-l / 2 + 4 + mm - 0.15, 15 - h, -l / 2 + 4 + mm + 0.15, 15), dark, 0))
        if mm % 50 == 0 and mm:
            out += [(LineString(s).buffer(0.3, quad_segs=1), dark, 0) for s in write(str(mm // 10), (-l / 2 + 4 + mm, 1), 5, 0.0)]
    return out


def mug(rng):
    c = linear([[240, 240, 238], [60, 90, 140], [150, 40, 40], [40, 42, 45], [230, 210, 120]][rng.integers(5)])
    drink = linear([[45, 25, 14], [120, 60, 25], [200, 190, 170]][rng.integers(3)])
    return [
        (LineString([(38, 0), (60, 8), (60, -8), (38, 0)]).buffer(5), c * 0.9, 60),
        (Point(0, 0).buffer(42, 48), c, 90),
        (Point(1, 1).buffer(37, 48), c * 0.55, 0),
        (Point(2, -1).buffer(34, 48), drink, 0),
    ]


def offcut(rng):
    c = linear([[224, 204, 158], [70, 120, 190], [235, 205, 70], [240, 240, 240], [120, 120, 125]][rng.integers(5)])
    w, l = rng.uniform(19, 50), rng.uniform(25, 90)
    v = np.linspace(0, w, 7)
    return [(Polygon(np.concatenate([np.stack([l + rng.normal(0, 1.5, 7), v], 1), np.stack([rng.normal(0, 1.5, 7), v], 1)[::-1]])).buffer(0), c, 0.4)]


def swarf(rng):
    return [
        (
            affinity.translate(LineString(rng.normal(0, 5, (3, 2))).buffer(rng.uniform(0.3, 1.5)), *rng.normal(0, 40, 2)),
            linear(rng.uniform(40, 230, 3)),
            0.5,
        )
        for _ in range(rng.integers(3, 9))
    ]


def board(rng):
    w, h = rng.uniform(90, 260), rng.uniform(90, 200)
    return [
        (
            box(-w / 2, -h / 2, w / 2, h / 2),
            linear([[40, 42, 46], [30, 95, 70], [225, 222, 210], [150, 110, 70], [180, 40, 40]][rng.integers(5)]),
            rng.uniform(1, 18),
        )
    ]


def hand(rng):
    tone = linear([[225, 172, 140], [190, 130, 95], [110, 70, 50]][rng.integers(3)])
    out = [(LineString([(0, -160), (0, -40)]).buffer(38), tone, 40)]
    for i, x in enumerate((-30, -10, 11, 31)):
        out.append((LineString([(x * 0.8, -40), (x * 1.3, 28 - abs(i - 1.4) * 12)]).buffer(9.5), tone * rng.uniform(0.92, 1.02), 18))
        out.append((Point(x * 1.3, 33 - abs(i - 1.4) * 12).buffer(4.5), np.minimum(tone * 1.25, 0.9), 0))
    return out


def shoe(rng):
    c = linear([[50, 50, 55], [110, 70, 40], [60, 80, 130]][rng.integers(3)])
    sole = affinity.scale(Point(0, 0).buffer(50, 32), 1.0, 2.4)
    return [
        (sole, linear([220, 220, 215]), 25),
        (sole.buffer(-6), c, 70),
        *[(LineString([(-18, y), (18, y + 4)]).buffer(2), linear([235, 235, 230]), 0) for y in (20, 34, 48)],
    ]


SMALL = dict(roll=roll, scissors=scissors, knife=knife, pencil=pencil, marker=marker, ruler=ruler, mug=mug, offcut=offcut, swarf=swarf, board=board)
EDGE = dict(hand=hand, shoe=shoe)


def placed(parts, at, angle):
    move = lambda p: affinity.translate(affinity.rotate(p, np.degrees(angle), origin=(0, 0)), *at)
    return [(move(p), c, h) for p, c, h in parts]


def paint(canvas, parts, rng, noise):
    from shapely.ops import unary_union

    tall = max(h for *_, h in parts)
    base = unary_union([p for p, _, h in parts if h > 0])
    for g in getattr(base, "geoms", [base]):
        canvas.cast(g, tall, contact=0.45)
    canvas.lit(base)
    shine = rng.uniform(0, 0.1)
    a = rng.uniform(0, 2 * np.pi)
    x0, y0, x1, y1 = base.bounds
    size = max(x1 - x0, y1 - y0, 1)
    for p, colour, h in parts:
        c = np.asarray(colour, np.float32)

        def fill(x, y):
            slope = ((x - (x0 + x1) / 2) * np.cos(a) + (y - (y0 + y1) / 2) * np.sin(a)) / size
            return c * (1 + 0.35 * slope + 0.04 * noise(x, y, 0.6, 0.6))[..., None].astype(np.float32)

        canvas.paint(p, fill, gloss=shine)
