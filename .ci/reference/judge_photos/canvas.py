"""The photo while it is painted: albedo, shadow and shine of each pixel; polygons in mm come in by exact cover."""

import cv2
import numpy as np
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from cover import cover


def dense(ring, step=5.0):
    """A ring with points no further apart than step: straight lines bend in the lens."""
    p = np.asarray(ring, float)[:, :2]
    if len(p) > 1 and (p[0] == p[-1]).all():
        p = p[:-1]
    q = np.roll(p, -1, 0)
    n = np.maximum(np.ceil(np.hypot(*(q - p).T) / step), 1).astype(int)
    which = np.repeat(np.arange(len(p)), n)
    t = (np.arange(len(which)) - np.repeat(np.cumsum(n) - n, n)) / n[which]
    return p[which] + (q - p)[which] * t[:, None]


def polygons(shape):
    if shape.is_empty:
        return []
    if isinstance(shape, Polygon):
        return [shape]
    return [g for g in getattr(shape, "geoms", []) if isinstance(g, (Polygon, MultiPolygon)) for g in polygons(g)]


class Canvas:
    def __init__(self, camera, albedo, x, y, sun):
        self.camera, self.albedo, self.x, self.y = camera, albedo, x, y
        self.height, self.width = x.shape
        self.hidden = np.zeros(x.shape, np.float32)  # of the direct light
        self.dim = np.ones(x.shape, np.float32)  # of all light: shadow where things touch
        self.gloss = np.zeros(x.shape, np.float32)
        self.sun = sun  # mm of shadow for a mm of height
        middle = np.array([x[self.height // 2, self.width // 2], y[self.height // 2, self.width // 2]])
        self.mm = camera.mm_a_pixel(middle)

    def window(self, shape, lift=None, grow=0.0):
        """The part of the photo where a shape is, and the share of each pixel that it covers; None outside of the frame."""
        rings = []
        for p in polygons(shape):
            p = orient(p)
            for r in [p.exterior, *p.interiors]:
                d = dense(r.coords)
                rings.append(self.camera.project(d, 0.0 if lift is None else lift(d)))
        if not rings:
            return None
        every = np.concatenate(rings)
        g = grow / self.mm + 2
        x0, y0 = np.maximum(np.floor(every.min(0) - g), 0).astype(int)
        x1, y1 = np.minimum(np.ceil(every.max(0) + g), (self.width - 1, self.height - 1)).astype(int)
        if x1 <= x0 or y1 <= y0:
            return None
        return (slice(y0, y1 + 1), slice(x0, x1 + 1)), cover(rings, x0, y0, x1 - x0 + 1, y1 - y0 + 1)

    def paint(self, shape, colour, alpha=1.0, lift=None, gloss=None):
        """Covers the ground with a colour, or with what a function of x and y (mm) gives."""
        found = self.window(shape, lift)
        if found is None:
            return
        at, share = found
        fill = colour(self.x[at], self.y[at]) if callable(colour) else np.asarray(colour, np.float32)
        a = (share * alpha)[..., None]
        self.albedo[at] += (fill - self.albedo[at]) * a
        if gloss is not None:
            self.gloss[at] += (gloss - self.gloss[at]) * share

    def cast(self, shape, tall, soft=0.12, contact=0.5):
        """The shadow of a thing of a height (mm): of the direct light along the sun, and a soft one at its foot."""
        from shapely import affinity
        from shapely.ops import unary_union

        dx, dy = self.sun * tall
        if np.hypot(dx, dy) > 0.3:
            far = affinity.translate(shape, dx, dy)
            steps = [affinity.translate(shape, dx * t, dy * t) for t in np.linspace(0, 1, 5)]
            swept = (
                unary_union([a.union(b).convex_hull for a, b in zip(steps[:-1], steps[1:])])
                if shape.geom_type == "Polygon" and shape.area < 4e4
                else far
            )
            self.shade(swept, max(soft * tall, 0.3), 1.0)
        if contact:
            found = self.window(shape, grow=tall * 0.6 + 3)
            if found:
                at, share = found
                s = cv2.GaussianBlur(share, (0, 0), max(min(tall * 0.25, 6) / self.mm, 0.5))
                self.dim[at] *= 1 - contact * s

    def shade(self, shape, blur, strength):
        found = self.window(shape, grow=3 * blur)
        if found:
            at, share = found
            s = share if blur / self.mm < 0.3 else wide_blur(share, blur / self.mm)
            self.hidden[at] = np.maximum(self.hidden[at], s * strength)

    def lit(self, shape, lift=None):
        """Takes shadows off a thing's own upper side."""
        found = self.window(shape, lift)
        if found:
            at, share = found
            self.hidden[at] *= 1 - share
            self.dim[at] += (1 - self.dim[at]) * share


def wide_blur(a, sigma):
    """A Gaussian blur, on a smaller copy where it is wide."""
    if sigma < 6:
        return cv2.GaussianBlur(a, (0, 0), sigma)
    k = int(sigma / 3)
    small = cv2.resize(a, (max(a.shape[1] // k, 1), max(a.shape[0] // k, 1)), interpolation=cv2.INTER_AREA)
    return cv2.resize(cv2.GaussianBlur(small, (0, 0), sigma / k), (a.shape[1], a.shape[0]), interpolation=cv2.INTER_LINEAR)
