"""Scale cards, and everything else that lies about on a bench."""

import math

import numpy as np

import pen
import shapes
from canvas import ellipse, linear, rectangle, turned
from grounds import any_colour
from texture import noise


def capsule(length, w, taper=1.0):
    """A rod along x with round ends."""
    t = np.linspace(-math.pi / 2, math.pi / 2, 12)
    a, b = np.c_[np.cos(t), np.sin(t)] * w / 2, np.c_[-np.cos(t), -np.sin(t)] * w / 2 * taper
    return np.r_[a + [length / 2, 0], b - [length / 2, 0]]


def shadow(rng, canvas, points, height):
    """Of a thing of a height in mm: where it touches the ground, and where the light throws it."""
    strength = rng.uniform(0.15, 0.75)
    for k in np.linspace(0.25, 1, 3 if height > 25 else 1):
        canvas.shade(points, canvas.falls * height * k, 1 + height * 0.12 * k, strength * (0.5 if height > 25 else 1))


def card(rng, canvas, at, angle, scale=1.0):
    """A scale card, drawn as it is printed: 180 by 120 mm, three round marks along each long side."""
    place = lambda p: turned(np.asarray(p) * scale, angle, at)
    margin = rng.choice([0, rng.uniform(0, 4), rng.uniform(3, 16)])
    paper = linear(248, 248, 246) * rng.uniform(0.72, 1.0) * np.exp(rng.normal(0, 0.03, 3))
    edge = place(rectangle(180 + 2 * margin, 120 + 2 * margin))
    shadow(rng, canvas, edge, rng.uniform(0.1, 5))
    bend, way = rng.uniform(0, 0.12) if rng.random() < 0.4 else 0, rng.uniform(0, 2 * math.pi)
    fold = lambda x, y: 1 + np.float32(bend) * np.sin(
        ((x - at[0]) * math.cos(way) + (y - at[1]) * math.sin(way)) / np.float32(60 * scale)
    )
    canvas.paint(edge, np.clip(paper, 0, 0.97), texture=fold)
    part, m = canvas.mask(edge)
    if part is None:
        return
    canvas.card[part] = np.maximum(canvas.card[part], m)
    black = linear(25, 25, 25) * rng.uniform(0.5, 2)
    if rng.random() < 0.9:
        canvas.line(place(rectangle(180, 120)), 0.4 * scale, black, 0.9, True)
    code = rng.integers(1, 6, 2)
    spots = [(-72, -42, 1), (72, -42, 2), (72, 42, 3), (-72, 42, 4), (0, -42, code[0]), (0, 42, code[1])]
    for x, y, dots in spots:
        canvas.paint(place(ellipse(x, y, 12)), black, hide=False)
        canvas.paint(place(ellipse(x, y, 8.5)), paper, hide=False)
        for i in range(dots):
            a = 2 * math.pi * i / dots + math.pi / 2
            d = 5.0 if dots > 1 else 0.0
            canvas.paint(place(ellipse(x + d * math.cos(a), y + d * math.sin(a), 1.8, count=16)), black, hide=False)
    canvas.line(place([(-50, -20), (50, -20)]), 0.4 * scale, black, 0.8)
    for i in range(11):
        canvas.line(place([(-50 + 10 * i, -20), (-50 + 10 * i, -16)]), 0.3 * scale, black, 0.8)
    for row in range(rng.integers(1, 5)):
        y, half = 18 - 9 * row, rng.uniform(25, 60)
        x = -half
        while x < half:
            w = rng.uniform(3, 12)
            canvas.line(place([(x, y), (x + w, y)]), rng.uniform(1, 2.2) * scale, black, 0.5)
            x += w + 2


