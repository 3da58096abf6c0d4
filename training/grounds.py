"""What a template may lie on. Each function gives colours in linear light for places in mm."""

import math

import cv2
import numpy as np

from canvas import linear
from texture import blend, noise


def any_colour(rng, low=0.02, high=0.9, strength=None):
    """A colour of any hue."""
    grey = math.exp(rng.uniform(math.log(low), math.log(high)))
    strength = rng.uniform(0, 0.6) if strength is None else strength
    c = grey * np.exp(rng.normal(0, strength, 3))
    return np.clip(c * grey / max(c.mean(), 1e-4), 0.004, 0.95).astype(np.float32)


def wood_colour(rng):
    warm = rng.uniform(0.55, 1.0)
    grey = math.exp(rng.uniform(math.log(0.04), math.log(0.65)))
    c = np.array([1.25, 1.0 - 0.12 * warm, 0.95 - 0.55 * warm * rng.uniform(0.6, 1.1)])
    return np.clip(grey * c * np.exp(rng.normal(0, 0.05, 3)), 0.01, 0.92).astype(np.float32)


def wood(rng, x, y, px, base=None, angle=None):
    base = wood_colour(rng) if base is None else base
    angle = rng.uniform(0, math.pi) if angle is None else angle
    c, s = math.cos(angle), math.sin(angle)
    v = y * np.float32(c) - x * np.float32(s)
    wave = noise(rng, "clouds", x, y, rng.uniform(2, 6), angle, rng.uniform(4, 12))
    rings = np.sin((v + wave * rng.uniform(4, 40)) * np.float32(2 * math.pi / rng.uniform(8, 70)))
    grain = noise(rng, "grain", x, y, max(rng.uniform(0.5, 1.6), 0.7 * px), angle, rng.uniform(1, 3))
    pores = noise(rng, "fibre", x, y, max(rng.uniform(0.3, 0.8), 0.6 * px), angle)
    a = rng.uniform(0.1, 1.0)
    value = a * (rng.uniform(0.02, 0.16) * rings + rng.uniform(0.03, 0.14) * grain + rng.uniform(0.0, 0.12) * pores)
    dark = base * np.array([0.5, 0.42, 0.36], np.float32)
    return blend(base, dark, 0.35 - 1.2 * value) * (1 + np.float32(0.5) * value)[..., None]


def planks(rng, x, y, px):
    angle = rng.uniform(0, math.pi)
    c, s = np.float32(math.cos(angle)), np.float32(math.sin(angle))
    width, gap = rng.uniform(50, 230), float(rng.choice([rng.uniform(0.4, 2), rng.uniform(2, 9)]))
    u, v = x * c + y * s, y * c - x * s
    k = np.floor(v / width).astype(np.int32)
    shift = rng.uniform(0, 2000, 257)[k % 257].astype(np.float32)
    shade = np.exp(rng.normal(0, rng.uniform(0.02, 0.25), 257)).astype(np.float32)[k % 257]
    out = wood(rng, x + shift * c, y + shift * s, px, angle=angle) * shade[..., None]
    f = v - k * np.float32(width)
    edge = np.clip((gap / 2 + 0.7 * px - np.minimum(f, width - f)) / px, 0, 1)
    if rng.random() < 0.5:
        length = rng.uniform(500, 2000)
        g = np.abs((u + shift) % np.float32(length) - length / 2)
        edge = np.maximum(edge, np.clip((gap / 2 + 0.7 * px - g) / px, 0, 1))
    return out * (1 - rng.uniform(0.5, 0.95) * np.minimum(edge, min(1, gap / px)))[..., None]


def lines(v, period, width, px):
    """Coverage of lines of a width, each period, by places across them."""
    period = float(period)
    f = np.abs((v + period / 2) % np.float32(period) - period / 2)
    return np.clip((max(width, px) / 2 + px / 2 - f) / px, 0, 1) * min(1.0, width / px)


