"""What the skin lies on: the albedo of each point of the plane."""

import cv2
import numpy as np

from noise import linear, lines, luminance

RGB = lambda m, colour: np.asarray(m, np.float32)[..., None] * np.asarray(colour, np.float32)


def turned(x, y, angle):
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    return x * c + y * s, y * c - x * s


def wood(x, y, rng, noise, angle=None):
    angle = rng.uniform(0, np.pi) if angle is None else angle
    u, v = turned(x, y, angle)
    v = v + 6 * noise(x, y, 3.0, 2.0)
    rings = noise(u, v, 1.2, 1.0, 0.0, rng.uniform(15, 40))
    fine = noise(u, v, 0.35, 0.0, 0.0, rng.uniform(20, 60))
    m = 1 + rng.uniform(0.06, 0.2) * rings + rng.uniform(0.03, 0.09) * fine
    tone = linear(rng.permutation([[205, 170, 120], [180, 130, 80], [225, 195, 150], [130, 85, 50], [95, 62, 40]])[0])
    return RGB(np.clip(m, 0.2, 2), tone)


def planks(x, y, rng, noise):
    angle = rng.uniform(0, np.pi)
    a = wood(x, y, rng, noise, angle)
    u, v = turned(x, y, angle)
    width = rng.uniform(60, 180)
    number = np.floor(v / width + 100).astype(int)
    tone = rng.uniform(0.75, 1.2, 400).astype(np.float32)
    gap = lines(v, width, rng.uniform(0.8, 4))
    return a * (tone[number % 400] * (1 - 0.9 * gap))[..., None]


def mat(x, y, rng, noise):
    base = linear([[30, 95, 70], [20, 80, 50], [35, 38, 42], [30, 60, 110], [110, 115, 120], [150, 60, 90]][rng.integers(6)])
    print_ = linear([[215, 220, 190], [235, 225, 120], [240, 240, 240], [130, 200, 170]][rng.integers(4)])
    a = RGB(1 + 0.04 * noise(x, y, 0.5, 0.0) + 0.05 * noise(x, y, 4.0, 1.0), base)
    u, v = turned(x, y, rng.uniform(0, np.pi))
    step = rng.choice([10.0, 12.7, 20.0])
    g = np.maximum(lines(u, step, 0.25), lines(v, step, 0.25)) * 0.5
    g = np.maximum(g, np.maximum(lines(u, 5 * step, 0.6), lines(v, 5 * step, 0.6)) * 0.9)
    if rng.random() < 0.5:
        g = np.maximum(g, np.maximum(lines(u + v, 20 * step, 0.5), lines(u - v * 1.73, 20 * step, 0.5)) * 0.8)
    cuts = lines(turned(u, v, 1.1)[1] + 3 * noise(x, y, 5, 2.0), 170.0, 0.2) * 0.3
    a *= (1 + np.float32(0.6) * cuts)[..., None]
    a += (print_ - a) * (np.float32(0.85) * g)[..., None]
    return a


def concrete(x, y, rng, noise):
    m = 1 + 0.12 * noise(x, y, 1.5, 1.0) + 0.08 * noise(x, y, 0.6, 0.3) - 0.25 * np.clip(noise(x, y, 5.0, 1.6) - 0.7, 0, 1.5)
    crack = np.exp(-((noise(x, y, 4.0, 1.6) / 0.012) ** 2)) * (noise(x, y, 6.0, 2.0) > 0.4)
    return RGB(np.clip(m * (1 - 0.5 * crack), 0.1, 2), linear([150, 147, 140]))


def carpet(x, y, rng, noise):
    m = 1 + 0.35 * noise(x, y, 1.4, 0.4) + 0.1 * noise(x, y, 6.0, 1.5)
    tone = linear([[90, 95, 105], [120, 95, 80], [60, 75, 110], [150, 145, 130], [70, 30, 35]][rng.integers(5)])
    a = RGB(np.clip(m, 0.05, 3), tone)
    speck = (noise(x, y, 1.8, 0.2) > 1.6)[..., None]
    return np.where(speck, a * 0.5 + 0.25 * linear([200, 190, 160]), a)


