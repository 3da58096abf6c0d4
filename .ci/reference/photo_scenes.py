"""Photos of templates of known outline, rendered without any code of the tracer.

A scene is a plane texture (ground, template with ink, the cards as `warpwise trace card` prints them) seen by a pinhole camera with
radial distortion; blur, uneven light, noise and JPEG follow. The camera model is the usual one: x' = x (1 + k1 r^2) with x = X/Z.
"""
import math
import subprocess
from pathlib import Path

import cv2
import numpy as np
from shapely.geometry import LineString, Polygon, box
from shapely.affinity import rotate, translate

TEXTURE_MM = 0.2
WIDTH, HEIGHT = 4000, 3000


def card_textures(warpwise, folder, count=8, resolution=10):
    """Grey pictures of the printed cards, cut from the tool's own pages; 10 pixels a mm; with how much paper is left around."""
    subprocess.run([warpwise, "trace", "card", "--out", str(folder), "--cards", str(count)], check=True, capture_output=True)
    cards = []
    for page in sorted(Path(folder).glob("scale-cards-*.svg")):
        png = page.with_suffix(".png")
        subprocess.run(["rsvg-convert", "--unlimited", "-w", str(210 * resolution), str(page), "-o", str(png)], check=True)
        grey = cv2.imread(str(png), cv2.IMREAD_GRAYSCALE)
        # The pages hold two cards, middles 75 and 203 mm from the top; cut 3 mm outside of the frame.
        for middle in (75, 203):
            y0, x0 = int((middle - 63) * resolution), int((105 - 93) * resolution)
            cards.append(grey[y0:y0 + 126 * resolution, x0:x0 + 186 * resolution])
    return cards, resolution


def smooth_ring(rng, size):
    """A random smooth outline whose longest extent is `size` mm, perhaps with straight sides, a dart and sharp corners."""
    kind = rng.choice(["smooth", "rounded", "corners"])
    if kind == "smooth":
        t = np.linspace(0, 2 * math.pi, 720, endpoint=False)
        r = 1 + sum(rng.uniform(-0.16, 0.16) / k * np.cos(k * t + rng.uniform(0, 6.28)) for k in range(2, 6))
        aspect = rng.uniform(0.45, 1.0)
        ring = Polygon(np.c_[r * np.cos(t), aspect * r * np.sin(t)])
    else:
        n = rng.integers(4, 8)
        angles = np.sort((np.arange(n) + rng.uniform(-0.25, 0.25, n)) * 2 * math.pi / n)
        aspect = rng.uniform(0.5, 1.0)
        ring = Polygon([(math.cos(a) * rng.uniform(0.75, 1), aspect * math.sin(a) * rng.uniform(0.75, 1)) for a in angles]).convex_hull
        if kind == "rounded":
            ring = ring.buffer(-0.15).buffer(0.15, quad_segs=32)
    ring = rotate(ring, rng.uniform(0, 360))
    x0, y0, x1, y1 = ring.bounds
    scale = size / max(x1 - x0, y1 - y0)
    ring = Polygon(np.array(ring.exterior.coords) * scale)
    return translate(ring, -ring.centroid.x, -ring.centroid.y)


def make_scene(rng, cards):
    """Everything random about one photo."""
    while True:
        scene = try_scene(rng, cards)
        if scene:
            return scene