def mug(rng, canvas, at, angle):
    r, tall, c = rng.uniform(36, 50), rng.uniform(60, 110), any_colour(rng)
    shadow(rng, canvas, ellipse(*at, r), tall)
    lean = canvas.camera.project(at)[0] - [480, 360]
    up = lean / 480 * rng.uniform(0.1, 0.4) * tall
    way = np.linalg.inv(canvas.camera.rotation[:2, :2]) @ up
    handle = turned(ellipse(r + 10, 0, 18, 14), angle, at)
    canvas.paint(handle, c * 0.8)
    canvas.paint(ellipse(*at, r), c * 0.6)
    for k in np.linspace(0.2, 1, 5):
        canvas.paint(ellipse(*(at + way * k), r), c * (0.6 + 0.4 * k))
    canvas.paint(ellipse(*(at + way), r * 0.9), rng.choice([0.4, 0.7]) * c)
    canvas.paint(
        ellipse(*(at + way * 0.8), r * 0.85),
        [linear(50, 30, 18), linear(20, 18, 16), linear(200, 180, 150)][rng.integers(0, 3)],
    )


def roll(rng, canvas, at, angle):
    r, w, c = rng.uniform(45, 70), rng.uniform(19, 50), any_colour(rng, 0.05, 0.8)
    inner = rng.uniform(0.5, 0.8) * r
    part, m = canvas.mask(ellipse(*at, inner))
    before = canvas.rgb[part].copy() if part else None
    shadow(rng, canvas, ellipse(*at, r), w)
    canvas.paint(
        ellipse(*at, r), c, texture=lambda x, y: 1 + 0.1 * np.sin(np.hypot(x - at[0], y - at[1]) * np.float32(3))
    )
    canvas.paint(ellipse(*at, inner + 3), linear(190, 160, 120))
    if part:
        dark = before * rng.uniform(0.25, 0.8)
        canvas.rgb[part] = canvas.rgb[part] * (1 - m[..., None]) + dark * m[..., None]


def scissors(rng, canvas, at, angle):
    steel, c, open_ = (
        linear(170, 172, 176) * rng.uniform(0.5, 1.3),
        any_colour(rng, 0.02, 0.5, 0.9),
        rng.uniform(0.03, 0.5),
    )
    for s in (1, -1):
        blade = turned(
            np.array([[0, -6], [rng.uniform(80, 130), 0], [0, 6], [-40, 5], [-40, -5]]), angle + s * open_ / 2, at
        )
        shadow(rng, canvas, blade, 5)
        canvas.paint(blade, np.clip(steel * rng.uniform(0.7, 1.2), 0, 0.9))
    for s in (1, -1):
        outer = turned(ellipse(-65, s * 18, 32, 19), angle + s * open_ / 2, at)
        part, m = canvas.mask(turned(ellipse(-65, s * 18, 22, 10), angle + s * open_ / 2, at))
        before = canvas.rgb[part].copy() if part else None
        shadow(rng, canvas, outer, 8)
        canvas.paint(outer, c)
        if part:
            canvas.rgb[part] = canvas.rgb[part] * (1 - m[..., None]) + before * m[..., None]
    canvas.paint(turned(ellipse(0, 0, 4), angle, at), steel * 0.6)


def ruler(rng, canvas, at, angle):
    long, w = rng.uniform(150, 1000), rng.uniform(15, 45)
    c = rng.choice([linear(190, 190, 192), linear(210, 180, 110), any_colour(rng)])
    p = turned(rectangle(long, w), angle, at)
    shadow(rng, canvas, p, rng.uniform(0.5, 6))
    clear = rng.random() < 0.2
    canvas.paint(p, c, 0.3 if clear else 1, texture=lambda x, y: 1 + 0.08 * noise(rng, "fibre", x, y, 1))
    for i in range(0, int(long / 10)):
        x = -long / 2 + 5 + i * 10
        tall = 0.45 if i % 10 == 0 else 0.25
        canvas.line(turned([(x, w / 2), (x, w / 2 - tall * w)], angle, at), 0.5, linear(30, 30, 30), 0.8)