def mat(rng, x, y, px):
    hue = rng.integers(0, 7)
    base = (
        [
            linear(25, 105, 80),
            linear(40, 120, 100),
            linear(30, 32, 36),
            linear(35, 70, 130),
            linear(110, 115, 118),
            linear(150, 70, 100),
            linear(225, 225, 220),
        ][hue]
        * np.exp(rng.normal(0, 0.25))
        * np.exp(rng.normal(0, 0.12, 3))
    )
    light = rng.random() < 0.8 and hue != 6
    ink = (
        base * 0.3
        if not light
        else base + (rng.choice([linear(230, 230, 210), linear(240, 220, 100)]) - base) * rng.uniform(0.2, 0.9)
    )
    ink = np.clip(ink, 0.003, 0.95)
    angle = rng.uniform(0, math.pi)
    c, s = np.float32(math.cos(angle)), np.float32(math.sin(angle))
    u, v = x * c + y * s, y * c - x * s
    step = rng.choice([10.0, 12.7, 20.0, 25.4, 50.0])
    thin, thick = rng.uniform(0.2, 0.8), rng.uniform(0.4, 1.6)
    m = np.maximum(lines(u, step, thin, px), lines(v, step, thin, px)) * rng.uniform(0.2, 1)
    m = np.maximum(m, np.maximum(lines(u, 5 * step, thick, px), lines(v, 5 * step, thick, px)) * rng.uniform(0.4, 1))
    for _ in range(rng.integers(0, 4)):  # slanting lines
        a = angle + math.radians(rng.choice([30, 45, 60, 120, 135, 150]))
        m = np.maximum(m, lines(x * math.cos(a) + y * math.sin(a), rng.choice([300.0, 1000.0]), thick, px) * 0.8)
    if rng.random() < 0.3:  # printed fields
        m = np.maximum(
            m, ((np.floor(u / 100).astype(int) % 4 == 1) & (np.floor(v / 100).astype(int) % 3 == 1)) * np.float32(0.25)
        )
    value = noise(rng, "grit", x, y, max(1, px)) * rng.uniform(0.01, 0.05) + noise(
        rng, "clouds", x, y, 3
    ) * rng.uniform(0, 0.08)
    worn = np.clip(1 + rng.uniform(0, 0.5) * noise(rng, "rough", x, y, 2), 0.2, 1)
    return blend(base, ink, m * worn) * (1 + value)[..., None]


def concrete(rng, x, y, px):
    base = any_colour(rng, 0.05, 0.6, 0.06)
    value = noise(rng, "rough", x, y, max(rng.uniform(1, 3), px)) * rng.uniform(0.03, 0.12) + noise(
        rng, "clouds", x, y, 4
    ) * rng.uniform(0.03, 0.2)
    value += noise(rng, "grit", x, y, max(0.8, px)) * rng.uniform(0.02, 0.1)
    pits = np.clip(noise(rng, "cells", x, y, max(1.0, px)) * -1 - 1.3, 0, 1) * rng.uniform(0, 0.6)
    stain = np.clip(noise(rng, "clouds", x, y, 5) - rng.uniform(0.5, 1.5), 0, 1) * rng.uniform(0, 0.6)
    return base * (1 + value - pits)[..., None].clip(0.05, 2) * blend([1, 1, 1], rng.uniform(0.3, 0.9, 3), stain)


def carpet(rng, x, y, px):
    base, other = any_colour(rng, 0.015, 0.5), any_colour(rng, 0.015, 0.5)
    t = (
        0.5
        + rng.uniform(0.1, 0.5) * noise(rng, "white", x, y, max(rng.uniform(1.5, 4), px))
        + 0.2 * noise(rng, "grit", x, y, max(1, px))
    )
    if rng.random() < 0.4:
        a = rng.uniform(0, math.pi)
        t = t + 0.3 * np.sin(
            (x * math.cos(a) + y * math.sin(a)) * np.float32(2 * math.pi / max(rng.uniform(3, 12), 3 * px))
        )
    return blend(base, base * 0.4 + other * rng.uniform(0, 0.6), t)


