"""Light on the bench, and what a phone makes of it."""

import functools
import math

import cv2
import numpy as np

from canvas import HEIGHT, WIDTH, ellipse, fill, turned

# Light is worked out at half the size, and shown at all of it.
W2, H2 = WIDTH // 2, HEIGHT // 2
U, V = np.meshgrid(np.linspace(-1, 1, W2, dtype=np.float32), np.linspace(-0.75, 0.75, H2, dtype=np.float32))
LEVELS = 2048
# Shadows are drawn for a picture 960 pixels wide.
SCALE = WIDTH / 960


def tint(rng, spread):
    """A colour of light: warm or cold, a little green or pink."""
    warm = rng.normal(0, spread)
    c = np.exp([warm, rng.normal(0, spread * 0.25), -warm])
    return (c / c.mean()).astype(np.float32)


def soft(mask, width):
    """A mask in 8 bits with a soft edge, worked out smaller where it is very soft; half the size."""
    if width > 8:
        small = cv2.resize(mask, (WIDTH // 8, HEIGHT // 8), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        return cv2.resize(cv2.GaussianBlur(small, (0, 0), width / 8), (W2, H2), interpolation=cv2.INTER_LINEAR)
    m = cv2.resize(mask, (W2, H2), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    return cv2.GaussianBlur(m, (0, 0), max(width / 2, 0.3))


def bars(rng):
    """Sun through a window: 255 where it is dark."""
    m = np.zeros((HEIGHT, WIDTH), np.uint8)
    a = rng.uniform(0, math.pi)
    for _ in range(rng.integers(1, 3)):
        at = rng.uniform(-800, -500)
        step, share = rng.uniform(80, 450), rng.uniform(0.1, 0.6)
        while at < 800:
            w = step * share * rng.uniform(0.5, 1.5)
            fill(m, turned(np.array([[at, -1500], [at + w, -1500], [at + w, 1500], [at, 1500]]) * SCALE, a, (WIDTH / 2, HEIGHT / 2)))
            at += step * rng.uniform(0.6, 1.4)
        a += math.pi / 2 + rng.normal(0, 0.2)
    return m if rng.random() < 0.6 else 255 - m


def person(rng):
    """The photographer's shadow: head, shoulders, and arms held up."""
    m = np.zeros((HEIGHT, WIDTH), np.uint8)
    at, a, k = (
        rng.uniform([0.1 * WIDTH, 0.1 * HEIGHT], [0.9 * WIDTH, 0.9 * HEIGHT]),
        rng.uniform(0, 2 * math.pi),
        rng.uniform(0.6, 2.0) * SCALE,
    )
    put = lambda p: fill(m, turned(np.asarray(p) * k, a, at))
    put(ellipse(0, 0, 70, 85))
    put([(-150, 90), (-60, 60), (60, 60), (150, 90), (190, 1500), (-190, 1500)])
    if rng.random() < 0.7:
        for s in (1, -1):
            put([(s * 110, 100), (s * 170, 120), (s * rng.uniform(60, 160), -120), (s * rng.uniform(20, 60), -140)])
        put([(-70, -160), (70, -160), (70, -110), (-70, -110)])
    return m


def blot(rng):
    """The shadow of something out of the picture: a beam, a tree, a lamp."""
    m = np.zeros((HEIGHT, WIDTH), np.uint8)
    for _ in range(rng.integers(1, 5)):
        p = turned(
            np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * rng.uniform([30, 60], [250, 900]) * SCALE,
            rng.uniform(0, 6.3),
            rng.uniform([0, 0], [WIDTH, HEIGHT]),
        )
        fill(m, p if rng.random() < 0.6 else ellipse(*rng.uniform([0, 0], [WIDTH, HEIGHT]), *(rng.uniform(30, 300, 2) * SCALE)))
    return m


def light(rng):
    """Light in three colours, half the size."""
    out = np.ones((H2, W2, 3), np.float32) * tint(rng, 0.08)
    a, slope = rng.uniform(0, 2 * math.pi), rng.choice([rng.uniform(0, 0.3), rng.uniform(0, 0.9)])
    out *= np.exp(np.float32(slope) * (U * np.float32(math.cos(a)) + V * np.float32(math.sin(a))))[..., None]
    for _ in range(rng.integers(0, 3)):  # lamps
        x, y = rng.uniform(-1.6, 1.6, 2)
        far = ((U - x) ** 2 + (V - y) ** 2) / np.float32(rng.uniform(0.1, 1.5))
        out += (np.float32(rng.uniform(0.2, 1.6)) / (1 + far))[..., None] * tint(rng, 0.15)
    if rng.random() < 0.55:  # sun or a strong lamp, and what stands in its way
        m = soft(rng.choice([bars, person, person, blot])(rng), rng.choice([rng.uniform(0.5, 4), rng.uniform(3, 40)]))
        strength = rng.uniform(0.25, 3.5)
        out = out * tint(rng, 0.06) + ((1 - m) * np.float32(strength))[..., None] * tint(rng, 0.1) * out.mean()
        if rng.random() < 0.25:
            m = soft(rng.choice([person, blot])(rng), rng.uniform(4, 60))
            out *= (1 - np.float32(rng.uniform(0.1, 0.5)) * m)[..., None]
    return out


@functools.lru_cache(None)
def grain():
    """Noise of a sensor, of which each photo takes a part."""
    return np.random.default_rng(8).standard_normal((2 * HEIGHT, 2 * WIDTH, 3), dtype=np.float32)


def curve(rng):
    """From linear light to the grey levels of a screen, by the root of the light in LEVELS steps up to 4: highlights roll off, contrast rises."""
    x = (np.arange(LEVELS) / LEVELS * 2) ** 2
    knee = rng.uniform(0.7, 1.0)
    x = np.where(x < knee, x, knee + (1.001 - knee) * (1 - np.exp(-np.maximum(x - knee, 0) / (1.001 - knee))))
    x = np.minimum(x, 1) ** (1 / 2.2 * rng.uniform(0.85, 1.15))
    contrast = rng.uniform(0, 0.5) if rng.random() < 0.6 else 0
    return (x + contrast * (x * x * (3 - 2 * x) - x)).astype(np.float32)


def develop(rng, rgb, gloss):
    """From light to the picture a phone keeps, 8 bits; blur, noise, sharpening and JPEG are its own."""
    lit = light(rng)
    vignette = rng.uniform(0, 0.45)
    lit *= (1 - np.float32(vignette) * (U * U + V * V) / np.float32(1.56))[..., None]
    rgb = rgb * cv2.resize(lit, (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR)
    if rng.random() < 0.35:  # a shine where a lamp is mirrored
        x, y, w = rng.uniform(-0.8, 0.8), rng.uniform(-0.6, 0.6), rng.uniform(0.05, 0.5)
        spot = cv2.resize(
            np.exp(-((U - x) ** 2 + (V - y) ** 2) / np.float32(w * w)), (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR
        )
        shine = np.clip(gloss, 0, 0.6) * np.float32(rng.uniform(0.2, 2)) + np.float32(
            rng.choice([0, rng.uniform(0, 0.3)])
        )
        rgb += (spot * shine)[..., None] * lit.mean()
    small = rgb[::8, ::8].mean(2)
    bright, usual = np.quantile(small, 0.95), np.quantile(small, 0.5)
    wanted = rng.uniform(0.35, 1.1) if rng.random() < 0.9 else rng.uniform(0.9, 1.9)
    gain = min(wanted / max(bright, 1e-3), rng.uniform(0.12, 0.9) / max(usual, 1e-3) * rng.uniform(1, 4))
    rgb *= np.float32(gain) * tint(rng, rng.choice([0.02, 0.12]))
    blur = rng.choice([rng.uniform(0.3, 0.8), rng.uniform(0.5, 1.6), rng.uniform(1, 2.6)], p=[0.6, 0.3, 0.1])
    rgb = cv2.GaussianBlur(np.ascontiguousarray(rgb, np.float32), (0, 0), blur)
    if rng.random() < 0.12:  # an unsteady hand
        k = np.zeros((11, 11), np.float32)
        a, reach = rng.uniform(0, math.pi), rng.uniform(1.5, 5)
        cv2.line(k, *[(int(5.5 + s * reach * math.cos(a)), int(5.5 + s * reach * math.sin(a))) for s in (-1, 1)], 1.0)
        rgb = cv2.filter2D(rgb, -1, k / k.sum())
    # noise, which grows with the root of the light
    root = cv2.sqrt(np.maximum(rgb, 0, out=rgb))
    shot, read = rng.choice([0.001, 0.004, 0.012]) * rng.uniform(0.3, 1.5), rng.uniform(0, 0.004)
    y, x = rng.integers(0, HEIGHT), rng.integers(0, WIDTH)
    root += grain()[y : y + HEIGHT, x : x + WIDTH] * np.float32(shot + read)
    out = curve(rng)[np.clip(root * np.float32(LEVELS / 2), 0, LEVELS - 1).astype(np.int16)]
    strength = rng.choice([1.0, rng.uniform(0.5, 1.4), rng.uniform(0, 0.3)], p=[0.5, 0.45, 0.05])
    if strength != 1:
        grey = cv2.transform(out, np.full((1, 3), 1 / 3, np.float32))[..., None]
        out = grey + (out - grey) * np.float32(strength)
    if rng.random() < 0.7:
        more = np.float32(rng.uniform(0, 1.4))
        out = cv2.addWeighted(out, 1 + more, cv2.GaussianBlur(out, (0, 0), rng.uniform(0.8, 2.5)), -more, 0)
    if rng.random() < 0.2:  # local contrast: halos some pixels wide
        more, small = np.float32(rng.uniform(0.1, 0.8)), cv2.resize(
            out, (W2 // 2, H2 // 2), interpolation=cv2.INTER_AREA
        )
        wide = cv2.resize(
            cv2.GaussianBlur(small, (0, 0), rng.uniform(0.8, 6)), (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR
        )
        out = cv2.addWeighted(out, 1 + more, wide, -more, 0)
    out = np.clip(out * 255 + 0.5, 0, 255).astype(np.uint8)
    kept = cv2.imencode(".jpg", out[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 96))])[1]
    return cv2.imdecode(kept, cv2.IMREAD_COLOR)[..., ::-1]