def cardboard(x, y, rng, noise):
    u, v = turned(x, y, rng.uniform(0, np.pi))
    m = 1 + 0.03 * np.sin(v * np.float32(2 * np.pi / rng.uniform(4, 8))) + 0.05 * noise(x, y, 1.0, 0.8) + 0.03 * noise(x, y, 0.5, 0.0, 0.4, 6)
    fold = lines(u, rng.uniform(250, 400), 2.5)
    return RGB(m * (1 - 0.15 * fold), linear([190, 150, 105]))


def melamine(x, y, rng, noise):
    m = 1 + 0.015 * noise(x, y, 3.0, 1.2)
    scratch = np.clip(noise(x, y, 0.4, 0.0, rng.uniform(0, 3), 120) - 2.6, 0, 1)
    return RGB(m - 0.2 * scratch, linear([[235, 235, 230], [205, 208, 210], [240, 232, 215]][rng.integers(3)]))


def foam(x, y, rng, noise):
    cells = noise(x, y, 0.9, 0.5)
    m = 1 + 0.1 * cells - 0.35 * (cells > 1.9) + 0.05 * noise(x, y, 6.0, 1.5)
    return RGB(m, linear([[60, 62, 66], [225, 150, 160], [190, 215, 235], [240, 225, 180]][rng.integers(4)]))


def vacuum(x, y, rng, noise):
    u, v = turned(x, y, rng.uniform(0, np.pi))
    step, r = rng.uniform(15, 40), rng.uniform(1.0, 2.6)
    d = np.hypot((u + step / 2) % step - step / 2, (v + step / 2) % step - step / 2)
    hole = np.clip((r - d) / 0.3 + 0.5, 0, 1)
    rim = np.clip(1 - np.abs(d - r - 0.4) / 0.5, 0, 1)
    m = (1 + 0.06 * noise(u, v, 0.3, 0.2, 0.0, 80) + 0.05 * noise(x, y, 4, 1.2)) * (1 - 0.92 * hole) + 0.15 * rim
    return RGB(m, linear([[185, 188, 192], [40, 40, 42], [150, 100, 70]][rng.integers(3)]))


def sheet(x, y, rng, noise):
    weave = 0.04 * noise(x, y, 0.5, 0.0, 0.2, 4) + 0.04 * noise(x, y, 0.5, 0.0, 0.2 + np.pi / 2, 4)
    m = 1 + weave
    for _ in range(2):
        # Ridges with a lit and a shaded flank.
        h = noise(x, y, 1.6, 2.2, rng.uniform(0, np.pi), rng.uniform(2, 5))
        m = m + 0.04 * h + 0.22 * (h / 0.2) * np.exp(-((h / 0.2) ** 2))
    return RGB(np.clip(m, 0.1, 2), linear([[225, 222, 214], [190, 200, 205], [215, 200, 170]][rng.integers(3)]))


def tiles(x, y, rng, noise):
    u, v = turned(x, y, rng.uniform(0, np.pi))
    step = rng.uniform(100, 330)
    grout = np.maximum(lines(u, step, 4), lines(v, step, 4))[..., None]
    number = (np.floor(u / step).astype(int) * 31 + np.floor(v / step).astype(int) * 17) % 97
    tone = rng.uniform(0.9, 1.1, 97).astype(np.float32)
    chips = noise(x, y, 0.9, 0.5)
    m = tone[number] * (1 + 0.08 * noise(x, y, 2, 1.3)) * np.where(chips > 1.4, 0.65, np.where(chips < -1.6, 1.3, 1.0)).astype(np.float32)
    a = RGB(m, linear([[190, 180, 165], [120, 75, 60], [80, 84, 88]][rng.integers(3)]))
    return a * (1 - grout) + grout * linear([130, 128, 122])


