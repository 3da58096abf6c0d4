"""The skin: strips of masking tape, and what is seen of them."""

import cv2
import numpy as np
from shapely import affinity
from shapely.geometry import LineString, Polygon, box
from shapely.ops import unary_union

from noise import linear

TAPES = {
    "cream": [224, 204, 158],
    "yellow": [235, 205, 70],
    "green": [95, 160, 90],
    "blue": [70, 120, 190],
    "red": [190, 60, 50],
    "white": [236, 234, 226],
    "orange": [230, 130, 50],
    "pink": [226, 150, 160],
    "brown": [150, 105, 65],
    "tan": [200, 165, 115],
    "grey": [150, 152, 150],
    "black": [45, 45, 47],
}


def strips(rng, area, angle, width, overlap, ragged, margin=0.0):
    """Strips that cover an area (a polygon) along an angle: (polygon, colour jitter). Ends are torn a little beyond it, or anywhere further out."""
    turned = affinity.rotate(area, -np.degrees(angle), origin=(0, 0))
    x0, y0, x1, y1 = turned.bounds
    out = []
    y = y0 - rng.uniform(0, width * 0.7)
    while y < y1:
        band = turned.intersection(box(x0 - 1, y, x1 + 1, y + width))
        if not band.is_empty:
            for piece in getattr(band, "geoms", [band]):
                if piece.area < 1:
                    continue
                a, _, b, _ = piece.bounds
                a, b = a - rng.uniform(0.5, 1 + ragged), b + rng.uniform(0.5, 1 + ragged)
                cuts = [a, *([rng.uniform(a + 30, b - 30)] if b - a > 150 and rng.random() < 0.4 else []), b]
                for c, d in zip(cuts[:-1], cuts[1:]):
                    d = d + (rng.uniform(4, 15) if d != b else 0)
                    tear = lambda: rng.normal(0, 0.5 + 0.06 * ragged, 9).cumsum() * 0.5
                    v = np.linspace(y, y + width, 9)
                    slip = rng.normal(0, 0.006)
                    right, left = np.stack([d + tear(), v], 1), np.stack([c + tear(), v], 1)[::-1]
                    p = Polygon(np.concatenate([right, left])).buffer(0)
                    out.append(affinity.rotate(affinity.rotate(p, np.degrees(slip), origin="center"), np.degrees(angle), origin=(0, 0)))
        y += width - overlap * rng.uniform(0.5, 1.4)
    return out


def make(rng, shape, careful, net):
    """Skin and strips. For an inked net line the skin is larger and as ragged as its strips; else it is cut along the net line."""
    names = list(TAPES)
    weight = np.array([6, 3, 2, 3, 1, 2, 1, 1, 1, 2, 0.7, 0.4])
    name = names[rng.choice(len(names), p=weight / weight.sum())]
    width = float(rng.choice([19, 25, 25, 30, 38, 38, 50]))
    angle = rng.uniform(0, np.pi)
    p = shape["polygon"]
    solid = Polygon(p.exterior).buffer(0)
    area = solid
    if net == "ink":
        # The strips fill darts: nothing is cut out but what is inked.
        area = solid.buffer(rng.uniform(4, 12)).buffer(12).buffer(-12)
        area = Polygon(max(getattr(area, "geoms", [area]), key=lambda g: g.area).exterior)
    under = strips(rng, area, angle, width, rng.uniform(2, 10), 12 if net == "ink" else 4)
    over = []
    if rng.random() < (0.35 if careful else 0.6):
        over = strips(rng, area, angle + np.pi / 2 + rng.normal(0, 0.2), width, rng.uniform(2, 8), 12 if net == "ink" else 4)
        if rng.random() < 0.5:
            over = [s for s in over if rng.random() < 0.5]
    if net == "ink":
        skin = unary_union([*under, *over, area]).buffer(0.15).buffer(-0.15)
        skin = skin if skin.geom_type == "Polygon" else max(skin.geoms, key=lambda g: g.area)
        skin = Polygon(skin.exterior)
    else:
        skin = p
    return dict(
        tape=name,
        width=width,
        angle=angle,
        strips=under,
        over=over,
        outline=skin,
        colour=linear(TAPES[name]) * rng.uniform(0.85, 1.1, 3).astype(np.float32),
        opacity=rng.uniform(0.88, 1.0) if rng.random() < 0.6 else rng.uniform(0.65, 0.88),
        wrinkles=rng.poisson(0.8 if careful else 4),
        lifted=rng.random() < (0.1 if careful else 0.4),
        shine=rng.uniform(0.0, 0.08) if rng.random() < 0.5 else 0.0,
        darker=rng.uniform(0.04, 0.16),
    )


