"""Templates of tape: how they are laid, cut and inked, and how they are painted."""

import math
from dataclasses import dataclass, field

import cv2
import numpy as np

import pen
import shapes
from canvas import fill, linear, rectangle, share, stroke, turned
from texture import noise

TAPES = [
    (228, 205, 160),
    (236, 222, 190),
    (214, 178, 128),
    (240, 224, 150),
    (238, 205, 60),
    (70, 150, 70),
    (110, 175, 95),
    (55, 105, 185),
    (90, 150, 210),
    (185, 60, 50),
    (240, 240, 235),
    (200, 200, 195),
    (225, 130, 50),
    (225, 150, 165),
    (95, 75, 130),
    (45, 45, 48),
    (160, 115, 75),
    (225, 170, 130),
]
TAPE_SHARES = np.array([16, 12, 10, 7, 6, 6, 4, 8, 4, 4, 5, 3, 3, 2, 1, 2, 3, 5], float)
INKS = [(25, 25, 28), (30, 40, 120), (150, 30, 30), (20, 85, 50), (80, 55, 40), (70, 70, 75)]


@dataclass
class Tape:
    """One roll: its colour, width, how much ground shines through."""

    colour: np.ndarray
    width: float
    through: float
    crepe: float
    gloss: float
    overlap: float
    seam: float
    spread: float

    @staticmethod
    def any(rng):
        c = linear(*TAPES[rng.choice(len(TAPES), p=TAPE_SHARES / TAPE_SHARES.sum())])
        c = np.clip(c * np.exp(rng.normal(0, 0.12)) * np.exp(rng.normal(0, 0.07, 3)), 0.01, 0.93).astype(np.float32)
        if rng.random() < 0.12:  # one sheet, without strips
            return Tape(
                c,
                2000.0,
                rng.choice([0, rng.uniform(0, 0.3)]),
                rng.uniform(0, 0.03),
                rng.uniform(0, 0.4),
                1.0,
                1.0,
                0.0,
            )
        return Tape(
            c,
            rng.uniform(19, 50),
            rng.choice([0, rng.uniform(0, 0.2), rng.uniform(0.1, 0.45)]),
            rng.uniform(0, 0.06),
            rng.choice([0, rng.uniform(0, 0.3)]),
            rng.choice([rng.uniform(0.68, 0.95), rng.uniform(0.85, 1.03)]),
            rng.choice([rng.uniform(0.75, 1), 1.0]),
            rng.uniform(0, 0.06),
        )


@dataclass
class Template:
    """One template about 0, 0, in mm."""

    net: np.ndarray
    inked: bool
    rings: list  # the skin: areas filled
    gaps: list = field(default_factory=list)  # and cut out again
    holes: list = field(default_factory=list)  # holes of the net
    strokes: list = field(default_factory=list)  # ink: lines
    kinds: list = field(default_factory=list)  # of each line: NET, ARROW, RELIEF or OTHER
    filled: list = field(default_factory=list)  # ink: areas
    strips: list = field(default_factory=list)  # (from, to) across the strips
    angle: float = 0.0
    spots: list = field(default_factory=list)  # what is small and counts: tips, ends, holes

    def add(self, strokes, kind):
        self.strokes += strokes
        self.kinds += [kind] * len(strokes)


NET, ARROW, RELIEF, OTHER = range(4)


def strips_of(rng, tape, low, high):
    """Where each strip begins and ends across the strips."""
    out, at = [], low - rng.uniform(0, tape.width)
    lap = rng.uniform(0.05, 0.5) * tape.width
    while at < high:
        out.append((at, at + tape.width))
        at += tape.width - lap * rng.uniform(0.5, 1.5)
    return out


def torn(rng, x, low, high, rough):
    """The end of a strip: a cut, or torn."""
    n = 2 if rough < 0.5 else 9
    return np.c_[x + rng.normal(0, rough, n) + np.linspace(0, rng.normal(0, 3), n), np.linspace(low, high, n)]


