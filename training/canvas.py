"""The camera and the picture that a scene is painted on.

The plane is measured in mm. Everything is painted in linear light; beside the colours the canvas keeps how much of each pixel is
skin, inside of an inked net line, ink on skin (of it arrow and relief cuts), and card.
"""

import math

import cv2
import numpy as np

WIDTH, HEIGHT = 960, 720


class Camera:
    """A phone over the plane: x' = x (1 + k1 r^2 + k2 r^4) with x = X / Z, its middle a little off the picture's."""

    def __init__(self, rng, points, zoom):
        self.f = rng.uniform(0.62, 1.1) * WIDTH
        self.k1, self.k2 = rng.normal(0, 0.035), rng.normal(0, 0.01)
        self.middle = np.array([WIDTH / 2, HEIGHT / 2]) + rng.normal(0, 6, 2)
        tilt = math.radians(rng.uniform(0, 30) if rng.random() < 0.9 else rng.uniform(25, 40))
        turn, roll = rng.uniform(0, 2 * math.pi, 2)
        if rng.random() < 0.4:
            roll = rng.normal(0, 0.15)
        axis = np.array([math.cos(turn), math.sin(turn), 0]) * tilt
        z = cv2.Rodrigues(axis)[0] @ np.array([0, 0, 1.0])
        x = cv2.Rodrigues(axis)[0] @ np.array([math.cos(roll), math.sin(roll), 0])
        self.rotation = np.array([x, -np.cross(z, x), -z])
        centre = (points.min(0) + points.max(0)) / 2
        distance = 2000.0
        for _ in range(12):
            self.origin = np.array([*centre, 0]) + z * distance
            p = self.project(points)
            low, high = p.min(0), p.max(0)
            reach = max((high[0] - low[0]) / WIDTH, (high[1] - low[1]) / HEIGHT)
            back = np.linalg.inv(self.homography()) @ np.array([*((low + high) / 2), 1.0])
            centre = centre * 0.3 + 0.7 * back[:2] / back[2]
            distance *= 0.4 + 0.6 * reach
        distance /= zoom
        shift = rng.normal(0, 0.04, 2) * distance * WIDTH / self.f
        self.origin = np.array([*(centre + shift), 0]) + z * distance
        self.px = distance / self.f

    def homography(self):
        """From the plane to pixels, without the lens."""
        k = np.array([[self.f, 0, self.middle[0]], [0, self.f, self.middle[1]], [0, 0, 1]])
        return k @ np.c_[self.rotation[:, :2], -self.rotation @ self.origin]

    def project(self, points):
        points = np.atleast_2d(points)
        q = np.c_[points, np.zeros(len(points))] - self.origin
        q = q @ self.rotation.T
        q = q[:, :2] / np.maximum(q[:, 2:], 40.0)
        r2 = np.minimum((q * q).sum(1, keepdims=True), 2.0)
        return q * (1 + self.k1 * r2 + self.k2 * r2 * r2) * self.f + self.middle

    def plane(self):
        """For every pixel, x and y of the plane."""
        u, v = np.meshgrid(np.arange(WIDTH, dtype=np.float32), np.arange(HEIGHT, dtype=np.float32))
        xd, yd = (u - np.float32(self.middle[0])) / self.f, (v - np.float32(self.middle[1])) / self.f
        r2 = xd * xd + yd * yd
        s = np.ones_like(r2)
        for _ in range(3):
            t = s * s * r2
            s = 1 / (1 + self.k1 * t + self.k2 * t * t)
        r = self.rotation.T.astype(np.float32)
        x, y = xd * s, yd * s
        d = [r[i, 0] * x + r[i, 1] * y + r[i, 2] for i in range(3)]
        t = np.float32(-self.origin[2]) / np.minimum(d[2], -0.05)
        return np.float32(self.origin[0]) + t * d[0], np.float32(self.origin[1]) + t * d[1]


def fill(mask, points, value=255):
    """An area of a picture in 8 bits, its edge smooth."""
    points = np.clip(points, -20000, 20000)
    cv2.fillPoly(mask, [np.round((points - 0.0) * 256).astype(np.int32)], value, cv2.LINE_AA, 8)


