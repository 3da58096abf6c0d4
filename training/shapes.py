"""Outlines of templates, in mm: closed rings of points some 2 mm apart, anticlockwise, and what is cut into them."""

import math

import cv2
import numpy as np


def dense(ring, step=2.0):
    """Points at even distances along a closed ring."""
    ring = np.asarray(ring, float)
    closed = np.r_[ring, ring[:1]]
    s = np.r_[0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    n = max(24, int(s[-1] / step))
    t = np.linspace(0, s[-1], n, endpoint=False)
    t = np.unique(np.r_[t, s[:-1]]) if len(ring) < 40 else t  # corners stay corners
    return np.c_[np.interp(t, s, closed[:, 0]), np.interp(t, s, closed[:, 1])]


def rounded(ring, rounds, share):
    """Corners cut again and again."""
    ring = np.asarray(ring, float)
    for _ in range(rounds):
        following = np.roll(ring, -1, 0)
        ring = np.stack([ring + share * (following - ring), following + share * (ring - following)], 1).reshape(-1, 2)
        share = 0.25
    return ring


def area(ring):
    x, y = ring.T
    return 0.5 * float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def blob(rng):
    t = np.linspace(0, 2 * math.pi, 240, endpoint=False)
    r = 1 + sum(
        rng.uniform(-0.28, 0.28) / k**0.8 * np.cos(k * t + rng.uniform(0, 6.3)) for k in range(2, rng.integers(4, 8))
    )
    return np.c_[r * np.cos(t), r * np.sin(t)]


def corners(rng):
    n = rng.integers(3, 9)
    a = np.sort((np.arange(n) + rng.uniform(-0.3, 0.3, n)) * 2 * math.pi / n)
    r = rng.uniform(0.6, 1, n) if rng.random() < 0.4 else np.ones(n)
    return np.c_[r * np.cos(a), r * np.sin(a)]


def leaf(rng):
    t = np.linspace(-1, 1, 80)
    up, down = rng.uniform(0.15, 0.6), rng.uniform(-0.2, 0.6)
    k, skew = rng.uniform(0.7, 2.2), rng.uniform(-0.5, 0.5)
    w = (1 - np.abs(t) ** k) * np.exp(skew * t)
    bend = rng.uniform(-0.4, 0.4) * t * t
    return np.r_[np.c_[t, bend - down * w], np.c_[t, bend + up * w][::-1][1:-1]]


def steps(rng):
    """L, T, U and stairs."""
    a, b, c = rng.uniform(0.1, 0.7, 3)
    kind = rng.integers(0, 4)
    if kind == 0:
        return np.array([[0, 0], [1, 0], [1, a], [b, a], [b, 1], [0, 1]])
    if kind == 1:
        return np.array(
            [
                [0, 1],
                [0, 1 - a],
                [0.5 - b / 2, 1 - a],
                [0.5 - b / 2, -c],
                [0.5 + b / 2, -c],
                [0.5 + b / 2, 1 - a],
                [1, 1 - a],
                [1, 1],
            ]
        )[::-1]
    if kind == 2:
        return np.array([[0, 0], [1.4, 0], [1.4, 1], [1.4 - a, 1], [1.4 - a, b], [a, b], [a, c + 0.4], [0, c + 0.4]])
    return np.array([[0, 0], [1, 0], [1, a * 0.5], [0.7, a * 0.5], [0.7, a], [0.35, a], [0.35, 1], [0, 1]])


def waist(rng):
    t = np.linspace(0, 2 * math.pi, 240, endpoint=False)
    r = np.sqrt(np.cos(t) ** 2 + rng.uniform(0.02, 0.4)) * (1 + rng.uniform(0, 0.25) * np.cos(t))
    return np.c_[r * np.cos(t) * 1.2, r * np.sin(t)]


def narrow(rng):
    """Two or three bodies joined by narrow necks, or one with a tongue."""
    count, neck = rng.integers(2, 4), rng.uniform(0.03, 0.16)
    t = np.linspace(-1, 1, 240)
    w = np.full(len(t), neck)
    centres = np.linspace(-0.8, 0.8, count) if rng.random() < 0.7 else [rng.uniform(-0.8, 0)]
    for c in centres:
        half, tall, square = rng.uniform(0.2, 0.45), rng.uniform(0.2, 0.5), rng.choice([2, 2, 4, 8])
        w = np.maximum(w, tall * np.clip(1 - np.abs((t - c) / half) ** square, 0, None) ** (1 / square))
    w = w * np.clip((1 - np.abs(t)) * rng.choice([8, 30]), 0, 1) ** 0.5
    w = cv2.blur(w[:, None], (1, int(rng.choice([1, 5, 13]))))[:, 0]
    lean = rng.uniform(-0.25, 0.25) * np.sin(t * rng.uniform(1, 3))
    return np.r_[np.c_[t, lean - w * rng.uniform(0.7, 1)], np.c_[t, lean + w][::-1]]


def band(rng):
    t = np.linspace(-1, 1, 80)
    bend, w = rng.uniform(-1.2, 1.2), rng.uniform(0.05, 0.3)
    width = w * (1 + rng.uniform(-0.7, 0.7) * t + rng.uniform(-0.3, 0.3) * np.cos(3 * t))
    if abs(bend) < 0.1:
        mid, n = np.c_[t, 0 * t], np.c_[0 * t, 1 + 0 * t]
    else:
        mid = np.c_[np.sin(t * bend), np.cos(t * bend) - 1] / bend
        n = np.c_[np.sin(t * bend), np.cos(t * bend)]
    return np.r_[mid - n * width[:, None], (mid + n * width[:, None])[::-1]]


def fan(rng):
    half, inner = rng.uniform(0.3, 1.5), rng.uniform(0.0, 0.6)
    t = np.linspace(-half, half, 50)
    outer = np.c_[np.cos(t), np.sin(t)] * (1 + rng.uniform(-0.1, 0.1) * np.cos(3 * t))[:, None]
    return np.r_[outer, inner * np.c_[np.cos(t), np.sin(t)][::-1]] if inner > 0.08 else np.r_[outer, [[0, 0]]]


def hollow(rng):
    """Straight or hollow sides between pointed corners."""
    n = rng.integers(3, 7)
    a = (np.arange(n) + rng.uniform(-0.2, 0.2, n)) * 2 * math.pi / n
    p = np.c_[np.cos(a), np.sin(a)] * rng.uniform(0.7, 1, (n, 1))
    out = []
    for i in range(n):
        q, deep = p[(i + 1) % n], rng.uniform(-0.15, 0.5)
        t = np.linspace(0, 1, 24, endpoint=False)[:, None]
        out.append(p[i] * (1 - t) + q * t - (p[i] + q) / 2 * deep * 4 * t * (1 - t))
    return np.concatenate(out)


def panel(rng):
    a, b = rng.uniform(0.5, 1.1, 2)
    ring = np.array([[-1, -1], [1, -a], [1, b], [-1, 1]]) * [1, rng.uniform(0.3, 1)]
    if rng.random() < 0.4:  # a notch in a side
        x, w, d = rng.uniform(-0.5, 0.5), rng.uniform(0.05, 0.15), rng.uniform(0.08, 0.3)
        y = ring[1, 1] + (ring[0, 1] - ring[1, 1]) * (1 - x) / 2
        ring = np.insert(ring, 1, [[x - w, y], [x - w, y + d], [x + w, y + d], [x + w, y]], 0)
    return ring


KINDS = [blob, corners, leaf, steps, waist, narrow, narrow, band, fan, hollow, panel, panel]


def outline(rng, size):
    """Any outline with its longest extent `size` mm, its middle at 0, 0."""
    while True:
        ring = np.asarray(rng.choice(KINDS)(rng), float)
        if area(ring) < 0:
            ring = ring[::-1]
        if len(ring) < 30 and rng.random() < 0.55:
            ring = rounded(ring, 3, rng.choice([0.04, 0.1, 0.2, 0.25]))
        ring = ring * [1, rng.uniform(0.5, 1)]
        a = rng.uniform(0, 2 * math.pi)
        ring = ring @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        ring = ring * size / max(np.ptp(ring, 0).max(), 1e-6)
        ring = dense(ring - (ring.min(0) + ring.max(0)) / 2)
        if abs(area(ring)) > 0.025 * size * size and np.ptp(ring, 0).min() > 30:
            return ring


def normal(ring, i, reach=6):
    """The direction inwards at a point."""
    t = ring[(i + reach) % len(ring)] - ring[i - reach]
    t = t / (np.hypot(*t) + 1e-9)
    return np.array([-t[1], t[0]])


def depth(ring, p):
    """How far a point lies inside, mm; negative outside."""
    return cv2.pointPolygonTest(ring.astype(np.float32), (float(p[0]), float(p[1])), True)


def cut_in(rng, ring, slit):
    """A dart or a slit from the edge inwards: the ring with it and its points (mouth, tip, mouth), or None."""
    n = len(ring)
    i = int(rng.integers(0, n))
    mouth = rng.choice([rng.uniform(0.15, 0.9), rng.uniform(0.4, 3)]) if slit else rng.choice([rng.uniform(3, 16), rng.uniform(10, 40)])
    k = max(1, int(mouth / 4))
    long = rng.uniform(20, 120) if slit else rng.uniform(18, 150)
    inward = normal(ring, i)
    side = np.array([inward[1], -inward[0]])
    tip = ring[i] + inward * long + side * rng.normal(0, 0.12) * long
    if k * 2 + 4 > n // 4 or depth(ring, tip) < 9 or depth(ring, (tip + ring[i]) / 2) < 7:
        return None
    left, right = ring[(i - k) % n], ring[(i + k) % n]
    if slit:
        left, right = ring[i] - side * mouth / 2, ring[i] + side * mouth / 2
        gap = np.array([left, tip - side * mouth / 2, tip + side * mouth / 2, right])
    else:
        gap = np.array([left, tip, right])
    keep = [(i + k + 1 + j) % n for j in range(n - 2 * k - 1)]
    return np.r_[gap, ring[keep]], gap


def hole(rng, ring):
    """A hole well inside the ring, or None."""
    low, high = ring.min(0), ring.max(0)
    for _ in range(8):
        p, r = rng.uniform(low, high), math.exp(rng.uniform(math.log(4), math.log(max(40, 0.22 * (high - low).min()))))
        if depth(ring, p) > r * 1.3 + 8:
            break
    else:
        return None
    kind = rng.integers(0, 3)
    if kind == 0:
        t = np.linspace(0, 2 * math.pi, 48, endpoint=False)
        return p + np.c_[np.cos(t), np.sin(t) * rng.uniform(0.6, 1)] * r
    h = (
        corners(rng)
        if kind == 1
        else np.array([[-0.7, -0.7], [0.7, -0.7], [0.7, 0.7], [-0.7, 0.7]]) * [1, rng.uniform(0.4, 1)]
    )
    h = rounded(h, 2, 0.2) if rng.random() < 0.6 else h
    a = rng.uniform(0, 6.3)
    return p + dense(h @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) * r, 1.5)


def wider(ring, by, rough):
    """The ring moved outwards by `by` mm and more where `rough` says so, as an area drawn and read back."""
    low, high = ring.min(0) - 3 * by - 40, ring.max(0) + 3 * by + 40
    scale = max(1.0, (high - low).max() / 400)
    m = np.zeros(np.ceil((high - low) / scale).astype(int)[::-1], np.uint8)
    cv2.fillPoly(m, [np.round((ring - low) / scale).astype(np.int32)], 255)
    far = cv2.distanceTransform(255 - m, cv2.DIST_L2, 5) * scale
    found, _ = cv2.findContours((far < by).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = max(found, key=len)[:, 0].astype(float) * scale + low
    out = dense(cv2.blur(np.r_[out, out, out].astype(np.float32), (1, 5))[len(out) : 2 * len(out)].astype(float), 2.0)
    if area(out) < 0:
        out = out[::-1]
    t = np.roll(out, -3, 0) - np.roll(out, 3, 0)
    t = t / (np.hypot(*t.T)[:, None] + 1e-9)
    return out + np.c_[t[:, 1], -t[:, 0]] * rough(len(out))[:, None]