def newsprint(x, y, rng, noise):
    u, v = turned(x, y, rng.uniform(0, np.pi))
    column = ((u % 52) < 47) & (((u // 52 + (v // 130)) % 4) != 1)
    row = (v % 3.6) < 1.9
    word = noise(u, np.floor(v / 3.6) * 40, 0.8, 0.5) > -0.5
    text = (column & row & word).astype(np.float32) * np.clip(0.75 + 0.4 * noise(x, y, 0.35, 0.0), 0, 1)
    picture = (column & (((u // 52 + (v // 130)) % 4) == 2)).astype(np.float32) * np.clip(0.4 + 0.25 * noise(x, y, 1.0, 1.0), 0, 0.9)
    return RGB(1 - 0.75 * cv2.GaussianBlur(np.maximum(text, picture), (0, 0), 0.7), linear([215, 208, 192]))


def painted(x, y, rng, noise):
    m = 1 + 0.02 * noise(x, y, 0.8, 0.6) + 0.03 * noise(x, y, 5.0, 1.5)
    spill = np.clip(noise(x, y, 2.0, 1.6) - 1.9, 0, 0.5)
    return RGB(m, linear([[120, 122, 125], [60, 80, 100], [90, 45, 40], [70, 90, 70], [40, 40, 40]][rng.integers(5)])) * (1 + spill)[..., None]


PHOTOS = ["brick", "chelsea", "coffee", "coins", "grass", "gravel", "rocket", "motorcycle_left", "hubble_deep_field", "ihc", "moon"]


def photograph(x, y, rng, noise):
    """A photograph that scikit-image ships, spread over the bench like a poster or a worktop."""
    import skimage
    from pathlib import Path

    folder = Path(skimage.__file__).parent / "data"
    name = PHOTOS[rng.integers(len(PHOTOS))]
    picture = cv2.imread(str(next(folder.glob(name + ".*"))), cv2.IMREAD_COLOR)[..., ::-1]
    picture = linear(cv2.GaussianBlur(picture, (0, 0), 0.8))
    h, w = picture.shape[:2]
    mm = rng.uniform(500, 1400) / w
    u, v = turned(x, y, rng.uniform(0, np.pi))
    u, v = u / mm + w / 2, v / mm + h / 2
    # Mirrored at its borders, for no seam.
    fold = lambda t, n: (n - 1 - np.abs((t % (2 * n)) - n)).clip(0, n - 1).astype(np.float32)
    a = cv2.remap(np.ascontiguousarray(picture), fold(u, w), fold(v, h), cv2.INTER_CUBIC)
    return np.clip(a, 0.01, 1) * (1 + 0.06 * noise(x, y, 0.6, 0.3))[..., None]


# Each with the L* that it may plausibly have.
GROUNDS = {
    "plywood": (wood, 30, 84),
    "planks": (planks, 25, 80),
    "mat": (mat, 18, 72),
    "concrete": (concrete, 40, 78),
    "carpet": (carpet, 18, 72),
    "cardboard": (cardboard, 48, 74),
    "melamine": (melamine, 62, 95),
    "foam": (foam, 15, 88),
    "vacuum": (vacuum, 15, 84),
    "painted": (painted, 10, 94),
    "dust-sheet": (sheet, 58, 94),
    "floor": (tiles, 25, 82),
    "newspaper": (newsprint, 66, 88),
    "photograph": (photograph, 22, 80),
}
CAREFUL = ["painted", "painted", "melamine", "cardboard", "plywood", "mat", "foam", "dust-sheet", "concrete", "vacuum"]


def draw(name, x, y, rng, noise, wanted):
    """The albedo, and its mean luminance brought as near to the wanted one as such a ground can be."""
    a = GROUNDS[name][0](x, y, rng, noise).astype(np.float32, copy=False)
    mean = float(luminance(a[::16, ::16]).mean())
    a *= np.float32(wanted / mean)
    return np.clip(a, 0.004, 0.95, out=a)