def share(shape, rings, out=()):
    """How much of each pixel of a picture lies in rings and in none of the others, 0 to 1, without the rim of `fill`."""
    fine = 4
    mask = np.zeros((shape[0] * fine, shape[1] * fine), np.uint8)
    for group, value in ((rings, 255), (out, 0)):
        for points in group:
            points = (np.clip(points, -5000, 5000) + 0.5) * fine - 0.5
            cv2.fillPoly(mask, [np.round(points * 256).astype(np.int32)], value, cv2.LINE_8, 8)
    return cv2.resize(mask, shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def stroke(mask, points, width, value=255, closed=False):
    """A line of a width in pixels, thinner than one by being paler."""
    thick = max(1, int(round(width)))
    value = int(value * min(1.0, width / thick))
    points = np.clip(points, -20000, 20000)
    cv2.polylines(mask, [np.round(points * 256).astype(np.int32)], closed, value, thick, cv2.LINE_AA, 8)


class Canvas:
    def __init__(self, camera, falls):
        """`falls`: the way shadows fall on the plane, mm for each mm of height."""
        self.camera, self.falls = camera, np.asarray(falls)
        middle = np.array([WIDTH, HEIGHT]) / 2
        here = np.linalg.inv(camera.homography()) @ [*middle, 1.0]
        here = here[:2] / here[2]
        step = (camera.project(here + self.falls * 10) - camera.project(here))[0]
        self.falls_px = step / (np.hypot(*step) + 1e-9) * np.hypot(*self.falls)
        self.x, self.y = camera.plane()
        self.rgb = None
        layers = (np.zeros((HEIGHT, WIDTH), np.float32) for _ in range(6))
        self.skin, self.inside, self.ink, self.arrow, self.relief, self.card = layers
        self.spots = []  # places, in mm, of what is small and counts
        self.gloss = np.zeros((HEIGHT, WIDTH), np.float32)

    def box(self, points, margin=3):
        """The part of the picture around pixels, or nothing."""
        low, high = np.floor(points.min(0)).astype(int) - margin, np.ceil(points.max(0)).astype(int) + margin + 1
        x0, y0, x1, y1 = max(low[0], 0), max(low[1], 0), min(high[0], WIDTH), min(high[1], HEIGHT)
        return (slice(y0, y1), slice(x0, x1)) if x1 > x0 and y1 > y0 else None

    def cover(self, part, m):
        """What lies under a mask is no longer seen."""
        for layer in (self.skin, self.inside, self.ink, self.arrow, self.relief, self.card, self.gloss):
            layer[part] *= 1 - m

    def mask(self, points, margin=3):
        """Coverage of an area given in mm, in the part of the picture that it touches."""
        p = self.camera.project(points)
        part = self.box(p, margin)
        if part is None:
            return None, None
        m = np.zeros((part[0].stop - part[0].start, part[1].stop - part[1].start), np.uint8)
        fill(m, p - [part[1].start, part[0].start])
        return part, m.astype(np.float32) / 255

    def paint(self, points, colour, alpha=1.0, hide=True, texture=None):
        """An area given in mm in one colour; `texture` makes shades of it from x and y."""
        part, m = self.mask(points)
        if part is None:
            return
        colour = np.asarray(colour, np.float32)
        if texture is not None:
            colour = colour * np.asarray(texture(self.x[part], self.y[part]), np.float32)[..., None]
        a = (m * alpha)[..., None]
        self.rgb[part] = self.rgb[part] * (1 - a) + a * colour
        if hide:
            self.cover(part, m)

    def line(self, points, width, colour, alpha=1.0, closed=False, hide=False):
        """A line of a width in mm."""
        p = self.camera.project(points)
        thick = width / self.camera.px
        part = self.box(p, 3 + int(thick))
        if part is None:
            return
        m = np.zeros((part[0].stop - part[0].start, part[1].stop - part[1].start), np.uint8)
        stroke(m, p - [part[1].start, part[0].start], thick, closed=closed)
        m = m.astype(np.float32) / 255
        a = (m * alpha)[..., None]
        self.rgb[part] = self.rgb[part] * (1 - a) + a * np.asarray(colour, np.float32)
        if hide:
            self.cover(part, m)

    def shade(self, points, by, soft, strength):
        """The shadow of an area, moved by `by` mm, `soft` mm wide at its edge."""
        soft = max(soft / self.camera.px, 0.4)
        part, m = self.mask(points + by, int(3 * soft) + 3)
        if part is None:
            return
        m = cv2.GaussianBlur(m, (0, 0), soft) * strength
        self.rgb[part] *= (1 - m)[..., None]


def linear(*rgb):
    """A colour as shown on a screen, 0 to 255, in linear light."""
    return (np.asarray(rgb, np.float32) / 255) ** 2.2


def turned(points, angle, at=(0, 0)):
    c, s = math.cos(angle), math.sin(angle)
    return np.asarray(points, float) @ np.array([[c, s], [-s, c]]) + at


def ellipse(cx, cy, a, b=None, count=40, angle=0.0):
    t = np.linspace(0, 2 * math.pi, count, endpoint=False)
    return turned(np.c_[a * np.cos(t), (b or a) * np.sin(t)], angle, (cx, cy))


def rectangle(w, h):
    return np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