def template(rng, size, tape, plain=False):
    """Any template; a plain one is little inked and cut: it lies beside the one that counts."""
    ring = shapes.outline(rng, size)
    inked = rng.random() < 0.5 and not plain
    net, darts, slits = ring, [], []
    if rng.random() < (0.15 if plain else 0.4):
        for _ in range(rng.integers(1, 5)):
            cut = shapes.cut_in(rng, net, False)
            if cut:
                net = cut[0]
                darts.append(cut[1])
    if rng.random() < 0.4 and not inked:
        for _ in range(rng.integers(1, 5)):
            cut = shapes.cut_in(rng, net, True)
            if cut:
                net = cut[0]
                slits.append(cut[1])
    holes = [
        h
        for h in (shapes.hole(rng, net) for _ in range(rng.integers(1, 5) if rng.random() < 0.45 else 0))
        if h is not None
    ]
    angle = rng.uniform(0, math.pi)
    across = net @ np.array([-math.sin(angle), math.cos(angle)])
    margin = rng.uniform(6, 55)
    strips = strips_of(rng, tape, across.min() - margin, across.max() + margin)
    t = Template(net, inked, [], strips=strips, angle=angle, holes=holes)
    if inked:
        if rng.random() < 0.5 and tape.width < 100:
            lay_strips(rng, t, margin)
        else:
            a = rng.uniform(0.5, 6)
            t.rings = [
                shapes.wider(
                    ring,
                    margin,
                    lambda n: cv2.blur(rng.normal(0, a * 3, (n, 1)), (1, 9))[:, 0] + rng.normal(0, a * 0.15, n),
                )
            ]
        if darts and rng.random() < 0.15:
            t.gaps = [d.mean(0) + (d - d.mean(0)) * 0.8 for d in darts]
    else:
        rough = rng.choice([0, rng.uniform(0, 0.5), rng.uniform(0.3, 1.5)])
        t.rings = [net + rng.normal(0, rough, net.shape) if rough else net]
        t.gaps = holes
    t.spots += [p for d in darts for p in (d[0], d[1], d[-1])] + [(p[1] + p[2]) / 2 for p in slits]
    t.spots += [(p[0] + p[3]) / 2 for p in slits] + [h[0] for h in holes]
    ink(rng, t, darts, plain)
    return t


def lay_strips(rng, t, margin):
    """The skin of an inked template: strips from side to side, each with its own ends."""
    c, s = math.cos(t.angle), math.sin(t.angle)
    u, v = t.net @ np.array([c, s]), t.net @ np.array([-s, c])
    rough, jitter = rng.choice([0.2, rng.uniform(0.5, 4)]), rng.uniform(0.1, 0.9)
    for low, high in t.strips:
        near = u[(v > low - 8) & (v < high + 8)]
        if len(near) == 0:
            continue
        ends = near.min() - margin * rng.uniform(1 - jitter, 1), near.max() + margin * rng.uniform(1 - jitter, 1)
        p = np.r_[torn(rng, ends[0], low, high, rough), torn(rng, ends[1], low, high, rough)[::-1]]
        t.rings.append(turned(p, t.angle + rng.normal(0, 0.008)))


def inner_place(rng, t, clear):
    """A place at least `clear` mm inside the net and off the holes, or None."""
    low, high = t.net.min(0), t.net.max(0)
    for _ in range(12):
        p = rng.uniform(low, high)
        if shapes.depth(t.net, p) > clear and all(shapes.depth(h, p) < -clear * 0.7 for h in t.holes):
            return p
    return None