def pencil(rng, canvas, at, angle):
    long, w, c = rng.uniform(90, 190), rng.uniform(6, 14), any_colour(rng, 0.02, 0.7, 0.9)
    p = turned(capsule(long, w, 0.9), angle, at)
    shadow(rng, canvas, p, w)
    across = lambda x, y: 1.1 - 0.5 * np.abs(
        (y - at[1]) * math.cos(angle) - (x - at[0]) * math.sin(angle)
    ) / np.float32(w)
    canvas.paint(p, c, texture=across)
    end = np.array([[long / 2 - 4, -w / 2], [long / 2 + rng.uniform(8, 22), 0], [long / 2 - 4, w / 2]])
    canvas.paint(
        turned(end, angle, at), rng.choice([linear(220, 185, 140), linear(30, 30, 30), linear(190, 190, 190)])
    )
    a = rng.uniform(-0.5, 0.3)
    canvas.paint(
        turned(rectangle(long * rng.uniform(0.1, 0.4), w) + [long * a, 0], angle, at),
        any_colour(rng, 0.02, 0.9),
        texture=across,
    )


def knife(rng, canvas, at, angle):
    p = turned(capsule(rng.uniform(110, 150), rng.uniform(14, 26), 0.7), angle, at)
    shadow(rng, canvas, p, 14)
    canvas.paint(p, any_colour(rng, 0.02, 0.6, 0.5))
    canvas.paint(
        turned(np.array([[60, -6], [105, -6], [88, 5], [60, 5]]), angle, at),
        linear(180, 182, 186) * rng.uniform(0.6, 1.2),
    )


def paper(rng, canvas, at, angle):
    w, h = rng.choice([210, 148, 297, rng.uniform(40, 200)]), rng.choice([297, 105, 210, rng.uniform(40, 200)])
    c = np.clip(
        linear(245, 245, 240) * rng.uniform(0.6, 1) * (1 if rng.random() < 0.7 else any_colour(rng, 0.5, 1.0, 0.5)),
        0,
        0.95,
    )
    p = turned(rectangle(w, h), angle, at)
    shadow(rng, canvas, p, rng.uniform(0.2, 8))
    canvas.paint(p, c, texture=lambda x, y: 1 + 0.03 * noise(rng, "clouds", x, y, 2))
    if rng.random() < 0.7:
        step = rng.uniform(5, 12)
        for i in range(int(h * 0.8 / step)):
            end = w * rng.uniform(0.2, 0.42)
            line = np.array([(-w * 0.4, h * 0.4 - i * step), (end, h * 0.4 - i * step)])
            canvas.line(turned(line, angle, at), step * 0.25, linear(40, 40, 45), rng.uniform(0.4, 0.8))


def cable(rng, canvas, at, angle):
    t = np.cumsum(np.cumsum(rng.normal(0, 0.08, 60)))
    step = rng.uniform(3, 14)
    p = np.cumsum(np.c_[np.cos(t), np.sin(t)] * step, 0) + at
    w, c = math.exp(rng.uniform(math.log(0.4), math.log(7))), any_colour(rng, 0.01, 0.8)
    canvas.line(p + canvas.falls * w, w, [0, 0, 0], 0.4)
    canvas.line(p, w, c, hide=True)


def hand(rng, canvas, at, angle):
    """A hand and a sleeve, reaching in."""
    tone = np.exp(rng.uniform(math.log(0.05), math.log(0.6))) * np.array([1.3, 0.85, 0.65])
    areas = [turned(ellipse(0, 0, 55, 42), angle, at), turned(rectangle(260, 70) - [170, 0], angle, at)]
    for i, (y, long) in enumerate([(-32, 70), (-12, 88), (10, 84), (30, 66)]):
        areas.append(
            turned(
                capsule(long, 17) + [45 + long / 2 - 10, 0],
                angle + (i - 1.5) * rng.uniform(0.0, 0.2),
                at + turned([[0, y]], angle)[0],
            )
        )
    areas.append(turned(capsule(70, 20) + [30, 0], angle + 1.0, at + turned([[-10, 30]], angle)[0]))
    for a in areas:
        shadow(rng, canvas, a, 18)
    for a in areas:
        canvas.paint(
            a,
            np.clip(tone * rng.uniform(0.9, 1.05), 0, 0.9),
            texture=lambda x, y: 1 + 0.1 * noise(rng, "clouds", x, y, 1.5),
        )
    canvas.paint(turned(rectangle(500, 105) - [360, 0], angle, at), any_colour(rng, 0.01, 0.6))


