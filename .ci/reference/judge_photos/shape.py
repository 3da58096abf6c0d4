"""Outlines of templates: parts of a kayak and others, with darts, relief cuts and windows. mm, y up."""

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box


def smooth_closed(points, n=24):
    """A closed curve through points (Catmull-Rom)."""
    p = np.asarray(points, float)
    t = np.linspace(0, 1, n, endpoint=False)[:, None]
    out = []
    for i in range(len(p)):
        a, b, c, d = p[i - 1], p[i], p[(i + 1) % len(p)], p[(i + 2) % len(p)]
        out.append(0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3))
    return Polygon(np.concatenate(out))


def rounded(p, outer, inner=None):
    inner = outer if inner is None else inner
    return p.buffer(-outer, quad_segs=24).buffer(outer + inner, quad_segs=24).buffer(-inner, quad_segs=24)


def fan(centre, radius, first, last, n=80):
    a = np.linspace(first, last, n)
    return np.stack([centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)], 1)


def seat(rng):
    a = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    r = 1 + rng.uniform(0.05, 0.2) * np.cos(a) + rng.uniform(0.05, 0.22) * np.cos(2 * a) + rng.uniform(-0.07, 0.07) * np.cos(3 * a + 0.4)
    return smooth_closed(np.stack([r * np.cos(a) * 1.1, r * np.sin(a)], 1))


def hip(rng):
    p = affinity.scale(Point(0, 0).buffer(1, 64), 1.0, rng.uniform(0.6, 0.8)).difference(
        Point(rng.uniform(-0.3, 0.3), 1.25).buffer(rng.uniform(0.7, 0.85), 64)
    )
    return rounded(p, 0.05, 0.1)


def hatch(rng):
    a, e = np.linspace(0, 2 * np.pi, 400, endpoint=False), rng.uniform(0.6, 1.0)
    c, s = np.cos(a), np.sin(a)
    return Polygon(np.stack([np.sign(c) * abs(c) ** e, rng.uniform(0.55, 0.9) * np.sign(s) * abs(s) ** e], 1))


def blade(rng):
    d = rng.uniform(0.6, 1.6)
    r = np.hypot(1, d)
    half = np.arctan2(1, d)
    low = fan((0, d), r, -np.pi / 2 - half, -np.pi / 2 + half)
    flat = rng.uniform(0.2, 1.0)
    high = np.stack([low[::-1, 0], -low[::-1, 1] * flat], 1)[1:-1]
    return Polygon(np.concatenate([low, high]))


def foot(rng):
    t = rng.uniform(0.5, 0.9)
    return rounded(Polygon([(-1, -0.7), (1, -0.7), (t, 0.7), (-t, 0.7 - rng.uniform(0, 0.2))]), rng.choice([0.01, 0.06, 0.15]))


def neck(rng):
    a = np.linspace(0, np.pi * rng.uniform(0.2, 0.7), 60)
    w = 0.22 - rng.uniform(0.06, 0.15) * np.exp(-(((a / a[-1] - rng.uniform(0.35, 0.65)) / 0.18) ** 2))
    arc = lambda r: np.stack([r * np.cos(a), r * np.sin(a)], 1)
    return rounded(Polygon(np.concatenate([arc(1 + w), arc(1 - w)[::-1]])), 0.015)


def triangle(rng):
    corners = np.array([(0, 1), (-0.9, -0.6), (rng.uniform(0.7, 1), -0.6)])
    rim = []
    for i in range(3):
        a, b = corners[i], corners[(i + 1) % 3]
        t = np.linspace(0, 1, 50, endpoint=False)[:, None]
        n = np.array([-(b - a)[1], (b - a)[0]])
        rim.append(a + (b - a) * t + n * rng.uniform(0.08, 0.17) * 4 * t * (1 - t))
    return Polygon(np.concatenate(rim))


def half_ring(rng):
    a = rng.uniform(1.6, 4.6)
    w = rng.uniform(0.12, 0.25)
    return rounded(Polygon(np.concatenate([fan((0, 0), 1 + w, 0, a), fan((0, 0), 1 - w, a, 0)])), 0.01)