def cardboard(rng, x, y, px):
    base = linear(185, 145, 100) * np.exp(rng.normal(0, 0.3)) * np.exp(rng.normal(0, 0.05, 3))
    a = rng.uniform(0, math.pi)
    value = np.sin(
        (x * math.cos(a) + y * math.sin(a)) * np.float32(2 * math.pi / max(rng.uniform(4, 9), 3 * px))
    ) * rng.uniform(0, 0.03)
    value += noise(rng, "fibre", x, y, max(0.7, px)) * 0.03 + noise(rng, "clouds", x, y, 4) * 0.05
    if rng.random() < 0.5:
        b = a + math.pi / 2
        value -= lines(
            x * math.cos(b) + y * math.sin(b) + 40, rng.uniform(250, 900), rng.uniform(1, 4), px
        ) * rng.uniform(0.1, 0.4)
    return np.clip(base, 0, 0.9).astype(np.float32) * (1 + value)[..., None]


def plain(rng, x, y, px):
    """Melamine, painted board, paper, a plastic sheet."""
    base = any_colour(rng, 0.45, 0.92, 0.05) if rng.random() < 0.5 else any_colour(rng, 0.01, 0.9, 0.4)
    value = noise(rng, "grit", x, y, max(1, px)) * rng.uniform(0, 0.03) + noise(rng, "clouds", x, y, 5) * rng.uniform(
        0, 0.06
    )
    if rng.random() < 0.3:  # scratches or marbling
        value -= np.clip(noise(rng, "folds", x, y, rng.uniform(1, 4)) - 0.4, 0, 1) * rng.uniform(-0.2, 0.4)
    return np.clip(base * (1 + value)[..., None], 0.003, 0.95)


def foam(rng, x, y, px):
    base = any_colour(rng, 0.03, 0.7, rng.uniform(0, 0.5))
    value = (
        noise(rng, "cells", x, y, max(rng.uniform(0.6, 2), 0.8 * px)) * rng.uniform(0.03, 0.12)
        + noise(rng, "grit", x, y, max(1, px)) * 0.03
    )
    return base * (1 + value)[..., None].clip(0.3, 2)


def holes(rng, x, y, px):
    """A vacuum table, a perforated plate, pegboard."""
    base = rng.choice([plain, concrete, foam, wood])(rng, x, y, px)
    a, step, r = rng.uniform(0, math.pi), rng.uniform(14, 80), rng.uniform(1.2, 6)
    u, v = x * math.cos(a) + y * math.sin(a), y * math.cos(a) - x * math.sin(a)
    if rng.random() < 0.3:
        u = u + (np.floor(v / step) % 2) * np.float32(step / 2)
    d = np.hypot((u + step / 2) % step - step / 2, (v + step / 2) % step - step / 2)
    m = np.clip((r - d) / px + 0.5, 0, 1)
    if rng.random() < 0.4:  # grooves
        m = np.maximum(m, np.maximum(lines(u, 5 * step, 2.5, px), lines(v, 5 * step, 2.5, px)) * 0.7)
    return base * (1 - rng.uniform(0.4, 0.97) * m)[..., None]


def tiles(rng, x, y, px):
    a, w, h, gap = rng.uniform(0, math.pi), rng.uniform(90, 600), rng.uniform(90, 600), rng.uniform(1, 9)
    u, v = x * math.cos(a) + y * math.sin(a), y * math.cos(a) - x * math.sin(a)
    i, j = np.floor(u / w).astype(np.int32), np.floor(v / h).astype(np.int32)
    shade = np.exp(rng.normal(0, rng.uniform(0.01, 0.3), 1009)).astype(np.float32)[(i * 31 + j * 17) % 1009]
    out = rng.choice([plain, concrete, concrete, carpet])(rng, x, y, px) * shade[..., None]
    m = np.maximum(lines(u, w, gap, px), lines(v, h, gap, px))
    return blend(0, 1, 1 - m) * out + m[..., None] * any_colour(rng, 0.03, 0.6, 0.1)


def sheet(rng, x, y, px):
    """A dust sheet or a bag: folds that catch the light."""
    base = any_colour(rng, 0.05, 0.85, 0.2)
    value = (
        noise(rng, "folds", x, y, rng.uniform(1, 4)) * rng.uniform(0.05, 0.25) + noise(rng, "clouds", x, y, 4) * 0.1
    )
    value += noise(rng, "folds", x, y, rng.uniform(0.7, 1.5), stretch=rng.uniform(1, 4)) * rng.uniform(0, 0.12)
    return np.clip(base * (1 + value)[..., None], 0.003, 0.95)