def shoe(rng, canvas, at, angle):
    c = any_colour(rng, 0.01, 0.5)
    p = turned(capsule(280, 100, 0.75), angle, at)
    shadow(rng, canvas, p, 60)
    canvas.paint(p, c)
    canvas.paint(turned(capsule(150, 70, 0.8), angle, at), c * rng.uniform(0.4, 1.6))
    canvas.paint(turned(rectangle(200, 120) - [190, 0], angle, at), any_colour(rng, 0.01, 0.3))


def scrap(rng, canvas, at, angle):
    """A piece of something flat: card, foam, cloth, a part."""
    p = turned(
        (
            shapes.outline(rng, rng.uniform(50, 350))
            if rng.random() < 0.6
            else rectangle(rng.uniform(30, 400), rng.uniform(30, 300))
        ),
        angle,
        at,
    )
    shadow(rng, canvas, p, rng.choice([1, 6, 30]))
    kind, k, texel = rng.choice(["grit", "fibre", "clouds", "cells"]), rng.uniform(0, 0.15), rng.uniform(1, 3)
    canvas.paint(p, any_colour(rng), texture=lambda x, y: np.clip(1 + k * noise(rng, kind, x, y, texel), 0.2, 2))


def bits(rng, canvas, at, angle):
    """Coins, washers, crumbs of tape."""
    for _ in range(rng.integers(1, 9)):
        q = at + rng.normal(0, 60, 2)
        p = (
            ellipse(*q, rng.uniform(2, 14))
            if rng.random() < 0.6
            else turned(rectangle(rng.uniform(4, 40), rng.uniform(3, 30)), rng.uniform(0, 6.3), q)
        )
        shadow(rng, canvas, p, 2)
        canvas.paint(p, any_colour(rng))


def writing(rng, canvas, at, angle):
    """Pencil marks and paint on the bench itself."""
    c, w = any_colour(rng, 0.01, 0.6), rng.uniform(0.6, 4)
    for s in pen.placed(pen.text(rng, rng.choice(pen.WORDS), rng.uniform(15, 80)), angle, at):
        canvas.line(s, w, c, 0.7)


def block(rng, canvas, at, angle):
    """A weight, a battery, a box, a phone: tall, with a side that is seen."""
    base, tall, c = rectangle(*rng.uniform(30, 160, 2)), rng.uniform(8, 90), any_colour(rng)
    p = turned(base, angle, at)
    shadow(rng, canvas, p, tall)
    up = np.linalg.inv(canvas.camera.rotation[:2, :2]) @ (
        (canvas.camera.project(at)[0] - [480, 360]) / 480 * 0.3 * tall
    )
    canvas.paint(p, c * 0.5)
    for k in (0.33, 0.66):
        canvas.paint(p + up * k, c * 0.55)
    canvas.paint(p + up, c)


KINDS = [
    mug,
    roll,
    scissors,
    ruler,
    ruler,
    pencil,
    pencil,
    pencil,
    knife,
    paper,
    paper,
    cable,
    hand,
    shoe,
    scrap,
    scrap,
    scrap,
    bits,
    writing,
    block,
]


def any_thing(rng, canvas, at, angle):
    kind = KINDS[rng.integers(0, len(KINDS))]
    kind(rng, canvas, np.asarray(at, float), angle)