def try_scene(rng, cards):
    size = rng.uniform(300, 1200)
    ring = smooth_ring(rng, size)
    if rng.random() < 0.4:  # a dart: a V cut in from the edge towards the middle
        a = rng.uniform(0, 2 * math.pi)
        edge = LineString([(0, 0), (2000 * math.cos(a), 2000 * math.sin(a))]).intersection(ring.exterior)
        if edge.geom_type == "Point":
            depth, half = rng.uniform(40, 90), rng.uniform(6, 12)
            ux, uy = math.cos(a), math.sin(a)
            tip = (edge.x - depth * ux, edge.y - depth * uy)
            out = (edge.x + 20 * ux, edge.y + 20 * uy)
            k = half * (depth + 20) / depth
            ring = ring.difference(Polygon([tip, (out[0] - k * uy, out[1] + k * ux), (out[0] + k * uy, out[1] - k * ux)]))
            if ring.geom_type != "Polygon":
                return None
    holes = []
    if rng.random() < 0.5:
        a, d = rng.uniform(0, 6.28), rng.uniform(0, 0.12) * size
        hole = translate(rotate(box(-1, -0.6, 1, 0.6).buffer(0.3), rng.uniform(0, 360)), 0, 0)
        hole = Polygon(np.array(hole.exterior.coords) * rng.uniform(15, 35))
        holes.append(translate(hole, d * math.cos(a), d * math.sin(a)))
    shape = ring
    for h in holes:
        shape = shape.difference(h)
    if shape.geom_type != "Polygon" or (holes and len(shape.interiors) != 1):
        return None
    # the arrow: 80 to 160 mm, clear of edge and holes
    inner = shape.buffer(-16)
    arrow = None
    for _ in range(60):
        length, a = rng.uniform(80, 160), rng.uniform(0, 2 * math.pi)
        x, y = rng.uniform(-0.4, 0.4, 2) * size
        ends = np.array([[x, y], [x + length * math.cos(a), y + length * math.sin(a)]])
        if inner.contains(LineString(ends).buffer(10)):
            arrow = ends
            break
    if arrow is None:
        return None
    # relief cuts: inked lines from the edge inwards
    reliefs = []
    for _ in range(rng.integers(0, 4)):
        s = rng.uniform(0, shape.exterior.length)
        p, q = shape.exterior.interpolate(s), shape.exterior.interpolate(s + 1)
        nx, ny = -(q.y - p.y), q.x - p.x
        if not shape.exterior.is_ccw:
            nx, ny = -nx, -ny
        n = math.hypot(nx, ny)
        length = rng.uniform(30, 70)
        end = (p.x + nx / n * length, p.y + ny / n * length)
        line = LineString([(p.x, p.y), end])
        body = LineString([line.interpolate(12), end])
        if shape.buffer(-8).contains(body) and line.distance(LineString(arrow)) > 25 and all(line.distance(r) > 30 for r in reliefs):
            reliefs.append(line)
    # cards: four around anything over 400 mm, else two
    count = 4 if size > 400 else int(rng.choice([2, 3, 4]))
    rects = []
    keep = shape.convex_hull.buffer(8)
    x0, y0, x1, y1 = shape.bounds
    sides = [(x1 + 110, 0), (x0 - 110, 0), (0, y1 + 80), (0, y0 - 80)]
    corners = [(x0, y0), (x1, y1), (x0, y1), (x1, y0)]
    wanted = corners[:count] if count < 4 or rng.random() < 0.7 else sides
    for px, py in wanted:
        best = None
        for _ in range(80):
            cx, cy = px * rng.uniform(0.6, 1.25) + rng.uniform(-60, 60), py * rng.uniform(0.6, 1.25) + rng.uniform(-60, 60)
            angle = rng.uniform(0, 360)
            rect = translate(rotate(box(-93, -63, 93, 63), angle), cx, cy)
            if rect.intersects(keep) or any(rect.distance(r[0]) < 5 for r in rects):
                continue
            far = math.hypot(cx, cy)
            if best is None or far < best[0]:
                best = (far, rect, cx, cy, angle)
        if best is None:
            return None
        rects.append(best[1:])
    # the camera: looks at the middle of all, tilted up to 35 degrees, as near as shows everything
    everything = shape
    for r in rects:
        everything = everything.union(r[0])
    hull = np.array(everything.convex_hull.buffer(12).exterior.coords)
    middle = (hull.min(0) + hull.max(0)) / 2
    f = rng.uniform(0.72, 0.95) * WIDTH
    k1 = rng.uniform(-0.03, 0.03)
    tilt, turn, roll = math.radians(rng.uniform(0, 35)), rng.uniform(0, 2 * math.pi), rng.uniform(0, 2 * math.pi)
    distance = 3000.0
    for _ in range(40):
        camera = Camera(middle, tilt, turn, roll, distance, f, k1)
        uv = camera.project(hull)
        reach = max(np.abs(uv[:, 0] - camera.cx).max() / (WIDTH / 2 - 30), np.abs(uv[:, 1] - camera.cy).max() / (HEIGHT / 2 - 30))
        distance *= reach
        if abs(reach - 1) < 1e-3:
            break
    distance *= rng.uniform(1.0, 1.05)
    # never finer than 0.35 mm a pixel: small templates from as far as large ones
    camera = Camera(middle, tilt, turn, roll, max(distance, 0.35 * f), f, k1)
    light_template = rng.random() < 0.65
    tape = rng.uniform(185, 225) if light_template else rng.uniform(45, 85)
    ground = rng.uniform(45, 95) if light_template else rng.uniform(190, 235)
    return dict(size=size, shape=shape, arrow=arrow, reliefs=reliefs, rects=rects, camera=camera, tape=tape, ground=ground,
                ink=rng.uniform(20, 45) if light_template else rng.uniform(215, 245), cards=list(rng.permutation(len(cards))[:count]),
                blur=rng.uniform(0.5, 1.3), noise=rng.uniform(1, 4), fall=rng.uniform(0, 0.3), slope=rng.uniform(0, 0.3), slope_at=rng.uniform(0, 6.28))