def weave(rng, x, y, px):
    """Cloth, carbon fabric, a checked table cover."""
    a, step = rng.uniform(0, math.pi), max(float(rng.choice([rng.uniform(2, 8), rng.uniform(10, 60)])), 2.5 * px)
    u, v = x * math.cos(a) + y * math.sin(a), y * math.cos(a) - x * math.sin(a)
    t = 0.5 + 0.25 * np.sin(u * np.float32(2 * math.pi / step)) + 0.25 * np.sin(v * np.float32(2 * math.pi / step))
    if rng.random() < 0.5:
        t = (np.floor(u / step) + np.floor(v / step * rng.choice([1, 2]))) % 2
    base, other = any_colour(rng, 0.01, 0.8), any_colour(rng, 0.01, 0.8)
    out = blend(base, base + (other - base) * rng.uniform(0.1, 1), t.astype(np.float32))
    return out * (1 + noise(rng, "grit", x, y, max(1, px)) * rng.uniform(0.02, 0.1))[..., None]


def blotches(rng, x, y, px):
    """Nothing that exists: patches of any colours."""
    n = noise(rng, rng.choice(["clouds", "rough", "cells"]), x, y, rng.uniform(1, 6))
    out = blend(any_colour(rng), any_colour(rng), (n > rng.uniform(-1, 1)).astype(np.float32))
    n = noise(rng, "clouds", x, y, rng.uniform(1, 4))
    return blend(0, 1, (n < 1.2).astype(np.float32)) * out + (n >= 1.2)[..., None] * any_colour(rng)


KINDS = dict(
    wood=wood,
    planks=planks,
    mat=mat,
    concrete=concrete,
    carpet=carpet,
    cardboard=cardboard,
    plain=plain,
    foam=foam,
    holes=holes,
    tiles=tiles,
    sheet=sheet,
    weave=weave,
    blotches=blotches,
)
SHARES = dict(
    wood=17,
    planks=9,
    mat=17,
    concrete=10,
    carpet=7,
    cardboard=6,
    plain=14,
    foam=3,
    holes=5,
    tiles=4,
    sheet=3,
    weave=3,
    blotches=2,
)


def ground(rng, x, y, px, alike=None):
    """One ground, or one on another; with `alike`, a colour that it should come near to. Gives colours and the kind's name."""
    names, shares = list(SHARES), np.array(list(SHARES.values()), float)

    def one():
        name = rng.choice(names, p=shares / shares.sum())
        out = KINDS[name](rng, x, y, px)
        if alike is not None:
            mean = out[::16, ::16].mean((0, 1))
            target = alike * math.exp(rng.normal(0, 0.12))
            if rng.random() < 0.5:  # as light as the tape, of a colour of its own
                target = mean * (target.mean() / mean.mean())
            out = np.clip(out * (target / np.maximum(mean, 1e-3)).astype(np.float32), 0.002, 0.97)
        return name, out

    name, out = one()
    if rng.random() < (0.55 if name == "mat" else 0.14):  # its edge is seen, and what is beyond
        _, beyond = one()
        a, half = rng.uniform(0, math.pi), np.array([rng.uniform(250, 900), rng.uniform(200, 700)])
        cx, cy = rng.normal(0, 120, 2)
        u, v = (x - cx) * math.cos(a) + (y - cy) * math.sin(a), (y - cy) * math.cos(a) - (x - cx) * math.sin(a)
        inside = np.minimum(half[0] - np.abs(u), half[1] - np.abs(v))
        shadow = 1 - rng.uniform(0, 0.5) * np.exp(-np.clip(-inside, 0, 100) / np.float32(rng.uniform(1, 12)))
        m = np.clip(inside / px + 0.5, 0, 1)[..., None]
        out = out * m + beyond * shadow[..., None] * (1 - m)
    return name, np.ascontiguousarray(out, np.float32)