def brace(rng):
    w = rng.uniform(0.4, 0.7)
    return rounded(affinity.skew(box(-0.9, -0.7, 0.9, -0.7 + w).union(box(-0.9, -0.7, -0.9 + w, 0.8)), rng.uniform(-15, 15)), 0.06, 0.12)


def gusset(rng):
    return affinity.scale(
        rounded(Polygon([(-1, -1), (1, -1), *fan((1, 1), 2 * 0.85, -np.pi / 2 - 0.1, -np.pi - 0.05, 60), (-1, 1)]).buffer(0), 0.004),
        1,
        rng.uniform(0.7, 1),
    )


def bulkhead(rng):
    k = rng.uniform(1.6, 3)
    a = np.linspace(0, np.pi, 120)
    return rounded(Polygon(np.stack([np.sign(np.cos(a)) * abs(np.cos(a)) ** (2 / k), rng.uniform(0.6, 1.1) * np.sin(a) ** (2 / k)], 1)), 0.008)


def fork(rng):
    p = (
        LineString([(0, -1), (0, 0), (-0.7, 0.9)])
        .buffer(0.2, cap_style="flat")
        .union(LineString([(0, 0), (0.7, rng.uniform(0.6, 0.95))]).buffer(0.2, cap_style="flat"))
    )
    return rounded(p, 0.02, 0.08)


SHAPES = dict(
    seat=seat,
    hip=hip,
    hatch=hatch,
    blade=blade,
    foot=foot,
    neck=neck,
    triangle=triangle,
    ring=half_ring,
    brace=brace,
    gusset=gusset,
    bulkhead=bulkhead,
    fork=fork,
)


def frayed(p, amplitude, wave, rng):
    """The boundary with smooth wiggles, as scissors or tearing leave it."""
    n = max(60, int(p.exterior.length / min(wave / 5, 2)))
    s = np.linspace(0, p.exterior.length, n, endpoint=False)
    at = lambda t: np.array([p.exterior.interpolate(v).coords[0] for v in t % p.exterior.length])
    here = at(s)
    ahead = np.roll(here, -1, 0) - np.roll(here, 1, 0)
    normal = np.stack([ahead[:, 1], -ahead[:, 0]], 1) / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    white = rng.normal(size=n)
    k = np.exp(-0.5 * (np.minimum(np.arange(n), n - np.arange(n)) / max(wave / (p.exterior.length / n) / 3, 0.5)) ** 2)
    wiggle = np.fft.irfft(np.fft.rfft(white) * np.fft.rfft(k), n)
    # Corners stay: an edge is frayed along it.
    turn = np.abs((ahead / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None] - np.roll(ahead / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None], 1, 0))).sum(
        1
    )
    calm = np.where(turn > 0.25, 0.0, 1.0)
    q = Polygon(here + normal * (wiggle / wiggle.std() * amplitude * calm)[:, None])
    return q if q.is_valid and abs(q.area / p.area - 1) < 0.03 else p


def inward(p, s):
    ring = p.exterior
    a, b = np.array(ring.interpolate((s - 0.5) % ring.length).coords[0]), np.array(ring.interpolate((s + 0.5) % ring.length).coords[0])
    n = np.array([-(b - a)[1], (b - a)[0]]) / max(np.hypot(*(b - a)), 1e-9)
    here = np.array(ring.interpolate(s).coords[0])
    if not p.contains(Point(here + n * 0.5)):
        n = -n
    return here, n


def swing(v, angle):
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * v[0] - s * v[1], s * v[0] + c * v[1]])