class Camera:
    def __init__(self, middle, tilt, turn, roll, distance, f, k1):
        self.f, self.k1, self.cx, self.cy = f, k1, (WIDTH - 1) / 2, (HEIGHT - 1) / 2
        # world: x right, y up, z towards the camera; the camera looks along -z when not tilted
        axis = np.array([math.cos(turn), math.sin(turn), 0])
        r = cv2.Rodrigues(axis * tilt)[0]
        z = r @ np.array([0, 0, 1.0])
        x = r @ np.array([math.cos(roll), math.sin(roll), 0])
        y = np.cross(z, x)
        self.rotation = np.array([x, -y, -z])  # rows: right, down, forward
        self.origin = np.array([middle[0], middle[1], 0]) + z * distance
        self.resolution = distance / f
        self.tilt = math.degrees(tilt)

    def project(self, points):
        p = np.c_[points, np.zeros(len(points))] - self.origin
        q = p @ self.rotation.T
        x, y = q[:, 0] / q[:, 2], q[:, 1] / q[:, 2]
        d = 1 + self.k1 * (x * x + y * y)
        return np.c_[self.cx + self.f * x * d, self.cy + self.f * y * d]

    def plane_maps(self):
        """For every pixel, x and y of the plane."""
        u, v = np.meshgrid(np.arange(WIDTH, dtype=np.float32), np.arange(HEIGHT, dtype=np.float32))
        xd, yd = (u - self.cx) / self.f, (v - self.cy) / self.f
        rd2 = xd * xd + yd * yd
        s = np.ones_like(rd2)
        for _ in range(8):  # s such that s (1 + k1 s^2 rd^2) = 1
            s = 1 / (1 + self.k1 * s * s * rd2)
        x, y = xd * s, yd * s
        del xd, yd, rd2, s, u, v
        r = self.rotation.T.astype(np.float32)
        dx, dy, dz = (r[i, 0] * x + r[i, 1] * y + r[i, 2] for i in range(3))
        t = -np.float32(self.origin[2]) / dz
        return np.float32(self.origin[0]) + t * dx, np.float32(self.origin[1]) + t * dy


def fill(image, points, to_pixel, value):
    shift = 6
    cv2.fillPoly(image, [np.round(to_pixel(np.asarray(points)) * (1 << shift)).astype(np.int32)], value, cv2.LINE_AA, shift)