def ink(rng, t, darts, plain):
    n = len(t.net)
    if t.inked:
        line = pen.wavy(rng, np.r_[t.net, t.net[:1]], rng.uniform(0, 0.25), 3)
        gaps = int(rng.integers(1, 6)) if rng.random() < 0.35 else 0
        t.add(pen.broken(rng, line, gaps) if gaps else [line], NET)
        if rng.random() < 0.2:  # doubled for a stretch
            i, k = int(rng.integers(0, n)), int(rng.integers(10, max(11, n // 3)))
            t.add([t.net[np.arange(i, i + k) % n] + rng.normal(0, 1.5, 2)], NET)
        for h in t.holes:
            t.add([pen.wavy(rng, np.r_[h, h[:1]], 0.1)], NET)
    elif rng.random() < 0.25:  # cut along a line: some of it is left
        line = t.net + rng.normal(0, 0.6, 2)
        t.add(pen.broken(rng, np.r_[line, line[:1]], int(rng.integers(1, 8))), NET)
    if plain and rng.random() < 0.5:
        return
    if rng.random() < 0.4:  # ticks over the edge
        for _ in range(rng.integers(1, 9)):
            i = int(rng.integers(0, n))
            d = shapes.normal(t.net, i) * rng.uniform(4, 14)
            t.add([np.array([t.net[i] - d * rng.uniform(0.2, 1), t.net[i] + d])], OTHER)
    if rng.random() < 0.3:  # relief cuts, inked
        for _ in range(rng.integers(1, 5)):
            i = int(rng.integers(0, n))
            end = t.net[i] + shapes.normal(t.net, i) * rng.uniform(20, 90)
            if shapes.depth(t.net, end) > 8:
                t.add([pen.wavy(rng, np.array([t.net[i], end]), 0.15)], RELIEF)
                t.spots += [t.net[i], end]
    size = np.ptp(t.net, 0).max()
    if rng.random() < 0.92:
        p = inner_place(rng, t, 12)
        if p is not None:
            strokes, filled = pen.arrow(rng, rng.uniform(40, min(180, 60 + 0.4 * size)))
            a = rng.uniform(0, 2 * math.pi)
            t.add(pen.placed(strokes, a, p), ARROW)
            t.filled += pen.placed(filled, a, p)
            t.spots += [t.strokes[-1].mean(0), p]
    for _ in range(rng.integers(0, 6)):
        p = inner_place(rng, t, 10)
        if p is not None:
            word = pen.text(rng, rng.choice(pen.WORDS), rng.uniform(7, 45))
            t.add(pen.placed(word, rng.uniform(0, 2 * math.pi), p), OTHER)
    if rng.random() < 0.15:  # help lines across
        for _ in range(rng.integers(1, 4)):
            a, b = t.net[rng.integers(0, n)], t.net[rng.integers(0, n)]
            t.add([pen.wavy(rng, np.array([a, b]), 0.1, 20)], OTHER)


def profile(rng, tape, strips, low, high):
    """Across the strips, each quarter of a mm: layers and shade."""
    v = np.arange(low, high, 0.25)
    layers, shade = np.zeros(len(v), np.float32), np.ones(len(v), np.float32)
    for a, b in strips:
        i, j = np.searchsorted(v, [a, b])
        layers[i:j] += 1
        shade[i:j] = (1 + rng.normal(0, tape.spread)) * (1 + np.linspace(-1, 1, j - i) * rng.normal(0, 0.01))
        for k in (i, j):
            shade[max(k - 1, 0) : k + int(rng.integers(1, 4))] *= 1 - (1 - tape.seam) * rng.uniform(0.3, 1)
    return np.maximum(layers, 1), shade


def paint(rng, canvas, t, tape, angle, at):
    """Lays a template on the canvas, turned by `angle`, its middle at `at`."""
    light = canvas.falls_px
    place = lambda p: canvas.camera.project(turned(p, angle, at))
    rings = [place(r) for r in t.rings]
    lift = math.exp(rng.uniform(math.log(0.15), math.log(4)))
    part = canvas.box(np.concatenate(rings), int(lift * 4 / canvas.camera.px) + 8)
    if part is None:
        return
    corner = np.array([part[1].start, part[0].start])
    shape = (part[0].stop - part[0].start, part[1].stop - part[1].start)
    px = canvas.camera.px

    def covered(areas, out=None):
        out = np.zeros(shape, np.uint8) if out is None else out
        for a in areas:
            one = np.zeros(shape, np.uint8)
            fill(one, a - corner)
            np.maximum(out, one, out=out)
        return out.astype(np.float32) / 255

    m = covered(rings)
    if t.gaps:
        m = m * (1 - covered([place(g) for g in t.gaps]))
    x, y = canvas.x[part] - np.float32(at[0]), canvas.y[part] - np.float32(at[1])
    way = angle + t.angle
    v = y * np.float32(math.cos(way)) - x * np.float32(math.sin(way))
    v = v + noise(rng, "clouds", x, y, 4) * np.float32(rng.uniform(0, 1.5))
    low, high = float(v.min()) - 1, float(v.max()) + 1
    layers, shade = profile(rng, tape, t.strips, low, high)
    index = ((v - low) * 4).astype(np.int32)
    many, tone = layers[index], shade[index]
    if rng.random() < 0.3:  # a second layer across, over some of it
        other = way + rng.choice([math.pi / 2, rng.uniform(0.4, 2.7)])
        w = y * np.float32(math.cos(other)) - x * np.float32(math.sin(other))
        low2, high2 = float(w.min()) - 1, float(w.max()) + 1
        l2, s2 = profile(rng, tape, strips_of(rng, tape, low2, high2), low2, high2)
        i2 = ((w - low2) * 4).astype(np.int32)
        over = (v > rng.uniform(low, high)).astype(np.float32) if rng.random() < 0.6 else np.float32(1)
        many, tone = many + l2[i2] * over, tone * (1 - over) + s2[i2] * over
    for _ in range(rng.integers(0, 12) if rng.random() < 0.5 else 0):  # patches
        p = rectangle(rng.uniform(30, 250), min(tape.width, 60))
        p = turned(
            p, rng.choice([t.angle, rng.uniform(0, math.pi)]), t.net[rng.integers(0, len(t.net))] * rng.uniform(0, 1)
        )
        many = many + covered([place(p)])
    tone = tone * np.float32(tape.overlap) ** (many - 1)
    tone = tone * (1 + tape.crepe * noise(rng, "fibre", x, y, max(0.5, 0.6 * px), way + math.pi / 2))
    tone = tone * (
        1
        + np.float32(rng.uniform(0, 0.06)) * noise(rng, "clouds", x, y, 3)
        + np.float32(0.015) * noise(rng, "grit", x, y, max(0.8, px))
    )
    tone = tone * wrinkles(rng, t, place, corner, shape, px, light)
    through = np.float32(tape.through) ** many if tape.through > 0.02 else np.float32(0)
    # the shadow at its edge, where it stands up
    height = cv2.GaussianBlur(m, (0, 0), max(0.4, lift / px * 0.8))
    move = np.float32([[1, 0, light[0] * lift / px], [0, 1, light[1] * lift / px]])
    canvas.rgb[part] *= (1 - rng.uniform(0.1, 0.75) * cv2.warpAffine(height, move, shape[::-1]) * (1 - m))[..., None]
    colour = tape.colour * tone[..., None]
    if tape.through > 0.02:
        through = through[..., None]
        colour = colour * (1 - through) + canvas.rgb[part] * through * np.float32(rng.uniform(0.7, 1))
    draw_ink(rng, canvas, t, tape, place, corner, shape, part, m, colour, x, y)
    canvas.spots += [turned(np.atleast_2d(p), angle, at)[0] for p in t.spots]
    a = m[..., None]
    canvas.rgb[part] = canvas.rgb[part] * (1 - a) + np.clip(colour, 0.002, 1) * a
    canvas.gloss[part] += m * np.float32(tape.gloss) * np.clip(1 + 0.5 * noise(rng, "rough", x, y, 2), 0, 2)


def wrinkles(rng, t, place, corner, shape, px, light):
    """Shades of folds and bubbles."""
    h = np.zeros(shape, np.float32)
    if rng.random() < 0.6:
        size = np.ptp(t.net, 0).max()
        for _ in range(rng.integers(1, 14)):
            p, a = t.net[rng.integers(0, len(t.net))] * rng.uniform(0, 1), rng.uniform(0, 2 * math.pi)
            line = turned(pen.wavy(rng, [[0, 0], [rng.uniform(15, 0.4 * size + 20), 0]], 0.8), a, p)
            one = np.zeros(shape, np.uint8)
            stroke(one, place(line) - corner, rng.uniform(0.8, 4) / px)
            h += one * np.float32(rng.uniform(0.2, 1) / 255)
    if rng.random() < 0.3:
        for _ in range(rng.integers(1, 6)):
            p = t.net[rng.integers(0, len(t.net))] * rng.uniform(0, 0.9)
            one = np.zeros(shape, np.uint8)
            fill(one, place(shapes.blob(rng) * rng.uniform(4, 20) + p) - corner)
            h += cv2.GaussianBlur(one, (0, 0), 2 / px + 0.5) * np.float32(0.5 / 255)
    if not h.any():
        return np.float32(1)
    h = cv2.GaussianBlur(h, (0, 0), max(0.6, 0.5 / px))
    d = np.float32([light[0], light[1]]) / (np.hypot(*light) + 1e-6)
    moved = cv2.warpAffine(h, np.float32([[1, 0, d[0] * 1.5], [0, 1, d[1] * 1.5]]), shape[::-1])
    return np.clip(1 + np.float32(rng.uniform(0.1, 0.9)) * (moved - h) * -1, 0.4, 1.6)


def draw_ink(rng, canvas, t, tape, place, corner, shape, part, m, colour, x, y):
    """Ink onto the skin's colours, and what is skin, ink and inside into the canvas."""
    total = np.zeros(shape, np.float32)
    one_pen = rng.random() < 0.75
    dark_tape = tape.colour.mean() < 0.08

    def new_pen():
        c = linear(*INKS[rng.integers(0, len(INKS))]) if rng.random() < 0.6 else linear(*INKS[0])
        c = linear(225, 225, 220) if dark_tape and rng.random() < 0.8 else c * np.exp(rng.normal(0, 0.3, 3))
        return (
            np.clip(c, 0.003, 0.95).astype(np.float32),
            math.exp(rng.uniform(math.log(0.6), math.log(4))),
            rng.choice([rng.uniform(0.35, 1), rng.uniform(0.6, 1)]),
        )

    c, w, strong = new_pen()
    w = max(w, rng.uniform(0.9, 2) * canvas.camera.px)  # people take a pen that they can see
    thin = (
        1 - rng.uniform(0, 0.6) * (noise(rng, "rough", x, y, 2) > rng.uniform(0.3, 1.5))
        if rng.random() < 0.3
        else np.float32(1)
    )
    layer = np.zeros(shape, np.uint8)
    of_kind = {k: np.zeros(shape, np.uint8) for k in (ARROW, RELIEF) if k in t.kinds}

    def put():
        nonlocal total
        if layer.any():
            a = layer.astype(np.float32) / 255 * thin
            total = np.maximum(total, a * m)
            a = (a * np.float32(strong))[..., None]
            colour[...] = colour * (1 - a) + c * a
            layer[...] = 0

    for i, (s, kind) in enumerate(zip(t.strokes, t.kinds)):
        if not one_pen and rng.random() < 0.4:
            put()
            c, w, strong = new_pen()
        one = np.zeros(shape, np.uint8) if i < 40 or kind in of_kind else layer
        stroke(one, place(s) - corner, w * rng.uniform(0.85, 1.15) / canvas.camera.px)
        np.maximum(layer, one, out=layer)
        if kind in of_kind:
            np.maximum(of_kind[kind], one, out=of_kind[kind])
    for f in t.filled:
        fill(layer, place(f) - corner)
        fill(of_kind[ARROW], place(f) - corner)
    put()
    canvas.cover(part, m)
    canvas.skin[part] += m
    canvas.ink[part] += total
    for kind, into in ((ARROW, canvas.arrow), (RELIEF, canvas.relief)):
        if kind in of_kind:
            into[part] += of_kind[kind].astype(np.float32) / 255 * m
    if t.inked:
        inside = share(shape, [place(t.net) - corner], [place(h) - corner for h in t.holes])
        canvas.inside[part] += inside * m