def make(rng, careful, net):
    """A template: outline with its darts, relief cuts (from the edge inwards) and holes, all true."""
    name = list(SHAPES)[rng.integers(len(SHAPES))]
    p = SHAPES[name](rng)
    size = float(np.exp(rng.uniform(np.log(170), np.log(620))))
    x0, y0, x1, y1 = p.bounds
    p = affinity.scale(p, size / max(x1 - x0, y1 - y0), size / max(x1 - x0, y1 - y0), origin=(0, 0))
    p = affinity.rotate(affinity.translate(p, *(-np.array(p.centroid.coords[0]))), rng.uniform(0, 360), origin=(0, 0))
    if rng.random() < 0.5:
        p = affinity.scale(p, -1, 1, origin=(0, 0))
    p = max(p.geoms, key=lambda g: g.area) if p.geom_type == "MultiPolygon" else p
    p = Polygon(p.exterior)
    if not p.is_valid:
        return make(rng, careful, net)
    torn = net == "edge" and not careful and rng.random() < 0.12
    p = frayed(p, *(rng.uniform(0.3, 0.7), rng.uniform(4, 9)) if torn else (rng.uniform(0.05, 0.3), rng.uniform(15, 50)), rng)
    whole, taken, darts, reliefs, holes = p, [], [], [], []

    def clear(g, gap):
        return all(g.distance(t) > gap for t in taken)

    for _ in range(rng.choice([0, 0, 1, 2, 3]) * 6):
        if len(darts) == 3:
            break
        here, n = inward(whole, rng.uniform(0, whole.exterior.length))
        mouth = rng.uniform(3, 16) if rng.random() < 0.7 else rng.uniform(16, 32)
        depth = rng.uniform(max(18, 1.2 * mouth), max(30, min(90, size * 0.25)))
        n = swing(n, rng.normal(0, 0.12))
        tip, side = here + n * depth, np.array([-n[1], n[0]])
        wedge = Polygon([tip, here + side * mouth / 2, here - side * mouth / 2])
        over = Polygon(
            [
                tip,
                here + side * mouth / 2,
                here + side * mouth / 2 * (1 + 6 / depth) - n * 6,
                here - side * mouth / 2 * (1 + 6 / depth) - n * 6,
                here - side * mouth / 2,
            ]
        )
        cut = whole.exterior.intersection(over)
        room = Point(tip).distance(whole.exterior) > min(14, depth * 0.8)
        if room and cut.geom_type == "LineString" and cut.length < mouth * 1.3 and clear(wedge, 14):
            q = p.difference(over)
            if q.geom_type == "Polygon" and not q.interiors:
                p = q
                taken.append(wedge)
                ends = np.array(cut.coords)[[0, -1]]
                darts.append(dict(tip=tip, mouth=float(np.hypot(*(ends[1] - ends[0]))), depth=float(depth)))
    for _ in range(rng.choice([0, 0, 0, 1, 2, 4]) * 6):
        if len(reliefs) == 4:
            break
        here, n = inward(whole, rng.uniform(0, whole.exterior.length))
        end = here + swing(n, rng.normal(0, 0.15)) * rng.uniform(20, min(80, size * 0.2))
        line = LineString([here, end])
        if Point(end).distance(whole.exterior) > 12 and p.buffer(0.01).contains(line) and clear(line, 14):
            taken.append(line)
            reliefs.append(np.array([here, end]))
    for _ in range(rng.choice([0, 0, 0, 1, 2]) * 5):
        if len(holes) == 2:
            break
        x0, y0, x1, y1 = p.bounds
        at = rng.uniform((x0, y0), (x1, y1))
        r = rng.uniform(9, max(12, size * 0.1))
        kind = rng.integers(3)
        h = (
            Point(0, 0).buffer(r, 48)
            if kind == 0
            else affinity.scale(Point(0, 0).buffer(r, 48), 1.5, 0.8) if kind == 1 else rounded(box(-r, -r * 0.7, r, r * 0.7), 0.2 * r)
        )
        h = affinity.translate(affinity.rotate(h, rng.uniform(0, 360)), *at)
        if p.contains(h) and h.distance(p.exterior) > 14 and clear(h, 14):
            p = Polygon(p.exterior, [*p.interiors, h.exterior])
            taken.append(h)
            holes.append(h)
    if not p.is_valid:
        return make(rng, careful, net)
    return dict(name=name, polygon=p, darts=darts, reliefs=reliefs, holes=holes, torn=torn, size=size)