def render(scene, cards, resolution, rng):
    """The photo, 8-bit grey as three channels with a slight tint."""
    everything = scene["shape"]
    for r in scene["rects"]:
        everything = everything.union(r[0])
    x0, y0, x1, y1 = (v + d for v, d in zip(everything.bounds, (-60, -60, 60, 60)))
    w, h = int((x1 - x0) / TEXTURE_MM), int((y1 - y0) / TEXTURE_MM)
    to_pixel = lambda p: np.c_[(p[:, 0] - x0) / TEXTURE_MM - 0.5, (y1 - p[:, 1]) / TEXTURE_MM - 0.5]
    texture = np.full((h, w), scene["ground"], np.uint8)
    # grain of the board, some mm coarse
    grain = cv2.resize(rng.normal(0, 3, (h // 20 + 1, w // 60 + 1)).astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR)
    texture = np.clip(texture + grain, 0, 255).astype(np.uint8)
    shape = scene["shape"]
    fill(texture, shape.exterior.coords, to_pixel, scene["tape"])
    # strips of tape overlap: bands a little darker
    strips = np.zeros_like(texture)
    fill(strips, shape.exterior.coords, to_pixel, 255)
    angle = rng.uniform(0, 3.14)
    bands = np.zeros_like(texture)
    n, d = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    for k in range(-30, 30):
        c = n * k * 45
        fill(bands, np.array([c - 900 * d - 1.5 * n, c + 900 * d - 1.5 * n, c + 900 * d + 1.5 * n, c - 900 * d + 1.5 * n]), to_pixel, 255)
    texture[(bands > 0) & (strips > 0)] = int(scene["tape"] * 0.95)
    del bands, strips
    for hole in shape.interiors:
        fill(texture, hole.coords, to_pixel, scene["ground"])
    pen = lambda line: np.array(line.buffer(0.7, cap_style="flat").exterior.coords)
    ink = scene["ink"]
    for line in scene["reliefs"]:
        fill(texture, pen(line), to_pixel, ink)
    tail, head = scene["arrow"]
    d = (head - tail) / np.linalg.norm(head - tail)
    n = np.array([-d[1], d[0]])
    for line in ([tail, head], [head - 14 * d + 7 * n, head], [head - 14 * d - 7 * n, head]):
        fill(texture, pen(LineString(line)), to_pixel, ink)
    for (rect, cx, cy, angle), number in zip(scene["rects"], scene["cards"]):
        picture = cards[number]
        ph, pw = picture.shape
        a = math.radians(angle)
        corners = np.array([[-93, 63], [93, 63], [93, -63], [-93, -63]], float)
        placed = corners @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]]) + [cx, cy]
        source = np.float32([[-0.5, -0.5], [pw - 0.5, -0.5], [pw - 0.5, ph - 0.5], [-0.5, ph - 0.5]])
        # Only the part of the texture that the card covers is worked on.
        pixels = to_pixel(placed)
        u0, v0 = np.maximum(np.floor(pixels.min(0)).astype(int) - 2, 0)
        part = texture[v0:int(pixels[:, 1].max()) + 3, u0:int(pixels[:, 0].max()) + 3]
        m = cv2.getPerspectiveTransform(source, np.float32(pixels - [u0, v0]))
        # paper white is not 255 in a photo
        shrunk = cv2.GaussianBlur(picture, (0, 0), resolution * TEXTURE_MM * 0.4)
        paper = cv2.warpPerspective((18 + shrunk.astype(np.float32) * (212 / 255)).astype(np.uint8), m, part.shape[::-1], flags=cv2.INTER_LINEAR)
        mask = np.zeros_like(part)
        fill(mask, placed, lambda p: to_pixel(p) - [u0, v0], 255)
        part[mask > 127] = paper[mask > 127]
    x, y = scene["camera"].plane_maps()
    # one pixel spans about two of the texture: soften before looking up
    soft = cv2.GaussianBlur(texture, (0, 0), 0.35 * scene["camera"].resolution / TEXTURE_MM)
    photo = cv2.remap(soft, (x - np.float32(x0)) / np.float32(TEXTURE_MM) - np.float32(0.5),
                      (np.float32(y1) - y) / np.float32(TEXTURE_MM) - np.float32(0.5), cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_CONSTANT, borderValue=float(scene["ground"]))
    del x, y, soft, texture
    photo = cv2.GaussianBlur(photo, (0, 0), scene["blur"]).astype(np.float32)
    u = np.linspace(-1, 1, WIDTH, dtype=np.float32)[None, :]
    v = np.linspace(-0.75, 0.75, HEIGHT, dtype=np.float32)[:, None]
    light = 1 - scene["fall"] * (u * u + v * v) + scene["slope"] * (u * math.cos(scene["slope_at"]) + v * math.sin(scene["slope_at"]))
    photo = photo * np.clip(light, 0.3, 1.15)
    photo += cv2.resize(rng.normal(0, 1, (HEIGHT // 4, WIDTH // 4)).astype(np.float32), (WIDTH, HEIGHT)) * np.float32(scene["noise"] * 0.5)
    photo += rng.standard_normal((HEIGHT, WIDTH), dtype=np.float32) * np.float32(scene["noise"])
    grey = np.clip(photo, 0, 255)
    return np.dstack([np.clip(grey * k, 0, 255).astype(np.uint8) for k in (0.94, 1.0, 1.0)])