def paint(canvas, skin, slits, rng, noise):
    """Lays the skin on the canvas; slits are polygons cut out of it."""
    outline = skin["outline"]
    for s in slits:
        outline = outline.difference(s)
    found = canvas.window(outline, grow=8)
    if found is None:
        return
    at, share = found
    x, y = canvas.x[at], canvas.y[at]
    # A thin shadow beside the edge, longer where it is lifted.
    sun = canvas.sun / max(np.hypot(*canvas.sun), 1e-6) if np.hypot(*canvas.sun) > 0.05 else np.array([0.6, -0.8])
    foot = canvas.camera.project(np.array([outline.representative_point().coords[0], np.array(outline.representative_point().coords[0]) + sun]))
    step = foot[1] - foot[0]
    reach = rng.uniform(0.15, 0.5)
    moved = cv2.warpAffine(share, np.array([[1, 0, step[0] * reach], [0, 1, step[1] * reach]]), share.shape[::-1])
    canvas.dim[at] *= 1 - rng.uniform(0.1, 0.35) * cv2.GaussianBlur(moved, (0, 0), max(0.25 / canvas.mm, 0.4))
    if skin["lifted"]:
        where = np.zeros_like(share)
        for _ in range(rng.integers(1, 5)):
            c = np.array(outline.exterior.interpolate(rng.uniform(0, outline.exterior.length)).coords[0])
            where = np.maximum(where, np.exp(-((x - c[0]) ** 2 + (y - c[1]) ** 2) / rng.uniform(12, 35) ** 2))
        reach = rng.uniform(1.0, 3.0)
        moved = cv2.warpAffine(share, np.array([[1, 0, step[0] * reach], [0, 1, step[1] * reach]]), share.shape[::-1])
        canvas.hidden[at] = np.maximum(canvas.hidden[at], where * cv2.GaussianBlur(moved, (0, 0), max(0.4 / canvas.mm, 0.4)) * 0.9)
    layers = np.zeros_like(share)
    tone = np.ones_like(share)
    crepe = np.zeros_like(share)
    seams = []
    for pieces, angle in ((skin["strips"], skin["angle"]), (skin["over"], skin["angle"] + np.pi / 2)):
        if not pieces:
            continue
        fine = noise(x, y, 0.28, 0.2, angle + np.pi / 2, rng.uniform(3, 8)) * 0.035 + noise(x, y, 0.5, 0.4) * 0.015
        crepe = crepe * 0.5 + fine
        for s in pieces:
            piece = canvas.window(s)
            if piece is None:
                continue
            (r, c), cov = piece
            y0, x0 = max(r.start, at[0].start), max(c.start, at[1].start)
            y1, x1 = min(r.stop, at[0].stop), min(c.stop, at[1].stop)
            if y1 <= y0 or x1 <= x0:
                continue
            here = (slice(y0 - at[0].start, y1 - at[0].start), slice(x0 - at[1].start, x1 - at[1].start))
            part = cov[y0 - r.start : y1 - r.start, x0 - c.start : x1 - c.start]
            layers[here] += part
            tone[here] += (1 + rng.normal(0, 0.02) - tone[here]) * part
            seams.append(s.exterior)
    layers = np.maximum(layers, 1.0)
    tone *= 1 - skin["darker"] * np.minimum(layers - 1, 3) ** 0.8
    tone *= 1 + crepe * rng.uniform(0.5, 1.6) + 0.03 * noise(x, y, 3.0, 1.5)
    for ring in seams:
        found_seam = canvas.window(ring.buffer(0.12, quad_segs=1))
        blend(tone, at, found_seam, 1 - rng.uniform(0.0, 0.28))
        blend(tone, at, canvas.window(affinity.translate(ring, 0.25 * sun[0], 0.25 * sun[1]).buffer(0.1, quad_segs=1)), 1 + rng.uniform(0, 0.12))
    x0, y0, x1, y1 = outline.bounds
    for _ in range(skin["wrinkles"]):
        c = rng.uniform((x0, y0), (x1, y1))
        a, length = rng.uniform(0, np.pi), rng.uniform(15, 70)
        t = np.linspace(-0.5, 0.5, 14)
        line = c + np.stack([np.cos(a + t * rng.normal(0, 0.6)) * t, np.sin(a + t * rng.normal(0, 0.6)) * t], 1) * length
        w = rng.uniform(0.3, 1.2)
        blend(tone, at, canvas.window(LineString(line).buffer(w / 2)), 1 - rng.uniform(0.1, 0.4))
        blend(tone, at, canvas.window(LineString(line - sun * w * 0.9).buffer(w / 2)), 1 + rng.uniform(0.05, 0.2))
    cover_up = (1 - (1 - skin["opacity"]) ** layers)[..., None]
    tape = skin["colour"] * tone[..., None]
    under = canvas.albedo[at]
    seen = under * (1 - cover_up) * (0.5 + 0.5 * skin["colour"]) + tape * cover_up
    canvas.albedo[at] = under + (seen - under) * share[..., None]
    canvas.gloss[at] += (skin["shine"] * (1 + 4 * crepe) - canvas.gloss[at]) * share
    # Shadows beside the skin do not lie on it.
    canvas.dim[at] += (1 - canvas.dim[at]) * share
    canvas.hidden[at] *= 1 - share


def blend(field, at, found, factor):
    """Multiplies a field over a window by a factor where a shape covers it."""
    if found is None:
        return
    (r, c), share = found
    y0, x0, y1, x1 = max(r.start, at[0].start), max(c.start, at[1].start), min(r.stop, at[0].stop), min(c.stop, at[1].stop)
    if y1 <= y0 or x1 <= x0:
        return
    here = (slice(y0 - at[0].start, y1 - at[0].start), slice(x0 - at[1].start, x1 - at[1].start))
    field[here] *= 1 + (factor - 1) * share[y0 - r.start : y1 - r.start, x0 - c.start : x1 - c.start]
