"""One photo and its truth from one seed.

python3 scene.py OUT.png [FIRST [COUNT]]    a sheet of photos with their classes beside them
"""

import math
import sys

import cv2
import numpy as np

import grounds
import light
import skin
import things
from canvas import HEIGHT, WIDTH, Camera, Canvas, rectangle, turned

OUT_WIDTH, OUT_HEIGHT = 640, 480
GROUND, SKIN, INK, CARD = range(4)


def lay_cards(rng, reach, corner=False):
    """Where cards lie about a template that reaches so far from 0, 0."""
    count = rng.choice([0, 1, 2, 3, 4, 5, 6], p=[0.06, 0.06, 0.3, 0.16, 0.32, 0.05, 0.05])
    start = rng.uniform(0, 2 * math.pi)
    out = []
    for i in range(count):
        a = start + 2 * math.pi * i / count + rng.normal(0, 0.35)
        far = np.array([math.cos(a), math.sin(a)]) * (reach + rng.uniform(70, 190))
        angle = (
            rng.choice([0, math.pi / 2]) + rng.normal(0, 0.2) if rng.random() < 0.5 else rng.uniform(0, 2 * math.pi)
        )
        out.append((far, angle, rng.uniform(0.55, 1.15) if rng.random() < 0.06 else 1.0))
    return out


def compose(seed, most=1300):
    """The canvas with its camera, and the photo, from a seed; the template is at most about so many mm long."""
    rng = np.random.default_rng(seed)
    size = math.exp(rng.uniform(math.log(110), math.log(most)))
    tape = skin.Tape.any(rng)
    main = skin.template(rng, size, tape)
    body = np.concatenate(main.rings) if main.rings else main.net
    cards = lay_cards(rng, 0)
    directions = [(c[0] / (np.hypot(*c[0]) + 1e-9), c) for c in cards]
    placed = []
    for d, (far, angle, scale) in directions:  # each card just beyond the skin in its direction, now and then on it
        at = d * (
            (body @ d).max() + rng.uniform(75, 200) if rng.random() < 0.92 else (body @ d).max() + rng.uniform(0, 80)
        )
        placed.append((at, angle, scale))
    points = np.concatenate([body] + [turned(rectangle(190, 130), a, at) for at, a, _ in placed])
    kind = rng.random()
    zoom = rng.uniform(0.6, 0.97) if kind < 0.9 else rng.uniform(0.95, 1.5)
    camera = Camera(rng, points, zoom)
    a = rng.uniform(0, 2 * math.pi)
    falls = np.array([math.cos(a), math.sin(a)]) * rng.uniform(0.1, 1.6)
    canvas = Canvas(camera, falls)
    alike = tape.colour * (1 - 0.5 * tape.through) if rng.random() < 0.2 else None
    name, canvas.rgb = grounds.ground(rng, canvas.x, canvas.y, camera.px, alike)
    x0, x1, y0, y1 = canvas.x.min(), canvas.x.max(), canvas.y.min(), canvas.y.max()
    clear = np.hypot(*body.T).max()

    def spot(away):
        """A place in view, off the template by chance or by wish."""
        for _ in range(12):
            i, j = rng.integers(0, HEIGHT), rng.integers(0, WIDTH)
            p = np.array([canvas.x[i, j], canvas.y[i, j]])
            if np.hypot(*(body - p).T).min() > away and skin.shapes.depth(main.net, p) < 0:
                return p
        return None

    messy = rng.choice([0, 1, 2, 3], p=[0.2, 0.35, 0.3, 0.15])
    for _ in range(rng.integers(0, 3 * messy + 1)):
        p = spot(120)
        if p is not None:
            things.any_thing(rng, canvas, p, rng.uniform(0, 2 * math.pi))
    for _ in range(rng.choice([0, 1, 2, 3], p=[0.6, 0.2, 0.13, 0.07])):  # other templates
        other_tape = tape if rng.random() < 0.6 else skin.Tape.any(rng)
        other = skin.template(rng, min(size, 900) * rng.uniform(0.3, 1.1), other_tape, rng.random() < 0.7)
        a, rot = rng.uniform(0, 2 * math.pi), rng.uniform(0, 2 * math.pi)
        d = np.array([math.cos(a), math.sin(a)])
        its = turned(np.concatenate(other.rings), rot)
        at = d * ((body @ d).max() - (its @ d).min() + rng.uniform(15, 60 + 0.5 * size))
        skin.paint(rng, canvas, other, other_tape, rot, at)
    if rng.random() < 0.97:
        skin.paint(rng, canvas, main, tape, 0.0, np.zeros(2))
    for at, angle, scale in placed:
        things.card(rng, canvas, at, angle, scale)
    for _ in range(rng.integers(0, messy + 1)):
        p = spot(rng.choice([90, 90, 10]))
        if p is not None:
            things.any_thing(rng, canvas, p, rng.uniform(0, 2 * math.pi))
    return canvas, light.develop(rng, canvas.rgb, canvas.gloss)


def sample(seed):
    """480 x 640 x 6 bytes: red, green, blue, class, share of skin, share inside of an inked net line."""
    canvas, photo = compose(seed)
    down = lambda m: cv2.resize(m, (OUT_WIDTH, OUT_HEIGHT), interpolation=cv2.INTER_AREA)
    share, inside, ink, card = (np.clip(down(m), 0, 1) for m in (canvas.skin, canvas.inside, canvas.ink, canvas.card))
    label = np.where(card > 0.5, CARD, np.where(share > 0.5, np.where(ink > 0.3, INK, SKIN), GROUND))
    to_bytes = lambda m: np.round(m * 255).astype(np.uint8)
    return np.dstack([down(photo), label.astype(np.uint8), to_bytes(share), to_bytes(inside)])


COLOURS = np.array([(40, 40, 40), (60, 170, 60), (230, 40, 40), (90, 160, 255)], np.uint8)


def sheet(path, first, count):
    rows = []
    for seed in range(first, first + count):
        s = sample(seed)
        answer = COLOURS[s[..., 3]]
        answer = np.where(s[..., 5:] > 127, answer // 2 + np.array([90, 60, 0], np.uint8), answer)
        rows.append(np.hstack([s[..., :3], answer]))
    rows = [cv2.resize(r, (640, 240), interpolation=cv2.INTER_AREA) for r in rows]
    rows += [np.zeros_like(rows[0])] * (-len(rows) % 3)
    cv2.imwrite(path, np.vstack([np.hstack(rows[i : i + 3]) for i in range(0, len(rows), 3)])[..., ::-1])


if __name__ == "__main__":
    cv2.setNumThreads(1)
    numbers = [int(v) for v in sys.argv[2:]] + [0, 18][len(sys.argv) - 2 :]
    sheet(sys.argv[1], *numbers[:2])
